"""The images that a page works on: sent now, kept in a job, or held by the page since the last press.

A page without a job keeps nothing on the bench, so what was sent travels in the page itself and comes back with
the next press. A job's images are offered on that job's page alone, by their entries.
"""

from __future__ import annotations

import re
from base64 import b64decode, b64encode
from binascii import Error as Base64Error
from collections.abc import Sequence
from dataclasses import dataclass

from coppermend.errors import InputError
from coppermend.job.state import ImageLine
from coppermend.rom.devices import Device, find_device
from coppermend.rom.formats import check_format, parse_image
from coppermend.rom.image import RomImage
from coppermend.rom.opcodes import Family
from coppermend.rom.program import FAMILIES
from coppermend.web.desk import Desk
from coppermend.web.forms import Form, Upload

MOST_IMAGES, LARGEST_BYTES = 16, 1024 * 1024
_HELD_BYTES = 2 * 1024 * 1024
_HEX = re.compile(r"(?:0[xX]|\$)?([0-9A-Fa-f]{1,8})")


@dataclass(frozen=True, slots=True)
class Held:
    """An image that a page carries: its name, and its file in base64 ("" when it is too large to be carried)."""

    name: str
    text: str
    bytes: int


def hold(uploads: Sequence[Upload | None]) -> tuple[Held | None, ...]:
    """The images for the page to carry; beyond 2 MiB in all they have to be chosen again."""
    total = sum(len(u.data) for u in uploads if u)
    if total > _HELD_BYTES:
        return (None,) * len(uploads)
    return tuple(Held(u.name, b64encode(u.data).decode("ascii"), len(u.data)) if u else None for u in uploads)


def held_image(form: Form, slot: int) -> Upload | None:
    """The image that the page has carried in ``slot``.

    Raises:
        InputError: If it is no base64.
    """
    text = form.text(f"held-{slot}")
    if not text:
        return None
    try:
        return Upload(form.text(f"held-{slot}-name") or "image", b64decode(text, validate=True))
    except (Base64Error, ValueError):
        raise InputError(
            f"the image held in place {slot + 1} is damaged", expected="it chosen again"
        ) from None


def slot_image(desk: Desk, form: Form, slot: int) -> Upload | None:
    """What a numbered place of a form holds: the file sent now, else the job's image chosen, else what was held."""
    if sent := form.uploads(f"file-{slot}"):
        return sent[0]
    if chosen := form.text(f"kept-{slot}"):
        return kept_image(desk, form.text("job"), chosen)
    return held_image(form, slot)


def kept_image(desk: Desk, job: str, seq: str) -> Upload:
    """An image of a job by its entry.

    Raises:
        InputError: If the job has no such image.
        UnknownName: If there is no such job.
    """
    line = next((i for i in job_images(desk, job) if str(i.seq) == seq), None)
    if line is None:
        raise InputError(f"image {seq[:20]!r} of job {job[:20]!r}", expected="an image kept in that job")
    return Upload(line.name, desk.store.attachment(line.sha256))


def job_images(desk: Desk, job: str) -> tuple[ImageLine, ...]:
    """The images kept in a job; () without a job.

    Raises:
        UnknownName, InputError: If there is no such job, or its number is malformed.
    """
    return desk.job(job).state.images if job else ()


def read_image(upload: Upload, form: Form) -> RomImage:
    """An image as the form's ``read_as`` and ``tolerant`` say; at most 1 MiB from first to last byte.

    Raises:
        InputError: If it cannot be read, is empty or too large, naming file and line.
    """
    chosen = form.text("read_as")
    image = parse_image(
        upload.data, upload.name, format=check_format(chosen) if chosen else None, tolerant=bool(form.text("tolerant"))
    )  # fmt: skip
    if not 0 < image.byte_count <= LARGEST_BYTES or image.end - image.low > LARGEST_BYTES:
        raise InputError(
            f"{image.byte_count:,} bytes from {image.low:#x} to {image.end:#x}",
            expected=f"1 to {LARGEST_BYTES:,} bytes without wide gaps", where=upload.name,
        )  # fmt: skip
    return image


def read_bytes(upload: Upload, form: Form) -> bytes:
    """The bytes of an image from its lowest address on, gaps filled with FF."""
    return read_image(upload, form).dense(where=upload.name)


def form_hex(form: Form, name: str, what: str, most: int = 0xFFFF) -> int | None:
    """A field in hexadecimal; None when it is empty.

    Raises:
        InputError: If it is no number up to ``most``.
    """
    text = form.text(name)
    if not text:
        return None
    found = _HEX.fullmatch(text)
    if not found or int(found[1], 16) > most:
        raise InputError(f"{what} {text[:40]!r}", expected=f"0 to {most:X} in hexadecimal")
    return int(found[1], 16)


def form_device(form: Form) -> Device | None:
    """The device that the form names; None when it names none.

    Raises:
        InputError: If there is no such device.
    """
    name = form.text("device")
    found = find_device(name) if name else None
    if name and found is None:
        raise InputError(f"device {name[:40]!r}", expected="a device of the list")
    return found


def form_family(form: Form) -> Family | None:
    """The CPU family that the form names; None when it names none.

    Raises:
        InputError: If there is no such family.
    """
    name = form.text("cpu")
    found = next((family for family in FAMILIES if family == name), None)
    if name and found is None:
        raise InputError(f"CPU {name[:40]!r}", expected=f"one of {', '.join(FAMILIES)}")
    return found
