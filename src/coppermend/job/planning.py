"""What choosing remedies does: to the kit, the price, the time, the proofs; and whether the netlist bears it out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

from coppermend.board.finding import Finding
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.board.same import Same
from coppermend.job.assess import Assessment, assess
from coppermend.job.known import board_facts
from coppermend.job.remedying import proofs_of
from coppermend.proving.leastplan import LeastPlan
from coppermend.proving.records import Proof
from coppermend.rework.drawing import remedy_svg
from coppermend.rework.options import compare_options, usual_prices
from coppermend.rework.records import KitLine, Remedy
from coppermend.rework.remedies import choose
from coppermend.rework.stocked import Stock, Supply, supply_kit
from coppermend.rework.verify import check_remedy, conflicts

_REMEDIES, _EFFECTS = 256, 128


@dataclass(frozen=True)
class RemedyFacts:
    """One remedy on one board: what is wrong once it is carried out, the proofs it calls for, its drawing ("")."""

    findings: tuple[Finding, ...] = ()
    proofs: tuple[Proof, ...] = ()
    drawing: str = ""


def remedy_facts(board: Board, library: PartLibrary, remedy: Remedy) -> RemedyFacts:
    """The facts of a remedy, remembered; empty for a note.

    Raises:
        InputError: If the remedy cannot be carried out on this board.
    """
    return _facts(Same(board), Same(library), remedy)


@lru_cache(maxsize=_REMEDIES)
def _facts(board: Same[Board], library: Same[PartLibrary], remedy: Remedy) -> RemedyFacts:
    if remedy.note_only:
        return RemedyFacts()
    facts = board_facts(board.thing, library.thing)
    return RemedyFacts(
        check_remedy(facts.board, library.thing, remedy),
        proofs_of(remedy, facts.board, facts.proofs),
        remedy_svg(facts.board, library.thing, remedy),
    )


@dataclass(frozen=True)
class PlanEffect:
    """What a choice of remedies comes to, beside the job as it stands without any of them.

    ``minutes`` and ``labour`` are those of the remedies; ``parts_price`` is of the whole kit, in no currency.
    ``more_proofs`` are needed through the choice, ``fewer_proofs`` no longer.
    """

    chosen: tuple[Remedy, ...]
    supplies: tuple[Supply, ...]
    minutes: float
    labour: float
    conflicts: tuple[str, ...]
    findings: tuple[tuple[str, Finding], ...]
    proofs: tuple[Proof, ...] = field(default=())
    more_proofs: tuple[Proof, ...] = field(default=())
    fewer_proofs: tuple[Proof, ...] = field(default=())

    @property
    def parts_price(self) -> float:
        """Price of all parts of the kit."""
        return sum(supply.price for supply in self.supplies)

    @property
    def price(self) -> float:
        """Parts and the remedies' labour."""
        return self.parts_price + self.labour

    @property
    def to_order(self) -> int:
        """Pieces that the shelf does not have."""
        return sum(supply.to_order for supply in self.supplies)

    def to_json(self) -> dict[str, Any]:
        """Keys: chosen [id], kit [supply], parts_price, minutes, labour, price, to_order, conflicts, findings [remedy and
        finding], proofs, more_proofs, fewer_proofs [id].
        """
        return {
            "chosen": [remedy.id for remedy in self.chosen],
            "kit": [supply.to_json() for supply in self.supplies],
            "parts_price": round(self.parts_price, 2),
            "minutes": self.minutes,
            "labour": round(self.labour, 2),
            "price": round(self.price, 2),
            "to_order": self.to_order,
            "conflicts": list(self.conflicts),
            "findings": [{"remedy": name, **finding.to_json()} for name, finding in self.findings],
            "proofs": [proof.id for proof in self.proofs],
            "more_proofs": [proof.id for proof in self.more_proofs],
            "fewer_proofs": [proof.id for proof in self.fewer_proofs],
        }


def _with(found: Assessment, library: PartLibrary, ids: Sequence[str]) -> Assessment:
    """The job with other remedies; the same job when they are those that it has."""
    if sorted(ids) == sorted(found.state.remedies):
        return found
    return assess(found.board, library, replace(found.state, remedies=tuple(ids)), found.history)


def plan_effect(
    found: Assessment, library: PartLibrary, ids: Sequence[str], shelf: Sequence[Stock] = ()
) -> PlanEffect:
    """What it comes to if just the remedies ``ids`` were chosen; the record stays as it is.

    Args:
        found: The job as it stands.
        library: Part types.
        ids: Remedies to try.
        shelf: What the shop has.

    Raises:
        UnknownName: If an id is not on offer.
        InputError: If two of them exclude each other, or one is only a note.
    """
    chosen = tuple(one.id for one in choose(found.remedies, ids))
    tried, bare = (_with(found, library, ids) for ids in (chosen, ()))
    return _effect(
        Same(found.board), Same(library), Same(found.remedies), chosen, Same(tried.kit), Same(tried.plan), Same(bare.plan),
        tuple(shelf),
    )  # fmt: skip


@lru_cache(maxsize=_EFFECTS)
def _effect(  # noqa: PLR0917  (a cache tells keys apart by position)
    board: Same[Board], library: Same[PartLibrary], offered: Same[tuple[Remedy, ...]], ids: tuple[str, ...],
    kit: Same[tuple[KitLine, ...]], tried: Same[LeastPlan], bare: Same[LeastPlan], shelf: tuple[Stock, ...],
) -> PlanEffect:  # fmt: skip
    chosen = choose(offered.thing, ids)
    options = compare_options(chosen)
    minutes = sum(option.minutes for option in options)
    wanted, usual = tried.thing.proofs, bare.thing.proofs
    before, now = {p.id for p in usual}, {p.id for p in wanted}
    return PlanEffect(
        chosen=chosen,
        supplies=supply_kit(kit.thing, shelf),
        minutes=minutes,
        labour=minutes / 60 * usual_prices().hourly,
        conflicts=conflicts(chosen),
        findings=tuple(
            (one.id, finding)
            for one in chosen
            for finding in remedy_facts(board.thing, library.thing, one).findings
        ),
        proofs=wanted,
        more_proofs=tuple(p for p in wanted if p.id not in before),
        fewer_proofs=tuple(p for p in usual if p.id not in now),
    )
