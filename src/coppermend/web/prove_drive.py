"""Outputs one by one: what was switched on, what came on, and what explains the odd ones; with a job or without."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.board.cautions import cautions_called
from coppermend.errors import CoppermendError, InputError
from coppermend.proving.drive import PULSE_MS, DriveResult
from coppermend.proving.driverun import DriveRun, drive_run, outputs_of
from coppermend.web.forms import Form, SentForm
from coppermend.web.pages import author, page, see, status_of
from coppermend.web.prove_bench import Setting, rows_of, rows_text, setting_of, test_drawing, ticked

router = APIRouter(include_in_schema=False)
_PATH = "/prove/drive"
_CAUTIONS = {
    "lamp": (), "display": ("display supply", "mains"), "solenoid": ("solenoid", "moving parts", "mains"),
    "sound": (), "": ("moving parts", "mains"),
}  # fmt: skip


@router.get("/prove")
def show_tests(request: Request) -> Response:
    """The tests that work without a job."""
    return page(request, "prove_tests.html")


@router.get(_PATH)
def show_outputs(request: Request) -> Response:
    """The outputs of a board of the library."""
    return _page(request, setting_of(request, _PATH), Form(), ())


@router.post(_PATH)
def go_on(request: Request, form: SentForm) -> Response:
    """The next output, after what was seen; nothing is kept beyond the page."""
    setting = setting_of(request, _PATH, form=form)
    seen: tuple[DriveResult, ...] = ()
    try:
        known = _known(setting)
        if not form.text("again"):
            seen = tuple(_result(known, a.split(";"), b.split(";")) for a, b in rows_of(form))
            seen = seen[:-1] if form.text("back") else seen
            seen = (*seen, *_answer(known, form)) if form.text("answer") else seen
    except CoppermendError as error:
        return _page(request, setting, form, seen, error=str(error), status=status_of(error))
    return _page(request, setting, form, seen)


@router.get("/jobs/{number}/prove/drive")
def show_for_job(request: Request, number: str) -> Response:
    """The outputs of the job's board, from its record."""
    setting = setting_of(request, f"/jobs/{number}/prove/drive", number)
    return _page(request, setting, Form(), _recorded(setting))


@router.post("/jobs/{number}/prove/drive")
def keep_for_job(request: Request, number: str, form: SentForm) -> Response:
    """Keep what was seen: as the result of the output's proof, or as a trial where there is none."""
    setting = setting_of(request, f"/jobs/{number}/prove/drive", number)
    assert setting.job is not None
    who = author(request, form)
    try:
        if setting.board is None:
            raise InputError("this job has no board", expected="a board, chosen at receive")
        entries = [("trial", {"test": "drive", "commanded": [], "seen": [], "fresh": True})]
        if not form.text("again"):
            entries = [_entry(setting, result) for result in _answer(_known(setting), form)]
        for kind, body in entries:
            entry = setting.desk.store.append(setting.job.number, kind, "prove", body, who=who)
    except CoppermendError as error:
        return _page(request, setting, form, _recorded(setting), error=str(error), status=status_of(error))
    return see(setting.path, form, kept=entry.seq)


def _known(setting: Setting) -> frozenset[str]:
    board = setting.board
    return frozenset(one.net for one in outputs_of(board, setting.desk.library)) if board else frozenset()


def _result(known: frozenset[str], commanded: Sequence[str], seen: Sequence[str]) -> DriveResult:
    lists = [frozenset(name for name in names if name) for names in (commanded, seen)]
    if unknown := sorted((lists[0] | lists[1]) - known):
        raise InputError(f"this board has no output {unknown[0][:60]!r}", expected="one of its outputs")
    return DriveResult(*lists)


def _answer(known: frozenset[str], form: Form) -> list[DriveResult]:
    """What the form says; an output that stays on is on at rest as well."""
    commanded, answer = [form.text("commanded")], form.text("answer")
    seen = {"expected": commanded, "nothing": [], "stays": commanded, "ticked": ticked(form)}.get(answer)
    if seen is None:
        raise InputError(f"answer {answer[:40]!r}", expected="expected, nothing, stays or ticked")
    result = _result(known, commanded, seen)
    return [result, _result(known, (), commanded)] if answer == "stays" else [result]


def _entry(setting: Setting, result: DriveResult) -> tuple[str, dict[str, Any]]:
    assert setting.job is not None and setting.board is not None
    body: dict[str, Any] = {
        "test": "drive",
        "commanded": sorted(result.commanded),
        "seen": sorted(result.seen),
    }
    names = {one.net: one.proof for one in outputs_of(setting.board, setting.desk.library)}
    # What is on although nothing was commanded tells against the proof of that output.
    about = result.commanded or (result.seen if len(result.seen) == 1 else frozenset())
    proofs = {p.id for p in (setting.job.found.proofs if setting.job.found else ())}
    proof = names.get(next(iter(about), ""), "")
    if proof not in proofs:
        return "trial", body
    passed = result.commanded == result.seen
    note = "" if passed else f"came on: {', '.join(body['seen']) or 'nothing'}"
    return "evidence", {"proof": proof, "passed": passed, "note": note, **body}


def _recorded(setting: Setting) -> tuple[DriveResult, ...]:
    assert setting.job is not None
    known = _known(setting)
    lines = [line for line in setting.job.state.trials if line.test == "drive"]
    return tuple(
        DriveResult(frozenset(line.commanded), frozenset(line.seen))
        for line in lines
        if {*line.commanded, *line.seen} <= known  # of this board, not of one that the job had before
    )


def _page(
    request: Request, setting: Setting, form: Form, seen: Sequence[DriveResult], *, error: str | None = None,
    status: int = 200,
) -> Response:  # fmt: skip
    run: DriveRun | None = None
    if setting.board:
        run = drive_run(setting.board, setting.desk.library, seen)
    turn = run.turn if run else None
    context = {
        **setting.context(request),
        "run": run,
        "turn": turn,
        "seen": seen,
        "rows": rows_text((sorted(one.commanded), sorted(one.seen)) for one in seen),
        "cautions_here": cautions_called(*_CAUTIONS[turn.role if turn else ""]),
        "pulse_ms": PULSE_MS,
        "drawing": test_drawing(setting, [turn.net] if turn else []),
        "error": error,
    }
    return page(request, "prove_drive.html", status=status, typed=form, **context)
