"""Signing in and out, and what a stranger sees who scanned a tag."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from coppermend.job.people import WHOLE
from coppermend.job.store import now
from coppermend.web.access import COOKIE, Patience, address_of
from coppermend.web.desk import desk_of
from coppermend.web.forms import SentForm
from coppermend.web.language import translate
from coppermend.web.pages import own_page, page

router = APIRouter(include_in_schema=False)


@router.get("/sign-in")
def ask(request: Request, back: str = "/") -> Response:
    """The form."""
    return _form(request, back)


@router.post("/sign-in")
def sign_in(request: Request, form: SentForm) -> Response:
    """Sign in, or say that name and passphrase do not belong together."""
    name, back = form.text("name"), own_page(form.text("back", "/"))
    patience: Patience = request.app.state.patience
    # By name and by address: neither one phrase after another, nor one name after another.
    waits = (f"name {name.casefold()}", f"from {address_of(request)}")
    if wait_s := max(patience.wait_s(who) for who in waits):
        error = translate("Too many wrong passphrases. Try again in %(seconds)s seconds.") % {
            "seconds": f"{wait_s:.0f}"
        }
        return _form(request, back, name=name, error=error, status=429)
    token = desk_of(request).people.sign_in(name, form.texts.get("phrase", ""), now())
    if token is None:
        for who in waits:
            patience.was_wrong(who)
        error = translate("This name and this passphrase do not belong together.")
        return _form(request, back, name=name, error=error, status=403)
    patience.was_right(waits[0])
    answer = RedirectResponse(back, 303)
    answer.set_cookie(
        COOKIE,
        token,
        max_age=int(WHOLE.total_seconds()),
        httponly=True,
        samesite="strict",
        secure=request.url.scheme == "https",
    )
    return answer


@router.post("/sign-out")
def sign_out(request: Request) -> Response:
    """Sign out, in the record and in the browser."""
    if token := request.cookies.get(COOKIE, ""):
        desk_of(request).people.sign_out(token)
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(COOKIE)
    return answer


def _form(
    request: Request, back: str, *, name: str = "", error: str | None = None, status: int = 200
) -> Response:
    context = {"bare": True, "back": own_page(back), "name": name, "wrong": error}
    return page(request, "sign_in.html", status=status, **context)
