"""Backups from a page: when the last one was made, a new one to save, and what is damaged."""

from __future__ import annotations

import tempfile
from pathlib import Path

from fastapi import APIRouter, Request
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, Response

from coppermend.job import backup as keeping
from coppermend.job.home import remind_days
from coppermend.job.store import now
from coppermend.web.desk import desk_of
from coppermend.web.pages import page

router = APIRouter(include_in_schema=False)


@router.get("/backups")
def show_backups(request: Request) -> Response:
    """When the last backup was made, and whether the next is due."""
    store = desk_of(request).store
    days = remind_days()
    due = keeping.backup_is_due(store, days)
    return page(request, "backups.html", last=keeping.last_backup(store), due=due, days=days, troubles=None)


@router.post("/backups")
def save_backup(request: Request) -> Response:
    """The whole record as one file, read back before it is handed over."""
    folder = tempfile.TemporaryDirectory(prefix="coppermend-")
    path = Path(folder.name) / f"coppermend-{now():%Y-%m-%d-%H%M%S}.zip"
    keeping.backup(desk_of(request).store, path)
    done = BackgroundTask(folder.cleanup)
    return FileResponse(path, media_type="application/zip", filename=path.name, background=done)


@router.post("/backups/verify")
def verify_record(request: Request) -> Response:
    """Read the whole record back and name what is damaged."""
    store = desk_of(request).store
    days = remind_days()
    return page(
        request, "backups.html", last=keeping.last_backup(store), due=keeping.backup_is_due(store, days),
        days=days, troubles=store.verify(),
    )  # fmt: skip
