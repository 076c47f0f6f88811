"""Figure of a non-volatile RAM: how long it lasts under its accesses, and what a year of holding costs."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from coppermend.board.cautions import PRACTICE
from coppermend.quantity import format_quantity
from coppermend.rework.figures.figure import Answer, Choice, Figure, Input, Output, words
from coppermend.rework.figures.hold import YEAR_S
from coppermend.rework.figures.interval import Num
from coppermend.rework.figures.plot import Plot, line_of
from coppermend.rework.records import Check

_KINDS = {
    "ferroelectric": "address latched on the falling enable; reads wear it as well as writes",
    "with-store": "RAM that stores itself into non-volatile cells when the supply falls",
}


def _nonvolatile(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    worn = v["endurance"] / v["accesses_hz"]
    life = np.minimum(worn, v["years"] * YEAR_S)
    return {
        "life_s": life,
        "worn_s": worn,
        "price_per_year": v["price"] / (life / YEAR_S),
        "cycle_margin_s": 1.0 / v["clock_hz"] - v["cycle_s"],
    }


def _nonvolatile_checks(a: Answer) -> tuple[Check, ...]:
    ferro = a.choices["kind"] == "ferroelectric"
    clocked = a.choices["enable"] == "clocked" or not ferro
    worn, wanted = a.out("worn_s").low, a.value("wanted") * YEAR_S
    spare = a.out("cycle_margin_s").low
    return (
        Check(
            "enable falls at every access", a.choices["enable"] if ferro else "not needed", "clocked", clocked,
            "FM1608 data sheets: the address is latched on the falling enable",
            "" if clocked else "Ferroelectric RAM latches its address on the falling enable and fails where the enable "
            "is only a static decode.",
        ),
        Check(
            "busiest byte outlives the wanted time", words(worn, "s"), f"at least {words(wanted, 's')}", worn >= wanted,
            "FM1608 data sheets: 1e10 (2000), 1e12 (2007), later 1e14; reads count too",
        ),
        Check(
            "cycle of the bus", f"{format_quantity(spare, 's')} to spare", "at least 0 s", spare >= 0,
            "FM1608 data sheet: cycle 180 ns; one access a clock",
        ),
    )  # fmt: skip


def _nonvolatile_plot(a: Answer) -> Plot:
    rate = np.geomspace(a.value("accesses") / 100, a.value("accesses") * 100, 150)
    years = np.minimum(a.value("endurance") / rate / YEAR_S, a.value("years"))
    line = line_of("life", np.log10(rate), years)
    return Plot("Life of the busiest byte", "accesses a second, power of ten", "years", (line,), (("wanted", a.value("wanted")),))  # fmt: skip


NONVOLATILE = Figure(
    "nonvolatile-ram",
    "life of a non-volatile RAM",
    "How long a memory without any battery lasts, whether the bus suits it, and what a year costs.",
    (
        Input("endurance", "endurance", "accesses that one byte stands", "", "1T (10G..100T)", above=0),
        Input("accesses", "accesses_hz", "accesses a second to the busiest byte, reads included", "Hz", "5 Hz (1..20)", above=0),
        Input("years", "years", "years for which the contents hold without supply", "", "10 (10..45)", above=0),
        Input("wanted", "wanted_years", "years that are wanted", "", "10", above=0),
        Input("clock", "clock_hz", "clock of the bus", "Hz", "1 MHz", above=0),
        Input("cycle", "cycle_s", "least cycle of the part", "s", "180 ns", above=0),
        Input("price", "price", "price of the part, fitted", "", "16", least=0),
    ),
    (
        Output("life_s", "life", "s"), Output("worn_s", "until the busiest byte is worn", "s"),
        Output("price_per_year", "price per year held", ""), Output("cycle_margin_s", "cycle to spare", "s"),
    ),
    _nonvolatile,
    f"endurance over accesses, at most the years that the contents hold; contents 10 years and more: {PRACTICE}",
    (
        Choice("kind", "kind of memory", _KINDS, "ferroelectric"),
        Choice("enable", "enable", {"clocked": "the clock takes part in it", "static": "address decode alone"}, "clocked"),
    ),
    _nonvolatile_checks,
    plot=_nonvolatile_plot,
)  # fmt: skip
