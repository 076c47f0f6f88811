"""One way to keep an entry that a form sent: append, then go back to the page; or show the page with what is wrong."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from fastapi import Request
from starlette.responses import Response

from coppermend.errors import CoppermendError
from coppermend.job.entry import STAGES
from coppermend.job.validate import check_stage
from coppermend.web.desk import Job, desk_of
from coppermend.web.forms import Form
from coppermend.web.pages import author, see, status_of
from coppermend.web.stages import stage_page

Body = Callable[[Job], Mapping[str, Any]]
Refuse = Callable[[Request, Job, str, Form, CoppermendError], Response]


def refused(request: Request, job: Job, stage: str, form: Form, error: CoppermendError) -> Response:
    """The page of a stage again, with what is wrong and what was typed.

    Raises:
        CoppermendError: The error itself, where there is no such stage.
    """
    if stage not in STAGES:
        raise error
    return stage_page(request, job, stage, error=str(error), typed=form, status=refusal_status(error))


def refusal_status(error: CoppermendError) -> int:
    """409 where somebody else was faster, else 400."""
    return 409 if status_of(error) == 409 else 400


def keep(  # noqa: PLR0917  (always these six, in the order of a sentence)
    request: Request, number: str, stage: str, kind: str, form: Form, body: Body, *, show: str = "",
    anchor: str = "", refuse: Refuse = refused, **shown: str,
) -> Response:  # fmt: skip
    """Append an entry of ``kind`` and show a page of the job with a notice of it.

    Args:
        request: The post.
        number: The job.
        stage: The stage that the entry belongs to, "" for where the job stands; its page is shown, unless ``show``
            names another.
        kind: Kind of the entry.
        form: What was sent; if it is refused the page comes back with it.
        body: Makes the entry's body from the job; may raise ``InputError``.
        show: Stage, "record" or "dealings" to show instead.
        anchor: Where on that page.
        refuse: Makes the page that tells of a refusal.
        shown: What else that page is asked to show, as in its address; "" for nothing.
    """
    desk = desk_of(request)
    job = desk.job(number)
    who = author(request, form)
    at = stage or job.state.stage
    try:
        entry = desk.store.append(job.number, kind, check_stage(at), body(job), who=who)
    except CoppermendError as error:
        return refuse(request, job, at, form, error)
    target = show if show in (*STAGES, "record", "dealings") else at
    return see(f"/jobs/{job.number}/{target}", form, anchor=anchor, kept=entry.seq, **shown)
