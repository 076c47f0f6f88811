"""Adapters on their own page: which board, which old memories, which new device; wires and their verification."""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.board.kinds import kind_of
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.board.readers.text import decode_text
from coppermend.errors import CoppermendError, InputError
from coppermend.quantity import parse_quantity
from coppermend.rom.adapt import plan_adapter
from coppermend.rom.adapter import (
    Adapter,
    adapter_image,
    apply_adapter,
    parse_wiring,
    replace_wires,
    verify_adapter,
    wires_with_nets,
)
from coppermend.rom.checksums import sums
from coppermend.rom.devices import devices, find_device, get_device
from coppermend.rom.readmap import Socket, socket_of
from coppermend.rom.timing import access_margin
from coppermend.web.desk import Desk, desk_of
from coppermend.web.forms import Form, SentForm, Upload
from coppermend.web.pages import status_of
from coppermend.web.rom_bench import hold, read_bytes, slot_image
from coppermend.web.rom_hand_out import file_answer, rom_page

router = APIRouter(include_in_schema=False)
_SEED = 28
_LEVELS: Mapping[str, bool] = {"low": False, "high": True}


@router.get("/rom/adapt")
def show_adapter(request: Request) -> Response:
    """Choose a board, then its memories and a device; then the wiring, verified at every address."""
    return _page(request, _asked(request))


@router.post("/rom/adapt")
def plan(request: Request, form: SentForm) -> Response:
    """The same with contents of the old memories, or with a wiring as soldered, to be verified."""
    return _page(request, form)


@router.get("/rom/adapt/wiring.csv")
def wiring_file(request: Request) -> Response:
    """The planned wiring as CSV, pin by pin; what was really soldered is checked by sending it back."""
    desk, form = desk_of(request), _asked(request)
    board = desk.board(form.text("board"))
    made = io.StringIO()
    rows = csv.writer(made)
    rows.writerow(("pin", "name", "net", "from", "how", "length_mm"))
    for w in _planned(board, desk.library, form).wires:
        rows.writerow((w.pin, w.name, w.net, w.source, w.how, f"{w.length_mm:.1f}" if w.length_mm else ""))
    return file_answer(made.getvalue().encode("utf-8"), "adapter-wiring.csv")


def _asked(request: Request) -> Form:
    query = request.query_params
    texts = {name: value for name, value in query.items() if name != "socket"}
    return Form(texts | {f"socket-{name}": "1" for name in query.getlist("socket")})


def _page(request: Request, form: Form) -> Response:
    desk = desk_of(request)
    shown: dict[str, Any] = {
        "boards": desk.store.boards(), "sha256": form.text("board"), "memories": (), "chosen": _chosen(form),
        "targets": [d for d in devices().values() if set(d.selects.values()) == {"low"}],
        "device": form.text("device", "2764"), "found": None, "error": None, "held": (), "levels": (),
    }  # fmt: skip
    status, slots = 200, list[Upload | None]()
    try:
        if shown["sha256"]:
            board = desk.board(shown["sha256"])
            shown["memories"] = memories(board, desk.library)
            shown["levels"] = _mask_selects(board, shown["memories"])
            if shown["chosen"]:
                slots = [slot_image(desk, form, slot) for slot in range(len(shown["memories"]))]
                shown["found"] = _adapter(desk, board, form, slots)
    except CoppermendError as error:
        shown["error"], status = str(error), status_of(error)
    query = {k: v for k, v in form.texts.items() if v and (k in _KEPT or k.startswith("level-"))}
    again = urlencode([*query.items(), *(("socket", name) for name in shown["chosen"])])
    return rom_page(
        request, "rom_adapt.html", form, status=status, **{**shown, "held": hold(slots), "again": again}
    )


_KEPT = ("board", "device", "host", "clock")


def _chosen(form: Form) -> list[str]:
    return [
        name.removeprefix("socket-")
        for name, value in form.texts.items()
        if name.startswith("socket-") and value
    ]


