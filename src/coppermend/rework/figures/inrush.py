"""Figure of switching on into a retention capacitor: what the regulator must give, and how the rail comes up."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from coppermend.board.cautions import PRACTICE
from coppermend.errors import InputError
from coppermend.quantity import format_quantity
from coppermend.rework.figures.figure import Answer, Figure, Input, Output, words
from coppermend.rework.figures.hold import DIODE_INPUT, RAIL_INPUT
from coppermend.rework.figures.interval import Num
from coppermend.rework.figures.plot import Plot, line_of
from coppermend.rework.figures.spread import Spread
from coppermend.rework.records import Check

_LN_100 = 4.605170185988091  # ln 100: time constants to 99 %


def rail_rise_s(rail_v: Num, limit_a: Num, load_a: Num, bulk_f: Num, diode_v: Num, series_ohm: Num) -> Num:  # noqa: PLR0917  (six physical quantities, always in this order)
    """Time in which a regulator in its current limit brings the rail up, for floats, arrays and intervals alike.

    Args:
        rail_v: Voltage that is reached [V].
        limit_a: Current limit of the regulator [A].
        load_a: Load of the board, taken as constant from the start (the worst case) [A].
        bulk_f: Capacitance straight on the rail [F].
        diode_v: Drop of the diode in front of the retention capacitor [V].
        series_ohm: Charge resistor and the capacitor's own resistance [Ω].

    Returns:
        Time [s]; infinite when the limit is never left.

    Source: C·dV/dt = Ilim − Iload up to the diode's drop, then C·dV/dt = Ilim − Iload − (V − Vd)/R; the retention
    capacitor itself stays near 0 V meanwhile, which is the worst case.

    >>> round(float(rail_rise_s(5.0, 1.0, 0.5, 1000e-6, 0.6, 175.0)) * 1e3, 3)
    10.229
    """
    spare = np.maximum(limit_a - load_a, 1e-12)
    over = np.maximum(rail_v - diode_v, 0.0)
    with np.errstate(divide="ignore"):
        slower = -series_ohm * bulk_f * np.log1p(-np.minimum(over / (spare * series_ohm), 1.0))
    return bulk_f * np.minimum(diode_v, rail_v) / spare + slower


def _inrush(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    series = v["series_ohm"] + v["esr_ohm"]
    over = np.maximum(v["rail_v"] - v["diode_v"], 0.0)
    charge = over / series
    return {
        "charge_peak_a": charge,
        "bare_peak_a": over / v["esr_ohm"],
        "peak_a": v["load_a"] + charge,
        "spare_a": v["limit_a"] - v["load_a"] - charge,
        "rise_s": rail_rise_s(v["rail_v"], v["limit_a"], v["load_a"], v["bulk_f"], v["diode_v"], series),
        "charge_99_s": series * v["capacitance_f"] * _LN_100,
        "regulator_w": (v["input_v"] - v["rail_v"]) * (v["load_a"] + charge),
    }


def _inrush_checks(a: Answer) -> tuple[Check, ...]:
    spare, rise, wanted = a.out("spare_a"), a.out("rise_s").high, a.value("within")
    bare, limit = a.out("bare_peak_a").high, a.spreads["limit"].low
    return (
        Check(
            "regulator stays out of its current limit", f"{format_quantity(spare.low, 'A')} to spare", "at least 0 A",
            spare.low >= 0, "limit less load less charge current, worst case",
        ),
        Check(
            "rail is up before the reset ends", words(rise, "s"), f"at most {words(wanted, 's')}", rise <= wanted,
            "constant-current charge of the bulk capacitor beside the charge resistor",
        ),
        Check(
            "charge current without the resistor", format_quantity(bare, "A"), f"at most {format_quantity(limit, 'A')}",
            bare <= limit, f"the capacitor's own resistance alone: {PRACTICE}",
            "Without a charge resistor only the capacitor's own resistance limits the inrush.", must=False,
        ),
    )  # fmt: skip


def _inrush_plot(a: Answer) -> Plot:
    series = a.value("series") + a.value("esr")
    time = np.linspace(0.0, series * a.value("capacitance") * _LN_100, 200)
    current = a.value("load") + a.out("charge_peak_a").nominal * np.exp(
        -time / (series * a.value("capacitance"))
    )
    line = line_of("regulator", time, current)
    return Plot("Current after switching on", "s", "A", (line,), (("limit", a.value("limit")), ("load", a.value("load"))))  # fmt: skip


def _input_above_rail(spreads: Mapping[str, Spread], _: Mapping[str, str]) -> None:
    if spreads["input"].low <= spreads["rail"].high:
        raise InputError(
            f"input of {spreads['input'].low:g} V is not above the rail of {spreads['rail'].high:g} V",
            expected="a higher input of the regulator",
        )


INRUSH = Figure(
    "inrush",
    "inrush of a regulator into a retention capacitor",
    "Whether the regulator carries the load and the charge current at switch-on, and how soon the rail is up.",
    (
        RAIL_INPUT,
        Input("input", "input_v", "voltage before the regulator", "V", "9 V (8..13)", above=0),
        Input("limit", "limit_a", "current limit of the regulator", "A", "1.5 A (1..2.2)", above=0),
        Input("load", "load_a", "load of the board", "A", "0.8 A 20%", least=0),
        Input("bulk", "bulk_f", "capacitance straight on the rail", "F", "470 uF 20%", above=0),
        Input("capacitance", "capacitance_f", "retention capacitor", "F", "0.47 F -20+80%", above=0),
        Input("series", "series_ohm", "charge resistor", "Ω", "180 Ω 5%", least=0),
        Input("esr", "esr_ohm", "series resistance of the capacitor", "Ω", "75 Ω (30..150)", above=0),
        DIODE_INPUT,
        Input("within", "within_s", "shortest time-out of the reset", "s", "140 ms", above=0),
    ),
    (
        Output("peak_a", "current at the start", "A"), Output("charge_peak_a", "of it into the retention capacitor", "A"),
        Output("bare_peak_a", "the same without a charge resistor", "A"), Output("spare_a", "below the limit", "A"),
        Output("rise_s", "rise of the rail, in the limit", "s"), Output("charge_99_s", "time to 99 % of the charge", "s"),
        Output("regulator_w", "heat in the regulator at the start", "W"),
    ),
    _inrush,
    "I = (V − Vd)/(R + ESR); rise from C·dV/dt = Ilim − Iload − (V − Vd)/R; time-out 140 ms: MAX809 data sheet",
    checks=_inrush_checks,
    refuse=_input_above_rail,
    plot=_inrush_plot,
)  # fmt: skip
