"""Rendering: templates with what every page shows, redirects after a post, and who is working."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from functools import lru_cache
from typing import Any
from urllib.parse import quote, unquote, urlencode

from fastapi import Request
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse, RedirectResponse

from coppermend.board.atrisk import grade
from coppermend.errors import CoppermendError
from coppermend.job.entry import STAGES, Entry
from coppermend.quantity import format_quantity
from coppermend.web.desk import desk_of
from coppermend.web.forms import Form

WHO = "who"
_A_YEAR_S = 365 * 24 * 3600

STAGE_QUESTIONS: Mapping[str, str] = {
    "receive": "Whose board, what is wrong, have we had it before?",
    "inspect": "What has the damage touched?",
    "isolate": "What else is wrong?",
    "plan": "What shall be done, and with what?",
    "strip": "What comes off, and in which order?",
    "copper": "Did every at-risk connection survive?",
    "refit": "What goes back, what is new?",
    "prove": "Is everything that was touched shown to work?",
    "return": "What do the customer and the next technician need?",
}


class WhoMissing(Exception):
    """A post without an author; the page that asks for one sends the same form again."""

    def __init__(self, form: Form) -> None:
        super().__init__("who is working?")
        self.form = form


@lru_cache(maxsize=1)
def templates() -> Environment:
    """The template environment: everything is escaped, an unknown name is an error."""
    made = Environment(
        loader=PackageLoader("coppermend.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(ohms=ohms_words, day=day, moment=moment, grade=grade, told=entry_words)
    made.globals.update(STAGES=STAGES, QUESTIONS=STAGE_QUESTIONS, next_stage=next_stage)
    return made


def page(request: Request, template: str, *, status: int = 200, **context: Any) -> HTMLResponse:
    """A rendered template. ``error`` and ``typed`` are empty unless a post was refused."""
    common = {
        "error": None, "typed": Form(), "notice": None, "who": who_of(request), "shop": desk_of(request).shop,
        "path": request.url.path, "person": signed_in(request), "bare": False,
    }  # fmt: skip
    return HTMLResponse(templates().get_template(template).render({**common, **context}), status)


def who_of(request: Request) -> str:
    """Who works at this browser: who has signed in, else whom it remembers."""
    return signed_in(request) or unquote(request.cookies.get(WHO, "")).strip()


def signed_in(request: Request) -> str:
    """Who has signed in; "" on a bench that is open to this computer alone."""
    return getattr(request.state, "person", None) or ""


def own_page(path: str) -> str:
    """A page of this bench to go back to; its first page when ``path`` leads anywhere else."""
    return path if path.startswith("/") and not path.startswith(("//", "/\\")) else "/"


def author(request: Request, form: Form) -> str:
    """Who sends this form.

    Raises:
        WhoMissing: If neither the form nor the browser says.
    """
    who = signed_in(request) or form.text(WHO) or who_of(request)
    if not who:
        raise WhoMissing(form)
    return who


def see(path: str, form: Form | None = None, *, anchor: str = "", **query: object) -> RedirectResponse:
    """Go on to a page after a post, remembering who sent it."""
    asked = {name: value for name, value in query.items() if value not in ("", None)}
    url = path + (f"?{urlencode(asked)}" if asked else "") + (f"#{quote(anchor)}" if anchor else "")
    answer = RedirectResponse(url, status_code=303)
    if form and (who := form.text(WHO)):
        answer.set_cookie(WHO, quote(who), max_age=_A_YEAR_S, httponly=True, samesite="lax")
    return answer


def status_of(error: CoppermendError) -> int:
    """The HTTP status that says what kind of error it is."""
    return {"UnknownName": 404, "RecordError": 409}.get(type(error).__name__, 400)


def next_stage(stage: str) -> str:
    """The stage after this one; "" after the last."""
    position = STAGES.index(stage) + 1
    return STAGES[position] if position < len(STAGES) else ""


def ohms_words(ohms: float | None) -> str:
    """A resistance to read from across the bench.

    >>> ohms_words(0.04), ohms_words(4700.0), ohms_words(None)
    ('0.04 Ω', '4.7 kΩ', 'OL')
    """
    if ohms is None:
        return "OL"
    return f"{ohms:.2g} Ω" if ohms < 1 else format_quantity(ohms, "Ω", 3)


def day(at: datetime | None) -> str:
    """A date in the bench's own time zone."""
    return f"{at.astimezone():%Y-%m-%d}" if at else ""


def moment(at: datetime | None) -> str:
    """A date and time in the bench's own time zone."""
    return f"{at.astimezone():%Y-%m-%d %H:%M}" if at else ""


def entry_words(entry: Entry) -> str:
    """What an entry says, in a few words."""
    body = entry.body
    tell = _ENTRY_WORDS.get(entry.kind)
    try:
        return tell(body) if tell else ""
    except (KeyError, TypeError, AttributeError):  # written by a later version: shown by kind alone
        return ""


def _header_words(body: Mapping[str, Any]) -> str:
    return "; ".join(f"{key}: {value}" for key, value in body.items() if value)


def _reading_words(body: Mapping[str, Any]) -> str:
    ohms = "OL" if body["ohms"] == "OL" else ohms_words(float(body["ohms"]))
    by = f" ({body['instrument']})" if body.get("instrument") else ""
    return f"{body['a']} to {body['b']}: {ohms}{by}"


def _done(body: Mapping[str, Any], yes: str, no: str) -> str:
    extra = body.get("fate") or body.get("note") or ""
    return f"{body['refdes']} {yes if body['done'] else no}{': ' + extra if extra else ''}"


_ENTRY_WORDS: Mapping[str, Any] = {
    "job": _header_words,
    "board": lambda b: b["name"],
    "photo": lambda b: f"{b['name']} {b.get('caption', '')}".strip(),
    "image": lambda b: f"{b['what']} {b['name']}{' for ' + b['refdes'] if b.get('refdes') else ''}",
    "damage": lambda b: f"{len(b['area']['features'])} damaged areas",
    "note": lambda b: b["text"],
    "remedy": lambda b: f"{b['id']} {'chosen' if b['chosen'] else 'not chosen'}",
    "observation": lambda b: f"{b.get('point') or 'board'}: {b['kind']} {b['value']}",
    "strip": lambda b: _done(b, "is off", "is not off"),
    "reading": _reading_words,
    "jumper": lambda b: f"{b['net']}: {b['a']} to {b['b']}",
    "refit": lambda b: _done(b, "is on", "is not on"),
    "evidence": lambda b: f"{b['proof']} {'passed' if b['passed'] else 'failed'} {b.get('note', '')}".strip(),
    "trial": lambda b: (
        f"{', '.join(b['commanded']) or 'nothing'} on, {', '.join(b['seen']) or 'nothing'} seen"
    ),
    "decay": lambda b: f"{b['refdes']} keeps {b['volts']:g} V after {b['hours']:g} h",
    "proof": lambda b: f"{b['title']}{'' if b['offered'] else ' no longer offered'}",
    "waiver": lambda b: f"{len(b['items'])} left unproven: {b['reason']}",
    "stage": lambda b: f"the job stands at {b['stage']}",
    "paper": lambda b: b["name"],
    "void": lambda b: f"entry {b['seq']} no longer counts{': ' + b['why'] if b.get('why') else ''}",
}
