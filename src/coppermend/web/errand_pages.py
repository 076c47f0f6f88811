"""The page that tells how far long work is, with its one large way to stop it; and how other pages start such work."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Callable
from typing import Any, Literal, TypeVar
from urllib.parse import urlencode, urlsplit

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, RedirectResponse, Response, StreamingResponse

from coppermend.errors import CoppermendError
from coppermend.web.desk import Desk, desk_of
from coppermend.web.errands import Errand
from coppermend.web.language import translate
from coppermend.web.pages import own_page, page, room_words, status_of

router = APIRouter(include_in_schema=False)
T = TypeVar("T")
WORKED = "worked"  # names, in the address of a page, the errand that has worked it out
_LOOK_EVERY_S, _SIGN_OF_LIFE_S, _TO_STOP_S = 0.1, 15.0, 3.0
_EVENTS = "text/event-stream"


def long_work(
    request: Request, work: Callable[[], T], show: Callable[[Request, T], Response], *, title: str, back: str = "",
    makes: Literal["page", "file", "record"] = "page",
) -> Response:  # fmt: skip
    """Answer with what comes of ``work`` if that is soon, else with the page that tells how far it is.

    Args:
        request: The request that wants it done.
        work: Run in a thread of its own; it tells its steps (``coppermend.underway``) and can be stopped at each.
        show: The answer, from a request and what came of the work.
        title: What is being done, in words.
        back: The page to go back to; where the request came from, when empty.
        makes: Whether a page, a file, or something in the record comes of it.

    Raises:
        CoppermendError: What the work raised, if it raised it soon.
    """
    errands = desk_of(request).errands
    errand = errands.start(Errand(title, back or _came_from(request), show, makes), work)
    if errands.patience_s and errand.ended(errands.patience_s):
        return show(request, errand.outcome())
    return RedirectResponse(f"/work/{errand.id}", 303)


def worked_out(
    request: Request,
    work: Callable[[], T],
    show: Callable[[Request, T], Response],
    *,
    title: str,
    back: str = "",
) -> Response:
    """As ``long_work``, for a page that is only looked at: once it is worked out it is shown at its own address."""
    done = desk_of(request).errands.find(request.query_params.get(WORKED, ""))
    if done is not None and done.state == "done":
        value: T = done.outcome()
        return show(request, value)
    here = request.url.path

    def lead_back(errand_request: Request, value: T) -> Response:
        if errand_request.url.path == here:  # it was soon, and this is still the request that asked
            return show(errand_request, value)
        asked = [(k, v) for k, v in request.query_params.multi_items() if k != WORKED]
        id_ = errand_request.path_params["id_"]
        return RedirectResponse(f"{here}?{urlencode([*asked, (WORKED, id_)])}", 303)

    return long_work(request, work, lead_back, title=title, back=back)


def begun(request: Request, work: Callable[[], dict[str, Any]], *, title: str) -> Response:
    """For a page that stays while its script follows the work: where it is told of; else what came of it, as JSON.

    Raises:
        CoppermendError: What the work raised, for who does not want to be told.
    """
    errand = desk_of(request).errands.start(Errand(title, _came_from(request), _as_json), work)
    if _EVENTS in request.headers.get("accept", ""):
        return JSONResponse({"work": f"/work/{errand.id}"}, 202)
    errand.ended(3600.0)
    try:
        return _as_json(request, errand.outcome())
    except CoppermendError as error:
        return JSONResponse({"error": room_words(error), "status": status_of(error)}, status_of(error))


def _as_json(request: Request, value: dict[str, Any]) -> Response:
    return JSONResponse(value)


def _came_from(request: Request) -> str:
    came = urlsplit(request.headers.get("referer", ""))
    if came.netloc != request.url.netloc or (came.path == request.url.path and request.method == "GET"):
        return "/"
    return own_page(came.path + (f"?{came.query}" if came.query else ""))


@router.get("/work/{id_}")
def show_errand(request: Request, id_: str) -> Response:
    """How far it is; once it is done, what came of it, or how to save that."""
    errand = desk_of(request).errands.get(id_)
    if errand.state == "done" and errand.makes != "file":
        return RedirectResponse(f"/work/{id_}/outcome", 303)
    if errand.state == "cancelled":
        return RedirectResponse(errand.back, 303)
    return page(request, "errand.html", errand=errand, told=_told(errand))


@router.get("/work/{id_}/outcome")
def show_outcome(request: Request, id_: str) -> Response:
    """What came of it: a page, a file, or what went wrong."""
    errand = desk_of(request).errands.get(id_)
    if errand.state in ("running", "cancelled"):
        return RedirectResponse(f"/work/{id_}", 303)
    answer: Response = errand.show(request, errand.outcome())
    return answer


@router.post("/work/{id_}/cancel")
def cancel_errand(request: Request, id_: str) -> Response:
    """Stop it, and go back; where it was kept before it could be stopped, to what was kept."""
    errand = desk_of(request).errands.get(id_)
    errand.cancel()
    errand.ended(_TO_STOP_S)
    kept = errand.state == "done" and errand.makes == "record"
    return RedirectResponse(f"/work/{id_}/outcome" if kept else errand.back, 303)


@router.get("/work/{id_}/events")
async def errand_events(request: Request, id_: str) -> StreamingResponse:
    """Each change as it comes: ``state``, ``done``, ``total``, ``words``; with the end what came of a page's own work.

    Reference: server-sent events, WHATWG HTML Living Standard, section 9.2.

    Raises:
        UnknownName: If there is no such work.
    """
    desk = desk_of(request)
    events = _news_of(desk, desk.errands.get(id_))
    return StreamingResponse(events, media_type=_EVENTS, headers={"Cache-Control": "no-store"})


async def _news_of(desk: Desk, errand: Errand) -> AsyncIterator[str]:
    before: dict[str, Any] = {}
    quiet_s = 0.0
    while not desk.closing.is_set():
        told = _told(errand)
        if told != before:
            before, quiet_s = told, 0.0
            yield f"data: {json.dumps(told)}\n\n"
        elif quiet_s >= _SIGN_OF_LIFE_S:
            quiet_s = 0.0
            yield ": still at it\n\n"
        if told["state"] != "running":
            return
        await run_in_threadpool(errand.ended, _LOOK_EVERY_S)
        quiet_s += _LOOK_EVERY_S


def _told(errand: Errand) -> dict[str, Any]:
    told: dict[str, Any] = {
        "state": errand.state, "done": errand.done, "total": errand.total, "words": translate(errand.words),
    }  # fmt: skip
    if isinstance(errand.error, CoppermendError):
        told["error"] = room_words(errand.error)
    elif errand.error is not None:
        told["error"] = translate(
            "The program made a mistake at this. Everything acknowledged before is kept."
        )
    return told
