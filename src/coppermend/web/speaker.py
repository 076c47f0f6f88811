"""Sets the language of each request before anything is computed for it. Reads the shop's settings once a request."""

from __future__ import annotations

from collections.abc import Callable

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from coppermend.job.shop import Shop
from coppermend.web.language import asked_for, speak

_NO_WORDS = ("/static/", "/attachments/", "/api/")


class Speaker:
    """ASGI middleware: ``request.state.settings`` is the shop as it stands, and its language is spoken."""

    def __init__(self, app: ASGIApp, settings: Callable[[], Shop]) -> None:
        self.app, self.settings = app, settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "http" and not scope["path"].startswith(_NO_WORDS):
            shop = await run_in_threadpool(self.settings)
            scope.setdefault("state", {})["settings"] = shop
            speak(asked_for(Headers(scope=scope).get("accept-language", ""), shop.language), shop.units)
        await self.app(scope, receive, send)
