"""Adapters on their own page: which board, which old memories, which new device; wires and their verification."""

from __future__ import annotations

import random
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.board.kinds import kind_of
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.errors import CoppermendError
from coppermend.rom.adapt import plan_adapter
from coppermend.rom.adapter import apply_adapter, verify_adapter
from coppermend.rom.devices import devices, get_device
from coppermend.rom.readmap import socket_of
from coppermend.rom.timing import access_margin
from coppermend.web.desk import desk_of
from coppermend.web.pages import page, status_of

router = APIRouter(include_in_schema=False)
_SEED = 28


@router.get("/rom/adapt")
def show_adapter(request: Request) -> Response:
    """Choose a board, then its memories and a device; then the wiring, verified at every address."""
    desk, asked = desk_of(request), request.query_params
    shown: dict[str, Any] = {
        "boards": desk.store.boards(), "sha256": asked.get("board", ""), "memories": (), "chosen": asked.getlist("socket"),
        "targets": [d for d in devices().values() if set(d.selects.values()) == {"low"}],
        "device": asked.get("device", "2764"), "found": None, "error": None,
    }  # fmt: skip
    status = 200
    try:
        if shown["sha256"]:
            board = desk.board(shown["sha256"])
            shown["memories"] = memories(board, desk.library)
            if shown["chosen"]:
                shown["found"] = _adapter(board, desk.library, shown["chosen"], shown["device"])
    except CoppermendError as error:
        shown["error"], status = str(error), status_of(error)
    return page(request, "rom_adapt.html", status=status, **shown)


def memories(board: Board, library: PartLibrary) -> tuple[tuple[str, str], ...]:
    """(refdes, type) of the board's program memories."""
    return tuple((part.refdes, part.type) for part in board.parts if kind_of(part, library) == "rom")


def _adapter(board: Board, library: PartLibrary, names: list[str], device: str) -> dict[str, Any]:
    """The plan, its verification with random contents, and the access margin (or why there is none)."""
    old = [socket_of(board, library, name) for name in names]
    planned = plan_adapter(board, library, old, get_device(device))
    rng = random.Random(_SEED)  # wirings that differ read differently from random bytes, all but surely
    contents = {socket.refdes: rng.randbytes(socket.device.bytes) for socket in old}
    made: dict[str, Any] = {
        "plan": planned, "checked": verify_adapter(board, library, planned, contents), "margin": None, "no_margin": "",
    }  # fmt: skip
    try:
        made["margin"] = access_margin(
            apply_adapter(board, library, planned), library, planned.host, planned.device
        )
    except CoppermendError as error:
        made["no_margin"] = str(error)
    return made
