"""What the meter should read between two points, on a board or on a job as it stands; and a job's wire list."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.board.cautions import cautions_for
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.board.same import Same
from coppermend.copper.expect import Expectation, expect
from coppermend.copper.readings import FittedJumper
from coppermend.copper.wirelist import wire_list_csv
from coppermend.errors import CoppermendError, InputError
from coppermend.job.worklists import parts_off
from coppermend.web.desk import Desk, Job, desk_of
from coppermend.web.drawing import around, drawing_of, probe_overlays, stage_overlays
from coppermend.web.pages import page, status_of
from coppermend.web.stages import job_context

router = APIRouter(include_in_schema=False)
_MOST_OFF = 400  # parts named in one question


@router.get("/boards/{sha256}/expect")
def expect_on_board(request: Request, sha256: str, a: str = "", b: str = "", off: str = "") -> Response:
    """Between two points of a kept board with all parts fitted but those in ``off``."""
    desk = desk_of(request)
    return _page(request, desk, sha256, (a, b), off.replace(",", " ").split(), home=f"/boards/{sha256}")


@router.get("/jobs/{number}/copper/expect")
def expect_on_job(request: Request, number: str, a: str = "", b: str = "", off: str = "") -> Response:
    """Between two points of a job's board as it stands: parts that are off left out, jumpers counted."""
    desk = desk_of(request)
    job = desk.job(number)
    if job.board is None:
        raise InputError("this job has no board", expected="a board, chosen at receive")
    home, named = f"/jobs/{job.number}/copper", off.replace(",", " ").split()
    return _page(request, desk, job.sha256, (a, b), named, home=home, job=job)


@router.get("/jobs/{number}/copper/wires.csv")
def wire_list(request: Request, number: str) -> Response:
    """The wires of all jumpers, fitted and proposed, to cut from."""
    job = desk_of(request).job(number)
    plan = job.found.copper if job.found else None
    content = wire_list_csv([*plan.fitted, *plan.jumpers] if plan else [])
    disposition = f'attachment; filename="{job.number}-wires.csv"'
    return Response(content, media_type="text/csv", headers={"Content-Disposition": disposition})


def _page(
    request: Request, desk: Desk, sha256: str, points: tuple[str, str], named: list[str], *, home: str,
    job: Job | None = None,
) -> Response:  # fmt: skip
    board, error, found, status = desk.board(sha256), None, None, 200
    points = (points[0].strip(), points[1].strip())
    removed = frozenset(named) | (_off(job) if job else frozenset())
    try:
        if all(points):
            found = _expected(desk, board, points, named, removed, job)
    except CoppermendError as refused:
        error, status = str(refused), 400 if status_of(refused) == 404 else status_of(refused)
    overlays = stage_overlays(job, "refit") if job else ()
    if found:
        overlays = (*overlays, *probe_overlays(board, found.nets[0], *points))
    focus = around(board, *points) if found else None
    context: dict[str, Any] = job_context(request, job, "copper") if job else {}
    context |= {
        "job": job, "here": "copper" if job else "", "cautions": cautions_for("copper"), "home": home, "board": board,
        "drawing": drawing_of(desk, sha256, overlays, focus_mm=focus), "asked": points, "off": " ".join(named),
        "off_now": sorted(removed - set(named)), "answer": found, "error": error,
    }  # fmt: skip
    return page(request, "copper_expect.html", status=status, **context)


def _expected(  # noqa: PLR0917
    desk: Desk, board: Board, points: tuple[str, str], named: list[str], removed: frozenset[str], job: Job | None
) -> Expectation:  # fmt: skip
    if len(named) > _MOST_OFF:
        raise InputError(f"{len(named)} parts are named", expected=f"at most {_MOST_OFF}")
    if points[0] == points[1]:
        raise InputError(f"both points are {points[0]!r:.40}", expected="two different points")
    for refdes in named:
        board.index.part(refdes)
    fitted = job.found.copper.fitted if job and job.found else ()
    wires = tuple(FittedJumper(j.a, j.b, j.net, j.side) for j in fitted)
    return _remembered(Same(board), Same(desk.library), points, removed, wires)


@lru_cache(maxsize=64)  # the same question stays on the screen while entries are kept
def _remembered(
    board: Same[Board], library: Same[PartLibrary], points: tuple[str, str], removed: frozenset[str],
    wires: tuple[FittedJumper, ...],
) -> Expectation:  # fmt: skip
    return expect(board.thing, library.thing, *points, removed=removed, jumpers=wires)


def _off(job: Job) -> frozenset[str]:
    return parts_off(job.found.strip, job.state) if job.found else frozenset()
