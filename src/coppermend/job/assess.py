"""What follows from a job's record on its board: one call that composes the rooms. Reads and writes nothing.

Used alike by the command line, the pages, the papers and the demo. The board, its damage and the remedies on
offer are worked out once and remembered, since a page asks again after every entry.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any

from coppermend.board.atrisk import Touch
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.board.same import Same
from coppermend.board.subject import Subject
from coppermend.copper.isolation import IsolationScope
from coppermend.copper.readings import FittedJumper, Reading
from coppermend.copper.records import CopperPlan
from coppermend.damage.touch import touch_to_json
from coppermend.job.earlierfaults import NO_HISTORY, FaultHistory
from coppermend.job.isolating import search_of
from coppermend.job.known import BoardFacts, board_facts, touched_by
from coppermend.job.power import rails_ohm
from coppermend.job.progress import FINISHED, WAIVED, StageProgress, next_step, stage_progress
from coppermend.job.proofs import proofs_of_job
from coppermend.job.release import Release, release
from coppermend.job.remedying import required_concerns
from coppermend.job.remembered import remembered_lists, remembered_plan
from coppermend.job.state import JobState, JumperLine, ReadingLine
from coppermend.job.worklists import WorkLists
from coppermend.proving.concerns import concerns_from
from coppermend.proving.gate import gate
from coppermend.proving.leastplan import LeastPlan, least_plan
from coppermend.proving.powerup import PowerUp, power_up_allowed
from coppermend.proving.proofs import power_facts
from coppermend.proving.records import Concern, Evidence, Gate, Proof
from coppermend.rework.records import KitLine, RefitItem, Remedy, StripItem
from coppermend.underway import tell

_STEPS = 5
_JOBS = 32  # whose gates are remembered


@dataclass(frozen=True)
class Assessment:
    """Where a job stands on its board.

    ``remedies`` are those on offer, ``chosen`` those carried out. ``strip`` and ``refit`` follow the record: a
    fate noted by the technician goes before the planned one, and parts taken off beyond the list are on it.
    ``proofs`` are all that the board offers, ``plan`` the cheapest that are still needed, ``proofs_to_do`` its proofs. ``notes`` say
    what of the record could not be used on this board. ``history`` is what was at fault on the shop's other boards.
    """

    board: Board = field(repr=False)
    state: JobState = field(repr=False)
    touch: Touch
    remedies: tuple[Remedy, ...]
    chosen: tuple[Remedy, ...]
    strip: tuple[StripItem, ...]
    refit: tuple[RefitItem, ...]
    kit: tuple[KitLine, ...]
    copper: CopperPlan
    proofs: tuple[Proof, ...]
    power: PowerUp
    gate: Gate
    proofs_to_do: tuple[Proof, ...]
    notes: tuple[str, ...] = ()
    plan: LeastPlan = field(default_factory=LeastPlan)
    history: FaultHistory = field(default=NO_HISTORY, repr=False)

    @cached_property
    def progress(self) -> tuple[StageProgress, ...]:
        """How far each of the nine stages is, in their order."""
        return stage_progress(self)

    @cached_property
    def release(self) -> Release:
        """Whether the job may go back: by its gate, or by a waiver on record."""
        return release(self.gate, self.state)

    @cached_property
    def next_step(self) -> str:
        """What to do next, in one sentence: at the current stage, else at the first that is not finished."""
        step = next_step(self.progress, self.state.stage)
        return WAIVED if step == FINISHED and not self.gate.passed else step

    def to_json(self) -> dict[str, Any]:
        """Plain JSON types.

        Keys: ``touch``, ``remedies`` [remedy and chosen], ``strip`` [item, done, fate_noted], ``refit`` [item, done],
        ``kit``, ``copper``, ``proofs`` [proof and evidence {passed, note} or null], ``proofs_to_do`` [id], ``plan``,
        ``power``, ``gate``, ``release``, ``progress``, ``next_step``, ``notes``; each as its own room documents it.
        """
        chosen = {remedy.id for remedy in self.chosen}
        state = self.state
        return {
            "touch": touch_to_json(self.touch, self.board),
            "remedies": [{**remedy.to_json(), "chosen": remedy.id in chosen} for remedy in self.remedies],
            "strip": [
                {**i.to_json(), "done": i.refdes in state.strip, "fate_noted": state.strip.get(i.refdes, "")}
                for i in self.strip
            ],
            "refit": [{**item.to_json(), "done": item.refdes in state.refit} for item in self.refit],
            "kit": [line.to_json() for line in self.kit],
            "copper": self.copper.to_json(),
            "proofs": [{**proof.to_json(), "evidence": self._result(proof.id)} for proof in self.proofs],
            "proofs_to_do": [proof.id for proof in self.proofs_to_do],
            "plan": self.plan.to_json(),
            "power": self.power.to_json(),
            "gate": self.gate.to_json(),
            "release": self.release.to_json(),
            "progress": [stage.to_json() for stage in self.progress],
            "next_step": self.next_step,
            "notes": list(self.notes),
        }

    def _result(self, proof: str) -> dict[str, Any] | None:
        found = self.state.evidence.get(proof)
        return {"passed": found.passed, "note": found.note} if found else None


def assess(
    board: Board, library: PartLibrary, state: JobState, history: FaultHistory = NO_HISTORY
) -> Assessment:
    """Everything that follows from the record ``state`` on ``board``, and what the shop's ``history`` makes suspect.

    What the record says of parts, points or remedies that this board does not have is left out and told in
    ``notes``. A job without damage touches nothing, and its gate passes once no proof stands failed.

    Raises:
        InputError: If the recorded damage does not lie on this board.
    """
    tell(0, _STEPS, "Working out what the damage touches")
    facts = board_facts(board, library)
    touched, offered = touched_by(board, library, state.damage)
    tell(1, _STEPS, "Listing what comes off and what goes back")
    lists = remembered_lists(board, library, touched, offered, state)
    tell(2, _STEPS, "Planning the probes")
    copper, copper_notes = _copper(facts, touched, lists, state)
    tell(3, _STEPS, "Planning the proofs")
    power, evidence = _power(facts, state), _evidence(state)
    proofs, proof_notes = proofs_of_job(facts, state, lists.chosen)
    suspects = _suspects(board, library, state, history)
    tell(4, _STEPS, "Planning the proofs")
    judged, plan = _judged(
        Same(facts),
        Same(touched),
        Same(lists),
        copper.proven,
        _probed(copper),
        suspects,
        proofs,
        tuple(evidence.values()),
        power,
    )
    return Assessment(
        board=board,
        state=state,
        touch=touched,
        remedies=offered,
        chosen=lists.chosen,
        strip=lists.strip,
        refit=lists.refit,
        kit=lists.kit,
        copper=copper,
        proofs=proofs,
        power=power,
        gate=judged,
        proofs_to_do=plan.proofs,
        notes=(*lists.notes, *copper_notes, *proof_notes),
        plan=plan,
        history=history,
    )


@lru_cache(maxsize=_JOBS)
def _judged(  # noqa: PLR0917  (a cache tells keys apart by position)
    facts: Same[BoardFacts], touched: Same[Touch], lists: Same[WorkLists], proven: tuple[str, ...],
    probed: frozenset[str], suspects: tuple[Subject, ...], proofs: tuple[Proof, ...], results: tuple[Evidence, ...],
    power: PowerUp,
) -> tuple[Gate, LeastPlan]:  # fmt: skip
    """The gate and the cheapest plan to close it, worked out anew only when something that they judge has changed."""
    known, work = facts.thing, lists.thing
    evidence = {result.proof: result for result in results}
    judged = gate(
        (*_concerns(known.board, touched.thing, work, suspects), *required_concerns(work.chosen)),
        proofs,
        evidence,
        proven,
        net_points=known.net_points,
        probed=probed,
        reasons=known.unprovable,
        power=power,
    )
    return judged, least_plan(judged, proofs, evidence)


def copper_plan(found: Assessment, library: PartLibrary, isolation: IsolationScope) -> CopperPlan:
    """The copper plan of an assessed job with these pairs of nets measured against each other."""
    if isolation == "likely":  # as every assessment has it
        return found.copper
    board, state = found.board, found.state
    touched, offered = touched_by(board, library, state.damage)
    lists = remembered_lists(board, library, touched, offered, state)
    return _copper(board_facts(board, library), touched, lists, state, isolation)[0]


def _copper(
    facts: BoardFacts, touched: Touch, lists: WorkLists, state: JobState, isolation: IsolationScope = "likely"
) -> tuple[CopperPlan, tuple[str, ...]]:
    readings = [line for line in state.readings if facts.has_points(line.a, line.b)]
    jumpers = [line for line in state.jumpers if facts.has_points(line.a, line.b)]
    plan = remembered_plan(
        facts.board,
        facts.library,
        touched,
        tuple(Reading(line.a, line.b, line.ohms) for line in readings),
        tuple(
            # What was read before the jumper was fitted may read otherwise now.
            FittedJumper(j.a, j.b, j.net, j.side, after=sum(line.seq < j.seq for line in readings))
            for j in jumpers
        ),
        lists.off,
        isolation,
    )
    strays: list[ReadingLine | JumperLine] = [r for r in state.readings if r not in readings]
    strays += [j for j in state.jumpers if j not in jumpers]
    return plan, tuple(_stray(facts, line) for line in strays)


def _stray(facts: BoardFacts, line: ReadingLine | JumperLine) -> str:
    unknown = next(point for point in (line.a, line.b) if not facts.has_points(point))
    return f"entry {line.seq} is not used: this board has no point {unknown}"


def _probed(plan: CopperPlan) -> frozenset[str]:
    """Nets whose copper the probes have proven, will prove, or have found wanting."""
    return frozenset(
        {*plan.proven, *(probe.net for probe in plan.probes), *(broken.net for broken in plan.opens)}
        | {net for short in plan.shorts for net in short.nets}
    )


def _power(facts: BoardFacts, state: JobState) -> PowerUp:
    evidence = _evidence(state)
    known = rails_ohm(facts.rails, facts.grounds, facts.net_of_point, state)
    return power_up_allowed(power_facts(facts.board, facts.library, tuple(state.strip), evidence, known))


def _evidence(state: JobState) -> Mapping[str, Evidence]:
    return {name: Evidence(name, line.passed, line.note) for name, line in state.evidence.items()}


def _suspects(
    board: Board, library: PartLibrary, state: JobState, history: FaultHistory
) -> tuple[Subject, ...]:
    """What the search for the fault accuses, once anything was observed."""
    return search_of(board, library, state, history).subjects if state.observations else ()


def _concerns(
    board: Board, touched: Touch, lists: WorkLists, suspects: tuple[Subject, ...]
) -> tuple[Concern, ...]:
    return concerns_from(
        touched,
        strip_done=lists.came_off,
        refit={item.part for item in lists.refit if item.part},
        remedies={remedy.title: remedy.changes for remedy in lists.chosen},
        suspects=suspects,
        board=board,
    )
