"""The gate: nothing that was touched is left unproven. Knows subjects and proofs, no board and no job."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from coppermend.board.subject import Subject
from coppermend.proving.powerup import PowerUp
from coppermend.proving.records import ENOUGH, Concern, Evidence, Gate, OpenItem, Proof, ProvenItem

__all__ = ["Evidence", "Gate", "OpenItem", "gate", "least_cover"]

COPPER = "copper probes"


def gate(
    concerns: Sequence[Concern],
    proofs: Sequence[Proof],
    evidence: Mapping[str, Evidence],
    copper_proven: Collection[str] = (),
    *,
    net_points: Mapping[str, Collection[str]] | None = None,
    probed: Collection[str] = (),
    reasons: Mapping[Subject, str] | None = None,
    power: PowerUp | None = None,
) -> Gate:
    """What is proven, what is open, and what would close it.

    A damaged net that can be probed is proven by its copper probes and by nothing less: no function test visits
    each of its pads. Any other net is proven by its copper probes (unless it was changed: then it must be shown to work), by a
    passing proof that exercises it whole, or by passing proofs that together pass through all its pins. A
    part is proven by a passing proof that exercises it whole, or by passing proofs that together pass
    through every pin of it that any proof can reach. Proofs weaker than ``ENOUGH`` close nothing. A failed
    proof reopens everything it exercises, and holds the gate by itself.

    Args:
        concerns: What must be proven.
        proofs: The proofs of this board.
        evidence: Last result by proof id.
        copper_proven: Nets whose copper probes are all proven.
        net_points: Pins that must be passed through for a net to be proven by its pins.
        probed: Nets whose copper the probes can prove.
        reasons: Why nothing can prove a subject, where more is known than that.
        power: Whether power is allowed; what is missing becomes a note.

    Returns:
        Items in the order in which their subjects first appear in ``concerns``.
    """
    facts = _Facts(
        tuple(proofs), evidence, frozenset(copper_proven), net_points or {}, frozenset(probed), reasons or {}
    )
    grouped: dict[Subject, list[Concern]] = {}
    for concern in concerns:
        grouped.setdefault(concern.subject, []).append(concern)
    open_items, proven = [], []
    for subject, reasons_why in grouped.items():
        by = facts.proven_by(subject, reasons_why)
        if by:
            proven.append(ProvenItem(subject, tuple(reasons_why), by))
        else:
            open_items.append(facts.open_item(subject, tuple(reasons_why)))
    return Gate(tuple(open_items), tuple(proven), facts.failed_ids, _notes(facts, evidence, power))


@dataclass(frozen=True)
class _Facts:
    proofs: tuple[Proof, ...]
    evidence: Mapping[str, Evidence]
    copper_proven: frozenset[str]
    net_points: Mapping[str, Collection[str]]
    probed: frozenset[str]
    reasons: Mapping[Subject, str]

    @cached_property
    def passing(self) -> tuple[Proof, ...]:
        return tuple(p for p in self.strong if (e := self.evidence.get(p.id)) and e.passed)

    @cached_property
    def strong(self) -> tuple[Proof, ...]:
        return tuple(p for p in self.proofs if p.strength >= ENOUGH)

    @cached_property
    def failed_ids(self) -> tuple[str, ...]:
        return tuple(p.id for p in self.proofs if (e := self.evidence.get(p.id)) and not e.passed)

    @cached_property
    def _failed(self) -> tuple[Proof, ...]:
        failed = set(self.failed_ids)
        return tuple(p for p in self.proofs if p.id in failed)

    @cached_property
    def _done(self) -> frozenset[Subject]:
        """What passing proofs exercise."""
        return frozenset[Subject]().union(*(p.exercises for p in self.passing))

    @cached_property
    def _reachable(self) -> frozenset[Subject]:
        """What any strong proof exercises."""
        return frozenset[Subject]().union(*(p.exercises for p in self.strong))

    @cached_property
    def reached(self) -> dict[str, frozenset[Subject]]:
        """Part -> every point of it that some strong proof passes through."""
        points: dict[str, set[Subject]] = {}
        for proof in self.strong:
            for subject in proof.exercises:
                if subject.kind == "point":
                    points.setdefault(subject.name.rpartition(".")[0], set()).add(subject)
        return {refdes: frozenset(found) for refdes, found in points.items()}

    def points(self, subject: Subject) -> frozenset[Subject]:
        """Points that together prove ``subject``."""
        if subject.kind == "part":
            return self.reached.get(subject.name, frozenset())
        if subject.kind == "net":
            return frozenset(Subject("point", name) for name in self.net_points.get(subject.name, ()))
        return frozenset({subject})

    def failed_on(self, subject: Subject) -> tuple[str, ...]:
        if not self._failed:
            return ()
        wanted = self.points(subject) | {subject}
        return tuple(p.id for p in self._failed if not p.exercises.isdisjoint(wanted))

    def proven_by(self, subject: Subject, concerns: Sequence[Concern]) -> tuple[str, ...]:
        """Ids of what proves ``subject``; () while it is open."""
        return () if self.failed_on(subject) else self.speaks_for(subject, concerns)

    def speaks_for(self, subject: Subject, concerns: Sequence[Concern]) -> tuple[str, ...]:
        """Ids of what would prove ``subject`` if no proof on it stood failed."""
        if not self._needs_copper(subject, concerns):
            by = self._by_proofs(subject)
            copper = self._copper_counts(subject, concerns) and subject.name in self.copper_proven
            return by or ((COPPER,) if copper else ())
        if subject.name not in self.copper_proven:
            return ()
        by = self._by_proofs(subject) if any(c.why == "changed" for c in concerns) else ()
        return (COPPER, *by) if by or self._copper_counts(subject, concerns) else ()

    def _by_proofs(self, subject: Subject) -> tuple[str, ...]:
        whole = tuple(p.id for p in self.passing if subject in p.exercises)
        if whole:
            return whole
        needed = self.points(subject)
        used = [p for p in self.passing if p.exercises & needed]
        together = frozenset[Subject]().union(*(p.exercises for p in used))
        return tuple(p.id for p in used) if needed and needed <= together else ()

    def _needs_copper(self, subject: Subject, concerns: Sequence[Concern]) -> bool:
        return (
            subject.kind == "net"
            and subject.name in self.probed
            and any(c.why == "damaged" for c in concerns)
        )

    @staticmethod
    def _copper_counts(subject: Subject, concerns: Sequence[Concern]) -> bool:
        return subject.kind == "net" and all(c.why != "changed" for c in concerns)

    def open_item(self, subject: Subject, concerns: tuple[Concern, ...]) -> OpenItem:
        points = self.points(subject)
        # Pins that no proof reaches cannot be asked for; the reason or the copper says what to do.
        reachable = points <= self._reachable
        missing = (points - self._done if reachable else frozenset()) or frozenset({subject})
        failed = self.failed_on(subject)
        if failed and self.speaks_for(subject, concerns):
            missing = frozenset()
        covering = [
            p
            for p in self.strong
            if subject in p.exercises or (reachable and not p.exercises.isdisjoint(missing)) or p.id in failed
        ]
        covering.sort(key=lambda p: (p.id not in failed, subject not in p.exercises, -p.strength))
        if self._needs_copper(subject, concerns):
            copper = subject.name not in self.copper_proven
            changed = not self._copper_counts(subject, concerns)
            if changed and not failed and self._by_proofs(subject):
                covering, missing = [], frozenset()
        else:
            copper = self._copper_counts(subject, concerns)
        reason = "" if covering or copper or failed else self._reason(subject)
        return OpenItem(
            subject, concerns, tuple(p.id for p in covering), copper, failed, reason, frozenset(missing)
        )

    def _reason(self, subject: Subject) -> str:
        known = self.reasons.get(subject, "")
        return known or "no proof of this board exercises it: prove it by hand and record a note"


def _notes(facts: _Facts, evidence: Mapping[str, Evidence], power: PowerUp | None) -> tuple[str, ...]:
    known = {proof.id for proof in facts.proofs}
    strays = [
        f"Evidence for {name} is not counted: this board has no such proof."
        for name in evidence
        if name not in known
    ]
    unsafe = [f"Power-up is not allowed yet: {text}" for text in power.missing] if power else []
    return (*unsafe, *strays)


def least_cover(state: Gate, proofs: Sequence[Proof]) -> tuple[Proof, ...]:
    """Proofs to do next, greedily: failed ones again, then each the one that closes most of what is open.

    Args:
        state: The gate as it stands.
        proofs: The proofs of this board.

    Returns:
        In the order to do them; among equals bench before machine, then strongest, then by id. Nets whose
        copper probes would do are left to the probes.
    """
    again = [proof for proof in proofs if proof.id in state.failed]
    open_items = [item for item in state.open if item.covered_by and not item.probes_alone]
    left = {(item.subject, atom) for item in open_items for atom in item.missing}
    by_subject: dict[Subject, set[tuple[Subject, Subject]]] = {}
    for item, atom in left:
        by_subject.setdefault(item, set()).add((item, atom))
        by_subject.setdefault(atom, set()).add((item, atom))

    def covered(proof: Proof) -> set[tuple[Subject, Subject]]:
        return set().union(*(by_subject[subject] for subject in proof.exercises & by_subject.keys()))

    chosen = list(again)
    for proof in again:
        if proof.strength >= ENOUGH:
            left -= covered(proof)
    covers = [(p, covered(p)) for p in proofs if p.strength >= ENOUGH and p not in again]
    while best := _best(left, covers):
        chosen.append(best[0])
        covers.remove(best)
        left -= best[1]
    return tuple(chosen)


_Cover = tuple[Proof, set[tuple[Subject, Subject]]]


def _best(left: set[tuple[Subject, Subject]], covers: Sequence[_Cover]) -> _Cover | None:
    """Of proofs with what they cover the one that covers most of what is left; None when none covers any."""
    gains = [(len(left & covered), (p, covered)) for p, covered in covers]
    useful = [row for row in gains if row[0]]
    if not useful:
        return None
    return min(
        useful, key=lambda row: (-row[0], row[1][0].setup != "bench", -row[1][0].strength, row[1][0].id)
    )[1]
