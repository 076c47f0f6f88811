"""Figures of logic: levels and fan-out between families, the pull-up window and the rise it gives."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from coppermend.errors import InputError
from coppermend.quantity import format_quantity
from coppermend.rework.figures.curves import level_bands
from coppermend.rework.figures.figure import Answer, Choice, Figure, Input, Output
from coppermend.rework.figures.interval import Num
from coppermend.rework.figures.plot import Plot, line_of
from coppermend.rework.figures.spread import Spread
from coppermend.rework.records import Check


@dataclass(frozen=True, slots=True)
class Family:
    """Guaranteed levels [V] and currents [A] of a logic family at 5 V, all currents positive.

    ``voh_v`` and ``vol_v`` hold at ``ioh_a`` and ``iol_a``; ``iih_a`` flows into a high input, ``iil_a`` out of a low one.
    """

    name: str
    vih_v: float
    vil_v: float
    voh_v: float
    ioh_a: float
    vol_v: float
    iol_a: float
    iih_a: float
    iil_a: float
    source: str


FAMILIES: Mapping[str, Family] = {
    f.name: f
    for f in (
        Family("74", 2.0, 0.8, 2.4, 0.4e-3, 0.4, 16e-3, 40e-6, 1.6e-3, "SN7400 data sheet (from memory)"),
        Family("74LS", 2.0, 0.8, 2.7, 0.4e-3, 0.5, 8e-3, 20e-6, 0.4e-3, "SN74LS00 data sheet SDLS025B"),
        Family("74HC", 3.15, 1.35, 3.84, 4e-3, 0.33, 4e-3, 1e-6, 1e-6, "74HC family specification at 4.5 V (from memory)"),
        Family("74HCT", 2.0, 0.8, 3.84, 4e-3, 0.33, 4e-3, 1e-6, 1e-6, "CD74HCT147 and MM74HCT00 data sheets"),
        Family("4000", 3.5, 1.5, 4.6, 0.44e-3, 0.4, 0.44e-3, 1e-6, 1e-6, "CD4000B family at 5 V, 25 °C (from memory)"),
        Family("NMOS-RAM", 2.0, 0.8, 2.4, 1e-3, 0.4, 2.1e-3, 10e-6, 10e-6, "NTE2114 data sheet"),
        Family("NMOS", 2.0, 0.8, 2.4, 0.1e-3, 0.4, 1.6e-3, 10e-6, 10e-6, "MC6800/6821 and R6502 data sheets (from memory)"),
    )
}  # fmt: skip


def fan_out(driver: Family, load: Family) -> tuple[int, int]:
    """How many inputs one output drives low and high; the smaller counts.

    Source: IOL/IIL and IOH/IIH, rounded down.

    >>> fan_out(FAMILIES["74"], FAMILIES["74"]), fan_out(FAMILIES["NMOS"], FAMILIES["74"])
    ((10, 10), (1, 2))
    """
    low, high = driver.iol_a / load.iil_a, driver.ioh_a / load.iih_a
    return math.floor(low + 1e-9), math.floor(high + 1e-9)


def _levels(v: Mapping[str, Num], c: Mapping[str, str]) -> dict[str, Num]:
    driver, load = FAMILIES[c["driver"]], FAMILIES[c["load"]]
    low, high = fan_out(driver, load)
    return {
        "high_margin_v": driver.voh_v - load.vih_v,
        "low_margin_v": load.vil_v - driver.vol_v,
        "fan_out_low": float(low),
        "fan_out_high": float(high),
        "fan_out": float(min(low, high)),
        "low_a": v["inputs"] * load.iil_a,
        "high_a": v["inputs"] * load.iih_a,
        "needs_high_v": load.vih_v,
        "needs_low_v": load.vil_v,
    }


def _level_checks(a: Answer) -> tuple[Check, ...]:
    driver, load = FAMILIES[a.choices["driver"]], FAMILIES[a.choices["load"]]
    high, low, most = (a.out(n).nominal for n in ("high_margin_v", "low_margin_v", "fan_out"))
    trap = ""
    if high < 0:
        trap = f"{load.name} inputs are not safe behind {driver.name} outputs: use an HCT part, or a pull-up to the rail."
    sources = f"{driver.source}; {load.source}"
    return (
        Check("high level", f"{driver.voh_v:g} V", f"at least {load.vih_v:g} V", high >= 0, sources, trap),
        Check("low level", f"{driver.vol_v:g} V", f"at most {load.vil_v:g} V", low >= 0, sources),
        Check(
            "inputs on the output",
            f"{a.value('inputs'):g}",
            f"at most {most:g}",
            a.value("inputs") <= most,
            sources,
        ),
    )


_NAMES = {name: family.source for name, family in FAMILIES.items()}
LEVELS = Figure(
    "levels",
    "levels and fan-out between logic families",
    "Whether one family's outputs are safe at another's inputs at 5 V, and how many of them.",
    (Input("inputs", "inputs", "inputs on the output", "", "1", least=0),),
    (
        Output("high_margin_v", "noise margin high", "V"), Output("low_margin_v", "noise margin low", "V"),
        Output("fan_out", "fan-out", ""), Output("fan_out_low", "fan-out low", ""), Output("fan_out_high", "fan-out high", ""),
        Output("low_a", "current of all inputs, low", "A"), Output("high_a", "current of all inputs, high", "A"),
        Output("needs_high_v", "input needs for high", "V"), Output("needs_low_v", "input needs for low", "V"),
    ),
    _levels,
    "VOH − VIH, VIL − VOL; IOL/IIL and IOH/IIH",
    (Choice("driver", "output", _NAMES, "74LS"), Choice("load", "inputs", _NAMES, "74LS")),
    _level_checks,
    plot=level_bands,
)  # fmt: skip


def pull_up_window_ohm(
    *,
    low_v: Num,
    high_v: Num,
    wanted_high_v: Num,
    low_level_v: Num,
    sink_a: Num,
    leak_a: Num,
    low_load_a: Num,
    high_load_a: Num,
) -> tuple[Num, Num]:
    """Least and greatest pull-up of a wired net.

    Args:
        low_v: Lowest rail [V].
        high_v: Highest rail [V].
        wanted_high_v: Level that high must reach [V].
        low_level_v: Level that low must keep [V].
        sink_a: What the weakest output sinks at that level [A].
        leak_a: Leakage of all outputs when off [A].
        low_load_a: Current out of all inputs when low [A].
        high_load_a: Current into all inputs when high [A].

    Returns:
        Least [Ω], infinite when the inputs alone take all the sink current; greatest [Ω].

    Source: DM74LS12 data sheet: (Vcc,max − VOL)/(IOL − ΣIIL) and (Vcc,min − VOH)/(ΣIOH + ΣIIH).

    >>> [round(float(r), 1) for r in pull_up_window_ohm(
    ...     low_v=4.75, high_v=5.25, wanted_high_v=2.4, low_level_v=0.4, sink_a=8e-3, leak_a=200e-6,
    ...     low_load_a=1.2e-3, high_load_a=60e-6)]
    [713.2, 9038.5]
    """  # fmt: skip
    spare = np.maximum(sink_a - low_load_a, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return (high_v - low_level_v) / spare, (low_v - wanted_high_v) / (leak_a + high_load_a)


def _pull_up(v: Mapping[str, Num], c: Mapping[str, str]) -> dict[str, Num]:
    load = FAMILIES[c["load"]]
    least, most = pull_up_window_ohm(
        low_v=v["rail_v"], high_v=v["rail_v"], wanted_high_v=v["high_v"], low_level_v=v["low_v"],
        sink_a=v["sink_a"], leak_a=v["outputs"] * v["leak_a"],
        low_load_a=v["inputs"] * load.iil_a, high_load_a=v["inputs"] * load.iih_a,
    )  # fmt: skip
    constant = v["pull_up_ohm"] * v["net_f"]
    leaking = v["outputs"] * v["leak_a"] + v["inputs"] * load.iih_a
    return {
        "least_ohm": least,
        "most_ohm": most,
        "rise_s": constant * float(np.log(9.0)),
        "to_high_s": constant * np.log((v["rail_v"] - v["low_v"]) / (v["rail_v"] - v["high_v"])),
        "high_level_v": v["rail_v"] - v["pull_up_ohm"] * leaking,
        "low_a": (v["rail_v"] - v["low_v"]) / v["pull_up_ohm"] + v["inputs"] * load.iil_a,
    }


def _pull_up_checks(a: Answer) -> tuple[Check, ...]:
    least, most, chosen = a.out("least_ohm").high, a.out("most_ohm").low, a.spreads["pull-up"]
    source = "DM74LS12 data sheet gives both equations"
    return (
        Check(
            "pull-up not too small",
            format_quantity(chosen.low, "Ω"),
            f"at least {_ohm(least)}",
            chosen.low >= least,
            source,
        ),
        Check(
            "pull-up not too large",
            format_quantity(chosen.high, "Ω"),
            f"at most {_ohm(most)}",
            chosen.high <= most,
            source,
        ),
    )


def _ohm(value: float) -> str:
    return (
        "no resistor: the inputs alone overload the output"
        if math.isinf(value)
        else format_quantity(value, "Ω")
    )


def _high_below_rail(spreads: Mapping[str, Spread], _: Mapping[str, str]) -> None:
    if spreads["high"].high >= spreads["rail"].low:
        raise InputError(
            f"high level of {spreads['high'].high:g} V is not below the rail of {spreads['rail'].low:g} V",
            expected="a level that the rail reaches",
        )
    if spreads["low"].high >= spreads["high"].low:
        raise InputError("low level is not below the high level", expected="a lower low level")


def _pull_up_plot(a: Answer) -> Plot:
    constant = a.value("pull-up") * a.value("net")
    time = np.linspace(0, 5 * constant, 250)
    rail, low = a.value("rail"), a.value("low")
    line = line_of("net", time * 1e9, rail - (rail - low) * np.exp(-time / constant))
    return Plot("Rise of the net", "ns", "V", (line,), (("high", a.value("high")),))


PULL_UP = Figure(
    "pull-up",
    "pull-up of a wired net",
    "The window for a pull-up resistor on open-collector or open-drain outputs, and the rise it gives.",
    (
        Input("pull-up", "pull_up_ohm", "pull-up resistor", "Ω", "3.3 kΩ 5%", above=0),
        Input("rail", "rail_v", "supply rail", "V", "5 V 5%", above=0),
        Input("outputs", "outputs", "outputs on the net", "", "2", least=1),
        Input("inputs", "inputs", "inputs on the net", "", "3", least=0),
        Input("sink", "sink_a", "what the weakest output sinks", "A", "8 mA", above=0),
        Input("leak", "leak_a", "leakage of one output when off", "A", "100 uA", least=0),
        Input("low", "low_v", "low level", "V", "0.4 V", least=0),
        Input("high", "high_v", "high level wanted", "V", "2.4 V", above=0),
        Input("net", "net_f", "capacitance of the net", "F", "100 pF", above=0),
    ),
    (
        Output("least_ohm", "least pull-up", "Ω"), Output("most_ohm", "greatest pull-up", "Ω"),
        Output("rise_s", "rise from 10 to 90 %", "s"), Output("to_high_s", "rise from low to high level", "s"),
        Output("high_level_v", "level when high", "V"), Output("low_a", "current into the output when low", "A"),
    ),
    _pull_up,
    "DM74LS12 data sheet; rise RC·ln 9",
    (Choice("load", "inputs", _NAMES, "74LS"),),
    _pull_up_checks,
    _high_below_rail,
    _pull_up_plot,
)  # fmt: skip
