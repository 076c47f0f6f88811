"""Time to name the cause between two 512 KiB images, beside a plain loop over bytes that only counts differing bits."""

from __future__ import annotations

import time

import numpy as np
import pytest

from coppermend.rom.causes import find_causes
from coppermend.rom.compare import compare
from coppermend.rom.faults import Fault, addresses_seen, bytes_seen

SIZE = 512 * 1024
GOOD = np.random.default_rng(7).integers(0, 256, SIZE, np.uint8)
DUMPS = {
    "stuck data line": bytes_seen(Fault("data-stuck", (3,), 1))[GOOD],
    "swapped address lines": GOOD[addresses_seen(Fault("address-swapped", (2, 17)), np.arange(SIZE, dtype=np.int32), SIZE)],
    "shifted": np.roll(GOOD, -1234),
}  # fmt: skip
MOST_S = 0.3
LOOP_RATIO = 1.0


def bit_loop(first: bytes, second: bytes) -> list[int]:
    """Differing bits on each data line, one byte and one bit after the other: what a first program would do."""
    counts = [0] * 8
    for a, b in zip(first, second, strict=True):
        for line in range(8):
            if (a ^ b) >> line & 1:
                counts[line] += 1
    return counts


def _best(function, *arguments) -> float:
    times = []
    for _ in range(3):
        before = time.perf_counter()
        function(*arguments)
        times.append(time.perf_counter() - before)
    return min(times)


@pytest.mark.parametrize("what", DUMPS)
def test_comparison(benchmark, what):
    """Counting, locating and naming the cause in 512 KiB."""
    first, second = GOOD.tobytes(), DUMPS[what].tobytes()

    found = benchmark(compare, first, second)

    assert found.causes[0].likelihood > 0.99
    assert benchmark.stats.stats.min <= MOST_S


@pytest.mark.benchmark(group="bit loop")
def test_bit_loop(benchmark):
    """The plain loop, for the ratio."""
    counts = benchmark.pedantic(bit_loop, (GOOD.tobytes(), DUMPS["stuck data line"].tobytes()), rounds=2)

    assert counts[3] == compare(GOOD.tobytes(), DUMPS["stuck data line"].tobytes()).data_lines[3].rising


def test_ratio(benchmark):
    """All causes are weighed in less time than the loop needs to count bits."""
    dump = DUMPS["stuck data line"]
    ours, loop = _best(find_causes, GOOD, dump), _best(bit_loop, GOOD.tobytes(), dump.tobytes())

    benchmark.extra_info["ratio"] = loop / ours
    benchmark.pedantic(find_causes, (GOOD, dump), rounds=2)
    print(f"\nplain bit loop {loop * 1000:.0f} ms, causes {ours * 1000:.0f} ms, ratio {loop / ours:.1f}")
    assert loop / ours > LOOP_RATIO
