"""A record in a temporary folder, a job in it, and a small board."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coppermend.board.model import Board, Part, PinRef, Track, Via
from coppermend.job.store import Store

AT = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
HEADER = {
    "customer": "Ana Lindqvist", "contact": "ana@example.org", "machine": "Pebble Run",
    "serial": "PR-0117", "marks": "blue dot", "complaint": "no start, lamps flicker",
}  # fmt: skip


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty record."""
    with Store.open(tmp_path / "record") as opened:
        yield opened


@pytest.fixture
def job(store: Store) -> str:
    """A job that has just arrived."""
    return store.new_job(HEADER, who="Bo", at=AT)


@pytest.fixture
def board() -> Board:
    """Two parts, one net, a via and a track."""
    return Board(
        name="Tiny",
        width_mm=40.0,
        height_mm=30.0,
        parts=(Part("R1", "resistor", "10k", 5, 5), Part("R2", "resistor", "2k2", 20, 5)),
        nets={"N1": (PinRef("R1", "1"), PinRef("R2", "1"))},
        vias=(Via("V1", "N1", 10, 5, 0.8),),
        tracks=(Track("N1", "top", 5, 5, 20, 5, 0.5),),
    )
