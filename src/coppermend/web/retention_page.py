"""Personal data of finished jobs that is past the shop's period: the list, and erasing it once it is confirmed."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import CoppermendError, InputError
from coppermend.job.retention import due_jobs, erase_due
from coppermend.web.desk import desk_of
from coppermend.web.forms import Form, SentForm
from coppermend.web.pages import author, page, see, status_of

router = APIRouter(include_in_schema=False)
_MOST = 200  # erased at a time; what is left is due still


@router.get("/personal")
def show_due(request: Request, erased: int = 0) -> Response:
    """What is due, and how much was erased just now."""
    return _due(request, Form(), erased=erased)


@router.post("/personal")
def erase_what_is_due(request: Request, form: SentForm) -> Response:
    """Erase the ticked jobs' personal data; asked twice, since it cannot be undone."""
    desk, who = desk_of(request), author(request, form)
    numbers = [name.removeprefix("job-") for name in form.texts if name.startswith("job-")]
    try:
        if not form.text("sure") or not numbers:
            raise InputError("nothing was erased", expected="jobs ticked, and that you are sure")
        done = erase_due(desk.store, desk.settings().keeps_years, numbers, who=who)
    except CoppermendError as error:
        return _due(request, form, status=status_of(error), error=str(error))
    return see("/personal", form, erased=len(done))


def _due(
    request: Request, form: Form, *, status: int = 200, erased: int = 0, error: str | None = None
) -> Response:
    desk = desk_of(request)
    years = desk.settings().keeps_years
    jobs = due_jobs(desk.store, years)
    return page(
        request, "personal.html", status=status, years=years, jobs=jobs[:_MOST], count=len(jobs), erased=erased,
        typed=form, error=error,
    )  # fmt: skip
