"""The web application: routes, guard, error pages. Opens the record once; decides nothing else."""

from __future__ import annotations

from collections.abc import AsyncIterator, Collection
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import JSONResponse, Response
from starlette.staticfiles import StaticFiles

from coppermend import __version__
from coppermend.errors import CoppermendError
from coppermend.web import (
    actions,
    api,
    backups,
    bench,
    boards,
    cabinet,
    copper_pages,
    craft_pages,
    dealings_page,
    draft_pages,
    errand_pages,
    figure_pages,
    files,
    isolate_pages,
    jobs,
    learn_page,
    live,
    papers,
    photo_map,
    plan_pages,
    prove_drive,
    prove_holdup,
    prove_matrix,
    prove_one,
    prove_selftest,
    prove_waiver,
    receiving,
    retention_page,
    rom_pages,
    scan_page,
    shop_pages,
    sign_in,
    stages,
    trial_page,
)
from coppermend.web.access import Access, Patience
from coppermend.web.desk import Desk
from coppermend.web.language import translate
from coppermend.web.pages import WhoMissing, page, room_words, status_of
from coppermend.web.security import MOST_BYTES, Guard
from coppermend.web.speaker import Speaker

_STATIC = Path(__file__).parent / "static"
_ROUTERS = (
    bench,
    cabinet,
    errand_pages,
    backups,
    sign_in,
    jobs,
    live,
    receiving,
    actions,
    copper_pages,
    papers,
    photo_map,
    plan_pages,
    prove_drive,
    prove_holdup,
    prove_matrix,
    prove_one,
    prove_selftest,
    prove_waiver,
    isolate_pages,
    dealings_page,
    stages,
    draft_pages,
    trial_page,
    boards,
    craft_pages,
    figure_pages,
    rom_pages,
    scan_page,
    shop_pages,
    learn_page,
    retention_page,
    files,
    api,
)


class _Asked(StaticFiles):
    """Scripts and styles; a browser asks each time whether they are still the same, or it would go on with those of before an update."""

    def file_response(self, *args: Any, **named: Any) -> Response:
        """As ever, but not to be used again unasked."""
        answer = super().file_response(*args, **named)
        answer.headers["Cache-Control"] = "no-cache"
        return answer


def create_app(
    data_folder: Path, *, shop: str = "", bench_url: str = "", most_bytes: int = MOST_BYTES,
    named: bool = False, hosts: Collection[str] = (),
) -> FastAPI:  # fmt: skip
    """The bench over the record in ``data_folder``, created when there is none.

    Args:
        data_folder: Where record and attachments live.
        shop: Name of the shop, for the head of pages and papers.
        bench_url: Address under which others reach this bench; the tag's code then opens the job.
        most_bytes: Largest request taken [bytes].
        named: Whether one has to sign in, as on a network.
        hosts: Names by which the bench may be called, without ports; any, when empty.

    Raises:
        RecordError: If the record cannot be opened.
    """
    desk = Desk.open(data_folder, shop, bench_url)

    @asynccontextmanager
    async def closing(_: FastAPI) -> AsyncIterator[None]:
        yield
        desk.errands.close()
        desk.store.close()

    app = FastAPI(
        title="Coppermend bench", version=__version__, lifespan=closing, docs_url=None, redoc_url=None
    )
    app.state.desk = desk
    app.add_middleware(Speaker, settings=desk.settings)
    app.add_middleware(GZipMiddleware, minimum_size=2000, compresslevel=5)
    app.state.patience = Patience()
    if named:
        app.add_middleware(Access, patience=app.state.patience)
    room = {"/backups/restore": lambda: backups.room_bytes(desk)}
    app.add_middleware(Guard, most_bytes=most_bytes, hosts=hosts, larger=room)
    app.mount("/static", _Asked(directory=_STATIC), name="static")
    for module in _ROUTERS:
        app.include_router(module.router)
    app.add_exception_handler(CoppermendError, _refused)
    app.add_exception_handler(WhoMissing, _ask_who)
    app.add_exception_handler(RequestValidationError, _malformed)
    app.add_exception_handler(HTTPException, _http_error)
    app.add_exception_handler(Exception, _fault)
    return app


def _answer(request: Request, status: int, text: str) -> Response:
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": room_words(text)}, status)
    return page(request, "error.html", status=status, text=text)


def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, CoppermendError)
    return _answer(request, status_of(error), str(error))


def _ask_who(request: Request, error: Exception) -> Response:
    assert isinstance(error, WhoMissing)
    # To people it is a question on the way, no mistake; a script must not take it for a yes.
    reads = "text/html" in request.headers.get("accept", "")
    return page(request, "who.html", status=200 if reads else 400, sent=error.form)


def _malformed(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    place = ".".join(str(step) for step in first["loc"])
    return _answer(request, 400, f"{place}: {first['msg']}")


def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    text = translate("There is no such page.") if error.status_code == 404 else str(error.detail)
    return _answer(request, error.status_code, text)


def _fault(request: Request, error: Exception) -> Response:
    text = translate("The program made a mistake with this request. Everything acknowledged before is kept.")
    return _answer(request, 500, f"{text} ({type(error).__name__})")
