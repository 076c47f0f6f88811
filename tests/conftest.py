"""Where tests find the shared boards, and how skipped outside checks are counted aloud."""

from __future__ import annotations

import os
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import settings

# CI tries the same examples every time, so that a change is judged by what it changes; at the bench they vary.
settings.register_profile("ci", derandomize=True, deadline=None)
if os.environ.get("CI"):
    settings.load_profile("ci")

ROOT = Path(__file__).resolve().parent.parent
SHARED = Path(os.environ.get("COPPERMEND_SHARED", ROOT.parent / "shared"))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests marked ``shared`` skip when the shared boards are not beside the project."""
    if (SHARED / "boards").is_dir():
        return
    absent = pytest.mark.skip(reason="outside check skipped: shared boards are absent")
    for item in items:
        if item.get_closest_marker("shared"):
            item.add_marker(absent)


@pytest.fixture(scope="session")
def shared_boards() -> Path:
    """The folder with the two real boards."""
    return SHARED / "boards"


def pytest_terminal_summary(terminalreporter) -> None:
    """Say loudly how many checks did not run, and why."""
    reasons = Counter(str(report.longrepr[2]) for report in terminalreporter.stats.get("skipped", []))
    for reason, count in sorted(reasons.items()):
        terminalreporter.write_line(f"SKIPPED {count} tests: {reason}", yellow=True, bold=True)
