"""One test at a time, large: what to do, what it proves, and two answers within reach of a thumb."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.board.draw import Overlay
from coppermend.board.subject import Subject
from coppermend.errors import CoppermendError, InputError
from coppermend.proving.leastplan import PlanStep
from coppermend.proving.records import OpenItem, Proof
from coppermend.proving.supply import resistance_id
from coppermend.web.desk import Job, desk_of
from coppermend.web.drawing import Drawing, around, drawing_of
from coppermend.web.forms import Form, SentForm, read_ohms
from coppermend.web.pages import author, page, see, status_of
from coppermend.web.sentences import say
from coppermend.web.stages import job_context

router = APIRouter(include_in_schema=False)
_LAYERS = (("suspect", "parts of this test"), ("net", "nets of this test"), ("touched", "left to prove"))


@dataclass(frozen=True)
class Turn:
    """The test at hand: ``step`` is None for what comes before power; ``number`` of ``total`` still to do."""

    proof: Proof
    step: PlanStep | None
    number: int
    total: int


@router.get("/jobs/{number}/prove/one")
def show_one(request: Request, number: str, proof: str = "") -> Response:
    """The test asked for, else the next one of the plan."""
    return _page(request, desk_of(request).job(number), proof)


@router.post("/jobs/{number}/prove/one")
def answer_one(request: Request, number: str, form: SentForm) -> Response:
    """Keep the result, and show the next test."""
    desk = desk_of(request)
    job, who, proof = desk.job(number), author(request, form), form.text("proof")
    try:
        entry = desk.store.append(job.number, "evidence", "prove", _body(job, form), who=who)
    except CoppermendError as error:
        return _page(request, job, proof, error=str(error), typed=form, status=status_of(error))
    return see(f"/jobs/{job.number}/prove/one", form, kept=entry.seq)


def _body(job: Job, form: Form) -> dict[str, Any]:
    proof, passed = form.text("proof"), form.flag("passed")
    if proof not in {p.id for p in (job.found.proofs if job.found else ())}:
        raise InputError(f"this board has no proof {proof[:60]!r}", expected="one of its proofs")
    note = {"note": form.text("note")} if form.text("note") else {}
    ohms = {"ohms": read_ohms(form.text("ohms"))} if form.text("ohms") else {}
    if passed and not ohms and proof.startswith(resistance_id("")):
        raise InputError("no resistance was given", expected="ohms such as 180, or OL")
    return {"proof": proof, "passed": passed, **note, **ohms}


def _page(
    request: Request, job: Job, wanted: str, *, error: str | None = None, typed: Form | None = None,
    status: int = 200,
) -> Response:  # fmt: skip
    turns = _turns(job)
    turn = next((t for t in turns if t.proof.id == wanted), turns[0] if turns else None)
    later = next((t for t in turns if turn and t.number == turn.number % len(turns) + 1 and t != turn), None)
    context = {
        **job_context(request, job, "prove"),
        "turn": turn,
        "later": later,
        "drawing": _drawing(request, job, turn),
        "left": _left(job, turn),
        "wants_ohms": turn is not None and turn.proof.id.startswith(resistance_id("")),
        "error": error,
    }
    return page(request, "prove_one.html", status=status, typed=typed or Form(), **context)


def _turns(job: Job) -> list[Turn]:
    """What is to be done, in order: before power, then the plan."""
    if job.found is None:
        return []
    plan = job.found.plan
    safety = [proof for proof in plan.before_power if proof.id not in {s.proof.id for s in plan.steps}]
    both: list[tuple[Proof, PlanStep | None]] = [(proof, None) for proof in safety]
    both += [(step.proof, step) for step in plan.steps]
    return [Turn(proof, step, number, len(both)) for number, (proof, step) in enumerate(both, 1)]


def _now(turn: Turn | None) -> tuple[Subject, ...]:
    """What this test closes or helps with."""
    return (*turn.step.closes, *turn.step.helps) if turn and turn.step else ()


def _left(job: Job, turn: Turn | None) -> list[OpenItem]:
    """What is open and not of this test."""
    now = _now(turn)
    return [item for item in job.found.gate.open if item.subject not in now] if job.found else []


def _drawing(request: Request, job: Job, turn: Turn | None) -> Drawing | None:
    """The board with what this test proves, and what is left besides."""
    if job.board is None or job.found is None:
        return None
    now, left = _now(turn), [item.subject for item in _left(job, turn)]
    parts, nets = job.board.index.parts, job.board.nets
    overlays = [
        *(Overlay("touched", (s.name,)) for s in left if s.kind == "part" and s.name in parts),
        *(Overlay("net", (s.name,)) for s in now if s.kind == "net" and s.name in nets),
        *(Overlay("suspect", (s.name,)) for s in now if s.kind == "part" and s.name in parts),
    ]
    pins = [p for s in now if s.kind == "part" for p in job.board.index.pins_of_part.get(s.name, ())[:1]]
    focus = around(job.board, *map(str, pins)) if pins else None
    made = drawing_of(desk_of(request), job.sha256, overlays, focus_mm=focus)
    shown = {overlay.kind for overlay in overlays}
    return replace(made, layers=tuple((kind, say(words)) for kind, words in _LAYERS if kind in shown))
