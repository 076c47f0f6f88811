"""``coppermend strip`` and ``coppermend refit``: what comes off, what goes on again, and the kit."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from coppermend.board.cautions import merged
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import PartLibrary
from coppermend.cli.inputs import (
    AreaOption,
    BoardArgument,
    TypesOption,
    board_at,
    library_with,
    read_area,
    read_bytes,
    write_new,
)
from coppermend.cli.output import JsonFlag, counted, emit, say, say_cautions, say_next, table
from coppermend.cli.tree import examples
from coppermend.damage.area import area_to_geojson, parse_area
from coppermend.job.assess import Assessment, assess
from coppermend.job.known import touched_by
from coppermend.job.planning import PlanEffect, RemedyFacts, plan_effect, remedy_facts
from coppermend.job.state import JobState
from coppermend.rework.options import break_evens, compare_options
from coppermend.rework.records import Check, RefitItem, Remedy
from coppermend.rework.remedies import choose
from coppermend.rework.stocked import Alternative, Supply, parse_stock

RemedyOption = Annotated[
    list[str] | None,
    typer.Option("--remedy", metavar="ID", help="A remedy that is carried out; may repeat."),
]
ShelfFile = Annotated[
    Path | None,
    typer.Option(
        "--shelf", metavar="CSV", help="What the shop has: type,value,package,quantity,price,place."
    ),
]
Drawings = Annotated[
    Path | None,
    typer.Option("--drawings", metavar="DIR", help="Write a drawing (SVG) of each chosen remedy there."),
]


def _assessed(
    board: Path, area: Path, remedy: Sequence[str] | None, types: Sequence[Path] | None
) -> tuple[Assessment, PartLibrary]:
    """A job as it would stand with this area and these remedies, nothing done yet.

    Raises:
        UnknownName: If a remedy is not on offer.
        InputError: If two of them exclude each other.
    """
    loaded, library = with_package_pads(board_at(board)), library_with(types)
    damaged = area_to_geojson(parse_area(read_area(area), loaded, str(area)))
    chosen = choose(touched_by(loaded, library, damaged)[1], remedy or ())
    return assess(
        loaded, library, JobState(damage=damaged, remedies=tuple(one.id for one in chosen))
    ), library


@examples("coppermend strip boards/control --area leak.geojson")
def strip(
    board: BoardArgument, area: AreaOption, remedy: RemedyOption = None, types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """List what comes off, in which order, why, and its fate: discard, test or refit.

    Remedies may take more off; coppermend refit lists those on offer.
    """
    items = _assessed(board, area, remedy, types)[0].strip
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
    drawings: Drawings = None, shelf: ShelfFile = None, as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """List the remedies on offer with their checks, what goes on again or comes new, and the kit.

    Choose remedies with --remedy; lists, kit, price and proofs then follow them. Status 1 when the netlist does not
    bear out a chosen one.
    """
    found, library = _assessed(board, area, remedy, types)
    stock = parse_stock(read_bytes(shelf, "what is on the shelf (CSV)"), str(shelf)) if shelf else ()
    effect = plan_effect(found, library, [one.id for one in found.chosen], stock)
    facts = {one.id: remedy_facts(found.board, library, one) for one in found.remedies}
    if drawings:
        _write_drawings(found.chosen, facts, drawings)
    document: dict[str, Any] = {
        "remedies": [_remedy_json(r, r in found.chosen, facts[r.id]) for r in found.remedies],
        "refit": [item.to_json() for item in found.refit],
        **effect.to_json(),
        "options": [option.to_json() for option in compare_options(found.remedies)],
        "break_even": [one.to_json() for one in break_evens(found.remedies)],
    }

    def show_text() -> None:
        for one in found.remedies:
            _show_remedy(one, one in found.chosen)
            if one in found.chosen:
                _show_wiring(one, facts[one.id])
        say(*(f"conflict: {words}" for words in effect.conflicts))
        _show_options(found.remedies)
        say_cautions(merged(*(i.cautions for i in found.refit), *(r.cautions for r in found.chosen)))
        _show_lists(found.refit, effect)
        say_next("copper", "plan", board, "--area", area)

    emit(document, as_json, show_text)
    return 1 if effect.findings or effect.conflicts else 0


def _remedy_json(remedy: Remedy, chosen: bool, facts: RemedyFacts) -> dict[str, Any]:
    return {
        **remedy.to_json(),
        "chosen": chosen,
        "findings": [finding.to_json() for finding in facts.findings],
        "proofs": [proof.id for proof in facts.proofs],
    }


def _write_drawings(chosen: Sequence[Remedy], facts: Mapping[str, RemedyFacts], folder: Path) -> None:
    """One SVG for each chosen remedy that adds or changes a circuit."""
    for one in chosen:
        picture = facts[one.id].drawing
        if picture:
            write_new(folder / f"{one.id}.svg", lambda picture=picture: picture.encode())  # type: ignore[misc]


def _show_remedy(remedy: Remedy, chosen: bool) -> None:
    mark = " (chosen)" if chosen else " (a note, not to be chosen)" if remedy.note_only else ""
    say(f"remedy {remedy.id}{mark}: {remedy.title}")
    say(remedy.why, indent=2)
    rows = [(check.name, check.value, check.limit, _answer(check)) for check in remedy.checks]
    table("", ("check", "value", "limit", "ok"), rows)
    if not rows:
        say("")


def _show_wiring(remedy: Remedy, facts: RemedyFacts) -> None:
    """What a chosen remedy takes, in full, and whether the board is sound once it is carried out."""
    if remedy.parts_off:
        say(f"off: {', '.join(remedy.parts_off)}")
    say(*(f"on: {line.value or line.type}, {line.place}" for line in remedy.parts_on))
    table("", ("jumper from", "to"), remedy.jumpers)
    say(*(f"{number}. {step}" for number, step in enumerate(remedy.steps, 1)), "")
    say(*(f"wrong: {finding.message}" for finding in facts.findings))
    if not facts.findings:
        say("carried out on the netlist: all connections made, nothing left floating, no outputs tied")
    if facts.proofs:
        say(f"proofs that it calls for: {', '.join(proof.id for proof in facts.proofs)}")
    for name, inputs in dict.fromkeys((c.figure, c.inputs) for c in remedy.checks if c.figure):
        say(f"figure: {_figure_command(name, inputs)}")
    say("")


def _figure_command(name: str, inputs: Sequence[tuple[str, str]]) -> str:
    return shlex.join(["coppermend", "figure", name, *(f"{key}={text}" for key, text in inputs)])


def _show_options(offered: Sequence[Remedy]) -> None:
    options = compare_options(offered)
    rows = [
        (o.id, *(f"{price:.2f}" for price in (o.parts_price, o.first_price, o.yearly_price, o.whole_price)))
        for o in options
    ]
    rows = [
        (name, parts, f"{o.minutes:.0f} min", *more)
        for o, (name, parts, *more) in zip(options, rows, strict=True)
    ]
    if options:
        columns = ("remedy", "parts", "time", "in all", "a year", f"{options[0].years:.0f} years")
        table("options compared (usual prices, no currency)", columns, rows)
    say(*(one.words for one in break_evens(offered)))
    if options:
        say("")


def _answer(check: Check) -> str:
    return "yes" if check.ok else "NO" if check.must else "no, a trap"


def _from(supply: Supply) -> str:
    taken = f"{supply.from_shelf} from {', '.join(supply.places) or 'the shelf'}" if supply.from_shelf else ""
    return ", ".join(filter(None, [taken, f"order {supply.to_order}" if supply.to_order else ""]))


def _stocked(one: Alternative) -> str:
    where = f" ({one.stock.place})" if one.stock.place else ""
    return f"{one.stock.value or one.stock.type}{where}"


def _show_lists(items: Sequence[RefitItem], effect: PlanEffect) -> None:
    rows = [(i.order, i.refdes, i.value or i.type, i.source, i.polarity or i.note) for i in items]
    table("refit list, in this order", ("", "part", "what", "old or new", "which way round"), rows)
    kit_rows = [
        (
            s.line.quantity,
            s.line.value or s.line.type,
            s.line.package or "-",
            s.line.refdes,
            _from(s),
            f"{s.price:.2f}",
        )
        for s in effect.supplies
    ]
    table("kit (usual prices, no currency)", ("pieces", "what", "package", "for", "from", "price"), kit_rows)
    for s in effect.supplies:
        say(
            *(
                f"instead of {s.line.value or s.line.type}: {_stocked(one)}, {one.words}"
                for one in s.alternatives
            )
        )
    if not items:
        say("nothing has to go on")
    if effect.chosen:
        say(
            f"chosen remedies: {effect.minutes:.0f} min, kit {effect.parts_price:.2f} and labour {effect.labour:.2f}, "
            f"in all {effect.price:.2f}; {counted(len(effect.more_proofs), 'proof')} more"
        )
