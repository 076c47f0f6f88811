"""``coppermend damage touch``: what the damage touched."""

from __future__ import annotations

from coppermend.board.atrisk import Touch, grade
from coppermend.cli.inputs import AreaOption, BoardArgument, TypesOption, board_at, library_with, read_area
from coppermend.cli.output import JsonFlag, counted, emit, say, say_next, table
from coppermend.cli.tree import examples
from coppermend.damage.area import parse_area
from coppermend.damage.touch import touch, touch_to_json


@examples("coppermend damage touch boards/control --area leak.geojson")
def touch_(
    board: BoardArgument, area: AreaOption, types: TypesOption = None, as_json: JsonFlag = False
) -> int:
    """Say what the damage touched: parts, pads, vias, tracks and nets, by section, and what each net does."""
    loaded, library = board_at(board), library_with(types)
    touched = touch(loaded, library, parse_area(read_area(area), loaded, str(area)))
    document = touch_to_json(touched, loaded)

    def show_text() -> None:
        sections = [(s["section"] or "-", s["parts"], s["nets"]) for s in document["sections"]]
        table("by section", ("section", "parts", "nets"), sections)
        _show_touch(touched)
        say(*(f"note: {note}" for note in touched.notes))
        say(_summary(touched))
        if touched.nets or touched.parts:
            say_next("strip", board, "--area", area)

    emit(document, as_json, show_text)
    return 0


def _show_touch(touched: Touch) -> None:
    nets = [(n.net, n.role, n.does, grade(n.severity), n.pads, n.vias, n.tracks) for n in touched.nets]
    table("nets", ("net", "role", "what it does", "damage", "pads", "vias", "tracks"), nets)
    parts = [
        (p.refdes, p.type, p.section or "-", grade(p.severity), f"{p.share:.0%}", p.pads)
        for p in touched.parts
    ]
    table("parts", ("part", "type", "section", "damage", "share", "pads"), parts)
    table("vias", ("via", "net", "damage"), [(v.name, v.net, grade(v.severity)) for v in touched.vias])


def _summary(touched: Touch) -> str:
    kinds = ("part", "pad", "via", "track", "net")
    found = ", ".join(counted(len(getattr(touched, f"{kind}s")), kind) for kind in kinds)
    return f"{touched.area_mm2:,.0f} mm² damaged: {found} touched"
