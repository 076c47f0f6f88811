"""Figures of cells that keep a memory: primary coin cell and rechargeable pack. Supercapacitors: ``hold``."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from coppermend.board.cautions import PRACTICE
from coppermend.quantity import format_quantity
from coppermend.rework.figures.curves import pack_charge
from coppermend.rework.figures.figure import Answer, Choice, Figure, Input, Output
from coppermend.rework.figures.hold import (
    DIODE_INPUT,
    END_INPUT,
    LOAD_INPUT,
    RAIL_INPUT,
    TEMPERATURE_INPUT,
    YEAR_S,
    warmed,
)
from coppermend.rework.figures.interval import Num
from coppermend.rework.figures.plot import Line, Plot
from coppermend.rework.records import Check

CELL_REVERSE_A = 25e-3  # coin cell designer's guide, p. 53: most for CR2016 to CR2477
SHELF_YEARS = 10.0  # common practice, no source


def _coin(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    drawn = warmed(v["load_a"], v["temperature_c"])
    life = np.minimum(v["capacity_ah"] * 3600.0 / drawn, SHELF_YEARS * YEAR_S)
    return {
        "life_s": life,
        "price_per_year": v["price"] / (life / YEAR_S),
        "memory_v": v["cell_v"] - v["diode_v"] - drawn * v["limit_ohm"],
        "reverse_a": np.maximum(v["rail_v"] - v["cell_end_v"], 0.0) / v["limit_ohm"],
        "least_limit_ohm": np.maximum(v["rail_v"] - v["cell_end_v"], 0.0) / CELL_REVERSE_A,
    }


def _coin_checks(a: Answer) -> tuple[Check, ...]:
    charged = a.choices["charge-path"] == "fitted"
    reverse, memory = a.out("reverse_a").high, a.out("memory_v").low
    return (
        Check(
            "no charge path to the cell", "still fitted" if charged else "removed", "removed", not charged,
            "cell makers' pages on UL practice", "A primary lithium cell must never see charge current.",
        ),
        Check(
            "current into the cell if the diode fails", format_quantity(reverse, "A"),
            f"at most {format_quantity(CELL_REVERSE_A, 'A')}", reverse <= CELL_REVERSE_A,
            "coin cell designer's guide, p. 53: CR2016 to CR2477; a second series diode also serves",
        ),
        Check(
            "voltage left for the memory", f"{memory:.2f} V", f"at least {a.value('end'):g} V",
            memory >= a.value("end"), "cell less diode and resistor",
        ),
    )  # fmt: skip


def _coin_plot(a: Answer) -> Plot:
    low, high = (
        np.log10(max(a.spreads["load"].low, 1e-8) / 3),
        np.log10(max(a.spreads["load"].high, 1e-8) * 3),
    )
    load = np.logspace(low, high, 120)
    years = np.minimum(a.value("capacity") / load / 8766, SHELF_YEARS)
    return Plot("Life of the cell", "µA drawn", "years", (Line("life", tuple(load * 1e6), tuple(years)),))


COIN_CELL = Figure(
    "coin-cell",
    "life of a coin cell behind a diode",
    "How long a primary lithium cell keeps a memory, and whether it is safe on this rail.",
    (
        Input("capacity", "capacity_ah", "capacity of the cell", "Ah", "220mAh (190mAh..235mAh)", above=0),
        Input("cell", "cell_v", "voltage of the cell", "V", "3 V (2.8..3.3)", above=0),
        Input("cell-end", "cell_end_v", "voltage of the empty cell", "V", "2 V", least=0),
        RAIL_INPUT, DIODE_INPUT, LOAD_INPUT, END_INPUT,
        Input("limit", "limit_ohm", "resistor in series with the cell", "Ω", "1 kΩ 5%", above=0),
        TEMPERATURE_INPUT,
        Input("price", "price", "price of a new cell, fitted", "", "3", least=0),
    ),
    (
        Output("life_s", "life", "s"), Output("price_per_year", "price per year held", ""),
        Output("memory_v", "voltage at the memory", "V"),
        Output("reverse_a", "current into the cell if the diode fails", "A"),
        Output("least_limit_ohm", "least resistor for 25 mA", "Ω"),
    ),
    _coin,
    f"capacity over current, at most {SHELF_YEARS:g} years of shelf life ({PRACTICE}); CR2032 about 225 mAh to 2 V",
    (Choice("charge-path", "charge resistor of the old battery", {"removed": "taken off", "fitted": "still there"}, "removed"),),
    _coin_checks,
    plot=_coin_plot,
)  # fmt: skip


def _pack(v: Mapping[str, Num], _: Mapping[str, str]) -> dict[str, Num]:
    drawn = warmed(v["load_a"], v["temperature_c"])
    lost = v["capacity_ah"] * v["self_discharge"] / 720.0  # share a month, 720 h, as a current [A]
    charge = np.maximum(v["rail_v"] - v["diode_v"] - v["pack_v"], 0.0) / v["series_ohm"]
    return {
        "hold_up_s": v["capacity_ah"] * 3600.0 / (drawn + lost),
        "charge_a": charge,
        "charge_rate": charge / v["capacity_ah"],
        "full_s": v["capacity_ah"] * 1.4 * 3600.0 / np.maximum(charge, 1e-12),
        "resistor_w": charge * charge * v["series_ohm"],
        "price_per_year": v["price"] / v["life_years"],
    }


def _pack_checks(a: Answer) -> tuple[Check, ...]:
    rate = a.out("charge_rate").high
    return (
        Check(
            "continuous charge current", f"C/{1 / rate:.0f}" if rate > 0 else "none", "at most C/20",
            rate <= 0.05, f"nickel-metal hydride, continuous trickle: {PRACTICE}",
        ),
        Check(
            "the pack is charged at all", format_quantity(a.out("charge_a").low, "A"), "more than nothing",
            a.out("charge_a").low > 0, "lowest rail less diode and pack over the resistor",
        ),
    )  # fmt: skip


BATTERY_PACK = Figure(
    "battery-pack",
    "rechargeable pack in a remote holder",
    "How long a rechargeable pack keeps a memory, and how it is charged from the rail.",
    (
        Input("capacity", "capacity_ah", "capacity of the pack", "Ah", "800mAh 10%", above=0),
        Input("pack", "pack_v", "voltage of the pack", "V", "3.6 V (3.3..4.2)", above=0),
        RAIL_INPUT, DIODE_INPUT,
        Input("series", "series_ohm", "charge resistor", "Ω", "180 Ω 5%", above=0),
        LOAD_INPUT, TEMPERATURE_INPUT,
        Input("self-discharge", "self_discharge", "share lost by itself in a month", "", "0.25 (0.02..0.3)", least=0, most=1),
        Input("price", "price", "price of a new pack, fitted", "", "8", least=0),
        Input("life", "life_years", "years until it is renewed", "", "5 (3..8)", above=0),
    ),
    (
        Output("hold_up_s", "hold-up time", "s"), Output("charge_a", "charge current", "A"),
        Output("charge_rate", "charge current over capacity, per hour", ""), Output("full_s", "time to full charge", "s"),
        Output("resistor_w", "heat in the charge resistor", "W"), Output("price_per_year", "price per year held", ""),
    ),
    _pack,
    f"capacity over load and self-discharge; charge factor 1.4: {PRACTICE}",
    checks=_pack_checks,
    plot=pack_charge,
)  # fmt: skip
