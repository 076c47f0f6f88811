"""The walk through a switch matrix, one closure at a time, and what odd reports mean; with a job or without."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import CoppermendError, InputError
from coppermend.proving.closures import closure_id
from coppermend.proving.matrix import Crossing, SwitchMatrix, matrix_of
from coppermend.proving.matrixfile import Observation, parse_matrix
from coppermend.proving.matrixrun import MatrixRun, matrix_run, sound_report
from coppermend.web.forms import Form, SentForm
from coppermend.web.pages import author, page, see, status_of
from coppermend.web.prove_bench import (
    Setting,
    contacts_of,
    rows_of,
    rows_text,
    setting_of,
    test_drawing,
    ticked,
)

router = APIRouter(include_in_schema=False)
_PATH = "/prove/matrix"


@router.get(_PATH)
def show_matrix(request: Request) -> Response:
    """The test of a board of the library, or of a matrix written down."""
    return _page(request, setting_of(request, _PATH), Form(), ())


@router.post(_PATH)
def go_on(request: Request, form: SentForm) -> Response:
    """The next closure, after what was seen; nothing is kept beyond the page."""
    setting = setting_of(request, _PATH, form=form)
    seen: tuple[Observation, ...] = ()
    try:
        matrix = _matrix(setting, form)
        if matrix is not None and not form.text("again"):
            seen = tuple(_observation(matrix, a.split(";"), b.split(";")) for a, b in rows_of(form))
            seen = seen[:-1] if form.text("back") else seen
            seen = (*seen, _answer(matrix, form)) if form.text("answer") else seen
    except CoppermendError as error:
        return _page(request, setting, form, seen, error=str(error), status=status_of(error))
    return _page(request, setting, form, seen)


@router.get("/jobs/{number}/prove/matrix")
def show_for_job(request: Request, number: str) -> Response:
    """The test of the job's board, from its record."""
    setting = setting_of(request, f"/jobs/{number}/prove/matrix", number)
    return _page(request, setting, Form(), _recorded(setting))


@router.post("/jobs/{number}/prove/matrix")
def keep_for_job(request: Request, number: str, form: SentForm) -> Response:
    """Keep what was seen: as the result of a closure's proof, or as a trial where no proof is meant."""
    setting = setting_of(request, f"/jobs/{number}/prove/matrix", number)
    assert setting.job is not None
    who = author(request, form)
    try:
        matrix = _matrix(setting, form)
        if matrix is None:
            raise InputError("this board declares no matrix", expected="[matrix] in its board.toml")
        fresh = bool(form.text("again"))
        observation = Observation(frozenset(), frozenset()) if fresh else _answer(matrix, form)
        kind, body = _entry(matrix, observation, fresh=fresh)
        entry = setting.desk.store.append(setting.job.number, kind, "prove", body, who=who)
    except CoppermendError as error:
        return _page(request, setting, form, _recorded(setting), error=str(error), status=status_of(error))
    return see(setting.path, form, kept=entry.seq)


def _matrix(setting: Setting, form: Form) -> SwitchMatrix | None:
    if not setting.job and (text := form.text("matrix")):
        return parse_matrix(text, "the matrix")
    return matrix_of(setting.board) if setting.board else None


def _crossings(matrix: SwitchMatrix, names: Sequence[str]) -> frozenset[Crossing]:
    return frozenset(matrix.crossing(name) for name in names if name.strip())


def _observation(matrix: SwitchMatrix, closed: Sequence[str], reported: Sequence[str]) -> Observation:
    made = Observation(_crossings(matrix, closed), _crossings(matrix, reported))
    if bare := sorted(str(c) for c in made.closed if c not in matrix.at):
        raise InputError(f"{bare[0]} is not populated", expected="a populated position")
    return made


def _answer(matrix: SwitchMatrix, form: Form) -> Observation:
    """What the form says was closed and reported."""
    closed, answer = form.text("closed").split(";"), form.text("answer")
    if answer == "use":  # a button in use, seen to be read
        one = form.text("used")
        return _observation(matrix, [one], [one])
    if answer == "expected":
        expected = sound_report(matrix, _observation(matrix, closed, ()).closed)
        return _observation(matrix, closed, [str(c) for c in expected])
    if answer == "nothing":
        return _observation(matrix, closed, ())
    if answer != "ticked":
        raise InputError(f"answer {answer[:40]!r}", expected="expected, nothing or ticked")
    return _observation(matrix, closed, ticked(form))


def _entry(matrix: SwitchMatrix, seen: Observation, *, fresh: bool) -> tuple[str, dict[str, Any]]:
    trial: dict[str, Any] = {
        "test": "matrix", "commanded": sorted(map(str, seen.closed)), "seen": sorted(map(str, seen.reported)),
    }  # fmt: skip
    if len(seen.closed) != 1:
        return "trial", {**trial, **({"fresh": True} if fresh else {})}
    (one,) = seen.closed
    passed = seen.reported == seen.closed
    note = "" if passed else f"reported: {', '.join(trial['seen']) or 'nothing'}"
    return "evidence", {"proof": closure_id(one.strobe, one.ret), "passed": passed, "note": note, **trial}


def _recorded(setting: Setting) -> tuple[Observation, ...]:
    """What the job's record holds, as far as it is about this matrix."""
    assert setting.job is not None
    matrix = _matrix(setting, Form())
    found = []
    for line in setting.job.state.trials if matrix else ():
        if line.test == "matrix" and matrix is not None:
            try:
                found.append(_observation(matrix, line.commanded, line.seen))
            except InputError:  # of a board that the job had before; the record itself stays
                continue
    return tuple(found)


def _page(
    request: Request, setting: Setting, form: Form, seen: Sequence[Observation], *, error: str | None = None,
    status: int = 200,
) -> Response:  # fmt: skip
    run: MatrixRun | None = None
    try:
        matrix = _matrix(setting, form)
        run = matrix_run(matrix, seen) if matrix else None
    except CoppermendError as trouble:
        error, status = error or str(trouble), max(status, status_of(trouble))
    turn = run.turn if run else None
    nets = list(dict.fromkeys(net for c in (turn.closed if turn else ()) for net in c))[:4]
    board = setting.board
    context = {
        **setting.context(request),
        "run": run,
        "turn": turn,
        "seen": seen,
        "rows": rows_text((map(str, sorted(o.closed)), map(str, sorted(o.reported))) for o in seen),
        "at": {net: contacts_of(setting.desk, board, net) for net in nets} if board else {},
        "drawing": test_drawing(setting, nets),
        "error": error,
    }
    return page(request, "prove_matrix.html", status=status, typed=form, **context)
