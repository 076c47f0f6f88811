"""The same record as JSON, for scripts and for the drawing's own questions."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from starlette.responses import JSONResponse

from coppermend.board.model import Board
from coppermend.board.roles import NetRole
from coppermend.errors import InputError
from coppermend.job.export import entry_to_json
from coppermend.job.release import check_stage_allowed
from coppermend.web.desk import desk_of
from coppermend.web.pages import signed_in

router = APIRouter(prefix="/api")


@router.get("/jobs")
def list_jobs(request: Request, find: str = "") -> dict[str, Any]:
    """Every job in short, newest first; ``find`` keeps those that have all its words."""
    store = desk_of(request).store
    return {"jobs": [job.to_json() for job in (store.find(find) if find else store.jobs())]}


@router.get("/jobs/{number}")
def show_job(request: Request, number: str) -> dict[str, Any]:
    """A job's state, what follows from it, and its entries."""
    job = desk_of(request).job(number)
    return {
        "job": job.state.to_json(),
        "assessment": job.found.to_json() if job.found else None,
        "entries": [entry_to_json(entry) for entry in job.entries],
    }


@router.post("/jobs/{number}/entries", status_code=201)
def add_entry(request: Request, number: str, sent: Annotated[dict[str, Any], Body()]) -> JSONResponse:
    """Add an entry: {kind, stage, who, body, expect_seq?}."""
    words = {key: sent.get(key) for key in ("kind", "stage", "who")}
    if not all(isinstance(word, str) for word in words.values()) or not isinstance(sent.get("body"), dict):
        raise InputError("entry lacks kind, stage, who or body", expected="texts, and body an object")
    person = signed_in(request)
    if person and words["who"] != person:
        raise InputError(f"who is {words['who']!r:.40}", expected=f"the name that signed in, {person!r}")
    expect = sent.get("expect_seq")
    if expect is not None and type(expect) is not int:
        raise InputError(
            f"expect_seq is {expect!r:.40}", expected="the number of the last entry you have seen"
        )
    if words["kind"] == "stage" and sent["body"].get("stage") == "return":
        found = desk_of(request).job(number).found
        check_stage_allowed("return", found.release if found else None)
    entry = desk_of(request).store.append(
        number,
        str(words["kind"]),
        str(words["stage"]),
        sent["body"],
        who=str(words["who"]),
        expect_seq=expect,
    )
    return JSONResponse({"job": entry.job, **entry_to_json(entry)}, 201)


@router.get("/boards")
def list_boards(request: Request) -> dict[str, Any]:
    """The newest board of every name."""
    return {"boards": [record.to_json() for record in desk_of(request).store.boards()]}


@router.get("/boards/{sha256}")
def show_board(request: Request, sha256: str) -> dict[str, Any]:
    """One board: size, counts, parts, and nets with what they do."""
    desk = desk_of(request)
    board = desk.board(sha256)
    return {
        "name": board.name, "revision": board.revision, "width_mm": board.width_mm,
        "height_mm": board.height_mm, "counts": board.counts(), "parts": _parts(board),
        "nets": _nets(board, desk.roles(sha256)),
    }  # fmt: skip


def _parts(board: Board) -> list[dict[str, str]]:
    return [
        {"refdes": p.refdes, "type": p.type, "value": p.value, "section": p.section, "side": p.side}
        for p in board.parts
    ]


def _nets(board: Board, roles: dict[str, NetRole]) -> list[dict[str, Any]]:
    return [
        {"net": net, "role": roles[net].role, "does": roles[net].does, "pins": [str(pin) for pin in pins]}
        for net, pins in board.nets.items()
    ]
