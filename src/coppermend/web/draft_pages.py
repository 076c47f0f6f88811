"""Drawing in a board that has no CAD data: parts over a photo, nets from a schematic, looked over at every step."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from starlette.responses import JSONResponse, Response

from coppermend.board.check import check_board
from coppermend.board.draft import draft_board
from coppermend.board.draw import draw_board
from coppermend.board.model import LAYERS
from coppermend.errors import CoppermendError, InputError
from coppermend.web.desk import desk_of
from coppermend.web.forms import SentForm
from coppermend.web.pages import page, room_words, see

router = APIRouter(include_in_schema=False)
_PREFIXES = {  # the letters that schematics use: IEEE 315, clause 22 (from memory); all else is U
    "resistor": "R", "network": "RN", "trimmer": "RV", "capacitor": "C", "electrolytic": "C", "supercapacitor": "C",
    "inductor": "L", "diode": "D", "led": "D", "transistor": "Q", "connector": "J", "battery": "BT", "crystal": "Y",
    "oscillator": "Y", "fuse": "F", "switch": "S", "relay": "K", "lamp": "DS", "regulator": "VR", "mechanical": "H",
}  # fmt: skip


@router.get("/boards/draft")
def show_draft(request: Request) -> Response:
    """The sheet to draw on; what is on it stays in the browser until it is kept."""
    types = [
        {
            "name": kind.name,
            "package": kind.package,
            "prefix": _PREFIXES.get(kind.kind, "U"),
            "says": kind.description,
        }
        for kind in sorted(desk_of(request).library.types.values(), key=lambda kind: kind.name)
    ]
    return page(request, "draft.html", types=types)


@router.post("/boards/draft/look")
def look_over(request: Request, sent: Annotated[dict[str, Any], Body()]) -> JSONResponse:
    """Both sides as SVG, where each pin is, and what a look over it finds; or the one thing that is wrong."""
    library = desk_of(request).library
    try:
        board = draft_board(sent, library)
    except InputError as error:
        return JSONResponse({"error": room_words(error)})
    drawn = {
        side: draw_board(board, side=side, library=library, prefix=side, caption=False) for side in LAYERS
    }
    return JSONResponse(
        {
            "svg": drawn,
            "pins": [[f"{p.refdes}.{p.pin}", round(p.x_mm, 3), round(p.y_mm, 3)] for p in board.pads],
            "findings": [
                {**finding.to_json(), "message": room_words(finding.message)}
                for finding in check_board(board, library)
            ],
            "nets": len(board.nets),
        }
    )


@router.post("/boards/draft")
def keep_draft(request: Request, form: SentForm) -> Response:
    """Put the board into the library."""
    desk = desk_of(request)
    try:
        sent = json.loads(form.text("draft"))
        if not isinstance(sent, dict):
            raise InputError("the draft is no object", expected="what the page sends")
    except ValueError as error:
        if isinstance(error, CoppermendError):
            raise
        raise InputError("the draft cannot be read", expected="what the page sends") from error
    return see(f"/boards/{desk.store.add_board(draft_board(sent, desk.library))}", added=1)
