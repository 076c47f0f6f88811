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
from coppermend.job.shop import Shop
from coppermend.quantity import format_quantity
from coppermend.web.dealing_words import DEALING_WORDS
from coppermend.web.desk import desk_of
from coppermend.web.forms import Form
from coppermend.web.language import (
    area_words,
    count_words,
    day_words,
    decimal_point,
    length_words,
    lengths_in,
    mark,
    measured,
    message_words,
    moment_words,
    money_words,
    number_words,
    script_words,
    spoken,
    translate,
    translate_plural,
)
from coppermend.web.marking import MarkWords
from coppermend.web.pieces import Pieces
from coppermend.web.plan_view import figure_link
from coppermend.web.prove_view import open_line
from coppermend.web.sentences import say

_ = translate
WHO, CABINET = "who", "cabinet"  # cookies of this device
# Where a refused post would have kept something; elsewhere a page only failed to work something out.
_KEEPING = ("/jobs/", "/shop", "/shelf", "/boards", "/backups", "/rom/keep", "/rom/known")
_A_YEAR_S = 365 * 24 * 3600

STAGE_QUESTIONS: Mapping[str, str] = {
    "receive": mark("Whose board, what is wrong, have we had it before?"),
    "inspect": mark("What has the damage touched?"),
    "isolate": mark("What else is wrong?"),
    "plan": mark("What shall be done, and with what?"),
    "strip": mark("What comes off, and in which order?"),
    "copper": mark("Did every at-risk connection survive?"),
    "refit": mark("What goes back, what is new?"),
    "prove": mark("Is everything that was touched shown to work?"),
    "return": mark("What do the customer and the next technician need?"),
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
        extensions=("jinja2.ext.i18n", MarkWords),
    )
    made.policies["ext.i18n.trimmed"] = True
    made.install_gettext_callables(translate, translate_plural, newstyle=True)  # type: ignore[attr-defined]
    made.globals.update(gettext=message_words, _=message_words, kept=Pieces())  # some hundred messages a page
    made.filters.update(ohms=ohms_words, day=day_words, moment=moment_words, grade=grade, told=entry_words)
    made.filters.update(
        number=number_words,
        count=count_words,
        money=money_words,
        mm=length_words,
        area=area_words,
        lengths=lengths_in,
        say=room_words,
        upfirst=lambda text: text[:1].upper() + text[1:],
        t=translate,
        open_line=open_line,
        figure_link=figure_link,
    )
    made.globals.update(STAGES=STAGES, QUESTIONS=STAGE_QUESTIONS, next_stage=next_stage)
    return made


def page(request: Request, template: str, *, status: int = 200, **context: Any) -> HTMLResponse:
    """A rendered template. ``error`` and ``typed`` are empty unless a post was refused."""
    settings = settings_of(request)
    common = {
        "error": None, "typed": Form(), "notice": None, "who": who_of(request),
        "shop": desk_of(request).shop or settings.name, "logo": settings.logo,
        "path": request.url.path, "comes_again": comes_again(request), "person": signed_in(request), "bare": False, "keeps": keeps(request),
        "language": spoken(), "units": measured().unit, "point": decimal_point(),
        "script_words": script_words(), "cabinet": request.cookies.get(CABINET) == "1",
    }  # fmt: skip
    return HTMLResponse(templates().get_template(template).render({**common, **context}), status)


def comes_again(request: Request) -> str:
    """The address that shows this page again; of a post, which none does, that of its job or of the bench."""
    path = request.url.path
    if request.method == "GET":
        return path
    steps = path.split("/")
    return "/".join(steps[:3]) if path.startswith("/jobs/") and len(steps) > 3 else "/"


def settings_of(request: Request) -> Shop:
    """The shop's settings as they stood when this request came."""
    held: Shop | None = getattr(request.state, "settings", None)
    return held or desk_of(request).settings()


def keeps(request: Request) -> bool:
    """Whether this request was to keep something, so that a refusal has to say that nothing was kept."""
    return request.method == "POST" and request.url.path.startswith(_KEEPING)


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


def room_words(said: object) -> str:
    """What a room said, in the language and the units of this request."""
    return lengths_in(say(said if isinstance(said, str) else str(said)))


def ohms_words(ohms: float | None) -> str:
    """A resistance to read from across the bench.

    >>> ohms_words(0.04), ohms_words(4700.0), ohms_words(None)
    ('0.04 Ω', '4.7 kΩ', 'OL')
    """
    if ohms is None:
        return "OL"
    words = f"{ohms:.2g} Ω" if ohms < 1 else format_quantity(ohms, "Ω", 3)
    return words.replace(".", decimal_point())


def day(at: datetime | None) -> str:
    """A date for papers, in the bench's own time zone (ISO 8601)."""
    return f"{at.astimezone():%Y-%m-%d}" if at else ""


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
    return _("%(a)s to %(b)s") % body + f": {ohms}{by}"


def _area_words(count: int) -> str:
    return (
        translate_plural("one damaged area", "%(num)d damaged areas", count) % {"num": count}
        if count
        else _("no damage")
    )


def _done(body: Mapping[str, Any], yes: str, no: str) -> str:
    extra = body.get("fate") or body.get("note") or ""
    return f"{body['refdes']} {yes if body['done'] else no}{': ' + extra if extra else ''}"


_ENTRY_WORDS: Mapping[str, Any] = {
    "job": _header_words,
    "board": lambda b: b["name"],
    "photo": lambda b: f"{b['name']} {b.get('caption', '')}".strip(),
    "image": lambda b: f"{b['what']} {b['name']}{_(' for ') + b['refdes'] if b.get('refdes') else ''}",
    "damage": lambda b: _area_words(len(b["area"]["features"])),
    "note": lambda b: b["text"],
    "remedy": lambda b: f"{b['id']} {_('chosen') if b['chosen'] else _('not chosen')}",
    "observation": lambda b: f"{b.get('point') or _('board')}: {b['kind']} {b['value']}",
    "strip": lambda b: _done(b, _("is off"), _("is not off")),
    "reading": _reading_words,
    "jumper": lambda b: _("%(net)s: %(a)s to %(b)s") % b,
    "refit": lambda b: _done(b, _("is on"), _("is not on")),
    "evidence": lambda b: (
        f"{b['proof']} {_('passed') if b['passed'] else _('failed')} {b.get('note', '')}".strip()
    ),
    "trial": lambda b: (
        _("%(on)s on, %(seen)s seen")
        % {"on": ", ".join(b["commanded"]) or _("nothing"), "seen": ", ".join(b["seen"]) or _("nothing")}
    ),
    "decay": lambda b: f"{b['refdes']} keeps {b['volts']:g} V after {b['hours']:g} h",
    "proof": lambda b: f"{b['title']}{'' if b['offered'] else _(' no longer offered')}",
    "waiver": lambda b: (
        _("%(count)s left unproven: %(reason)s") % {"count": len(b["items"]), "reason": b["reason"]}
    ),
    "stage": lambda b: _("the job stands at %(stage)s") % {"stage": _(b["stage"])},
    "paper": lambda b: b["name"],
    **DEALING_WORDS,
    "void": lambda b: (_("entry %(seq)s no longer counts") % b) + (f": {b['why']}" if b.get("why") else ""),
}
