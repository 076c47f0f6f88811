"""The least plan: the cheapest proofs that close all that can be closed, in a safe order, with what each adds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.board.subject import Subject
from coppermend.proving.costs import RIG_MINUTES, doubt, kind_of_proof, minutes, rigs
from coppermend.proving.gate import least_cover
from coppermend.proving.records import ENOUGH, Evidence, Gate, OpenItem, Proof
from coppermend.proving.setcover import Column, cost_of, least_cover_of

_PARTS_OF_MINUTE = 100  # costs are whole numbers for the solver
# What can hurt or burn comes last within its set-up.
_HAZARD: Mapping[str, int] = {"solenoid": 3, "display": 2, "lamp": 1, "sound": 1}
Atom = tuple[Subject, Subject]  # an open item, and a point (or itself) that is still missing of it


@dataclass(frozen=True, slots=True)
class PlanStep:
    """One proof to do. ``closes`` are items that are proven with it, ``helps`` those that need others as well."""

    order: int
    proof: Proof
    closes: tuple[Subject, ...]
    helps: tuple[Subject, ...]
    again: bool
    minutes: float
    rigs: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Keys: order, proof (id), title, setup, strength, closes, helps, again, minutes, rigs (to set up before it)."""
        return {
            "order": self.order,
            "proof": self.proof.id,
            "title": self.proof.title,
            "setup": self.proof.setup,
            "strength": self.proof.strength,
            "closes": [str(subject) for subject in self.closes],
            "helps": [str(subject) for subject in self.helps],
            "again": self.again,
            "minutes": self.minutes,
            "rigs": list(self.rigs),
        }


@dataclass(frozen=True)
class LeastPlan:
    """What is left to do. ``before_power`` comes first; ``uncoverable`` are open items that no proof can close.

    ``minutes`` is attended time with set-up; ``cost`` adds what the weakness of the proofs leaves in doubt.
    ``optimal`` says that no cheaper plan exists.
    """

    before_power: tuple[Proof, ...] = ()
    steps: tuple[PlanStep, ...] = ()
    uncoverable: tuple[OpenItem, ...] = ()
    minutes: float = 0.0
    cost: float = 0.0
    optimal: bool = True

    @property
    def proofs(self) -> tuple[Proof, ...]:
        """The proofs in the order to do them, without those before power."""
        return tuple(step.proof for step in self.steps)

    def to_json(self) -> dict[str, Any]:
        """Keys: before_power [proof id], steps, uncoverable [{item, reason}], minutes, cost, optimal."""
        return {
            "before_power": [proof.id for proof in self.before_power],
            "steps": [step.to_json() for step in self.steps],
            "uncoverable": [{"item": str(i.subject), "reason": i.reason} for i in self.uncoverable],
            "minutes": self.minutes,
            "cost": self.cost,
            "optimal": self.optimal,
        }


def least_plan(
    state: Gate, proofs: Sequence[Proof], evidence: Mapping[str, Evidence] | None = None
) -> LeastPlan:
    """The cheapest proofs that close what is open; never dearer than the greedy choice.

    Nets whose copper probes would do are left to the probes. Proofs that stand failed are done again, first.
    Then bench before machine, what can hurt last, otherwise in the order of ``proofs``, in which a board comes
    to life.

    Args:
        state: The gate as it stands.
        proofs: The proofs of this board.
        evidence: Last result by proof id; decides only which safety measurements are still to be made.
    """
    failed = [proof for proof in proofs if proof.id in state.failed]
    wanted = _atoms(state)
    left = [a for a in wanted if not any(_covers(p, a) for p in failed if p.strength >= ENOUGH)]
    free = frozenset[str]().union(*(rigs(proof) for proof in failed))
    candidates = [p for p in proofs if p.strength >= ENOUGH and p.id not in state.failed]
    items, rows = _items(wanted), _rows(left)
    columns = [_column(proof, items, rows) for proof in candidates]
    charges = {name: round(cost * _PARTS_OF_MINUTE) for name, cost in RIG_MINUTES.items()}
    greedy = {proof.id for proof in least_cover(state, proofs)}
    hint = [n for n, proof in enumerate(candidates) if proof.id in greedy]
    cover = least_cover_of(columns, charges, free=free, hint=hint)
    chosen = [candidates[n] for n in cover.columns]
    every = [*failed, *chosen]
    steps = _steps([*_ordered(failed, proofs), *_ordered(chosen, proofs)], wanted, set(state.failed))
    whole = plan_cost(state, every)
    return LeastPlan(
        _before_power(proofs, evidence or {}),
        steps,
        tuple(item for item in state.open if item.reason),
        round(sum(step.minutes for step in steps), 2),
        whole,
        cover.optimal,
    )


