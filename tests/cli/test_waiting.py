"""The bar that a terminal shows while a command works for long."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from coppermend.cli import waiting
from coppermend.underway import tell


@pytest.mark.parametrize(
    ("terminal", "as_json", "shown"), [(True, False, True), (True, True, False), (False, False, False)]
)
def test_a_bar_is_shown_to_people_only(monkeypatch, terminal, as_json, shown):
    """On a terminal it names the step and counts; in a pipe, or beside JSON, nothing is written."""
    written = io.StringIO()
    monkeypatch.setattr(
        waiting, "Console", lambda stderr: Console(file=written, force_terminal=terminal, width=80)
    )

    with waiting.shown_on_terminal(as_json):
        tell(2, 8, "Reading the files")

    assert ("Reading the files" in written.getvalue()) is shown
    assert ("3 of 8" in written.getvalue()) is shown
