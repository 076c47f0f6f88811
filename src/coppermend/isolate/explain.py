"""Why a measurement is worth making, in one sentence for the bench. Computes no information."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from coppermend.isolate.effects import Effects
from coppermend.isolate.faults import Unit
from coppermend.isolate.gain import Suspicion, totals
from coppermend.isolate.levels import expected_level, ripple_limit_v
from coppermend.isolate.measurements import Candidate
from coppermend.isolate.observations import net_of
from coppermend.isolate.states import Floats

_NAMED, _CLEARED, _WORTH = 3, 0.25, 0.02
_EXPECT = {"moves": "it should pulse", "high": "it should be high", "low": "it should be low", "": "",
           "floats": "nothing may drive it: it should float or rest at its pull-up"}  # fmt: skip


def unit_words(unit: Unit) -> str:
    """A unit as it is spoken of.

    >>> unit_words(Unit("net", "A5")), unit_words(Unit("part", "U3"))
    ('the copper of A5', 'U3')
    """
    return {
        "part": unit.name, "socket": f"the socket of {unit.name}", "net": f"the copper of {unit.name}",
        "short": f"a short between {unit.name.replace(' + ', ' and ')}", "rail": f"the {unit.name} rail",
    }[unit.kind]  # fmt: skip


def why(effects: Effects, suspicion: Suspicion, candidate: Candidate, joint: Floats) -> tuple[str, str]:
    """What a sound board shows there, and a sentence on how the suspicion divides; ``joint`` is P(unit, outcome)."""
    if candidate.kind == "swap":
        return "", _split(effects, suspicion, joint, "cured", "no change")
    if candidate.kind == "watch":
        return "every output does what it should", _tells_apart(joint, "sets of outputs")
    if candidate.kind == "joints":
        return "every joint bright and whole", _tells_apart(joint, "joints")
    if candidate.kind == "ripple":
        limit = ripple_limit_v(effects.graph.board.index.rails[candidate.net].volts)
        return f"below {1000 * limit:.0f} mV peak to peak", _split(effects, suspicion, joint, "more", "less")
    if candidate.kind == "ohms":
        joined = ":" in candidate.point and _one_net(effects, candidate.point)
        words = ("open", "continuity") if joined else ("near 0 Ω", "no short")
        return ("below 5 Ω" if joined else "well above 10 Ω"), _split(effects, suspicion, joint, *words)
    return _expect(effects, candidate), _split_logic(effects, suspicion, candidate, joint)


def _tells_apart(joint: Floats, what: str) -> str:
    """For a look with many outcomes: how many are likely, and how the suspicion is spread among them."""
    shown = np.sort(joint.sum(axis=0))[::-1]
    likely = int((shown > _WORTH).sum())
    return f"One look tells {likely} {what} apart; the likeliest has {100 * shown[0]:.0f} % of the suspicion."


def _one_net(effects: Effects, points: str) -> bool:
    a, b = points.split(":", 1)
    return net_of(effects.graph.board, a) == net_of(effects.graph.board, b)


def _expect(effects: Effects, candidate: Candidate) -> str:
    graph = effects.graph
    if (rail := graph.board.index.rails.get(candidate.net)) and candidate.kind == "volts":
        return f"{rail.volts:g} V within {100 * rail.tolerance:.0f} %"
    clock = next((c for c in graph.board.clocks if c.net == candidate.net), None)
    if clock is not None:
        return f"{clock.hz:g} Hz"
    does = graph.roles[candidate.net].does
    level = _EXPECT[expected_level(effects, candidate.net, candidate.condition)]
    return f"{does}; {level}" if level else does


def _split_logic(effects: Effects, suspicion: Suspicion, candidate: Candidate, joint: Floats) -> str:
    good = joint[:, 0]
    share = 100 * float(good.sum())
    name = {"volts": "In tolerance", "hertz": "Right", "logic": "Good"}[candidate.kind]
    head = f"Splits the suspicion {share:.0f}/{100 - share:.0f}"
    cleared = _names(effects, suspicion, suspicion.by_unit() - good, good)
    kept = _names(effects, suspicion, good, suspicion.by_unit() - good)
    clears = f"{name.lower()} here clears {cleared}" if cleared else f"{name.lower()} here clears little"
    return f"{head}: {clears}{f'; bad clears {kept}' if kept else ''}."


def _split(effects: Effects, suspicion: Suspicion, joint: Floats, yes: str, no: str) -> str:
    shown = joint[:, 0]
    share = 100 * float(shown.sum())
    accused = _names(effects, suspicion, shown, joint[:, 1] * 0)
    return f"Splits the suspicion {share:.0f}/{100 - share:.0f}: {yes} here means {accused or 'little'}; {no} clears it."


def _names(effects: Effects, suspicion: Suspicion, cleared: Floats, left: Floats) -> str:
    """Whole sections that an outcome clears, else the heaviest units that it clears."""
    if sections := _sections(effects, suspicion, cleared, left):
        return _and(sections)
    worth = (cleared > _WORTH) & (left < _CLEARED * cleared)
    order = np.argsort(-cleared)
    order = order[worth[order]]
    units = [effects.units.site(int(suspicion.unit_numbers[k])) for k in order]
    more = len(units) - _NAMED
    named = [unit_words(unit) for unit in units[:_NAMED]]
    return _and([*named, f"{more} more"] if more > 0 else named)


def _sections(effects: Effects, suspicion: Suspicion, cleared: Floats, left: Floats) -> list[str]:
    numbers, names = effects.section_of_site
    section = numbers[suspicion.unit_numbers]
    gone, stays = (totals(section, mass, len(names)) for mass in (cleared, left))
    whole = [k for k in np.argsort(-gone) if names[k] and gone[k] > 2 * _WORTH and stays[k] < 0.1 * gone[k]]
    return [names[k] for k in whole[:_NAMED]]


def _and(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else list(words))
