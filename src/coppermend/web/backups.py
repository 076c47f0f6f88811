"""Backups from a page: when the last one was made, a new one to save, the way back, and what is damaged."""

from __future__ import annotations

import shutil
import tempfile
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import FileResponse, Response

from coppermend.errors import InputError
from coppermend.job import backup as keeping
from coppermend.job.atomic import clear_disk_errors
from coppermend.job.home import remind_days
from coppermend.job.integrity import Trouble
from coppermend.job.manifest import Kept
from coppermend.job.store import now
from coppermend.underway import told
from coppermend.web.desk import Desk, desk_of
from coppermend.web.errand_pages import long_work
from coppermend.web.language import mark, translate
from coppermend.web.pages import page

router = APIRouter(include_in_schema=False)
_AT_ONCE_BYTES = 1024 * 1024
_KEPT_FREE = (
    3  # what is sent lies on the disk twice, and then the record beside it; common practice, no source
)
_STANDS: Mapping[str, str] = {
    "job": mark("jobs"), "entry": mark("entries"), "board": mark("boards"), "attachment": mark("photos and papers"), "person": mark("people who may sign in"),
    "shop_entry": mark("the shop's settings or shelf"), "reference_image": mark("known images"),
}  # fmt: skip


@dataclass(frozen=True)
class _File:
    """A file to be handed over; its folder goes when nobody holds it any more."""

    path: Path
    folder: tempfile.TemporaryDirectory[str]


def room_bytes(desk: Desk) -> int:
    """How large a backup may be that is brought back here [bytes]; 0 where there is a record already."""
    return 0 if keeping.what_stands(desk.store) else _free_bytes(desk)


def _free_bytes(desk: Desk) -> int:
    folders = (Path(tempfile.gettempdir()), desk.store.files.folder.parent)
    return min(shutil.disk_usage(folder).free for folder in folders) // _KEPT_FREE


async def read_backup(request: Request) -> _File:
    """The file that was sent, laid down on the disk as it came; never in memory as a whole.

    Raises:
        InputError: If none was chosen.
    """
    async with request.form(max_files=1, max_fields=10) as sent:
        file = sent.get("backup")
        if not isinstance(file, UploadFile) or not file.filename:
            raise InputError("no file was chosen", expected="a backup, as this page saves it")
        made = _new_file("backup")
        await run_in_threadpool(_lay_down, file, made.path)
    return made


def _lay_down(file: UploadFile, path: Path) -> None:
    with clear_disk_errors("keep what was sent"), path.open("wb") as target:
        shutil.copyfileobj(file.file, target, _AT_ONCE_BYTES)


SentBackup = Annotated[_File, Depends(read_backup)]


@router.get("/backups")
def show_backups(request: Request) -> Response:
    """When the last backup was made, and whether the next is due."""
    return _backups_page(request)


def _backups_page(request: Request, **more: Any) -> Response:
    desk, days = desk_of(request), remind_days()
    store, standing = desk.store, keeping.what_stands(desk.store)
    room = 0 if standing else _free_bytes(desk)
    shown = {"troubles": None, "restored": None, **more}
    return page(
        request, "backups.html", last=keeping.last_backup(store), due=keeping.backup_is_due(store, days),
        days=days, standing=", ".join(translate(_STANDS.get(name, name)) for name in standing),
        room_mb=room // 1_000_000, **shown,
    )  # fmt: skip


@router.post("/backups")
def save_backup(request: Request) -> Response:
    """The whole record as one file, read back before it is handed over."""
    store = desk_of(request).store

    def work() -> _File:
        made = _new_file("coppermend")
        keeping.backup(store, made.path)
        return made

    return long_work(
        request, work, _hand_over, title=translate("Saving a backup"), back="/backups", makes="file"
    )


@router.post("/backups/export")
def save_export(request: Request) -> Response:
    """The whole record laid out in open formats, packed into one file."""
    store = desk_of(request).store

    def work() -> _File:
        made = _new_file("coppermend-export")
        folder = Path(made.folder.name) / "export"
        keeping.export(store, folder)
        files = sorted(path for path in folder.rglob("*") if path.is_file())
        with zipfile.ZipFile(made.path, "w", zipfile.ZIP_DEFLATED) as archive:
            for path in told(files, len(files), "Packing it into one file"):
                archive.write(path, path.relative_to(folder))
        return made

    return long_work(
        request, work, _hand_over, title=translate("Laying the record out"), back="/backups", makes="file"
    )


@router.post("/backups/restore")
def restore_backup(request: Request, sent: SentBackup) -> Response:
    """The record from a backup, into a bench that has none yet."""
    desk = desk_of(request)

    def work() -> Kept:
        with sent.folder:
            return keeping.restore(sent.path, desk.store.files.folder.parent)

    def show(request: Request, restored: Kept) -> Response:
        return _backups_page(request, restored=restored)

    return long_work(
        request, work, show, title=translate("Back from a backup"), back="/backups", makes="record"
    )


@router.post("/backups/verify")
def verify_record(request: Request) -> Response:
    """Read the whole record back and name what is damaged."""
    store = desk_of(request).store

    def show(request: Request, troubles: tuple[Trouble, ...]) -> Response:
        return _backups_page(request, troubles=troubles)

    return long_work(request, store.verify, show, title=translate("Reading the record back"), back="/backups")


def _new_file(name: str) -> _File:
    folder = tempfile.TemporaryDirectory(prefix="coppermend-")
    return _File(Path(folder.name) / f"{name}-{now():%Y-%m-%d-%H%M%S}.zip", folder)


def _hand_over(_: Request, made: _File) -> Response:
    return FileResponse(made.path, media_type="application/zip", filename=made.path.name)
