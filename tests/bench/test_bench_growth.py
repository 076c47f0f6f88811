"""Readers take time in step with the length of a file: no part of them is quadratic."""

from __future__ import annotations

from time import perf_counter

import pytest

from coppermend.board.readers.excellon import parse_excellon
from coppermend.board.readers.gerber import parse_gerber

GERBER = (
    "%FSLAX36Y36*%\n%MOMM*%\n%ADD10C,0.5*%\nD10*\n",
    "X1000000Y1000000D01*\nX0Y0D01*\n",
    "M02*\n",
    5_000,
)
DRILL = ("M48\nMETRIC,TZ,000.000\nT1C0.8\n%\nT1\n", "X1000Y1000\n", "M30\n", 4_000)


@pytest.mark.parametrize(
    ("read", "parts"), [(parse_gerber, GERBER), (parse_excellon, DRILL)], ids=["Gerber", "drill"]
)
@pytest.mark.benchmark(group="a file, and one eight times as long")
def test_bench_growth(benchmark, read, parts):
    """Eight times the words take about eight times as long; both in turn, best of three."""
    head, word, end, count = parts
    small, large = (head + word * n + end for n in (count, 8 * count))

    def seconds(text: str) -> float:
        start = perf_counter()
        read(text, "long")
        return perf_counter() - start

    def ratio() -> float:
        return min(seconds(large) for _ in range(3)) / min(seconds(small) for _ in range(3))

    assert benchmark.pedantic(ratio, rounds=1) < 24
