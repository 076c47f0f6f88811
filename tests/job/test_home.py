"""Where the record lives, and when the bench reminds of a backup: what the environment says, else the usual."""

from __future__ import annotations

from pathlib import Path

import pytest

from coppermend.job.home import default_data, default_database, remind_days


def test_the_environment_names_the_folder(monkeypatch: pytest.MonkeyPatch):
    """COPPERMEND_DATA, else the user's data folder (XDG Base Directory Specification: XDG_DATA_HOME, ~/.local/share)."""
    monkeypatch.setenv("COPPERMEND_DATA", "/shop/record")
    assert default_data() == Path("/shop/record")
    monkeypatch.delenv("COPPERMEND_DATA")
    monkeypatch.setenv("XDG_DATA_HOME", "/shop/data")
    assert default_data() == Path("/shop/data/coppermend")
    monkeypatch.delenv("XDG_DATA_HOME")
    assert default_data() == Path.home() / ".local" / "share" / "coppermend"


@pytest.mark.parametrize(("said", "days"), [("", 7), ("30", 30), ("soon", 7), ("123456", 7), ("-1", 7)])
def test_days_until_a_reminder(monkeypatch: pytest.MonkeyPatch, said: str, days: int):
    """A whole number of days, else a week."""
    monkeypatch.setenv("COPPERMEND_REMIND_DAYS", said)
    assert remind_days() == days


def test_the_database_is_sqlite_unless_told(monkeypatch: pytest.MonkeyPatch):
    """Blanks say nothing."""
    monkeypatch.setenv("COPPERMEND_DATABASE", "  ")
    assert default_database() == ""
