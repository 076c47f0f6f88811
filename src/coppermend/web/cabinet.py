"""The dim look for work inside a dark cabinet: switched on and off anywhere, kept by the device."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from coppermend.web.forms import SentForm
from coppermend.web.pages import CABINET, own_page

router = APIRouter(include_in_schema=False)
_A_YEAR_S = 365 * 24 * 3600


@router.post("/cabinet")
def wear(request: Request, form: SentForm) -> Response:
    """Switch it on or off and go back; where scripts run they do the same without loading the page anew."""
    answer = RedirectResponse(own_page(form.text("back", "/")), 303)
    wanted = "1" if form.text("cabinet") == "1" else "0"
    answer.set_cookie(
        CABINET, wanted, max_age=_A_YEAR_S, samesite="lax"
    )  # not httponly: the script sets it too
    return answer
