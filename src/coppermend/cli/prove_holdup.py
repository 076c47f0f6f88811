"""``coppermend prove holdup``: how long a memory will keep, from a few voltage readings after power-off."""

from __future__ import annotations

from typing import Annotated

import typer

from coppermend.board.cautions import cautions_called
from coppermend.cli.output import JsonFlag, emit, say, say_cautions
from coppermend.cli.tree import examples
from coppermend.errors import InputError
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


@examples("coppermend prove holdup 0:4.70 1:4.66 3:4.58 --least 2.0 --wanted 24 --farads 0.47")
def holdup(
    readings: Annotated[
        list[str], typer.Argument(metavar="HOURS:VOLTS...", help="Hours after power-off, and volts kept.")
    ],
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
    found = hold_up([_reading(text) for text in readings], least, wanted, farads=size, meter_v=meter)

    def show_text() -> None:
        say_cautions(cautions_called("primary cell"))
        if found.leak_a is not None and found.leak_spread_a is not None:
            leak, spread = format_quantity(found.leak_a, "A", 3), format_quantity(found.leak_spread_a, "A", 2)
            say(f"leakage {leak}, give or take {spread}")
        say(found.words)

    emit(found.to_json(), as_json, show_text)
    return 0 if found.verdict == "long enough" else 1
