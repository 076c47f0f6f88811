"""``coppermend strip`` and ``coppermend refit``: what comes off, what goes on again, and the kit."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, NamedTuple

import typer

from coppermend.board.cautions import merged
from coppermend.board.finding import Finding
from coppermend.cli.inputs import AreaOption, BoardArgument, TypesOption, board_at, library_with, read_area
from coppermend.cli.output import JsonFlag, counted, emit, say, say_cautions, say_next, table
from coppermend.cli.tree import examples
from coppermend.damage.area import parse_area
from coppermend.damage.touch import touch
from coppermend.rework.options import break_evens, compare_options
from coppermend.rework.records import Check, KitLine, RefitItem, Remedy, StripItem
from coppermend.rework.refit import kit, refit_list
from coppermend.rework.remedies import choose, remedies
from coppermend.rework.strip import strip_list
from coppermend.rework.verify import check_remedy, conflicts

RemedyOption = Annotated[
    list[str] | None,
    typer.Option("--remedy", metavar="ID", help="A remedy that is carried out; may repeat."),
]


class _Lists(NamedTuple):
    offered: tuple[Remedy, ...]
    chosen: tuple[Remedy, ...]
    strip: tuple[StripItem, ...]


def _lists(board: Path, area: Path, remedy: Sequence[str] | None, types: Sequence[Path] | None) -> _Lists:
    loaded, library = board_at(board), library_with(types)
    touched = touch(loaded, library, parse_area(read_area(area), loaded, str(area)))
    offered = remedies(loaded, library, touched)
    chosen = choose(offered, remedy or ())
    return _Lists(offered, chosen, strip_list(loaded, library, touched, chosen))


@examples("coppermend strip boards/control --area leak.geojson")
def strip(
    board: BoardArgument, area: AreaOption, remedy: RemedyOption = None, types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """List what comes off, in which order, why, and its fate: discard, test or refit.

    Remedies may take more off; coppermend refit lists those on offer.
    """
    items = _lists(board, area, remedy, types).strip
    document = {"strip": [item.to_json() for item in items], "counts": {"strip": len(items)}}

    def show_text() -> None:
        if not items:
            say("nothing has to come off")
            return
        say_cautions(merged(*(item.cautions for item in items)))
        for item in items:
            what = f"{item.refdes}, {item.value or item.type or 'unknown'}"
            say(f"{item.order:>3}  {what}: {item.fate} ({', '.join(item.reasons)})")
            say(item.why, indent=5)
        say("", f"{counted(len(items), 'part')} to take off, in this order")
        say_next("refit", board, "--area", area)

    emit(document, as_json, show_text)
    return 0


@examples("coppermend refit boards/control --area leak.geojson --remedy reset-supervisor")
def refit(
    board: BoardArgument, area: AreaOption, remedy: RemedyOption = None, types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """List the remedies on offer with their checks, what goes on again or comes new, and the kit.

    Choose remedies with --remedy; the lists then follow them.
    """
    offered, chosen, strips = _lists(board, area, remedy, types)
    items = refit_list(board_at(board), library_with(types), strips, chosen)
    lines = kit(items)
    findings = {one.id: check_remedy(board_at(board), library_with(types), one) for one in chosen}
    document: dict[str, Any] = {
        "remedies": [
            {**r.to_json(), "chosen": r in chosen, "findings": [f.to_json() for f in findings.get(r.id, ())]}
            for r in offered
        ],
        "refit": [item.to_json() for item in items],
        "kit": [line.to_json() for line in lines],
        "conflicts": list(conflicts(chosen)),
        "options": [option.to_json() for option in compare_options(offered)],
        "break_even": [one.to_json() for one in break_evens(offered)],
    }

    def show_text() -> None:
        for one in offered:
            _show_remedy(one, one in chosen)
            if one in chosen:
                _show_wiring(one, findings[one.id])
        say(*(f"conflict: {words}" for words in conflicts(chosen)))
        _show_options(offered)
        say_cautions(merged(*(item.cautions for item in items), *(one.cautions for one in chosen)))
        _show_lists(items, lines)
        say_next("copper", "plan", board, "--area", area)

    emit(document, as_json, show_text)
    return 0


def _show_remedy(remedy: Remedy, chosen: bool) -> None:
    mark = " (chosen)" if chosen else " (a note, not to be chosen)" if remedy.note_only else ""
    say(f"remedy {remedy.id}{mark}: {remedy.title}")
    say(remedy.why, indent=2)
    rows = [(check.name, check.value, check.limit, _answer(check)) for check in remedy.checks]
    table("", ("check", "value", "limit", "ok"), rows)
    if not rows:
        say("")


def _show_wiring(remedy: Remedy, findings: Sequence[Finding]) -> None:
    """The wires of a chosen remedy, and whether the board is sound once they are fitted."""
    table("", ("jumper from", "to"), remedy.jumpers)
    say(*(f"wrong: {finding.message}" for finding in findings))
    if not findings:
        say("carried out on the netlist: all connections made, nothing left floating, no outputs tied", "")


def _show_options(offered: Sequence[Remedy]) -> None:
    options = compare_options(offered)
    rows = [
        (
            o.id,
            f"{o.parts_price:.2f}",
            f"{o.minutes:.0f} min",
            f"{o.first_price:.2f}",
            f"{o.yearly_price:.2f}",
        )
        for o in options
    ]
    table(
        "options compared (usual prices, no currency)", ("remedy", "parts", "time", "in all", "a year"), rows
    )
    say(*(one.words for one in break_evens(offered)))
    if options:
        say("")


def _answer(check: Check) -> str:
    return "yes" if check.ok else "NO" if check.must else "no, a trap"


def _show_lists(items: Sequence[RefitItem], lines: Sequence[KitLine]) -> None:
    rows = [(i.order, i.refdes, i.value or i.type, i.source, i.polarity or i.note) for i in items]
    table("refit list, in this order", ("", "part", "what", "old or new", "which way round"), rows)
    kit_rows = [(k.quantity, k.value or k.type, k.package or "-", k.refdes) for k in lines]
    table("kit", ("pieces", "what", "package", "for"), kit_rows)
    if not items:
        say("nothing has to go on")
