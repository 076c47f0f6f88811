"""Several devices on one job stay in step: a page is told when somebody else has added to its record."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import StreamingResponse

from coppermend.job.entry import Entry
from coppermend.web.desk import Desk, desk_of
from coppermend.web.language import translate as _
from coppermend.web.pages import entry_words

router = APIRouter(include_in_schema=False)
_LOOK_EVERY_S = 0.5
_SIGN_OF_LIFE_S = 15.0


@router.get("/jobs/{number}/live")
async def live(request: Request, number: str, seen: int) -> StreamingResponse:
    """Events of kind ``entry``, one each time the record has grown past ``seen``, as long as the page stays.

    Reference: server-sent events, WHATWG HTML Living Standard, section 9.2.

    Raises:
        UnknownName: If there is no such job.
    """
    desk = desk_of(request)
    await run_in_threadpool(desk.store.last_seq, number)
    events = news_of(desk, number, seen)
    return StreamingResponse(events, media_type="text/event-stream", headers={"Cache-Control": "no-store"})


async def news_of(desk: Desk, number: str, seen: int) -> AsyncIterator[str]:
    """What to send: the last entry whenever there are new ones, and now and then a line that says nothing.

    The record is asked, not the program's own writers, since a second program may write to it as well.
    """
    quiet_s = 0.0
    while not desk.closing.is_set():
        last = await run_in_threadpool(desk.store.last_seq, number)
        if last > seen:
            seen, quiet_s = last, 0.0
            entries = await run_in_threadpool(desk.store.entries, number)
            yield f"event: entry\ndata: {json.dumps(_news(entries[-1]))}\n\n"
        elif quiet_s >= _SIGN_OF_LIFE_S:
            quiet_s = 0.0
            yield ": nothing new\n\n"
        await asyncio.sleep(_LOOK_EVERY_S)
        quiet_s += _LOOK_EVERY_S


def _news(entry: Entry) -> dict[str, str | int]:
    words = entry_words(entry)
    return {
        "seq": entry.seq,
        "text": _("%(who)s added entry %(seq)s at %(stage)s")
        % {"who": entry.who, "seq": entry.seq, "stage": _(entry.stage)}
        + (f": {words}" if words else ""),
    }
