"""The search for a fault on one board: what is suspected, what to measure next, when to stop.

``Isolation`` holds the board's faults and the observations so far; it opens no file and keeps no record.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from coppermend.board.atrisk import Touch
from coppermend.board.kinds import IC_KINDS
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary, standard_library
from coppermend.board.subject import Subject
from coppermend.errors import UnknownName
from coppermend.isolate.belief import single_posterior
from coppermend.isolate.choice import Measurement, Tools, propose
from coppermend.isolate.conditions import ConditionName, condition
from coppermend.isolate.effects import Effects
from coppermend.isolate.evidence import likelihood
from coppermend.isolate.explain import unit_words
from coppermend.isolate.faults import Unit, UnitKind
from coppermend.isolate.gain import Suspicion, totals
from coppermend.isolate.graph import SignalGraph
from coppermend.isolate.observations import Observation, observation
from coppermend.isolate.pairs import SuspectPair, suspect_pairs
from coppermend.isolate.priors import Knowledge, rate_of
from coppermend.isolate.states import Floats, entropy_bits

STOP_AT, REPLACE_AT = 0.90, 0.70
CONTRADICTS_AT, NEEDS_PAIR_AT = 0.04, 0.08
_REPAIRED = 0.02  # what is left of a unit's weight after it was repaired
Decision = Literal["measure", "repair", "isolated", "stuck"]


@dataclass(frozen=True)
class Suspect:
    """A unit that may be at fault: its probability, the likeliest way it failed, and where its prior comes from."""

    name: str
    kind: UnitKind
    probability: float
    what: str
    prior: float
    reasons: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """As it is spoken of: "the socket of U3"."""
        return unit_words(Unit(self.kind, self.name))

    def to_json(self) -> dict[str, Any]:
        """Keys name, kind, probability, what, prior, reasons."""
        return {
            "name": self.name, "kind": self.kind, "probability": round(self.probability, 9),
            "what": self.what, "prior": round(self.prior, 9), "reasons": list(self.reasons),
        }  # fmt: skip


@dataclass(frozen=True)
class Effect:
    """What one observation did: its suspects before and after, and whether it contradicts the rest."""

    seen: Observation
    before: tuple[tuple[str, float], ...]
    after: tuple[tuple[str, float], ...]
    bits: float
    expected: float
    contradicts: bool

    def to_json(self) -> dict[str, Any]:
        """Keys of the observation, then before, after [name, probability], bits, expected, contradicts."""
        return {
            **self.seen.to_json(),
            "before": [{"name": n, "probability": round(p, 6)} for n, p in self.before],
            "after": [{"name": n, "probability": round(p, 6)} for n, p in self.after],
            "bits": round(self.bits, 6), "expected": round(self.expected, 6), "contradicts": self.contradicts,
        }  # fmt: skip


class Isolation:
    """The search on one board.

    Args:
        board: The board.
        library: Part types; the standard ones when None.
        touch: What the damage touched, if known.
        comebacks: Refdes or net -> how often it was the fault on boards of this type.
        reworked: Refdes and nets that were just worked on.
        tools: What the bench has.
    """

    def __init__(
        self, board: Board, library: PartLibrary | None = None, *, touch: Touch | None = None,
        comebacks: Mapping[str, int] | None = None, reworked: Collection[str] = (),
        tools: Tools | None = None,
    ) -> None:  # fmt: skip
        self.board, self.library = board, library or standard_library()
        self.known = Knowledge(touch, comebacks or {}, reworked)
        self.tools = tools or Tools()
        self.effects = Effects(SignalGraph(board, self.library), self.known)
        self.seen: tuple[Observation, ...] = ()
        self.now: ConditionName = "running"
        self.repaired: tuple[Unit, ...] = ()
        self._logs: dict[Observation, Floats] = {}
        self._prior = self.effects.prior.copy()
        self._posterior: Floats | None = None

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
            self._logs.setdefault(one, np.log(likelihood(self.effects, one)))
            self.seen = (*self.seen, one)
            if one.kind in ("logic", "volts", "hertz"):
                self.now = self.effects.name_of(one.condition)
        self._posterior = None

    @property
    def posterior(self) -> Floats:
        """P(fault) for every single fault, shape (faults,); sums to 1."""
        if self._posterior is None:
            self._posterior = self._posterior_of(self.seen)
        return self._posterior

    def _posterior_of(self, seen: Iterable[Observation]) -> Floats:
        logs = np.zeros(len(self._prior))
        for one in seen:
            logs += self._logs[one]
        return single_posterior(self._prior, logs) if len(logs) else logs

    def by_unit(self, posterior: Floats | None = None) -> Floats:
        """P(unit), shape (units,)."""
        p = self.posterior if posterior is None else posterior
        return totals(self.effects.unit_of_fault, p, len(self.effects.units.units))

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
            self._suspect(int(k), float(mass[k]), float(prior[k]), likeliest[int(k)])
            for k in order
            if mass[k] >= least
        )

    def _likeliest_faults(self) -> dict[int, int]:
        """Unit -> the likeliest of its faults."""
        order = np.argsort(self.posterior, kind="stable")
        return dict(zip(self.effects.unit_of_fault[order].tolist(), order.tolist(), strict=True))

    def _suspect(self, number: int, probability: float, prior: float, fault: int) -> Suspect:
        unit = self.effects.units.units[number]
        part = self.board.index.parts.get(unit.name) if unit.kind == "part" else None
        source = (rate_of(part, self.library).source,) if part else ()
        what = self.effects.faults[fault].what
        return Suspect(unit.name, unit.kind, probability, what, prior, (*source, *self.known.why(unit.name)))

    def propose(self, n: int = 1) -> tuple[Measurement, ...]:
        """The ``n`` most telling measurements for their cost, best first; () when none tells enough."""
        if not self.effects.faults:
            return ()
        suspicion = Suspicion.of(self.posterior, self.effects.site_of_fault)
        return propose(self.effects, suspicion, self.done, self.now, self.tools, n)

    @property
    def done(self) -> frozenset[tuple[str, str, str]]:
        """(point, kind, condition) of what was observed."""
        return frozenset((o.point, o.kind, o.condition) for o in self.seen)

    def condition_words(self, name: ConditionName) -> str:
        """What is done to bring the board into a condition."""
        return condition(name).words

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
        return "measure" if self.propose(1) else "stuck"

    def _cheap(self, unit: Unit) -> bool:
        """Whether trying costs little: something small, or in a socket."""
        if unit.kind in ("socket", "rail"):
            return True
        if unit.kind != "part":
            return False
        part = self.board.index.parts[unit.name]
        small = self.effects.graph.kinds[unit.name] not in IC_KINDS
        return small or part.socketed or "socket" in part.package.lower()

    def effects_of_evidence(self) -> tuple[Effect, ...]:
        """For each observation in turn what it changed, and whether it contradicts all the others."""
        found, logs = [], np.zeros(len(self._prior))
        total = sum((self._logs[o] for o in self.seen), np.zeros(len(self._prior)))
        for one in self.seen:
            before = single_posterior(self._prior, logs)
            logs = logs + self._logs[one]
            after = single_posterior(self._prior, logs)
            rest = single_posterior(self._prior, total - self._logs[one])
            expected = float(rest @ np.exp(self._logs[one]))
            bits = float(entropy_bits(self.by_unit(before)) - entropy_bits(self.by_unit(after)))
            found.append(
                Effect(one, self._top(before), self._top(after), bits, expected, expected < CONTRADICTS_AT)
            )
        return tuple(found)

    def _top(self, posterior: Floats) -> tuple[tuple[str, float], ...]:
        mass = self.by_unit(posterior)
        order = np.argsort(-mass, kind="stable")[:3]
        return tuple((unit_words(self.effects.units.units[k]), float(mass[k])) for k in order)

    def pairs(self, count: int = 5) -> tuple[SuspectPair, ...]:
        """Pairs of units at fault together, likeliest first; () while single faults explain what was seen."""
        if not self.seen or not self.needs_pair:
            return ()
        return suspect_pairs(self.effects, self._prior, self.seen, self.posterior, count)

    @property
    def needs_pair(self) -> bool:
        """Whether even the likeliest single fault leaves an observation badly explained."""
        if not self.seen:
            return False
        best = int(self.posterior.argmax())
        return min(float(np.exp(self._logs[one][best])) for one in self.seen) < NEEDS_PAIR_AT

    def after_repair(self, kind: str, name: str) -> Isolation:
        """The search after a unit was repaired and the board still fails: what it said before, as far as it holds.

        A net that was good stays good, and so do continuity and swaps; what was bad may have been bad for the
        repaired fault and counts no longer. The repaired unit keeps a small weight: new parts fail too.

        Raises:
            UnknownName: If the board has no such unit.
        """
        unit = next((u for u in self.effects.units.units if u == (kind, name)), None)
        if unit is None:
            raise UnknownName(f"{kind} to repair", name, self.board.name)
        again = Isolation.__new__(Isolation)
        again.__dict__.update(self.__dict__)
        again._prior = np.where(
            self.effects.unit_of_fault == self.effects.units.number[unit],
            self._prior * _REPAIRED,
            self._prior,
        )
        again.repaired = (*self.repaired, unit)
        again.seen = tuple(one for one in self.seen if _still_holds(one, name))
        again._posterior = None
        return again

    def after_nothing(self) -> Isolation:
        """A new search on the same board, with nothing seen."""
        again = Isolation.__new__(Isolation)
        again.__dict__.update(self.__dict__)
        again.seen, again.repaired, again.now = (), (), "running"
        again._prior, again._posterior = self.effects.prior.copy(), None
        return again

    def forget_likelihoods(self) -> None:
        """Work every likelihood out anew, as on a first visit; searches made from one another share them."""
        self._logs = {one: np.log(likelihood(self.effects, one)) for one in self.seen}

    def settled(self) -> bool:
        """Whether one unit is likely enough to stop, without looking for a next measurement."""
        return self.verdict() != "measure"

    def verdict(self) -> Decision:
        """Isolated, repair or measure, from the likeliest site alone (a part with its socket)."""
        units = self.by_unit()
        mass = np.bincount(self.effects.site_of_unit, units)
        top = int(mass.argmax())
        if mass[top] >= STOP_AT:
            return "isolated"
        likeliest = int(np.where(self.effects.site_of_unit == top, units, -1.0).argmax())
        cheap = self._cheap(self.effects.units.units[likeliest])
        return "repair" if mass[top] >= REPLACE_AT and cheap else "measure"

    def without(self, position: int) -> Isolation:
        """The search as it would stand without the observation at ``position`` (from 0)."""
        again = Isolation.__new__(Isolation)
        again.__dict__.update(self.__dict__)
        again.seen = (*self.seen[:position], *self.seen[position + 1 :])
        again._posterior = None
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
        evidence = self.effects_of_evidence() if self.effects.faults else ()
        decision = self.decision()
        return {
            "suspects": [suspect.to_json() for suspect in self.suspects(most)] if self.effects.faults else [],
            "next": [m.to_json() for m in self.propose(3)] if decision == "measure" else [],
            "isolated": decision in ("isolated", "repair"),
            "decision": decision,
            "entropy_bits": round(self.entropy_bits, 6),
            "evidence": [effect.to_json() for effect in evidence],
            "contradictions": [str(effect.seen) for effect in evidence if effect.contradicts],
            "pairs": [pair.to_json() for pair in self.pairs()],
            "faults": len(self.effects.faults),
            "notes": list(self.notes()),
        }

    def notes(self) -> tuple[str, ...]:
        """What the board's data did not allow."""
        unknown = [p.refdes for p in self.board.parts if p.refdes in self.board.index.pins_of_part
                   and self.library.of(p) is None]  # fmt: skip
        found = []
        if unknown:
            shown = ", ".join(unknown[:8]) + (" ..." if len(unknown) > 8 else "")
            found.append(f"no signals are followed through parts of unknown type: {shown}")
        if not self.effects.faults:
            found.append("this board gives no fault to look for: no part of known type drives a net")
        return tuple(found)


def _still_holds(seen: Observation, repaired: str) -> bool:
    if seen.kind in ("symptom", "visual"):
        return False
    if seen.kind == "swap":
        return seen.value == "same" and seen.point != repaired
    if seen.kind == "selftest":
        return seen.value == "pass"
    return seen.kind in ("volts", "ohms") or seen.value == "good"
