"""Backups from a page: when the last one was made, a new one to save, the way back, and what is damaged."""

from __future__ import annotations

import tempfile
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import FileResponse, Response

from coppermend.errors import InputError
from coppermend.job import backup as keeping
from coppermend.job.home import remind_days
from coppermend.job.integrity import Trouble
from coppermend.job.manifest import Kept
from coppermend.job.store import now
from coppermend.underway import told
from coppermend.web.desk import desk_of
from coppermend.web.errand_pages import long_work
from coppermend.web.forms import SentForm
from coppermend.web.language import translate
from coppermend.web.pages import page

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class _File:
    """A file to be handed over; its folder goes when nobody holds it any more."""

    path: Path
    folder: tempfile.TemporaryDirectory[str]


@router.get("/backups")
def show_backups(request: Request) -> Response:
    """When the last backup was made, and whether the next is due."""
    return _backups_page(request)


def _backups_page(request: Request, **more: Any) -> Response:
    store, days = desk_of(request).store, remind_days()
    shown = {"troubles": None, "restored": None, **more}
    return page(
        request, "backups.html", last=keeping.last_backup(store), due=keeping.backup_is_due(store, days),
        days=days, empty=not store.jobs(1), **shown,
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
def restore_backup(request: Request, form: SentForm) -> Response:
    """The record from a backup, into a bench that has none yet."""
    desk, uploads = desk_of(request), form.uploads("backup")
    if not uploads:
        raise InputError("no file was chosen", expected="a backup, as this page saves it")

    def work() -> Kept:
        with tempfile.TemporaryDirectory(prefix="coppermend-") as folder:
            path = Path(folder) / "backup.zip"
            path.write_bytes(uploads[0].data)
            return keeping.restore(path, desk.store.files.folder.parent)

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
