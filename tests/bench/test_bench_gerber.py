"""How fast a large Gerber layer is read, ours beside an independent reader in one run; and a whole import."""

from __future__ import annotations

import warnings
from time import perf_counter

import pytest

from coppermend.board.importing import Source, import_board
from coppermend.board.parttypes import PartLibrary
from coppermend.board.readers.gerber import parse_gerber


@pytest.fixture(scope="module")
def layer(shared_boards) -> str:
    return (shared_boards / "trainer-computer" / "gerber" / "F_Cu.gbr").read_text("utf-8")


def reference(text: str):
    from gerbonara import GerberFile

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return GerberFile.from_string(text, filename="F_Cu.gbr")


@pytest.mark.shared
@pytest.mark.benchmark(group="read a Gerber layer of 11,892 objects")
def test_read_ours(benchmark, layer):
    """Our reader reads every object."""
    assert len(benchmark(parse_gerber, layer, "F_Cu.gbr").objects) == 11_892


@pytest.mark.shared
@pytest.mark.benchmark(group="read a Gerber layer of 11,892 objects")
def test_read_reference(benchmark, layer):
    """The independent reader does the same work in the same run."""
    assert len(benchmark(reference, layer).objects) == 11_892


@pytest.mark.shared
@pytest.mark.benchmark(group="read a Gerber layer, both in turn")
def test_ours_is_no_slower(benchmark, layer):
    """Best of five turns each, taken alternately so that a busy machine slows both."""

    def turns() -> list[tuple[float, float]]:
        return [(_seconds(parse_gerber, layer), _seconds(reference, layer)) for _ in range(5)]

    ours_s, theirs_s = zip(*benchmark.pedantic(turns, rounds=1), strict=True)

    assert min(ours_s) <= min(theirs_s)


@pytest.mark.shared
@pytest.mark.benchmark(group="import a whole board")
def test_import_a_real_board(benchmark, shared_boards):
    """IPC-D-356, all Gerber and drill files and the parts list of the larger board, within two seconds."""
    folder = shared_boards / "trainer-computer"
    files = [Source(f.name, f.read_bytes()) for f in sorted((folder / "gerber").iterdir())]
    ipc, parts = (Source(name, (folder / name).read_bytes()) for name in ("board.d356", "parts.csv"))

    board, _ = benchmark(
        import_board, name="trainer", ipc356=ipc, gerber=files, parts=parts, library=PartLibrary()
    )

    assert board.counts()["tracks"] == 1400
    assert benchmark.stats["min"] < 2


def _seconds(read, text: str) -> float:
    start = perf_counter()
    read(text)
    return perf_counter() - start
