"""``coppermend isolate BOARD`` and ``isolate simulate``: suspects and the next measurement; trials on planted faults."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.atrisk import Touch
from coppermend.board.cautions import cautions_for
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.board.readers.rows import bench_rows
from coppermend.cli.inputs import BoardArgument, TypesOption, board_at, library_with, read_area, read_text
from coppermend.cli.output import JsonFlag, counted, emit, say, say_cautions, table
from coppermend.cli.tree import examples
from coppermend.cli.waiting import shown_on_terminal
from coppermend.damage.area import parse_area
from coppermend.damage.touch import touch
from coppermend.errors import InputError
from coppermend.isolate.choice import Tools
from coppermend.isolate.isolation import Isolation
from coppermend.isolate.observations import parse_observations
from coppermend.isolate.trial import Report, check_asked, trial_document, trial_on
from coppermend.job.shop import tools_named
from coppermend.underway import tell

_SHOWN = 8
_STEPS = 4
DamageOption = Annotated[
    Path | None,
    typer.Option("--damage", metavar="FILE", help="Damaged area: WKT, GeoJSON or a damage map (PNG)."),
]
ObservationsOption = Annotated[
    Path | None,
    typer.Option(
        "--readings", metavar="FILE", help="What was seen so far: CSV point,kind,value[,condition]."
    ),
]


HistoryOption = Annotated[
    Path | None,
    typer.Option(
        "--history",
        metavar="FILE",
        help="Faults of boards of this type so far: CSV refdes,times (or net,times).",
    ),
]
ReworkedOption = Annotated[
    str, typer.Option("--reworked", metavar="NAMES", help="Parts and nets just worked on, such as U3,A5.")
]

ToolsOption = Annotated[
    str | None,
    typer.Option(
        "--tools",
        metavar="NAMES",
        help="What is at the bench, such as 'multimeter, logic probe'; all tools when left out.",
    ),
]


@examples(
    "coppermend isolate suspects boards/control --readings seen.csv",
    "coppermend isolate boards/control --damage leak.geojson --readings seen.csv --json",
)
def suspects(
    board: BoardArgument, damage: DamageOption = None, readings: ObservationsOption = None,
    history: HistoryOption = None, reworked: ReworkedOption = "", tools: ToolsOption = None,
    types: TypesOption = None, as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Rank what is wrong from the circuit and everything seen so far, and name the most telling next measurement.

    The word suspects may be left out. Keep what you see as rows point,kind,value in a CSV file: U3.9,logic,low or +5V,volts,4.98 or ,symptom,no boot.
    """
    with shown_on_terminal(as_json):
        tell(0, _STEPS, "Reading the board")
        loaded, library = board_at(board), library_with(types)
        known = _touch(loaded, library, damage), _history(loaded, history), _names(loaded, reworked)
        tell(1, _STEPS, "Following the signals")
        search = Isolation(
            loaded, library, touch=known[0], comebacks=known[1], reworked=known[2],
            tools=None if tools is None else _owned(tools),
        )  # fmt: skip
        if readings is not None:
            text = read_text(readings, "readings (CSV point,kind,value)")
            search.add(*parse_observations(text, loaded, str(readings)))
        tell(2, _STEPS, "Choosing what to measure next")
        search.decision()
        tell(3, _STEPS, "Telling what each reading changed")
        document = search.to_json()
    emit(document, as_json, lambda: _show(search))
    return 0


def _touch(board: Board, library: PartLibrary, damage: Path | None) -> Touch | None:
    if damage is None:
        return None
    return touch(board, library, parse_area(read_area(damage), board, str(damage)))


def _history(board: Board, path: Path | None) -> dict[str, int]:
    """How often each part or net was the fault before."""
    if path is None:
        return {}
    text, found = read_text(path, "history (CSV refdes,times)"), dict[str, int]()
    for cells, line in bench_rows(text, ["refdes", "times"], "refdes,times such as U3,2", str(path)):
        if len(cells) != 2 or not cells[1].isascii() or not cells[1].isdigit() or len(cells[1]) > 6:
            raise InputError(
                f"{','.join(cells)!r:.80} is no history",
                expected="refdes,times such as U3,2",
                where=str(path),
                line=line,
            )
        _check_name(board, cells[0], where=str(path), line=line)
        found[cells[0]] = found.get(cells[0], 0) + int(cells[1])
    return found


