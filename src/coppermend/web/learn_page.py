"""What the shop's own history says, with its uncertainty drawn."""

from __future__ import annotations

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import Response

from coppermend.job.learning import rates_svg
from coppermend.job.lessons import Lessons, lessons
from coppermend.web.desk import desk_of
from coppermend.web.errand_pages import worked_out
from coppermend.web.language import translate as _
from coppermend.web.pages import page

router = APIRouter(include_in_schema=False)
_MOST_ROWS = 20


@router.get("/learn")
def show_lessons(request: Request) -> Response:
    """Comebacks, times, the next job's estimate, prices."""
    store = desk_of(request).store
    return worked_out(request, lambda: lessons(store), _lessons_page, title=_("Learning from the record"))


def _lessons_page(request: Request, found: Lessons) -> Response:
    plots = [
        (
            _("By %(what)s") % {"what": _(name)},
            Markup(rates_svg(rates[:_MOST_ROWS], _("Came back, by %(what)s") % {"what": _(name)})),
        )
        for name, rates in found.comebacks.items()
        if rates and name != "all"
    ]
    return page(request, "learn.html", found=found, whole=found.comebacks["all"][0], plots=plots)
