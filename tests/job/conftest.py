"""A record in a temporary folder, a job in it, and small boards."""

from __future__ import annotations

import dataclasses
import importlib.util
import secrets
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from coppermend.board.model import Board, Part, PinRef, Rail, Track, Via
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import PartLibrary, standard_library
from coppermend.job.store import Store

AT = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
HEADER = {
    "customer": "Ana Lindqvist", "contact": "ana@example.org", "machine": "Pebble Run",
    "serial": "PR-0117", "marks": "blue dot", "complaint": "no start, lamps flicker",
}  # fmt: skip


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Modules that say ``BOTH = True`` run on SQLite and on PostgreSQL, except for tests marked ``sqlite``."""
    both = getattr(metafunc.module, "BOTH", False) and not metafunc.definition.get_closest_marker("sqlite")
    if both and "store" in metafunc.fixturenames:
        debian = pytest.param("postgresql", marks=pytest.mark.debian)
        metafunc.parametrize("store", ["sqlite", debian], indirect=True)


@pytest.fixture(scope="session")
def server() -> Iterator[Any]:
    """A PostgreSQL server of the tests' own; without Debian's postgresql the tests skip, and the run says how many."""
    module = load("server")
    if module.programs() is None:
        pytest.skip("PostgreSQL is not installed: make test-all installs Debian's postgresql")
    running = module.Server()
    yield running
    running.stop()


@pytest.fixture
def database(server: Any, tmp_path: Path) -> str:
    """The URL of an empty PostgreSQL database."""
    return str(server.url(f"t{secrets.token_hex(6)}"))


def load(name: str) -> Any:
    """A module beside this file (tests are no package)."""
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


@pytest.fixture
def helper() -> Any:
    """Loads a module beside the tests by its name."""
    return load


@pytest.fixture
def store(
    request: pytest.FixtureRequest, tmp_path: Path, new_record: Callable[[Path], Path]
) -> Iterator[Store]:
    """An empty record, on SQLite unless the test asks for PostgreSQL."""
    url = request.getfixturevalue("database") if getattr(request, "param", "") == "postgresql" else ""
    with Store.open(tmp_path / "record" if url else new_record(tmp_path / "record"), url) as opened:
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


_PARTS = (
    Part("BT1", "battery-nicd-3.6v", "3.6V", 8, 52, 0, "top", "memory", "BAT-BARREL"),
    Part("D1", "diode", "1N4148", 10, 40, 0, "top", "memory", "AXIAL-7.62"),
    Part("R1", "resistor", "10k", 10, 34, 0, "top", "memory", "AXIAL-10.16"),
    Part("U1", "7404", "74LS04", 30, 48, 0, "top", "logic", "DIP-14", True),
    Part("U2", "7400", "74LS00", 55, 48, 0, "top", "logic", "DIP-14"),
    Part("C1", "electrolytic", "100u", 60, 15, 0, "top", "supply", "RADIAL-POL-5.08"),
    Part("J1", "header", "", 20, 16, 0, "top", "supply", "HDR-1x4-2.54"),
)
_NETS = {
    "+5V": "J1.1 C1.1 U1.14 U2.14 U2.2 R1.1", "GND": "J1.2 C1.2 U1.7 U2.7 BT1.2", "VBAT": "BT1.1 D1.2",
    "VRAM": "D1.1 R1.2", "IN": "J1.3 U1.1", "MID": "U1.2 U2.1", "OUT": "U2.3 J1.4",
}  # fmt: skip


@pytest.fixture(scope="session")
def small() -> Board:
    """A board that works: battery and diode, a socketed inverter into a gate, a header, straight tracks."""
    nets = {net: tuple(PinRef.parse(pin) for pin in pins.split()) for net, pins in _NETS.items()}
    bare = Board("Small", 80, 60, parts=_PARTS, nets=nets, rails=(Rail("+5V", 5.0),))
    at = {pad.ref: (pad.x_mm, pad.y_mm) for pad in with_package_pads(bare).pads}
    runs = [(net, a, b) for net, pins in nets.items() for a, b in pairwise(pins)]
    return dataclasses.replace(
        bare, tracks=tuple(Track(net, "bottom", *at[a], *at[b], 0.5) for net, a, b in runs)
    )


@pytest.fixture(scope="session")
def library() -> PartLibrary:
    """The part types that come with the program."""
    return standard_library()


@pytest.fixture
def leak() -> dict[str, Any]:
    """Heavy damage over battery, diode and one row of the inverter's pins."""
    ring = [[2, 36], [33, 36], [33, 58], [2, 58], [2, 36]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    feature = {"type": "Feature", "properties": {"severity": 0.8}, "geometry": shape}
    return {"type": "FeatureCollection", "features": [feature]}
