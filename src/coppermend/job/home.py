"""Where the record lives unless told otherwise."""

from __future__ import annotations

import os
from pathlib import Path

DATA_VARIABLE = "COPPERMEND_DATA"
REMIND_VARIABLE = "COPPERMEND_REMIND_DAYS"
DATABASE_VARIABLE = "COPPERMEND_DATABASE"


def default_data() -> Path:
    """The folder in COPPERMEND_DATA, else ``coppermend`` in the user's data folder (XDG base directories)."""
    if chosen := os.environ.get(DATA_VARIABLE):
        return Path(chosen)
    base = os.environ.get("XDG_DATA_HOME") or str(Path.home() / ".local" / "share")
    return Path(base) / "coppermend"


def default_database() -> str:
    """The URL of a PostgreSQL database in COPPERMEND_DATABASE; empty when the record is SQLite in its folder."""
    return os.environ.get(DATABASE_VARIABLE, "").strip()


def remind_days() -> int:
    """After how many days without a backup the bench says so: COPPERMEND_REMIND_DAYS, else 7."""
    wanted = os.environ.get(REMIND_VARIABLE, "")
    return int(wanted) if wanted.isascii() and wanted.isdigit() and len(wanted) < 6 else 7
