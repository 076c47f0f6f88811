"""A rail that rises, dips or sags, and what an RC reset and a supervisor make of it, stepped through time."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from coppermend.board.same import Same
from coppermend.errors import InputError
from coppermend.rework.figures.figure import Answer, Choice, Figure, Input, Output
from coppermend.rework.figures.interval import Num
from coppermend.rework.figures.plot import Line, Plot, line_of
from coppermend.rework.figures.reset import GRADES, SupervisorGrade, cpu_reset
from coppermend.rework.figures.spread import Spread
from coppermend.rework.records import Check

_STEPS = 6000


@dataclass(frozen=True, slots=True)
class RailRun:
    """What happened over time: arrays of equal length. Resets are True while the CPU is held.

    ``rail_v`` and ``capacitor_v`` [V], ``time_s`` [s]; ``unsafe`` is True where the rail is below the CPU's least
    voltage, for each sample.
    """

    time_s: np.ndarray
    rail_v: np.ndarray
    capacitor_v: np.ndarray
    rc_reset: np.ndarray
    supervisor_reset: np.ndarray
    unsafe: np.ndarray

    def unguarded_s(self, reset: np.ndarray) -> float:
        """Time in which the CPU ran on too low a rail after it had once been released [s]."""
        step_s = float(self.time_s[1] - self.time_s[0])
        return float(np.count_nonzero(self.unsafe & ~reset)) * step_s

    def released_s(self, reset: np.ndarray) -> float:
        """When the reset was let go for the last time [s]; infinite if it still holds at the end."""
        if reset[-1]:
            return math.inf
        held = np.flatnonzero(reset)
        return float(self.time_s[held[-1] + 1]) if len(held) else 0.0


def rail_profile(
    kind: str, rail_v: float, rise_s: float, settle_s: float, *, dip_v: float, dip_s: float
) -> list[tuple[float, float]]:
    """The corners (time [s], voltage [V]) of a rail: "power-up", "dip" after it, or "brown-out" that stays.

    Args:
        kind: Which of the three.
        rail_v: Full voltage [V].
        rise_s: Rise from 0 to full [s].
        settle_s: How long it stays full, and is looked at after a dip [s].
        dip_v: Voltage in a dip or brown-out [V].
        dip_s: Length of a dip [s].

    >>> rail_profile("power-up", 5.0, 0.5, 1.0, dip_v=4.0, dip_s=0.02)
    [(0.0, 0.0), (0.5, 5.0), (1.5, 5.0)]
    """
    at, edge = rise_s + settle_s, min(dip_s / 10, 1e-3)
    corners = [(0.0, 0.0), (rise_s, rail_v), (at, rail_v)]
    if kind == "power-up":
        return corners
    back = at + edge + dip_s
    corners += [(at + edge, dip_v), (back, dip_v)]
    if kind == "brown-out":
        return [*corners, (back + settle_s, dip_v)]
    return [*corners, (back + edge, rail_v), (back + edge + settle_s, rail_v)]


def run_rail(
    corners: list[tuple[float, float]],
    *,
    resistance_ohm: float,
    capacitance_f: float,
    input_threshold_v: float,
    trip_v: float,
    time_out_s: float,
    cpu_min_v: float,
    diode_v: float | None = 0.6,
) -> RailRun:
    """Run a rail against both kinds of reset.

    Args:
        corners: (time [s], voltage [V]) of the rail, ascending in time.
        resistance_ohm: Resistor of the RC reset [Ω].
        capacitance_f: Capacitor of the RC reset [F].
        input_threshold_v: Above this the RC lets the CPU go [V].
        trip_v: Below this the supervisor holds the CPU [V].
        time_out_s: How long the supervisor holds on after the rail is back [s].
        cpu_min_v: Least voltage at which the CPU is sure to work [V].
        diode_v: Drop of the diode that discharges the capacitor into the rail [V]; None when there is none.

    Returns:
        6,001 samples.

    Source: dV/dt = (rail − V)/RC with the rail linear over a step (exact); ideal comparator and timer.
    """
    time = np.linspace(corners[0][0], corners[-1][0], _STEPS + 1)
    rail = np.interp(time, [t for t, _ in corners], [v for _, v in corners])
    return RailRun(
        time, rail,
        capacitor := _charge(time, rail, resistance_ohm * capacitance_f, diode_v),
        capacitor < input_threshold_v,
        _supervised(time, rail, trip_v, time_out_s),
        (rail < cpu_min_v) & (rail > 1.0),  # below 1 V nothing runs, and no reset output is valid
    )  # fmt: skip


def _charge(time: np.ndarray, rail: np.ndarray, constant_s: float, diode_v: float | None) -> np.ndarray:
    step = float(time[1] - time[0])
    kept = math.exp(-step / constant_s)
    share = -math.expm1(-step / constant_s) * constant_s / step  # of the slope, for a linear rail
    volts, found = 0.0, [0.0]
    values = rail.tolist()
    for before, after in itertools.pairwise(values):
        volts = after + (volts - before) * kept - (after - before) * share
        if diode_v is not None:
            volts = min(volts, after + diode_v)
        found.append(volts)
    return np.array(found)


def _supervised(time: np.ndarray, rail: np.ndarray, trip_v: float, time_out_s: float) -> np.ndarray:
    low = rail < trip_v
    last_low = np.maximum.accumulate(np.where(low, time, -np.inf))
    return np.asarray(low | (time - last_low < time_out_s))


_GRADES: Mapping[str, SupervisorGrade] = dict(zip(("4.63", "5%", "4.38", "10%", "15%"), GRADES, strict=True))
GRADE_NAMES: Mapping[SupervisorGrade, str] = {grade: name for name, grade in _GRADES.items()}
RESET_CPUS = {"6502": "low for 2 cycles", "6800": "low for 8 cycles", "6802": "8 cycles and 20 ms for the crystal",
         "Z80": "low for 3 cycles", "8080": "low for 3 cycles"}  # fmt: skip


def _reset(v: Mapping[str, Num], c: Mapping[str, str]) -> dict[str, Num]:
    cpu = cpu_reset(c["cpu"])
    return {
        "healthy_margin_v": v["rail_v"] - v["trip_v"],
        "uncovered_v": np.maximum(cpu.supply_min_v - v["trip_v"], 0.0),
        "needed_s": cpu.cycles / v["clock_hz"] + cpu.start_up_s + v["oscillator_s"] + v["rise_s"],
        "time_margin_s": v["time_out_s"]
        - cpu.cycles / v["clock_hz"]
        - cpu.start_up_s
        - v["oscillator_s"]
        - v["rise_s"],
        "rc_delay_s": -v["resistance_ohm"] * v["capacitance_f"] * np.log1p(-v["threshold_v"] / v["rail_v"]),
    }


def _refuse(spreads: Mapping[str, Spread], _: Mapping[str, str]) -> None:
    for key in ("threshold", "trip"):
        if spreads[key].nominal >= spreads["rail"].nominal:
            raise InputError(
                f"{key} of {spreads[key].nominal:g} V is not below the rail of {spreads['rail'].nominal:g} V",
                expected="a threshold that the rail reaches",
            )
    if spreads["threshold"].high >= spreads["rail"].low:
        raise InputError(
            f"threshold of up to {spreads['threshold'].high:g} V is not below the rail of {spreads['rail'].low:g} V",
            expected="a threshold that the rail reaches",
        )


def run_of(a: Answer) -> RailRun:
    """The run of an answer of the figure ``reset`` at nominal values; that of the last ones is remembered."""
    return _run_of(Same(a))


@lru_cache(maxsize=8)
def _run_of(answer: Same[Answer]) -> RailRun:
    a = answer.thing
    settle_s = 1.3 * max(a.value("time-out"), a.out("rc_delay_s").nominal)
    corners = rail_profile(
        a.choices["profile"], a.value("rail"), a.value("rise"), settle_s,
        dip_v=a.value("dip"), dip_s=a.value("dip-time"),
    )  # fmt: skip
    return run_rail(
        corners,
        resistance_ohm=a.value("resistance"), capacitance_f=a.value("capacitance"),
        input_threshold_v=a.value("threshold"), trip_v=a.value("trip"), time_out_s=a.value("time-out"),
        cpu_min_v=cpu_reset(a.choices["cpu"]).supply_min_v,
    )  # fmt: skip


def _simulated(a: Answer) -> Mapping[str, tuple[str, float, str]]:
    run = run_of(a)
    return {
        "supervisor_release_s": ("supervisor lets the CPU go", run.released_s(run.supervisor_reset), "s"),
        "rc_release_s": ("RC lets the CPU go", run.released_s(run.rc_reset), "s"),
        "supervisor_unguarded_s": ("CPU runs on too low a rail, supervisor", run.unguarded_s(run.supervisor_reset), "s"),
        "rc_unguarded_s": ("CPU runs on too low a rail, RC", run.unguarded_s(run.rc_reset), "s"),
    }  # fmt: skip


def _checks(a: Answer) -> tuple[Check, ...]:
    cpu = cpu_reset(a.choices["cpu"])
    margin, gap, spare = a.out("healthy_margin_v").low, a.out("uncovered_v").high, a.out("time_margin_s").low
    grade = a.choices["grade"]
    source = _GRADES[grade].source if grade in _GRADES else "as given"
    active = "low" if a.choices["output"] != "high" else "high"
    wanted = "high" if a.choices["cpu"] == "8080" else "low"
    return (
        Check("a healthy rail never trips it", f"{margin:.3f} V to spare", "at least 0 V", margin >= 0, source),
        Check(
            "brown-out: reset whenever the CPU's supply is too low", f"{gap:.3f} V not covered", "0 V", gap <= 0,
            f"{source}; {cpu.source}",
            "" if gap <= 0 else "No standard supervisor grade holds reset all the way up to 4.75 V on a 5 % rail.",
            must=False,
        ),
        Check(
            "reset lasts long enough", f"{spare * 1e3:.1f} ms to spare", "at least 0 ms", spare >= 0,
            f"time-out less rail rise, oscillator start and cycles; {cpu.source}",
        ),
        Check(
            "polarity", f"output active {active}", f"{a.choices['cpu']} needs active {wanted}", active == wanted,
            "data sheets of the CPU classes",
        ),
        Check(
            "output may share its net", a.choices["output"], "open-drain when anything else pulls the net",
            a.choices["output"] == "open-drain" or a.choices["shared"] == "no",
            "two push-pull outputs on one net fight", "An open-drain output needs a pull-up: see figure pull-up.",
        ),
    )  # fmt: skip


def _plot(a: Answer) -> Plot:
    run = run_of(a)
    ms = run.time_s * 1e3
    held: Line = line_of(
        "supervisor output", ms, np.where(run.supervisor_reset, 0.0, np.minimum(run.rail_v, 5.0))
    )
    rc = line_of("RC", ms, run.capacitor_v, "dashed")
    levels = (("trip", a.value("trip")), ("CPU works", cpu_reset(a.choices["cpu"]).supply_min_v))
    return Plot("Reset", "ms", "V", (line_of("rail", ms, run.rail_v), held, rc), levels)


def _grade_inputs(choices: Mapping[str, str]) -> Mapping[str, str]:
    grade = _GRADES.get(choices["grade"])
    return {"trip": f"{grade.typical_v}V ({grade.min_v}..{grade.max_v})"} if grade else {}


RESET = Figure(
    "reset",
    "reset supervision of a rail",
    "Whether a supervisor's threshold and time-out fit rail and CPU, beside an RC reset, with a rail that ramps or dips.",
    (
        Input("rail", "rail_v", "supply rail", "V", "5 V 5%", above=0),
        Input("trip", "trip_v", "threshold of the supervisor", "V", "4.63 V (4.514..4.746)", above=0),
        Input("time-out", "time_out_s", "time-out of the supervisor", "s", "200 ms (140ms..280ms)", above=0),
        Input("clock", "clock_hz", "CPU clock", "Hz", "1 MHz", above=0),
        Input("oscillator", "oscillator_s", "start of the oscillator", "s", "10 ms", least=0),
        Input("rise", "rise_s", "rail rise from 0 to full", "s", "20 ms", above=0),
        Input("resistance", "resistance_ohm", "resistor of an RC reset", "Ω", "10 kΩ 5%", above=0),
        Input("capacitance", "capacitance_f", "capacitor of an RC reset", "F", "10 uF 20%", above=0),
        Input("threshold", "threshold_v", "threshold of the input behind the RC", "V", "1.6 V (0.8..2)", above=0),
        Input("dip", "dip_v", "voltage during a dip", "V", "4.3 V", least=0),
        Input("dip-time", "dip_s", "length of a dip", "s", "20 ms", above=0),
    ),
    (
        Output("healthy_margin_v", "healthy rail above the threshold", "V"),
        Output("uncovered_v", "band in which the CPU is not held", "V"),
        Output("needed_s", "reset needed", "s"), Output("time_margin_s", "time-out to spare", "s"),
        Output("rc_delay_s", "delay of the RC on a rail that steps", "s"),
    ),
    _reset,
    "thresholds: DS1831, MCP1xx data sheets; time-out 140/200/280 ms: MAX823 data sheet; RC and rail: exact for linear "
    "stretches; outputs are valid from 1 V: MAX809 data sheet",
    (
        Choice("grade", "grade of the supervisor", {**{n: g.name for n, g in _GRADES.items()}, "own": "as given"}, "4.63"),
        Choice("cpu", "CPU class", RESET_CPUS, "6502"),
        Choice("profile", "what the rail does", {"power-up": "rises", "dip": "dips once", "brown-out": "sags and stays"}, "dip"),
        Choice("output", "output", {"low": "push-pull, active low", "high": "push-pull, active high", "open-drain": "active low"}, "low"),
        Choice("shared", "something else pulls the net", {"no": "nothing", "yes": "a button, a bus, another chip"}, "no"),
    ),
    _checks, _refuse, _plot, _grade_inputs, _simulated,
)  # fmt: skip
