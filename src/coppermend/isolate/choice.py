"""Which measurement comes next: information per cost, two steps ahead where it pays, safe things first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from coppermend.board.cautions import Caution, cautions_called
from coppermend.isolate.conditions import Condition, ConditionName
from coppermend.isolate.effects import Effects
from coppermend.isolate.explain import why
from coppermend.isolate.gain import Suspicion, information_bits, outcome_of
from coppermend.isolate.measurements import (
    Candidate,
    Known,
    clock_candidates,
    hazardous,
    logic_candidates,
    look_candidates,
    ohms_candidates,
    rail_candidates,
    swap_candidates,
)
from coppermend.isolate.states import Floats, entropy_bits

LEAST_BITS = 0.03
# What every measurement costs besides: finding the pin on the drawing, walking there, writing down, and the next
# decision. It makes few telling measurements win over many cheap ones (common practice, no source).
HANDLING_S = 900.0
_CLOSE, _LOOKED_AT, _SECONDS, _LIKELY = 0.85, 3, 5, 0.1
_LOOKED_AT_SHARE = 0.95
_RAIL_SUSPECTED = 0.02


@dataclass(frozen=True)
class Measurement:
    """A measurement worth making, with what it is expected to tell [bit] and to cost [s], and why.

    ``outcome_bits`` is the entropy of what it may show [bit]: what it could tell at most.
    """

    point: str
    kind: str
    condition: ConditionName
    condition_words: str
    gain_bits: float
    cost_s: float
    why: str
    expect: str = ""
    cautions: tuple[Caution, ...] = ()
    outcome_bits: float = 0.0

    def to_json(self) -> dict[str, Any]:
        """Keys point, kind, condition, condition_words, gain_bits, cost_s, why, expect, cautions, outcome_bits."""
        return {
            "point": self.point, "kind": self.kind, "condition": self.condition,
            "condition_words": self.condition_words,
            "gain_bits": round(self.gain_bits, 6), "cost_s": round(self.cost_s, 1), "why": self.why,
            "expect": self.expect, "cautions": [caution.to_json() for caution in self.cautions],
            "outcome_bits": round(self.outcome_bits, 6),
        }  # fmt: skip


@dataclass(frozen=True)
class Tools:
    """What the bench has; measurements that need something else are not proposed."""

    logic_probe: bool = True
    counter: bool = True
    meter: bool = True
    spares: bool = True
    adapter: bool = True

    def allows(self, candidate: Candidate, how: Condition) -> bool:
        """Whether a measurement in a condition can be made with these."""
        owned = {
            "logic": self.logic_probe, "hertz": self.counter, "volts": self.meter, "ohms": self.meter,
            "ripple": self.meter, "swap": self.spares, "watch": True, "joints": True,
        }  # fmt: skip
        return owned[candidate.kind] and (self.adapter or not how.forced)


def rank(
    effects: Effects, suspicion: Suspicion, known: Known, now: ConditionName, tools: Tools
) -> list[tuple[float, Candidate]]:
    """Measurements with their information [bit], best first: a doubtful rail, then by information per cost."""
    rails = list(rail_candidates(effects, suspicion, known, now))
    others = [
        *logic_candidates(effects, suspicion, known, now),
        *swap_candidates(effects, suspicion, known, now),
        *ohms_candidates(effects, suspicion, known),
        *clock_candidates(effects, suspicion, known, now),
        *look_candidates(effects, suspicion, known),
    ]
    candidates = [c for c in (*rails, *others) if tools.allows(c, effects.condition(c.condition))]
    scored = [(information_bits(c.joint(suspicion)), c) for c in candidates]
    scored = [row for row in scored if row[0] > LEAST_BITS]
    scored.sort(key=lambda row: -row[0] / (row[1].cost_s + HANDLING_S))
    scored = _two_ahead(suspicion, scored)
    doubtful = [
        row
        for row in scored
        if row[1].kind in ("volts", "ripple") and _suspected(effects, suspicion, row[1].net)
    ]
    return doubtful + [row for row in scored if row not in doubtful] if doubtful else scored


def _suspected(effects: Effects, suspicion: Suspicion, rail: str) -> bool:
    """Rails come before logic: a rail that may be the fault is measured first."""
    site = effects.units.site_of_net("rail", effects.graph.number[rail])
    return bool((suspicion.by_unit()[suspicion.unit_numbers == site] > _RAIL_SUSPECTED).any())


def _two_ahead(suspicion: Suspicion, scored: list[tuple[float, Candidate]]) -> list[tuple[float, Candidate]]:
    """The first few again, by what they and the best step after them tell for their cost together.

    Only where the best are close: elsewhere the second step cannot change the order.
    """
    if len(scored) < 3:
        return scored
    best = scored[0][0] / (scored[0][1].cost_s + HANDLING_S)
    near = [row for row in scored[:_LOOKED_AT] if row[0] / (row[1].cost_s + HANDLING_S) >= _CLOSE * best]
    if len(near) < 2:
        return scored
    kept = suspicion.heaviest(_LOOKED_AT_SHARE)
    followers = [(candidate, candidate.outcomes[kept]) for _, candidate in scored[: _SECONDS + 1]]
    likeliest = suspicion.only(kept)
    rates = [_rate_of_two(likeliest, row, followers) for row in near]
    order = sorted(range(len(near)), key=lambda k: -rates[k])
    return [near[k] for k in order] + scored[len(near) :]


def _rate_of_two(
    suspicion: Suspicion, first: tuple[float, Candidate], followers: Sequence[tuple[Candidate, Floats]]
) -> float:
    bits, candidate = first
    outcomes = next(found for other, found in followers if other is candidate)
    others = [(other, found) for other, found in followers if other is not candidate]
    costs = np.array([other.cost_s + HANDLING_S for other, _ in others])
    chance = suspicion.probability @ outcomes
    likely = np.flatnonzero(chance > _LIKELY).tolist()
    after = suspicion.bits_after([outcomes[:, k] for k in likely], [found for _, found in others])
    gained, spent = bits, candidate.cost_s + HANDLING_S
    for outcome, more in zip(likely, after, strict=True):
        best = int((more / costs).argmax())
        gained += float(chance[outcome]) * float(more[best])
        spent += float(chance[outcome]) * float(costs[best])
    return gained / spent


def measurement(effects: Effects, suspicion: Suspicion, candidate: Candidate) -> Measurement:
    """A candidate with its reasons in words, for those that are shown."""
    joint = candidate.joint(suspicion)
    expect, sentence = why(effects, suspicion, candidate, joint)
    return Measurement(
        candidate.point, candidate.kind, candidate.condition, effects.condition(candidate.condition).words,
        information_bits(joint), candidate.cost_s, sentence, expect, _cautions(effects, candidate),
        float(entropy_bits(outcome_of(joint))),
    )  # fmt: skip


_CAUTIONS_OF: Mapping[str, tuple[str, ...]] = {
    "ohms": ("stored charge",), "joints": ("stored charge",), "swap": ("static", "stored charge"),
    "watch": ("solenoid", "moving parts", "mains"),
}  # fmt: skip


def _cautions(effects: Effects, candidate: Candidate) -> tuple[Caution, ...]:
    if candidate.kind in _CAUTIONS_OF:
        return cautions_called(*_CAUTIONS_OF[candidate.kind])
    graph = effects.graph
    rail = graph.board.index.rails.get(candidate.net)
    if rail is not None and abs(rail.volts) > 30:
        return cautions_called("mains", "display supply")
    if hazardous(effects, candidate.net):
        return cautions_called("solenoid", "moving parts", "mains")
    if graph.roles.get(candidate.net) and graph.roles[candidate.net].role == "display":
        return cautions_called("display supply")
    return ()
