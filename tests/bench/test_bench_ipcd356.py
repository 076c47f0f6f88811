"""How fast a large IPC-D-356 netlist is read, ours beside an independent reader in one run."""

from __future__ import annotations

from time import perf_counter

import pytest

from coppermend.board.readers.ipcd356 import parse_ipcd356

from .generate import generate_ipcd356

RECORDS = 10_000


@pytest.fixture(scope="module")
def netlist() -> str:
    return generate_ipcd356(RECORDS)


@pytest.mark.benchmark(group="read 10,000 IPC-D-356 records")
def test_read_ours(benchmark, netlist):
    """Our reader reads every record."""
    result = benchmark(parse_ipcd356, netlist, "board.d356")

    assert len(result.records) == RECORDS
    assert result.notes == ()


@pytest.mark.benchmark(group="read 10,000 IPC-D-356 records")
def test_read_reference(benchmark, netlist):
    """The independent reader does the same work in the same run."""
    from gerbonara.ipc356 import Netlist

    result = benchmark(Netlist.from_string, netlist, "board.d356")

    assert len(result.test_records) == RECORDS


@pytest.mark.benchmark(group="read 10,000 IPC-D-356 records, both in turn")
def test_ours_is_no_slower(benchmark, netlist):
    """Best of seven turns each, taken alternately so that a busy machine slows both."""
    from gerbonara.ipc356 import Netlist

    def turns() -> list[tuple[float, float]]:
        readers = (parse_ipcd356, Netlist.from_string)
        return [tuple(_seconds(read, netlist) for read in readers) for _ in range(7)]

    ours_s, theirs_s = zip(*benchmark.pedantic(turns, rounds=1), strict=True)

    assert min(ours_s) <= min(theirs_s)


def _seconds(read, text: str) -> float:
    start = perf_counter()
    read(text, "board.d356")
    return perf_counter() - start
