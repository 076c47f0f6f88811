"""Merging images into one for a larger device, and splitting one, on pages of their own."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import CoppermendError, InputError
from coppermend.rom.buslogic import address_signals
from coppermend.rom.checksums import DEFINITIONS, FixUp, SumName, sums
from coppermend.rom.devices import get_device
from coppermend.rom.merge import Merged, Piece, fix_merged, merge, split
from coppermend.web.desk import Desk, desk_of
from coppermend.web.forms import Form, SentForm, Upload
from coppermend.web.pages import status_of
from coppermend.web.rom_bench import (
    form_device,
    form_family,
    form_hex,
    hold,
    read_bytes,
    slot_image,
)
from coppermend.web.rom_hand_out import rom_page

router = APIRouter(include_in_schema=False)
_PLACES = 8
_FIXED: tuple[SumName, ...] = ("sum8", "sum16", "sum32")


@router.get("/rom/merge")
def show_merge(request: Request, job: str = "") -> Response:
    """The page without images."""
    return _merge_page(request, Form({"job": job}))


@router.post("/rom/merge")
def merge_images(request: Request, form: SentForm) -> Response:
    """Merge the images at their CPU addresses; show what lies where, and hand the result out."""
    desk = desk_of(request)
    slots: list[Upload | None] = []
    try:
        slots = [slot_image(desk, form, slot) for slot in range(_PLACES)]
        merged, data, fixed = _merged(desk, form, slots)
    except CoppermendError as error:
        held = hold(slots)
        return _merge_page(request, form, status=status_of(error), error=str(error), held=held)
    return _merge_page(
        request, form, merged=merged, pins=get_device(form.text("device")).address, fixed=fixed, sums=sums(data), held=hold(slots),
        result=hold([Upload("merged.bin", data)])[0],
    )  # fmt: skip


def _merge_page(request: Request, form: Form, *, status: int = 200, **more: Any) -> Response:
    empty: dict[str, Any] = {
        "places": range(_PLACES), "fixable": _FIXED, "definitions": DEFINITIONS, "merged": None, "fixed": None,
        "result": None, "held": (), "boards": desk_of(request).store.boards(),
    }  # fmt: skip
    return rom_page(request, "rom_merge.html", form, status=status, **{**empty, **more})


def _merged(desk: Desk, form: Form, slots: list[Upload | None]) -> tuple[Merged, bytes, FixUp | None]:
    device = form_device(form)
    if device is None:
        raise InputError("no device", expected="the device that takes them all")
    pieces = [_piece(form, slot, upload) for slot, upload in enumerate(slots) if upload]
    fill = form_hex(form, "fill", "fill", 0xFF)
    found = merge(
        pieces, device.bytes, fill=0xFF if fill is None else fill, repeat=not form.text("once"),
        family=form_family(form),
        signals=address_signals(desk.board(form.text("board")), desk.library) if form.text("board") else None,
    )  # fmt: skip
    name = next((n for n in _FIXED if n == form.text("fix")), None)
    if name is None:
        return found, found.data, None
    target = form_hex(form, "target", "wanted sum", 0xFFFF_FFFF)
    places = [form_hex(Form({"at": word}), "at", "checksum byte") for word in form.text("fix_at").split()]
    if target is None or not places:
        raise InputError(
            "a sum to be fixed", expected="the wanted sum and the CPU addresses that may be changed"
        )
    return found, *fix_merged(found, name, target, [p for p in places if p is not None])


def _piece(form: Form, slot: int, upload: Upload) -> Piece:
    at = form_hex(form, f"at-{slot}", f"CPU address of {upload.name}")
    if at is None:
        raise InputError(f"{upload.name} has no CPU address", expected="one in hexadecimal, such as E000")
    return Piece(upload.name, at, read_bytes(upload, form))


@router.get("/rom/split")
def show_split(request: Request, job: str = "") -> Response:
    """The page without an image."""
    return _split_page(request, Form({"job": job}))


@router.post("/rom/split")
def split_image(request: Request, form: SentForm) -> Response:
    """Take images out of one, each to be saved or kept."""
    upload: Upload | None = None
    try:
        upload = slot_image(desk_of(request), form, 0)
        pieces = _split(form, upload)
    except CoppermendError as error:
        return _split_page(request, form, status=status_of(error), error=str(error), held=hold([upload]))
    shown = [
        (piece, hold([Upload(f"{piece.name}.bin", piece.data)])[0], sums(piece.data)) for piece in pieces
    ]
    return _split_page(request, form, pieces=shown, held=hold([upload]))


def _split_page(request: Request, form: Form, *, status: int = 200, **more: Any) -> Response:
    empty: dict[str, Any] = {"places": range(_PLACES), "pieces": (), "held": ()}
    return rom_page(request, "rom_split.html", form, status=status, **{**empty, **more})


def _split(form: Form, upload: Upload | None) -> tuple[Piece, ...]:
    if upload is None:
        raise InputError("no image to split", expected="one image")
    wanted = []
    for slot in range(_PLACES):
        name = form.text(f"name-{slot}")
        at = form_hex(form, f"at-{slot}", f"CPU address of {name or slot + 1}")
        size = form_hex(form, f"size-{slot}", f"bytes of {name or slot + 1}", 0x10000)
        if not name and at is None and size is None:
            continue
        if not name or at is None or size is None:
            raise InputError(f"image {slot + 1} is not whole", expected="name, CPU address and bytes")
        wanted.append((name, at, size))
    if len({name for name, _, _ in wanted}) != len(wanted):
        raise InputError("a name comes twice", expected="one name an image")
    return split(
        read_bytes(upload, form), form_hex(form, "base", "CPU address of the first byte") or 0, wanted
    )
