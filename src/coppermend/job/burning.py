"""What a job has to burn and what became of it: images kept as attachments, read-backs with their verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from coppermend.errors import InputError
from coppermend.job.entry import Entry
from coppermend.job.state import ImageLine, JobState, fold
from coppermend.job.store import Store
from coppermend.rom.burning import BurnItem, ReadBack
from coppermend.rom.devices import find_device

MEDIA_TYPE = "application/octet-stream"
Verdict = Literal["verified", "not verified", "not read back"]


@dataclass(frozen=True)
class BurnLine:
    """One device that a job has to burn: the image kept last for its place, and the verdict of the last read-back.

    ``item`` is None when the image's device is not known or of another size; ``trouble`` then says so.
    """

    image: ImageLine
    item: BurnItem | None
    verdict: Verdict
    verdict_seq: int | None
    trouble: str = ""

    def to_json(self) -> dict[str, Any]:
        """Keys ``seq``, ``sha256``, ``name``, ``refdes``, ``item`` (as a burn item, or null), ``verdict``, ``verdict_seq``, ``trouble``."""
        return {
            "seq": self.image.seq, "sha256": self.image.sha256, "name": self.image.name,
            "refdes": self.image.refdes, "item": self.item.to_json() if self.item else None,
            "verdict": self.verdict, "verdict_seq": self.verdict_seq, "trouble": self.trouble,
        }  # fmt: skip


def burn_lines(store: Store, state: JobState) -> tuple[BurnLine, ...]:
    """The burn list of a job, by place.

    Raises:
        RecordError: If an attachment is damaged.
    """
    last: dict[str, ImageLine] = {}
    for image in state.images:
        if image.what == "burn":
            last[image.refdes or image.name] = image
    return tuple(_line(store, state, last[place]) for place in sorted(last))


def _line(store: Store, state: JobState, image: ImageLine) -> BurnLine:
    checks = [
        i for i in state.images
        if i.what == "read-back" and i.refdes == image.refdes and i.seq > image.seq and i.verified is not None
    ]  # fmt: skip
    verdict: Verdict = "not read back"
    if checks:
        verdict = "verified" if checks[-1].verified else "not verified"
    item, trouble = _item(store, image)
    return BurnLine(image, item, verdict, checks[-1].seq if checks else None, trouble)


def _item(store: Store, image: ImageLine) -> tuple[BurnItem | None, str]:
    device = find_device(image.device) if image.device else None
    if device is None:
        return None, f"for which device is not known ({image.device or 'none was named'})"
    data, name = store.attachment(image.sha256), image.name.removesuffix(".bin")
    last = image.cpu_first + len(data) - 1 if image.cpu_first is not None else None
    try:
        return BurnItem(image.refdes, device, name, image.version, image.cpu_first, last, data), ""
    except InputError as error:
        return None, str(error)


def keep_burn(
    store: Store, job: str, item: BurnItem, read: bytes, checked: ReadBack | None, *, who: str
) -> tuple[Entry, ...]:
    """Attach the image to burn, and what was read back with its verdict; an entry each.

    An image that the job already holds for that place is not kept again: the read-back alone is.
    """
    state = fold(store.entries(job))
    about: dict[str, Any] = {"device": item.device.name}
    about |= {"refdes": item.refdes} if item.refdes else {}
    about |= {"version": item.version} if item.version else {}
    about |= {"cpu_first": item.cpu_first} if item.cpu_first is not None else {}
    rows: list[tuple[str, str, bytes, dict[str, Any]]] = [("burn", f"{item.name}.bin", item.data, {})]
    if checked:
        verdict = {"verified": checked.verified, "note": checked.words}
        rows.append(("read-back", f"{item.name} read back.bin", read, verdict))
    made = []
    for what, name, data, more in rows:
        body = {"sha256": store.attach(data, name, MEDIA_TYPE), "name": name, "what": what, **about, **more}
        if what == "read-back" or not _stands(state, body):
            made.append(store.append(job, "image", state.stage, body, who=who))
    return tuple(made)


def _stands(state: JobState, body: dict[str, Any]) -> bool:
    same = [i for i in state.images if i.what == "burn" and i.refdes == body.get("refdes", "")]
    return bool(same) and (same[-1].sha256, same[-1].device, same[-1].name, same[-1].version) == (
        body["sha256"], body["device"], body["name"], body.get("version", ""),
    )  # fmt: skip
