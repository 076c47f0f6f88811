"""Where tests find the shared boards, and how skipped outside checks are counted aloud."""

from __future__ import annotations

import os
import shutil
import signal
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from coppermend.job.store import DATABASE, Store

# How long an example takes is the machine's business, so there is no deadline.
# CI tries the same examples every time, so that a change is judged by what it changes; at the bench they vary.
settings.register_profile("bench", deadline=None)
settings.register_profile("ci", derandomize=True, deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "bench")

HANG_S = 120

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


@pytest.fixture(scope="session")
def new_record(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Path], Path]:
    """Puts an empty record into a folder, as a copy: to go through all steps of the schema takes a tenth of a second."""
    made = tmp_path_factory.mktemp("empty-record")
    Store.open(made, "").close()

    def begin(folder: Path) -> Path:
        folder.mkdir(parents=True)
        shutil.copyfile(made / DATABASE, folder / DATABASE)
        return folder

    return begin


@pytest.fixture
def no_hang() -> Iterator[None]:
    """Two minutes of processor time are a hang, on any machine; what takes seconds is for the benchmarks."""

    def give_up(*_: object) -> None:
        pytest.fail(f"still at it after {HANG_S} s of processor time")

    before = signal.signal(signal.SIGPROF, give_up)
    signal.setitimer(signal.ITIMER_PROF, HANG_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def pytest_terminal_summary(terminalreporter) -> None:
    """Say loudly how many checks did not run, and why."""
    reasons = Counter(str(report.longrepr[2]) for report in terminalreporter.stats.get("skipped", []))
    for reason, count in sorted(reasons.items()):
        terminalreporter.write_line(f"SKIPPED {count} tests: {reason}", yellow=True, bold=True)
