"""Who may see what when the bench is open to the shop's network: named people, and strangers who scan a tag.

On this computer alone (the default) nobody is asked. On the network every page wants somebody who has signed in;
a stranger sees how to reach the shop and nothing of the job.
"""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Lock
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from coppermend.errors import CoppermendError
from coppermend.job.number import check_number
from coppermend.job.store import now
from coppermend.web.desk import desk_of
from coppermend.web.pages import page

COOKIE = "signed-in"
_OPEN = ("/static/", "/sign-in")
_MOST_REMEMBERED = 10_000


@dataclass
class Patience:
    """How often one address may ask, and how long it waits after wrong passphrases; safe for threads.

    A bucket of ``burst`` requests that fills with ``per_s``; after ``free`` wrong phrases each further one doubles
    the wait, from 30 s up to 15 min. Reference for the slowing down: NIST SP 800-63B-4, 3.2.2 (rate limiting); the
    figures are common practice, no source.
    """

    per_s: float = 2.0
    burst: float = 60.0
    free: int = 5
    clock: Callable[[], float] = time.monotonic
    _left: OrderedDict[str, tuple[float, float]] = field(default_factory=OrderedDict)
    _wrong: OrderedDict[str, tuple[int, float]] = field(default_factory=OrderedDict)
    _lock: Lock = field(default_factory=Lock)

    def allows(self, address: str) -> bool:
        """Whether ``address`` may ask once more now."""
        with self._lock:
            at = self.clock()
            left, since = self._left.pop(address, (self.burst, at))
            left = min(self.burst, left + (at - since) * self.per_s)
            self._left[address] = (max(left - 1.0, 0.0), at)
            _forget(self._left)
            return left >= 1.0

    def wait_s(self, who: str) -> float:
        """How long ``who`` has to wait before the next try [s]; 0 when not at all."""
        with self._lock:
            return max(0.0, self._wrong.get(who, (0, 0.0))[1] - self.clock())

    def was_wrong(self, who: str) -> None:
        """Note a wrong passphrase."""
        with self._lock:
            count = self._wrong.pop(who, (0, 0.0))[0] + 1
            wait_s = min(30.0 * 2.0 ** (count - self.free), 900.0) if count >= self.free else 0.0
            self._wrong[who] = (count, self.clock() + wait_s)
            _forget(self._wrong)

    def was_right(self, who: str) -> None:
        """Forget the wrong ones."""
        with self._lock:
            self._wrong.pop(who, None)


def _forget(kept: OrderedDict[str, tuple[float, float]] | OrderedDict[str, tuple[int, float]]) -> None:
    if len(kept) > _MOST_REMEMBERED:
        kept.popitem(last=False)


class Access:
    """ASGI middleware that lets only people who have signed in past the door."""

    def __init__(self, app: ASGIApp, patience: Patience) -> None:
        self.app, self.patience = app, patience

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        person = await run_in_threadpool(_person, request)
        scope.setdefault("state", {})["person"] = person
        refusal = None if person else self._refusal(request)
        await (refusal or self.app)(scope, receive, send)

    def _refusal(self, request: Request) -> Response | None:
        path = request.url.path
        if not self.patience.allows(address_of(request)):
            return PlainTextResponse(
                "Too many requests from here; wait a minute.\n", 429, {"Retry-After": "60"}
            )
        if path.startswith(_OPEN):
            return None
        if request.method in ("GET", "HEAD") and (number := number_on_tag(path)):
            # The same whether there is such a job or not: numbers cannot be tried out.
            return page(request, "tag_found.html", bare=True, number=number)
        if path.startswith("/api/") or path == "/openapi.json":
            return JSONResponse({"error": "sign in first"}, 401)
        return RedirectResponse(f"/sign-in?back={quote(path)}", 303)


def _person(request: Request) -> str | None:
    token = request.cookies.get(COOKIE, "")
    return desk_of(request).people.who(token, now()) if token else None


def address_of(request: Request) -> str:
    """Where a request comes from."""
    return request.client.host if request.client else ""


def number_on_tag(path: str) -> str:
    """The job number when this is where a tag's code leads, ``/jobs/NUMBER`` and nothing behind it; else ""."""
    number = path.removeprefix("/jobs/")
    if number == path:
        return ""
    try:
        return check_number(number)
    except CoppermendError:
        return ""