def _owned(text: str) -> Tools:
    try:
        return tools_named(text)
    except InputError as error:
        raise error.at("--tools") from None


def _names(board: Board, text: str) -> tuple[str, ...]:
    names = tuple(name.strip() for name in text.split(",") if name.strip())
    for name in names:
        _check_name(board, name, where="--reworked")
    return names


def _check_name(board: Board, name: str, where: str, line: int | None = None) -> None:
    if name not in board.index.parts and name not in board.nets:
        raise InputError(
            f"{board.name} has no part or net {name!r:.60}",
            expected="a refdes or a net",
            where=where,
            line=line,
        )


def _show(search: Isolation) -> None:
    say_cautions(cautions_for("isolate"))
    rows = [(s.name, s.kind, f"{s.probability:.1%}", s.what) for s in search.suspects(_SHOWN, least=0.002)]
    table("suspects", ("what", "kind", "likely", "how"), rows)
    for effect in search.effects_of_evidence():
        if effect.contradicts:
            say(f"contradicts the rest: {effect.seen}; measure it again")
    if search.repaired:
        say(
            f"repaired: {', '.join(unit.name for unit in search.repaired)}; what was bad before counts no longer"
        )
    for pair in search.pairs(3):
        say(f"perhaps two faults: {pair.words[0]} and {pair.words[1]} ({pair.probability:.0%})")
    say(*(f"note: {note}" for note in search.notes()))
    decision = search.decision()
    if decision != "measure":
        say(_CONCLUSIONS[decision].format(*(s.words for s in search.suspects(1))))
        return
    for number, step in enumerate(search.propose(3), 1):
        how = f" ({step.condition})" if step.condition != "running" else ""
        say(
            f"{number}  {step.kind} at {step.point}{how}: {step.gain_bits:.2f} bit, about {step.cost_s:.0f} s"
        )
        say(*filter(None, (step.why, f"expect {step.expect}" if step.expect else "")), indent=3)
        say(*(f"caution: {caution}" for caution in step.cautions), indent=3)
    say("next: make the first, add a row point,kind,value to the readings, and ask again")


_CONCLUSIONS = {
    "isolated": "isolated: {}; repair it, prove it, and take the readings again",
    "repair": "repair {} now: it costs less than measuring on; then look again",
    "stuck": "no measurement that this program knows tells more; look, swap or compare with a sound board",
}


@examples("coppermend isolate simulate boards/control --faults 50 --seed 1")
def simulate(
    board: BoardArgument,
    faults: Annotated[int, typer.Option("--faults", help="How many planted faults to search for.")] = 20,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Seed of all chance.")] = 0,
    types: TypesOption = None, as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Plant faults, let a signal simulation answer every measurement, and count measurements to isolation.

    The simulation knows nothing of the tables that the search believes in; see docs/isolate.md.
    """
    try:
        check_asked(faults, seed)
    except InputError as error:
        raise error.at("--faults") from None
    loaded, library = board_at(board), library_with(types)
    with shown_on_terminal(as_json):
        report = trial_on(loaded, library, faults, seed)
    emit(trial_document(loaded, seed, report), as_json, lambda: _show_report(report))
    return 0


def _show_report(report: Report) -> None:
    rows = [
        ("this search", f"{report.mean:.2f}"), ("half-split by signal order", f"{report.half_split:.2f}"),
        ("at random", f"{report.random:.2f}"),
        ("this search, looks of many outcomes counted for what they tell", f"{report.yes_no:.2f}"), ("entropy bound", f"{report.bound_bits:.2f}"),
    ]  # fmt: skip
    table("measurements to isolation, on average", ("how", "measurements"), rows)
    say(
        f"true fault among the first three at the stop: {report.top3:.1%} of {counted(report.cases, 'fault')}"
    )
