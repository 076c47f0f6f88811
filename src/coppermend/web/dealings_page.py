"""What passes between shop, customer and suppliers during a job, and the time it takes: one page of forms for it."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from coppermend.errors import CoppermendError, InputError
from coppermend.job.dealings import minutes_noted
from coppermend.job.erase import FREE_TEXT, PERSONAL, erase_personal
from coppermend.job.history import later_work
from coppermend.job.validate import PAYMENTS
from coppermend.web.desk import Job, desk_of
from coppermend.web.files import video_type
from coppermend.web.forms import Form, SentForm
from coppermend.web.keeping import Body, Refuse, keep, refusal_status
from coppermend.web.pages import author, page, see
from coppermend.web.stages import job_context

router = APIRouter(include_in_schema=False)
_LONGEST_LISTED = 500


@router.get("/jobs/{number}/dealings")
def show_dealings(request: Request, number: str) -> Response:
    """Time, promise, parts waited for, approvals, shipping, payment, videos, codes, earlier and later jobs."""
    job = desk_of(request).job(number)
    if job.number != number:
        return RedirectResponse(f"/jobs/{job.number}/dealings", status_code=307)
    return _dealings(request, job, Form(), "")


def _dealings(  # noqa: PLR0917
    request: Request, job: Job, form: Form, section: str, status: int = 200, error: str | None = None
) -> Response:
    """The page; ``form`` was sent from ``section``, and forms of others may have fields of the same names."""
    state, empty = job.state, Form()
    personal = [e for e in job.entries if any(e.body.get(key) for key in PERSONAL.get(e.kind, ()))]
    notes = [e for e in job.entries if e.kind in FREE_TEXT and e.seq not in state.voided]
    return page(
        request, "dealings.html", status=status,
        **{**job_context(request, job, state.stage), "typed": form, "error": error},
        later=later_work(desk_of(request).store, job.number), payments=PAYMENTS, personal=personal,
        notes=notes[:_LONGEST_LISTED], noted=minutes_noted(state.time),
        typed_in=lambda asked: form if asked == section else empty,
    )  # fmt: skip


@router.post("/jobs/{number}/timer")
def run_timer(request: Request, number: str, form: SentForm) -> Response:
    """Start, pause or stop the timer of who works, or add minutes that were forgotten; from any page of the job."""

    def body(_: Job) -> dict[str, Any]:
        does = {"does": form.text("does"), **_given(form, "why")}
        if form.text("does") != "add":
            return does
        return {**does, "minutes": form.number("minutes") * (-1 if form.text("less") else 1)}

    return _keep(request, number, "timer", form, body, "time", stage=form.text("stage"))


@router.post("/jobs/{number}/promise")
def promise(request: Request, number: str, form: SentForm) -> Response:
    """When the board was promised for; empty takes the promise back."""
    return _keep(request, number, "job", form, lambda _: {"promised": form.text("promised")}, "promise")


@router.post("/jobs/{number}/waiting")
def wait_for_parts(request: Request, number: str, form: SentForm) -> Response:
    """Parts that the job waits for, or that have come."""

    def body(_: Job) -> dict[str, Any]:
        until = {"until": form.text("until")} if form.text("until") else {}
        return {"parts": form.text("parts"), "arrived": form.flag("arrived"), **until}

    return _keep(request, number, "waiting", form, body, "waiting")


@router.post("/jobs/{number}/approval")
def note_approval(request: Request, number: str, form: SentForm) -> Response:
    """What was put to the customer, and the answer."""

    def body(_: Job) -> dict[str, Any]:
        return {"what": form.text("what"), "approved": form.flag("approved"), **_given(form, "by", "note")}

    return _keep(request, number, "approval", form, body, "approval")


@router.post("/jobs/{number}/shipping")
def ship(request: Request, number: str, form: SentForm) -> Response:
    """The board came in, or left."""

    def body(_: Job) -> dict[str, Any]:
        return {"direction": form.text("direction"), **_given(form, "carrier", "tracking", "note")}

    stage = "return" if form.text("direction") == "out" else "receive"
    return _keep(request, number, "shipping", form, body, "shipping", stage=stage)


@router.post("/jobs/{number}/payment")
def note_payment(request: Request, number: str, form: SentForm) -> Response:
    """Where payment stands now."""

    def body(_: Job) -> dict[str, Any]:
        return {"state": form.text("state"), **_given(form, "amount", "note")}

    return _keep(request, number, "payment", form, body, "payment")


@router.post("/jobs/{number}/video")
def add_video(request: Request, number: str, form: SentForm) -> Response:
    """A video by its address, or as a file that is kept with the record."""

    def body(_: Job) -> dict[str, Any]:
        caption = _given(form, "caption")
        if not form.uploads("file"):
            if not form.text("url"):
                raise InputError("no video was given", expected="an address, or a file")
            return {"url": form.text("url"), **caption}
        file = form.uploads("file")[0]
        kind = video_type(file.data, file.name)
        sha256 = desk_of(request).store.attach(file.data, file.name, kind)
        return {"sha256": sha256, "name": file.name, "media_type": kind, **caption}

    return _keep(request, number, "video", form, body, "video", stage=form.text("stage"))


@router.post("/jobs/{number}/fingerprint")
def read_codes(request: Request, number: str, form: SentForm) -> Response:
    """Codes read off parts, one part a line, by which the board is known again."""
    return _keep(request, number, "fingerprint", form, lambda _: {"codes": parse_codes(form.text("codes"))}, "codes", stage="receive")  # fmt: skip


def parse_codes(text: str) -> dict[str, str]:
    r"""Codes by part, from lines such as ``U5 8142``.

    Raises:
        InputError: If a line names no part or no code.

    >>> parse_codes("U5 8142\n\nRN1: 7936 A")
    {'U5': '8142', 'RN1': '7936 A'}
    """
    codes: dict[str, str] = {}
    for line, words in enumerate(text.splitlines(), 1):
        refdes, _, code = words.strip().replace("=", " ").replace(":", " ").partition(" ")
        if not refdes:
            continue
        if not code.strip():
            raise InputError(
                f"{refdes[:40]} has no code",
                expected="a part and its code, such as U5 8142",
                where="codes",
                line=line,
            )
        codes[refdes] = " ".join(code.split())
    return codes


@router.post("/jobs/{number}/comeback")
def link_earlier(request: Request, number: str, form: SentForm) -> Response:
    """Say that this board was here before, when nothing on it told so."""
    return _keep(request, number, "comeback", form, lambda _: {"job": form.text("earlier").upper(), **_given(form, "why")}, "comebacks", stage="receive")  # fmt: skip


@router.post("/jobs/{number}/erase")
def erase(request: Request, number: str, form: SentForm) -> Response:
    """Erase the customer's personal data on request; asked twice, since it cannot be undone."""
    desk = desk_of(request)
    job, who = desk.job(number), author(request, form)
    try:
        if not form.text("sure"):
            raise InputError("nothing was erased: the box was not ticked", expected="that you are sure")
        notes = [e.seq for e in job.entries if form.text(f"note-{e.seq}")]
        erase_personal(desk.store, job.number, why=form.text("why"), who=who, notes=notes)
    except CoppermendError as error:
        return _refused("personal")(request, job, job.state.stage, form, error)
    return see(f"/jobs/{job.number}/dealings", form, anchor="personal", kept=desk.store.last_seq(job.number))


def _given(form: Form, *names: str) -> dict[str, str]:
    """The fields that were filled in."""
    return {name: form.text(name) for name in names if form.text(name)}


def _keep(  # noqa: PLR0917  (always these six, in the order of a sentence)
    request: Request, number: str, kind: str, form: Form, body: Body, anchor: str, *, stage: str = ""
) -> Response:
    """Append an entry and show this page again, or the page of the stage that the form stood on."""
    on_stage = form.text("back") == "stage"
    return keep(
        request, number, stage, kind, form, body, show="" if on_stage else "dealings",
        anchor="" if on_stage else anchor, refuse=_refused(anchor),
    )  # fmt: skip


def _refused(section: str) -> Refuse:
    """Shows this page again, with what was typed in ``section``."""

    def refuse(request: Request, job: Job, stage: str, form: Form, error: CoppermendError) -> Response:
        return _dealings(request, job, form, section, refusal_status(error), str(error))

    return refuse