def plan_cost(state: Gate, chosen: Sequence[Proof]) -> float:
    """What a choice of proofs costs while the gate stands like this [min]: time, rigs once, and doubt."""
    atoms = _atoms(state)
    items, rows = _items(atoms), _rows(atoms)
    columns = [_column(proof, items, rows) for proof in chosen]
    charges = {name: round(cost * _PARTS_OF_MINUTE) for name, cost in RIG_MINUTES.items()}
    return cost_of(columns, range(len(columns)), charges) / _PARTS_OF_MINUTE


def _atoms(state: Gate) -> list[Atom]:
    return [
        (item.subject, atom)
        for item in state.open
        if item.covered_by and not item.probes_alone
        for atom in sorted(item.missing)
    ]


def _covers(proof: Proof, atom: Atom) -> bool:
    return atom[0] in proof.exercises or atom[1] in proof.exercises


def _column(proof: Proof, items: Mapping[Subject, set[Subject]], left: Mapping[Subject, list[int]]) -> Column:
    """A proof as a column: it covers the rows ``left`` to what it exercises, and is doubted for all ``items`` of it."""
    rows = frozenset(n for subject in left.keys() & proof.exercises for n in left[subject])
    doubted = {item for subject in items.keys() & proof.exercises for item in items[subject]}
    return Column(rows, round((minutes(proof) + doubt(proof, doubted)) * _PARTS_OF_MINUTE), rigs(proof))


def _rows(atoms: Sequence[Atom]) -> dict[Subject, list[int]]:
    """Subject -> the places of the atoms that a proof covers which exercises it."""
    found: dict[Subject, list[int]] = {}
    for n, atom in enumerate(atoms):
        for subject in set(atom):
            found.setdefault(subject, []).append(n)
    return found


def _items(atoms: Sequence[Atom]) -> dict[Subject, set[Subject]]:
    """Subject -> the open items for which a proof speaks that exercises it."""
    found: dict[Subject, set[Subject]] = {}
    for atom in atoms:
        for subject in atom:
            found.setdefault(subject, set()).add(atom[0])
    return found


def _ordered(chosen: Sequence[Proof], proofs: Sequence[Proof]) -> list[Proof]:
    place = {proof.id: n for n, proof in enumerate(proofs)}
    return sorted(chosen, key=lambda p: (p.setup != "bench", _HAZARD.get(kind_of_proof(p), 0), place[p.id]))


def _steps(ordered: Sequence[Proof], wanted: Sequence[Atom], failed: set[str]) -> tuple[PlanStep, ...]:
    left: dict[Subject, set[Atom]] = {}
    for atom in wanted:
        left.setdefault(atom[0], set()).add(atom)
    steps, up = [], set[str]()
    for order, proof in enumerate(ordered, 1):
        met = {s: {atom for atom in atoms if _covers(proof, atom)} for s, atoms in left.items()}
        closes = tuple(s for s, atoms in left.items() if met[s] == atoms)
        helps = tuple(s for s in left if met[s] and s not in closes)
        left = {s: atoms - met[s] for s, atoms in left.items() if s not in closes}
        new = rigs(proof) - up
        up |= new
        took = minutes(proof) + sum(RIG_MINUTES[name] for name in new)
        steps.append(PlanStep(order, proof, closes, helps, proof.id in failed, took, tuple(sorted(new))))
    return tuple(steps)


def _before_power(proofs: Sequence[Proof], evidence: Mapping[str, Evidence]) -> tuple[Proof, ...]:
    """The discharge and the resistance of each rail, unless a good result is on record."""
    return tuple(
        proof
        for proof in proofs
        if kind_of_proof(proof) in ("discharge", "resistance")
        and not ((result := evidence.get(proof.id)) and result.passed)
    )
