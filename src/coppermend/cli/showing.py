"""``coppermend board show``: what is on a board."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from coppermend.board.model import Board
from coppermend.board.summary import board_summary
from coppermend.cli.inputs import BoardArgument, TypesOption, board_at, library_with
from coppermend.cli.output import JsonFlag, counts_in_words, emit, say, table
from coppermend.cli.tree import examples


@examples("coppermend board show boards/control", "coppermend board show boards/control --json")
def show(board: BoardArgument, types: TypesOption = None, as_json: JsonFlag = False) -> int:
    """Say what is on a board: size, counts, sections, parts, and what the board does not say."""
    loaded, library = board_at(board), library_with(types)
    document = board_summary(loaded, library)
    emit(document, as_json, lambda: _show(loaded, document))
    return 0


def _show(board: Board, document: Mapping[str, Any]) -> None:
    say(" ".join(filter(None, (board.name, board.revision))))
    say(f"{board.width_mm:g} x {board.height_mm:g} mm")
    say(counts_in_words(document["counts"]), "")
    rows = [(s["name"] or "-", s["title"], len(s["parts"])) for s in document["sections"]]
    table("sections", ("section", "what it is", "parts"), rows)
    parts = [(p.refdes, p.type or "?", p.value, p.section or "-") for p in board.parts]
    table("parts", ("part", "type", "value", "section"), parts)
    say(*(f"note: {lack}" for lack in document["lacks"]))
    if document["unknown_types"]:
        say(f"note: no part type is known for {', '.join(document['unknown_types'])}")
