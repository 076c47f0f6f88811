"""Two faults at once: the likeliest pairs of units, where one fault alone explains the evidence badly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.board.model import PinRef
from coppermend.isolate.belief import Members, set_states
from coppermend.isolate.effects import Effects
from coppermend.isolate.evidence import likelihood
from coppermend.isolate.explain import unit_words
from coppermend.isolate.faults import Unit
from coppermend.isolate.levels import state_likelihood
from coppermend.isolate.observations import Observation, net_of, pin_at
from coppermend.isolate.states import MODES, Floats

_TRIED, _PER_UNIT = 220, 2


@dataclass(frozen=True)
class SuspectPair:
    """Two units thought to be at fault together, and how likely among all pairs tried."""

    units: tuple[Unit, Unit]
    probability: float

    @property
    def names(self) -> tuple[str, str]:
        """Names of the two units."""
        return self.units[0].name, self.units[1].name

    @property
    def words(self) -> tuple[str, str]:
        """The two as they are spoken of."""
        return unit_words(self.units[0]), unit_words(self.units[1])

    def to_json(self) -> dict[str, Any]:
        """Keys names, probability."""
        return {"names": list(self.names), "probability": round(self.probability, 6)}


def suspect_pairs(
    effects: Effects, prior: Floats, seen: Sequence[Observation], posterior: Floats, count: int
) -> tuple[SuspectPair, ...]:
    """The likeliest pairs of units, of the faults that explain at least one bad reading well.

    Args:
        effects: The board's faults.
        prior: Weight of each fault.
        seen: The observations.
        posterior: P(fault) were there only one.
        count: How many pairs to give.
    """
    chosen = _promising(effects, prior, seen, posterior)
    first, second = np.triu_indices(len(chosen), k=1)
    members = np.column_stack([chosen[first], chosen[second]])
    apart = effects.unit_of_fault[members[:, 0]] != effects.unit_of_fault[members[:, 1]]
    members = members[apart]
    logs = np.log(prior[members]).sum(axis=1)
    for one in seen:
        logs += np.log(np.maximum(_pair_likelihood(effects, one, members), 1e-12))
    weights = np.exp(logs - logs.max())
    return _by_unit(effects, members, weights / weights.sum(), count)


def _promising(effects: Effects, prior: Floats, seen: Sequence[Observation], posterior: Floats) -> np.ndarray:
    """Faults that are likely alone, or that explain some one observation best for their weight."""
    chosen: dict[int, None] = dict.fromkeys(np.argsort(-posterior)[: _TRIED // 3].tolist())
    share = max(_TRIED // max(len(seen), 1), 6)
    for one in seen:
        score = prior * likelihood(effects, one) ** 3
        chosen.update(dict.fromkeys(np.argsort(-score)[:share].tolist()))
    return np.array(list(chosen)[:_TRIED], dtype=np.int64)


def _pair_likelihood(effects: Effects, one: Observation, members: np.ndarray) -> Floats:
    if one.kind in ("logic", "volts", "hertz", "seconds"):
        net = effects.graph.number[net_of(effects.graph.board, one.point)]
        pin: PinRef | None = pin_at(effects.graph.board, one.point)
        return _both_at(effects.modes_at(net, one.condition, pin), state_likelihood(effects, one), members)
    if one.kind == "watch":
        wrong = effects.outputs.wrong
        both = 1.0 - (1.0 - wrong[members[:, 0]]) * (1.0 - wrong[members[:, 1]])
        return effects.outputs.likelihood_of(one.value, both)
    alone = likelihood(effects, one)[members]
    # Yes-no observations: either fault alone is enough to show it; the swap of one of two cures nothing.
    return np.asarray(alone.min(axis=1) if one.kind == "swap" else alone.max(axis=1))


def _both_at(modes: NDArray[np.uint8], given_state: Floats, members: Members) -> Floats:
    """P(seen at a net | pair), shape (pairs,): ``set_states`` for pairs, by the modes that the two put on the net."""
    count = len(MODES)
    table = set_states(MODES, np.indices((count, count)).reshape(2, -1).T) @ given_state
    return np.asarray(table[modes[members[:, 0]].astype(np.int64) * count + modes[members[:, 1]]])


def _by_unit(effects: Effects, members: np.ndarray, weights: Floats, count: int) -> tuple[SuspectPair, ...]:
    one, other = effects.unit_of_fault[members].T
    both = np.minimum(one, other) * len(effects.units) + np.maximum(one, other)
    distinct, place = np.unique(both, return_inverse=True)
    mass = np.bincount(place, weights)
    best = np.argsort(-mass, kind="stable")[:count]
    return tuple(_pair(effects, int(distinct[k]), float(mass[k])) for k in best)


def _pair(effects: Effects, both: int, probability: float) -> SuspectPair:
    a, b = (effects.units.unit(k) for k in divmod(both, len(effects.units)))
    return SuspectPair((a, b), probability)