def memories(board: Board, library: PartLibrary) -> tuple[tuple[str, str], ...]:
    """(refdes, type) of the board's program memories."""
    return tuple((part.refdes, part.type) for part in board.parts if kind_of(part, library) == "rom")


def _mask_selects(board: Board, found: Sequence[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    """(point, pin name) of every select whose level is part of a mask."""
    made = []
    for refdes, kind in found:
        device = find_device(kind or board.index.part(refdes).value)
        for pin, level in device.selects.items() if device else ():
            if level == "mask":
                made.append((f"{refdes}.{pin}", device.pin_names[pin] if device else ""))
    return tuple(made)


def _sockets(board: Board, library: PartLibrary, form: Form) -> list[Socket]:
    levels = {}
    for name, word in form.texts.items():
        if name.startswith("level-") and word.strip():
            if word not in _LEVELS:
                raise InputError(f"level {word[:20]!r}", expected="low or high")
            levels[name.removeprefix("level-")] = _LEVELS[word]
    return [socket_of(board, library, name, levels) for name in _chosen(form)]


def _planned(board: Board, library: PartLibrary, form: Form) -> Adapter:
    old = _sockets(board, library, form)
    return plan_adapter(board, library, old, get_device(form.text("device", "2764")), form.text("host"))


def _adapter(desk: Desk, board: Board, form: Form, slots: Sequence[Upload | None]) -> dict[str, Any]:
    """The plan (or the wiring sent), its verification, the image to burn, the access margin (or why there is none)."""
    library = desk.library
    wired = _planned(board, library, form)
    if sent := form.uploads("wiring"):
        text = decode_text(sent[0].data, sent[0].name)
        wired = replace_wires(wired, wires_with_nets(wired, parse_wiring(text, wired.device, sent[0].name)))
    given = _contents(board, library, wired, form, slots)
    rng = random.Random(_SEED)  # wirings that differ read differently from random bytes, all but surely
    contents = given or {s.refdes: rng.randbytes(s.device.bytes) for s in wired.sockets}
    burnt = adapter_image(wired, given) if given else b""
    clock = parse_quantity(form.text("clock"), "Hz") if form.text("clock") else None
    made: dict[str, Any] = {
        "plan": wired, "checked": verify_adapter(board, library, wired, contents), "margin": None, "no_margin": "",
        "given": bool(given), "soldered": bool(sent), "sums": sums(burnt) if burnt else None,
        "image": hold([Upload(f"{wired.host}-{wired.device.name}.bin", burnt)])[0] if burnt else None,
    }  # fmt: skip
    try:
        adapted = apply_adapter(board, library, wired)
        made["margin"] = access_margin(adapted, library, wired.host, wired.device, clock)
    except CoppermendError as error:
        if clock is not None:  # a clock that was typed wrong is told as such
            raise
        made["no_margin"] = str(error)
    return made


def _contents(
    board: Board, library: PartLibrary, wired: Adapter, form: Form, slots: Sequence[Upload | None]
) -> dict[str, bytes]:
    """Contents by refdes; {} when none was sent, an error when only some were."""
    by_name = {name: slot for (name, _), slot in zip(memories(board, library), slots, strict=True)}
    sent = {s.refdes: upload for s in wired.sockets if (upload := by_name.get(s.refdes))}
    if not sent:
        return {}
    if missing := [s.refdes for s in wired.sockets if s.refdes not in sent]:
        raise InputError(f"no image for {', '.join(missing)}", expected="one for each old memory, or none")
    made = {name: read_bytes(upload, form) for name, upload in sent.items()}
    for socket in wired.sockets:
        if len(made[socket.refdes]) != socket.device.bytes:
            raise InputError(
                f"holds {len(made[socket.refdes]):,} bytes",
                expected=f"{socket.device.bytes:,}, all of a {socket.device.name}", where=sent[socket.refdes].name,
            )  # fmt: skip
    return made
