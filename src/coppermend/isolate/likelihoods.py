"""Likelihoods of the observations of a search, remembered, and what each observation changed. Proposes nothing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from coppermend.isolate.belief import single_posterior
from coppermend.isolate.effects import Effects
from coppermend.isolate.evidence import Place, log_likelihood, place_of
from coppermend.isolate.explain import unit_words
from coppermend.isolate.observations import Observation
from coppermend.isolate.states import Floats, entropy_bits
from coppermend.isolate.told import Effect

if TYPE_CHECKING:
    from coppermend.isolate.isolation import Isolation

CONTRADICTS_AT = 0.04
KEPT_LOGS = 512  # observations whose likelihoods are remembered


class Likelihoods:
    """Log likelihoods of observations on one board; searches made from one another share them."""

    def __init__(self, effects: Effects) -> None:
        self._effects = effects
        self._logs: dict[tuple[Observation, tuple[Observation, ...]], Floats] = {}

    def of(self, seen: Sequence[Observation]) -> list[Floats]:
        """For each observation its log likelihood given those before it, shape (faults,) each; not to be written to."""
        found, at_place = [], dict[Place, tuple[Observation, ...]]()
        for one in seen:
            place = place_of(self._effects, one)
            earlier = at_place.get(place, ()) if place else ()
            if (one, earlier) not in self._logs:
                if len(self._logs) >= KEPT_LOGS:
                    self._logs.clear()
                self._logs[one, earlier] = log_likelihood(self._effects, one, earlier)
            found.append(self._logs[one, earlier])
            if place:
                at_place[place] = (*earlier, one)
        return found

    def posterior(self, prior: Floats, seen: Sequence[Observation]) -> Floats:
        """P(fault | everything seen), shape (faults,); empty where there are no faults."""
        logs = np.zeros(len(prior))
        for one in self.of(seen):
            logs += one
        return single_posterior(prior, logs) if len(logs) else logs


def changes(search: Isolation, likelihoods: Likelihoods, prior: Floats) -> tuple[Effect, ...]:
    """For each observation of a search in turn what it changed, and whether it contradicts all the others."""
    each = likelihoods.of(search.counting)
    own = {id(one): log for one, log in zip(search.counting, each, strict=True)}
    total = sum(each, np.zeros(len(prior)))
    replay, found = search.after_nothing(), []
    for one in search.seen:
        before = replay.posterior
        replay.add(one)
        log = own.get(id(one))
        expected = 1.0
        if log is not None:  # how well the others foretell it
            expected = float(single_posterior(prior, total - log) @ np.exp(log))
        bits = float(entropy_bits(search.by_unit(before)) - entropy_bits(search.by_unit(replay.posterior)))
        found.append(
            Effect(
                one, _top(search, before), _top(search, replay.posterior), bits, expected,
                expected < CONTRADICTS_AT, log is not None or one.kind == "repair",
            )
        )  # fmt: skip
    return tuple(found)


def _top(search: Isolation, posterior: Floats) -> tuple[tuple[str, float], ...]:
    mass = search.by_unit(posterior)
    order = np.argsort(-mass, kind="stable")[:3]
    return tuple((unit_words(search.effects.units.unit(k)), float(mass[k])) for k in order.tolist())
