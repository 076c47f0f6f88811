"""``coppermend board draw``: one side of a board as SVG."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.draw import draw_board
from coppermend.board.model import Layer
from coppermend.cli.inputs import BoardArgument, TypesOption, board_at, library_with, write_new
from coppermend.cli.output import JsonFlag, emit, say_whole
from coppermend.cli.tree import examples
from coppermend.errors import InputError

_SIDES: dict[str, Layer] = {"top": "top", "bottom": "bottom"}


@examples("coppermend board draw boards/control -o solder-side.svg --side bottom")
def draw(
    board: BoardArgument,
    out: Annotated[Path, typer.Option("-o", "--out", metavar="FILE", help="SVG file to write.")],
    side: Annotated[str, typer.Option(help="top, or bottom (mirrored, as seen).")] = "top",
    types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:
    """Draw one side of a board as SVG, which any browser shows."""
    if side not in _SIDES:
        raise InputError(f"no side {side!r}", expected="top or bottom", where="--side")
    loaded, library = board_at(board), library_with(types)
    write_new(out, lambda: draw_board(loaded, side=_SIDES[side], library=library).encode())
    emit({"file": str(out), "side": side}, as_json, lambda: say_whole(f"written to {out}"))
    return 0
