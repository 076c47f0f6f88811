"""What entries about dealings, time and comebacks say, in a few words; the other kinds are in ``pages``."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from coppermend.web.language import translate as _

Body = Mapping[str, Any]


def _approval(body: Body) -> str:
    by = f" ({body['by']})" if body.get("by") else ""
    return f"{body['what']}: {_('approved') if body['approved'] else _('not approved')}{by}"


def _shipping(body: Body) -> str:
    went = _("came in") if body["direction"] == "in" else _("left")
    return " ".join(filter(None, (went, body.get("carrier"), body.get("tracking"))))


def _timer(body: Body) -> str:
    if body["does"] == "add":
        return _("%(minutes)s min added") % {"minutes": f"{body['minutes']:g}"}
    return {"start": _("timer started"), "pause": _("timer paused"), "stop": _("timer stopped")}[body["does"]]


DEALING_WORDS: Mapping[str, Callable[[Body], str]] = {
    "approval": _approval,
    "shipping": _shipping,
    "payment": lambda b: f"{_(b['state'])} {b.get('amount', '')}".strip(),
    "video": lambda b: f"{b.get('caption', '')} {b.get('name') or b['url']}".strip(),
    "waiting": lambda b: f"{b['parts']} {_('arrived') if b.get('arrived') else _('not here yet')}",
    "timer": _timer,
    "fingerprint": lambda b: ", ".join(f"{part} {code}" for part, code in b["codes"].items()),
    "comeback": lambda b: _("Back from job %(job)s") % b + (f": {b['why']}" if b.get("why") else ""),
    "erased": lambda b: b.get("why", ""),
}
