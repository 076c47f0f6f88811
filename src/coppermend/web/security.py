"""What guards every request: foreign posts refused, sizes limited, strict headers. Knows no pages.

Another site open in the same browser must not write into the record (cross-site request forgery), nor reach it by a
name of its own that it lets point to this computer (DNS rebinding).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BYTES = 64 * 1024 * 1024
_SAFE = frozenset(("GET", "HEAD", "OPTIONS"))
_OWN_SITES = ("same-origin", "none")

# Everything from here and nothing inline; drawings carry presentation attributes only.
# Pictures may also come from what the browser itself holds: a photo that is laid under a drawing and never sent.
POLICY = "default-src 'self'; img-src 'self' blob:; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def is_foreign(headers: Headers) -> bool:
    """Whether a browser says that another site sent this request; programs that say nothing are not foreign.

    Reference: W3C Fetch Metadata Request Headers (Sec-Fetch-Site); RFC 6454 (Origin).
    """
    if site := headers.get("sec-fetch-site"):
        return site not in _OWN_SITES
    origin = headers.get("origin")
    return origin is not None and urlsplit(origin).netloc.lower() != headers.get("host", "").lower()


def host_of(headers: Headers) -> str:
    """The name by which the server was called, without its port; "" when that cannot be read."""
    try:
        return urlsplit(f"//{headers.get('host', '')}").hostname or ""
    except ValueError:
        return ""


class TooLarge(Exception):
    """A body went over the limit while it was being read."""


class Guard:
    """ASGI middleware that refuses foreign and oversized requests and adds the headers to every answer."""

    def __init__(
        self, app: ASGIApp, most_bytes: int = MOST_BYTES, hosts: Collection[str] = (),
        larger: Mapping[str, Callable[[], int]] | None = None,
    ) -> None:  # fmt: skip
        """``larger`` says for single paths how much they take at the moment [bytes]; never less than the others."""
        self.app, self.most_bytes, self.hosts, self.larger = app, most_bytes, frozenset(hosts), larger or {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        most = self._most(scope)
        if refusal := self._refusal(scope, headers, most):
            await refusal(scope, receive, _with_headers(send))
            return
        try:
            await self.app(scope, _limited(receive, most), _with_headers(send))
        except TooLarge:
            await _too_large(most)(scope, receive, _with_headers(send))

    def _most(self, scope: Scope) -> int:
        asked = self.larger.get(scope["path"]) if scope["method"] not in _SAFE else None
        return max(self.most_bytes, asked()) if asked else self.most_bytes

    def _refusal(self, scope: Scope, headers: Headers, most: int) -> PlainTextResponse | None:
        if self.hosts and host_of(headers) not in self.hosts:
            return PlainTextResponse("Refused: the bench is not called by this name.\n", 421)
        if scope["method"] not in _SAFE and is_foreign(headers):
            return PlainTextResponse("Refused: this was sent by another site, not by the bench.\n", 403)
        length = headers.get("content-length", "0")
        if length.isdigit() and int(length) > most:
            return _too_large(most)
        return None


def _limited(receive: Receive, most: int) -> Receive:
    received = 0

    async def counted() -> Message:
        nonlocal received
        message = await receive()
        received += len(message.get("body", b""))
        if received > most:
            raise TooLarge
        return message

    return counted


def _too_large(most_bytes: int) -> PlainTextResponse:
    words = f"Refused: more than {most_bytes // (1024 * 1024)} MB at once. Send fewer or smaller files.\n"
    return PlainTextResponse(words, 413)


def _with_headers(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            _add(MutableHeaders(scope=message), _HEADERS.items())
        await send(message)

    return sent


def _add(headers: MutableHeaders, wanted: Iterable[tuple[str, str]]) -> None:
    for name, value in wanted:
        headers.setdefault(name, value)
