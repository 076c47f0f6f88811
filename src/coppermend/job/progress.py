"""How far a job is at each stage, and the next step in words. Decides nothing: it counts what others decided."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from coppermend.job.entry import STAGES, Stage
from coppermend.quantity import format_quantity

if TYPE_CHECKING:
    from coppermend.job.assess import Assessment

TITLES: Mapping[Stage, str] = {
    "receive": "Receive",
    "inspect": "Inspect",
    "isolate": "Isolate",
    "plan": "Plan",
    "strip": "Strip",
    "copper": "Copper",
    "refit": "Refit",
    "prove": "Prove",
    "return": "Return",
}
FINISHED = "Everything is done: the gate has passed and the papers are made."
WAIVED = "Everything is done: the papers are made, and what is open goes back by a recorded waiver."
_PAPERS = ("tag", "report")
_NAMED = 3


@dataclass(frozen=True, slots=True)
class StageProgress:
    """One stage: ``done`` of ``total`` steps, and what comes next there; "" when it is finished."""

    stage: Stage
    title: str
    done: int
    total: int
    next_step: str = ""

    @property
    def finished(self) -> bool:
        """Whether nothing is left to do at this stage."""
        return not self.next_step

    def to_json(self) -> dict[str, Any]:
        """stage, title, done, total, finished, next_step."""
        return {
            "stage": self.stage, "title": self.title, "done": self.done, "total": self.total,
            "finished": self.finished, "next_step": self.next_step,
        }  # fmt: skip


Count = tuple[int, int, str]


def stage_progress(work: Assessment) -> tuple[StageProgress, ...]:
    """How far each of the nine stages is, in their order."""
    return tuple(StageProgress(stage, TITLES[stage], *_COUNTS[stage](work)) for stage in STAGES)


def next_step(progress: Sequence[StageProgress], stage: Stage) -> str:
    """The step of ``stage``, else of the first stage that is not finished."""
    here = next(one for one in progress if one.stage == stage)
    if not here.finished:
        return here.next_step
    ahead = next((one for one in progress if not one.finished), None)
    return f"{ahead.title}: {ahead.next_step}" if ahead else FINISHED


def _receive(work: Assessment) -> Count:
    noted = bool(work.state.complaint.strip())
    return 1 + noted, 2, "" if noted else "Note the complaint in the customer's words."


def _inspect(work: Assessment) -> Count:
    seen = work.state.damage is not None
    return int(seen), 1, "" if seen else "Draw the damaged area on the board, or record that there is none."


def _isolate(work: Assessment) -> Count:
    found = sum(note.stage == "isolate" for note in work.state.notes)
    return found, found, ""


def _plan(work: Assessment) -> Count:
    if not [remedy for remedy in work.remedies if not remedy.note_only]:
        return 0, 0, ""
    decided = bool(work.chosen) or STAGES.index(work.state.stage) > STAGES.index("plan")
    return int(decided), 1, "" if decided else "Choose remedies, or go on to the strip list without any."


def _strip(work: Assessment) -> Count:
    left = [item for item in work.strip if item.refdes not in work.state.strip]
    named = [f"{item.refdes} ({item.type or 'type unknown'})" for item in left]
    return len(work.strip) - len(left), len(work.strip), f"Take off {_some(named)}." if left else ""


def _refit(work: Assessment) -> Count:
    left = [item for item in work.refit if item.refdes not in work.state.refit]
    words = [
        f"{item.refdes} ({' '.join(filter(None, (item.source, item.type, item.value)))})" for item in left
    ]
    return len(work.refit) - len(left), len(work.refit), f"Fit {_some(words)}." if left else ""


def _copper(work: Assessment) -> Count:
    plan, total = work.copper, len(work.touch.nets)
    step = ""
    if plan.shorts:
        short = plan.shorts[0]
        a, b = short.between
        step = f"Find the short between {' and '.join(short.nets)}, read from {a} to {b}."
    elif plan.jumpers:
        wire = plan.jumpers[0]
        step = (
            f"Mend the track or fit a jumper from {wire.a} to {wire.b} (net {wire.net}), then measure again."
        )
    elif plan.probes:
        probe = plan.probes[0]
        expected = (
            "OL" if probe.expect_ohms is None else f"about {format_quantity(probe.expect_ohms, 'Ω', 2)}"
        )
        aim = f"net {probe.net}" if probe.purpose == "continuity" else "two nets, which must not be joined"
        step = (
            f"Measure from {probe.a} to {probe.b} ({aim}), expected {expected}; "
            f"{_count(len(plan.probes), 'probe')} to make."
        )
    elif plan.opens:
        broken = plan.opens[0]
        step = f"Mend net {broken.net}, open between {' and '.join(broken.between)}, then measure again."
    return len(plan.proven), total, step


def _prove(work: Assessment) -> Count:
    judged = work.gate
    done = len(judged.proven)
    total = done + len(judged.open)
    return done, total, "" if work.release.allowed else _next_proof(work)


def _next_proof(work: Assessment) -> str:
    if not work.power.allowed and work.proofs_to_do:
        return f"Before power: {work.power.missing[0]}"
    if work.proofs_to_do:
        proof = work.proofs_to_do[0]
        again = "again " if proof.id in work.gate.failed else ""
        return f"Prove {again}{proof.title} ({proof.setup}); {_count(len(work.proofs_to_do), 'proof')} to do."
    waiting = work.gate.open[0]
    if waiting.copper:
        return f"Prove the copper of {waiting.subject} by its probes."
    return f"Look after {waiting.subject}: {waiting.reason or 'record what shows it to work'}."


def _return(work: Assessment) -> Count:
    made = {paper.words for paper in work.state.papers}
    left = [what for what in _PAPERS if what not in made]
    if not left and not work.release.allowed:
        held = _count(len(work.release.left), "thing")
        return len(_PAPERS), len(_PAPERS), f"Prove what is open ({held}), or record a waiver with its reason."
    return (
        len(_PAPERS) - len(left),
        len(_PAPERS),
        f"Make the return {' and the '.join(left)}." if left else "",
    )


_COUNTS: Mapping[Stage, Callable[[Assessment], Count]] = {
    "receive": _receive, "inspect": _inspect, "isolate": _isolate, "plan": _plan, "strip": _strip,
    "copper": _copper, "refit": _refit, "prove": _prove, "return": _return,
}  # fmt: skip


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _some(names: Sequence[str]) -> str:
    more = len(names) - _NAMED
    return ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")
