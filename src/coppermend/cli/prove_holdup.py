"""``coppermend prove holdup``: how long a memory will keep, from a few voltage readings after power-off."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.cautions import cautions_called
from coppermend.cli.output import JsonFlag, emit, say, say_cautions
from coppermend.cli.record import DataOption, state_of
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.job.store import Store
from coppermend.proving.holdup import METER_V, Decay, hold_up
from coppermend.quantity import format_quantity, parse_quantity


def _reading(text: str) -> Decay:
    hours, colon, volts = text.partition(":")
    try:
        if not colon:
            raise ValueError
        return Decay(float(hours), parse_quantity(volts, "V"))
    except (ValueError, InputError):
        raise InputError(f"{text!r:.40} is no reading", expected="HOURS:VOLTS such as 0.5:4.62") from None


def _recorded(data: Path, job: str, cell: str) -> list[Decay]:
    """The readings on a job's record of one cell."""
    with Store.open(data) as store:
        lines = state_of(store, job).decays
    cells = sorted({line.refdes for line in lines})
    wanted = cell or (cells[0] if len(cells) == 1 else "")
    if not cells:
        raise InputError(f"job {job} has no voltage on record", expected="entries of kind decay")
    if wanted not in cells:
        raise InputError("which cell is not told", expected=f"--cell with one of {', '.join(cells)}")
    return [Decay(line.hours, line.volts) for line in lines if line.refdes == wanted]


@examples(
    "coppermend prove holdup 0:4.70 1:4.66 3:4.58 --least 2.0 --wanted 24 --farads 0.47",
    "coppermend prove holdup --job 26-0042-U --wanted 24",
)
def holdup(
    data: DataOption,
    readings: Annotated[
        list[str] | None,
        typer.Argument(metavar="HOURS:VOLTS...", help="Hours after power-off, and volts kept."),
    ] = None,
    job: Annotated[
        str, typer.Option("--job", metavar="JOB", help="Take the readings on this job's record.")
    ] = "",
    cell: Annotated[
        str,
        typer.Option("--cell", metavar="REFDES", help="What keeps the memory, where the job has several."),
    ] = "",
    least: Annotated[float, typer.Option("--least", help="Volts down to which the memory keeps.")] = 2.0,
    wanted: Annotated[float, typer.Option("--wanted", help="Hours that it shall keep.")] = 24.0,
    farads: Annotated[str, typer.Option("--farads", help="Capacitance, such as 0.47, for the leakage.")] = "",
    meter: Annotated[float, typer.Option("--meter", help="Spread of one reading in volts.")] = METER_V,
    as_json: JsonFlag = False,
) -> int:
    """Predict how long a memory will keep, from two or three readings, and say if the wait can be cut short.

    Charge for some hours first: a freshly charged capacitor sags while its dielectric soaks. Exit status 1 unless
    the answer is long enough.
    """
    size = parse_quantity(farads, "F") if farads else None
    if bool(readings) == bool(job):
        raise InputError("readings come from here or from a job", expected="either HOURS:VOLTS or --job")
    made = _recorded(data, job, cell) if job else [_reading(text) for text in readings or ()]
    found = hold_up(made, least, wanted, farads=size, meter_v=meter)

    def show_text() -> None:
        say_cautions(cautions_called("primary cell"))
        if found.leak_a is not None and found.leak_spread_a is not None:
            leak, spread = format_quantity(found.leak_a, "A", 3), format_quantity(found.leak_spread_a, "A", 2)
            say(f"leakage {leak}, give or take {spread}")
        say(found.words)

    emit(found.to_json(), as_json, show_text)
    return 0 if found.verdict == "long enough" else 1
