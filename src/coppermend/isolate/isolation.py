"""The search for a fault on one board: what is suspected, what to measure next, when to stop.

``Isolation`` holds the board's faults and the observations so far; it opens no file and keeps no record.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from coppermend.board.atrisk import Touch
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary, standard_library
from coppermend.board.subject import Subject
from coppermend.errors import InputError, UnknownName
from coppermend.isolate.afterrepair import still_holds
from coppermend.isolate.choice import Measurement, Tools, measurement, rank
from coppermend.isolate.conditions import Condition, ConditionName
from coppermend.isolate.effects import Effects
from coppermend.isolate.evidence import (
    Place,
    place_of,
    refusal,
    units_at,
)
from coppermend.isolate.faults import Unit
from coppermend.isolate.gain import Suspicion, totals
from coppermend.isolate.graph import SignalGraph
from coppermend.isolate.levels import state_likelihood
from coppermend.isolate.likelihoods import Likelihoods, changes
from coppermend.isolate.measurements import Candidate, Known
from coppermend.isolate.observations import Observation, observation, pin_at
from coppermend.isolate.pairs import SuspectPair, suspect_pairs
from coppermend.isolate.priors import Knowledge, rate_of
from coppermend.isolate.searchdocument import document, notes_on
from coppermend.isolate.states import Floats, entropy_bits
from coppermend.isolate.stopping import MEASURED_KINDS, MOST_MADE, Decision, verdict, worth_measuring
from coppermend.isolate.told import Effect, Suspect

NEEDS_PAIR_AT = 0.08
_REPAIRED = 0.02  # what is left of a unit's weight after it was repaired
KEPT_PAIRS = 5


@dataclass
class _Answers:
    """What follows from the observations of a search, worked out when it is first asked for."""

    posterior: Floats | None = None
    ranked: dict[Tools, list[Candidate]] = field(default_factory=dict)
    proposed: dict[Tools, tuple[Measurement, ...]] = field(default_factory=dict)
    pairs: tuple[SuspectPair, ...] | None = None


class Isolation:
    """The search on one board.

    Args:
        board: The board.
        library: Part types; the standard ones when None.
        touch: What the damage touched, if known.
        comebacks: Refdes or net -> how often it was the fault on boards of this type.
        same_type: Refdes -> how often a part of its type was the fault anywhere.
        reworked: Refdes and nets that were just worked on.
        tools: What the bench has.
    """

    def __init__(
        self, board: Board, library: PartLibrary | None = None, *, touch: Touch | None = None,
        comebacks: Mapping[str, int] | None = None, same_type: Mapping[str, int] | None = None,
        reworked: Collection[str] = (), tools: Tools | None = None,
    ) -> None:  # fmt: skip
        self.board, self.library = board, library or standard_library()
        self.known = Knowledge(touch, comebacks or {}, reworked, same_type or {})
        self.tools = tools or Tools()
        self.effects = Effects(SignalGraph(board, self.library), self.known)
        self.seen: tuple[Observation, ...] = ()
        self.counting: tuple[Observation, ...] = ()  # those that no repair has made void
        self.now: ConditionName = "running"
        self.repaired: tuple[Unit, ...] = ()
        self._likelihoods = Likelihoods(self.effects)
        self._prior = self.effects.prior.copy()
        self._answers = _Answers()

    def record(self, point: str, kind: str, value: str, condition: str = "") -> Observation:
        """Take in one observation.

        Raises:
            InputError: If the board has no such point or the value is impossible.
        """
        made = observation(self.board, point, kind, value, condition)
        self.add(made)
        return made

    def add(self, *seen: Observation) -> None:
        """Take in observations that were checked already; the last decides the condition the board stands in."""
        for one in seen:
            if refused := refusal(self.effects, one):
                raise InputError(refused, expected="an observation that this board allows")
            self.seen = (*self.seen, one)
            if one.kind == "repair":
                self._repair(units_at(self.effects, one.point))
                continue
            self.counting = (*self.counting, one)
            if one.kind in ("logic", "volts", "hertz"):
                self.now = one.condition
        self._answers = _Answers()

    @property
    def posterior(self) -> Floats:
        """P(fault) for every single fault, shape (faults,); sums to 1."""
        if self._answers.posterior is None:
            self._answers.posterior = self._likelihoods.posterior(self._prior, self.counting)
        return self._answers.posterior

    def by_unit(self, posterior: Floats | None = None) -> Floats:
        """P(unit), shape (units,)."""
        p = self.posterior if posterior is None else posterior
        return totals(self.effects.unit_of_fault, p, len(self.effects.units))

    @property
    def entropy_bits(self) -> float:
        """How uncertain it still is which unit is at fault [bit]."""
        return float(entropy_bits(self.by_unit()))

    def suspects(self, count: int | None = None, least: float = 0.0) -> tuple[Suspect, ...]:
        """Units by probability, likeliest first; at most ``count``, none below ``least``."""
        mass, prior = self.by_unit(), self.by_unit(self.effects.prior)
        order = np.argsort(-mass, kind="stable")[:count]
        likeliest = self._likeliest_faults()
        return tuple(
            self._suspect(int(k), float(mass[k]), float(prior[k]), int(likeliest[k]))
            for k in order
            if mass[k] >= least
        )

    def _likeliest_faults(self) -> NDArray[np.int64]:
        """Of each unit the number of its likeliest fault, shape (units,)."""
        order = np.argsort(self.posterior, kind="stable")
        found = np.zeros(len(self.effects.units), dtype=np.int64)
        found[self.effects.unit_of_fault[order]] = order  # the last one stays
        return found

    def _suspect(self, number: int, probability: float, prior: float, fault: int) -> Suspect:
        unit = self.effects.units.unit(number)
        part = self.board.index.parts.get(unit.name) if unit.kind == "part" else None
        source = (rate_of(part, self.library).source,) if part else ()
        what = self.effects.faults[fault].what
        return Suspect(unit.name, unit.kind, probability, what, prior, (*source, *self.known.why(unit.name)))

    def propose(self, n: int = 1) -> tuple[Measurement, ...]:
        """The ``n`` most telling measurements for their cost, best first; () when none tells enough."""
        if not self.effects.faults:
            return ()
        answers, tools = self._answers, self.tools
        made = answers.proposed.get(tools, ())
        if len(made) < n:
            suspicion = Suspicion.of(self.posterior, self.effects.site_of_fault)
            if tools not in answers.ranked:
                ranked = rank(self.effects, suspicion, self._known(), self.now, tools)
                answers.ranked[tools] = [candidate for _, candidate in ranked]
            more = answers.ranked[tools][len(made) : n]
            made = (*made, *(measurement(self.effects, suspicion, candidate) for candidate in more))
            answers.proposed[tools] = made
        return made[:n]

    def _known(self) -> Known:
        states, pins = dict[Place, Floats](), dict[Place, list[PinRef | None]]()
        for one in self.counting:
            if place := place_of(self.effects, one):
                states[place] = states.get(place, 1.0) * state_likelihood(self.effects, one)
                pins.setdefault(place, []).append(pin_at(self.board, one.point))
        return Known(self.done, states, pins)

    @property
    def done(self) -> frozenset[tuple[str, str, str]]:
        """(point, kind, condition) of what was observed and counts."""
        return frozenset((o.point, o.kind, o.condition) for o in self.counting)

    @property
    def conditions(self) -> tuple[Condition, ...]:
        """Every condition that the board can be brought to."""
        return (*self.effects.conditions, *self.effects.emptied.values())

    @property
    def isolated(self) -> bool:
        """Whether one unit is so likely that measuring on costs more than repairing it."""
        return self.decision() in ("isolated", "repair")

    def decision(self) -> Decision:
        """What to do: measure on, repair the first suspect, or neither when nothing tells enough."""
        if not self.effects.faults:
            return "stuck"
        if self.settled():
            return self.verdict()
        best = self.propose(1)
        return "measure" if best and self.worth_it(best[0]) else "stuck"

    def worth_it(self, best: Measurement) -> bool:
        """Whether measuring on will end, going by what ``best`` tells; see ``stopping``."""
        made = sum(one.kind in MEASURED_KINDS for one in self.counting)
        return made < MOST_MADE and worth_measuring(self.effects, self.by_unit(), best)

    def verdict(self) -> Decision:
        """Isolated, repair or measure, from the likeliest site alone (a part with its socket)."""
        return verdict(self.effects, self.by_unit())

    def effects_of_evidence(self) -> tuple[Effect, ...]:
        """For each observation in turn what it changed, and whether it contradicts all the others."""
        return changes(self, self._likelihoods, self._prior)

    def pairs(self, count: int = 5) -> tuple[SuspectPair, ...]:
        """Pairs of units at fault together, likeliest first; () while single faults explain what was seen."""
        if not self.needs_pair:
            return ()
        if self._answers.pairs is None:
            self._answers.pairs = suspect_pairs(
                self.effects, self._prior, self.counting, self.posterior, max(count, KEPT_PAIRS)
            )
        return self._answers.pairs[:count]

    @property
    def needs_pair(self) -> bool:
        """Whether even the likeliest single fault leaves an observation badly explained."""
        if not self.counting or not self.effects.faults:
            return False
        best = int(self.posterior.argmax())
        return min(float(np.exp(one[best])) for one in self._likelihoods.of(self.counting)) < NEEDS_PAIR_AT

    def after_repair(self, kind: str, name: str) -> Isolation:
        """The search after a unit was repaired and the board still fails: what it said before, as far as it holds.

        What was found sound stays so, and so does what was seen on other parts; what was bad may have been bad for
        the repaired fault and counts no longer, nor does a swap that cured nothing. The repaired unit keeps a small
        weight: new parts fail too.

        Raises:
            UnknownName: If the board has no such unit.
        """
        unit = next((u for u in self.effects.units.units if u == (kind, name)), None)
        if unit is None:
            raise UnknownName(f"{kind} to repair", name, self.board.name)
        again = self.copy()
        again._repair((unit,))
        return again

    def _repair(self, units: Sequence[Unit]) -> None:
        numbers = [self.effects.units.number[unit] for unit in units]
        again = np.isin(self.effects.unit_of_fault, numbers)
        self._prior = np.where(again, self._prior * _REPAIRED, self._prior)
        self.repaired = (*self.repaired, *units)
        names = {unit.name for unit in units}
        self.counting = tuple(one for one in self.counting if still_holds(self.effects, one, names))
        self._answers = _Answers()

    def copy(self) -> Isolation:
        """The same search again, to be carried on by itself; what is worked out for one serves both until then."""
        again = Isolation.__new__(Isolation)
        again.__dict__.update(self.__dict__)
        return again

    def after_nothing(self) -> Isolation:
        """A new search on the same board, with nothing seen."""
        again = self.copy()
        again.seen, again.counting, again.repaired, again.now = (), (), (), "running"
        again._prior, again._answers = self.effects.prior.copy(), _Answers()
        return again

    def forget_likelihoods(self) -> None:
        """Work every likelihood out anew, as on a first visit; searches made from one another share them."""
        self._likelihoods = Likelihoods(self.effects)

    def settled(self) -> bool:
        """Whether one unit is likely enough to stop, without looking for a next measurement."""
        return self.verdict() != "measure"

    def without(self, position: int) -> Isolation:
        """The search as it would stand without the observation at ``position`` (from 0)."""
        again = self.after_nothing()
        again.add(*self.seen[:position], *self.seen[position + 1 :])
        return again

    def subjects(self, least: float = 0.05) -> tuple[Subject, ...]:
        """Parts and nets under suspicion, for what must be proven later."""
        found: dict[Subject, None] = {}
        for suspect in self.suspects(least=least):
            names = suspect.name.split(" + ") if suspect.kind == "short" else [suspect.name]
            what: Literal["part", "net"] = "part" if suspect.kind in ("part", "socket") else "net"
            found.update(dict.fromkeys(Subject(what, name) for name in names))
        return tuple(found)

    def to_json(self, most: int = 20) -> dict[str, Any]:
        """Keys suspects, next, isolated, decision, entropy_bits, evidence, contradictions, pairs, faults, notes."""
        return document(self, most)

    def notes(self) -> tuple[str, ...]:
        """What the board's data did not allow."""
        return notes_on(self.effects)
