"""``coppermend copper``: the probes that prove every at-risk net, and what a meter should read anywhere."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.cautions import cautions_for
from coppermend.board.model import Board
from coppermend.cli.inputs import (
    AreaOption,
    BoardArgument,
    TypesOption,
    board_at,
    library_with,
    read_area,
    write_new,
)
from coppermend.cli.output import JsonFlag, counted, emit, say, say_cautions, table
from coppermend.cli.readings import ReadingsOption, readings_at
from coppermend.cli.tree import examples
from coppermend.cli.waiting import shown_on_terminal
from coppermend.copper.expect import Expectation, expect
from coppermend.copper.expectwords import ohms_words
from coppermend.copper.plan import plan_probes
from coppermend.copper.records import CopperPlan, Probe
from coppermend.copper.wirelist import total_words, wire_list_csv, wire_totals
from coppermend.damage.area import parse_area
from coppermend.damage.touch import touch

OffOption = Annotated[
    list[str] | None,
    typer.Option("--off", metavar="REFDES", help="A part that is off the board or lifted; may repeat."),
]


class Isolation(StrEnum):
    """Which pairs of nets to measure against each other."""

    LIKELY, ALL, NONE = "likely", "all", "none"


IsolationOption = Annotated[
    Isolation,
    typer.Option("--isolation", help="Which pairs of nets within reach to measure against each other."),
]


@examples(
    "coppermend copper plan boards/control --area leak.geojson",
    "coppermend copper plan boards/control --area leak.geojson --readings readings.csv",
)
def plan(
    board: BoardArgument, area: AreaOption, readings: ReadingsOption = None, types: TypesOption = None,
    isolation: IsolationOption = Isolation.LIKELY,
    off: OffOption = None,
    wires: Annotated[
        Path | None, typer.Option("--wires", metavar="FILE", help="Write the wire list of the jumpers to a CSV file.")
    ] = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """List the probes that prove every net at risk, in walking order, and what the readings have shown.

    Keep what the meter says as rows a,b,ohms in a CSV file and give it back with --readings: what is proven is
    asked no more, an open is pinned down, and each open gets a jumper. A row a,b,jumper says that one was fitted.
    """
    loaded, library = board_at(board), library_with(types)
    touched = touch(loaded, library, parse_area(read_area(area), loaded, str(area)))
    removed = _parts_off(loaded, off)
    read = readings_at(readings, loaded)
    with shown_on_terminal(as_json):
        found = plan_probes(loaded, library, touched, read, removed=removed, isolation=isolation.value)
    if wires:
        write_new(wires, lambda: wire_list_csv([*found.fitted, *found.jumpers]).encode())
    emit(found.to_json(), as_json, lambda: _show(found))
    return 0


def _show(plan: CopperPlan) -> None:
    if plan.probes:
        say_cautions(cautions_for("copper"))
    for number, probe in enumerate(plan.probes, 1):
        say(f"{number:>3}  {_aim(probe)}: {probe.a} to {probe.b}, expect {_expected(probe)}")
        say(f"{probe.a}: {probe.where_a}", f"{probe.b}: {probe.where_b}", indent=5)
    if plan.probes:
        say("")
    opens = [(o.net, f"{o.between[0]} and {o.between[1]}", o.tracks or "-") for o in plan.opens]
    table("opens", ("net", "between", "tracks at risk there"), opens)
    shorts = [(s.nets, f"{s.between[0]} and {s.between[1]}", f"{s.ohms:.2f}") for s in plan.shorts]
    table("shorts", ("nets", "measured between", "Ω"), shorts)
    jumpers = [(j.net, j.a, j.b, j.side, f"{j.length_mm:.0f}", j.gauge_awg) for j in plan.jumpers]
    table("jumpers to fit", ("net", "from", "to", "side", "mm", "AWG"), jumpers)
    masked = [(m.nets, m.by, f"{m.ohms:.2f}") for m in plan.masked]
    table("shorts that no meter can tell in circuit", ("nets", "lift", "Ω through parts"), masked)
    say(*(f"wire: {total_words(total)}, ends included" for total in wire_totals(plan.jumpers)))
    say(*(f"note: {note}" for note in plan.notes))
    say(
        f"{counted(len(plan.probes), 'probe')} to make ({plan.naive_probes:,} pad by pad), "
        f"{counted(len(plan.proven), 'net')} proven, {counted(len(plan.opens), 'open')}, "
        f"{counted(len(plan.shorts), 'short')}; {plan.route_mm:,.0f} mm of way"
    )
    say(_next(plan))


def _aim(probe: Probe) -> str:
    return probe.net if probe.purpose == "continuity" else "two nets, apart"


def _expected(probe: Probe) -> str:
    return "OL" if probe.expect_ohms is None else ohms_words(probe.expect_ohms)


def _next(plan: CopperPlan) -> str:
    if plan.probes:
        return "next: make the probes, write a,b,ohms rows (OL = open) to a CSV file, give it with --readings"
    if plan.jumpers:
        return "next: fit the jumpers, add a row a,b,jumper for each to the readings, and plan again"
    if plan.opens or plan.shorts:
        return "next: clear what is open or shorted, measure again, and plan again"
    return "done: no probe is left to make"


@examples(
    "coppermend copper expect boards/control U3.9 J2.4",
    "coppermend copper expect boards/control U3.9 J2.4 --off U3 --off U7",
)
def expect_(
    board: BoardArgument,
    a: Annotated[str, typer.Argument(metavar="POINT", help="Where one tip goes, such as U3.9 or V17.")],
    b: Annotated[str, typer.Argument(metavar="POINT", help="Where the other goes.")],
    off: OffOption = None,
    types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Say what a meter should read between two points: ohms, the diode test both ways, what charges.

    Copper, resistors, networks, inductors and junctions of the fitted parts count, so that a pull-up pair is told
    from a short. Measure only on a board without power and without its battery.
    """
    loaded, library = board_at(board), library_with(types)
    found = expect(loaded, library, a, b, removed=_parts_off(loaded, off))
    emit(found.to_json(), as_json, lambda: _show_expected(found))
    return 0


def _parts_off(board: Board, off: Sequence[str] | None) -> frozenset[str]:
    """Parts that are off, each known to the board."""
    for refdes in off or ():
        board.index.part(refdes)
    return frozenset(off or ())


def _show_expected(found: Expectation) -> None:
    reading = "OL" if found.ohms is None else ohms_words(found.ohms)
    say(f"{found.a} to {found.b}: {reading}", found.says)
    say(f"{found.a}: {found.where_a}", f"{found.b}: {found.where_b}")
    say(*(f"note: {note}" for note in found.notes))
