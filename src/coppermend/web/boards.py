"""The board library: what is kept, how boards come in, and one board's page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.board.importing import Source, import_board
from coppermend.board.model import LAYERS, Layer
from coppermend.demo.board_data import demo_board_files
from coppermend.errors import CoppermendError, InputError, UnknownName
from coppermend.job.archive import archive_files
from coppermend.underway import tell, unheard
from coppermend.web.desk import Desk, desk_of
from coppermend.web.drawing import drawing_of
from coppermend.web.errand_pages import long_work
from coppermend.web.forms import Form, SentForm, Upload
from coppermend.web.language import translate
from coppermend.web.pages import page, see

router = APIRouter(include_in_schema=False)
_IPC = (".d356", ".ipc", ".356", ".ipc356", ".d356a")
_SHEET = (".csv", ".tsv", ".txt")
_ZIP = b"PK\x03\x04"


@router.get("/boards")
def show_boards(request: Request) -> Response:
    """Every board of the library, and how to bring in another."""
    return _library_page(request)


def _library_page(request: Request, status: int = 200, **more: Any) -> Response:
    desk = desk_of(request)
    kept = [(record, desk.board(record.sha256)) for record in desk.store.boards()]
    return page(request, "boards.html", status=status, kept=kept, **more)


@router.post("/boards/sample")
def add_sample(request: Request) -> Response:
    """Put the invented sample board into the library."""
    return see(f"/boards/{desk_of(request).store.add_board(demo_board_files())}", added=1)


@router.post("/boards/import")
def add_board(request: Request, form: SentForm) -> Response:
    """Bring in a board: a zip of a board folder, a board folder's files, or CAD output with a parts list."""
    desk = desk_of(request)

    def bring_in() -> tuple[str, Sequence[str]]:
        sha256, notes = _imported(desk, form)
        with (
            unheard()
        ):  # it is in the library now; what its page shows is worked out here, where it may take its time
            for side in LAYERS:
                desk.drawing(sha256, side)
            desk.findings(sha256)
        return sha256, notes

    def show(request: Request, made: tuple[str, Sequence[str]]) -> Response:
        return _board_page(request, made[0], notes=made[1], added=True)

    title = translate("Bringing a board in")
    try:
        return long_work(request, bring_in, show, title=title, back="/boards#import", makes="record")
    except CoppermendError as error:
        return _library_page(request, 400, error=str(error), typed=form)


def _imported(desk: Desk, form: Form) -> tuple[str, Sequence[str]]:
    uploads = form.uploads("files")
    if not uploads:
        raise InputError(
            "no file was chosen", expected="a zip of a board folder, or IPC-D-356, Gerber and a parts list"
        )
    if len(uploads) == 1 and uploads[0].data.startswith(_ZIP):
        files = archive_files(uploads[0].data, uploads[0].name)
        tell(0, 1, "Reading the board")
        return desk.store.add_board(files), ()
    named = {upload.name.replace("\\", "/").rsplit("/", 1)[-1]: upload.data for upload in uploads}
    if "board.toml" in named:
        return desk.store.add_board(named), ()
    return _from_cad(desk, form.text("name"), uploads)


def _from_cad(desk: Desk, name: str, uploads: Sequence[Upload]) -> tuple[str, Sequence[str]]:
    if not name:
        raise InputError("the board has no name", expected="a name for it, such as the one printed on it")
    sources = [Source(upload.name, upload.data) for upload in uploads]
    ipc = [source for source in sources if source.name.lower().endswith(_IPC)]
    parts = [source for source in sources if source.name.lower().endswith(_SHEET)]
    for what, found in (("IPC-D-356 files", ipc), ("parts lists", parts)):
        if len(found) > 1:
            raise InputError(
                f"{len(found)} {what}: {', '.join(s.name for s in found)}", expected="one at most"
            )
    gerber = [source for source in sources if source not in ipc and source not in parts]
    board, notes = import_board(
        name=name, ipc356=ipc[0] if ipc else None, gerber=gerber, parts=parts[0] if parts else None,
        library=desk.library,
    )  # fmt: skip
    tell(0, 1, "Reading the board")
    return desk.store.add_board(board), notes


@router.get("/boards/{sha256}")
def show_board(request: Request, sha256: str, added: str = "") -> Response:
    """One board: both sides, parts, nets, and what a look over its data found."""
    return _board_page(request, sha256, added=bool(added))


def _board_page(request: Request, sha256: str, *, notes: Sequence[str] = (), added: bool = False) -> Response:
    desk = desk_of(request)
    board = desk.board(sha256)
    return page(
        request, "board.html", board=board, sha256=sha256, drawing=drawing_of(desk, sha256), notes=notes,
        added=added, findings=desk.findings(sha256), roles=desk.roles(sha256),
        history=desk.store.board_history(board.name),
    )  # fmt: skip


@router.get("/boards/{sha256}/{file}.svg")
def draw_side(request: Request, sha256: str, file: str) -> Response:
    """One side of a board as SVG."""
    sides: dict[str, Layer] = {side: side for side in LAYERS}
    if file not in sides:
        raise UnknownName("drawing", file, hint="top or bottom")
    drawn = desk_of(request).drawing(sha256, sides[file])
    headers = {"ETag": drawn.tag, "Cache-Control": "private, no-cache", "Vary": "Accept-Encoding"}
    if request.headers.get("if-none-match", "").removeprefix("W/") == drawn.tag:
        return Response(status_code=304, headers=headers)
    if "gzip" not in request.headers.get("accept-encoding", ""):
        return Response(drawn.svg, media_type="image/svg+xml", headers=headers)
    return Response(drawn.packed, media_type="image/svg+xml", headers={**headers, "Content-Encoding": "gzip"})
