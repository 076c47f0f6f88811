"""What is done at the bench and kept: remedies, parts off and on, readings, jumpers, results of proofs."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import InputError
from coppermend.rework.remedies import choose
from coppermend.web.copper_view import BEEPER, find_probe
from coppermend.web.desk import Job, desk_of
from coppermend.web.forms import SentForm, read_ohms
from coppermend.web.keeping import keep

router = APIRouter(include_in_schema=False)


@router.post("/jobs/{number}/remedy")
def choose_remedy(request: Request, number: str, form: SentForm) -> Response:
    """Choose a remedy, or choose it no longer."""

    def body(job: Job) -> dict[str, Any]:
        offered = job.found.remedies if job.found else ()
        wanted, chosen = form.text("id"), form.flag("chosen")
        if chosen:
            standing = [remedy.id for remedy in offered if remedy.id in job.state.remedies]
            choose(offered, [*standing, wanted])
        return {"id": wanted, "chosen": chosen}

    return keep(request, number, "plan", "remedy", form, body, anchor=f"remedy-{form.text('id')}")


@router.post("/jobs/{number}/strip")
def take_off(request: Request, number: str, form: SentForm) -> Response:
    """Tick that a part is off, with its fate; or that it is not."""
    refdes = form.text("refdes")

    def body(job: Job) -> dict[str, Any]:
        _on_board(job, refdes)
        fate = {"fate": form.text("fate")} if form.text("fate") else {}
        return {"refdes": refdes, "done": form.flag("done"), **fate}

    return keep(request, number, "strip", "strip", form, body, anchor=f"off-{refdes}")


def _on_board(job: Job, refdes: str) -> None:
    """Refuse what is neither a part of the board, nor on its list, nor the socket of a part: nothing would show it."""
    listed = {item.refdes for item in job.found.strip} if job.found else set()
    if job.board and refdes not in listed and refdes.removeprefix("X") not in job.board.index.parts:
        raise InputError(
            f"{refdes[:40]!r} is no part of this board",
            expected="one of its parts, or XU3 for the socket of U3",
        )


@router.post("/jobs/{number}/reading")
def keep_reading(request: Request, number: str, form: SentForm) -> Response:
    """Keep what the meter said between two points.

    ``answer`` is "good" or "open"; what was typed counts more. Good without a number is what a beeper
    says, so the expected resistance is kept with the beeper named as the instrument.
    """
    isolation = request.query_params.get("isolation", "")

    def body(job: Job) -> dict[str, Any]:
        a, b, typed = form.text("a"), form.text("b"), form.text("ohms")
        points = {"a": a, "b": b}
        if job.board is None:
            raise InputError("this job has no board", expected="a board, chosen at receive")
        for point in (a, b):
            job.board.index.place(point)
        if form.text("answer") == "open":
            return {**points, "ohms": "OL", "instrument": form.text("instrument")}
        if form.text("answer") == "short":
            return {**points, "ohms": 0.0, "instrument": form.text("instrument") or BEEPER}
        if typed:
            return {**points, "ohms": read_ohms(typed), "instrument": form.text("instrument")}
        probe = find_probe(job, desk_of(request).library, isolation, a, b)
        if form.text("answer") != "good" or probe is None:
            raise InputError("no reading was given", expected="ohms such as 0.3, or OL")
        expected = "OL" if probe.expect_ohms is None else probe.expect_ohms
        return {**points, "ohms": expected, "instrument": BEEPER}

    return keep(
        request,
        number,
        "copper",
        "reading",
        form,
        body,
        anchor="probe",
        probe=form.text("next"),
        isolation=isolation,
    )


@router.post("/jobs/{number}/jumper")
def fit_jumper(request: Request, number: str, form: SentForm) -> Response:
    """Record that a jumper was fitted between two points of one net."""

    def body(job: Job) -> dict[str, Any]:
        a, b, side = form.text("a"), form.text("b"), form.text("side")
        if job.board is None:
            raise InputError("this job has no board", expected="a board, chosen at receive")
        nets = {job.board.index.place(point).net for point in (a, b)}
        if len(nets) > 1 or "" in nets:
            raise InputError(f"{a} and {b} are not on one net", expected="two points of one net")
        return {"net": nets.pop(), "a": a, "b": b, **({"side": side} if side else {})}

    isolation = request.query_params.get("isolation", "")
    return keep(request, number, "copper", "jumper", form, body, anchor="probe", isolation=isolation)


@router.post("/jobs/{number}/refit")
def put_on(request: Request, number: str, form: SentForm) -> Response:
    """Tick that a part is on; or that it is not."""
    refdes = form.text("refdes")

    def body(_: Job) -> dict[str, Any]:
        note = {"note": form.text("note")} if form.text("note") else {}
        return {"refdes": refdes, "done": form.flag("done"), **note}

    return keep(request, number, "refit", "refit", form, body, anchor=f"on-{refdes}")


@router.post("/jobs/{number}/evidence")
def keep_evidence(request: Request, number: str, form: SentForm) -> Response:
    """Keep the result of a proof."""
    proof = form.text("proof")

    def body(job: Job) -> dict[str, Any]:
        known = {p.id for p in job.found.proofs} if job.found else set()
        if proof not in known:
            raise InputError(f"this board has no proof {proof[:60]!r}", expected="one of its proofs")
        note = {"note": form.text("note")} if form.text("note") else {}
        return {"proof": proof, "passed": form.flag("passed"), **note}

    return keep(request, number, "prove", "evidence", form, body, anchor=f"proof-{proof}")
