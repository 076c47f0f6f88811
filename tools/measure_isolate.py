"""Measure the search for faults: planted single and double faults on the demo board and on boards given.

    python tools/measure_isolate.py --faults 500 [BOARD ...]

Prints, for each board: share of true faults among the first three suspects at the stop, mean measurements, the
entropy bound, half-split and random baselines, and how many double faults are found when the search goes on
after the first repair. Seeds are fixed.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import numpy as np

from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Board
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.isolate.doubles import double_trial
from coppermend.isolate.isolation import Isolation
from coppermend.isolate.planting import Workshop
from coppermend.isolate.trial import trial
from coppermend.job.files import load_board

SEED, CASES_SEED, DOUBLES_SEED = 1, 5, 7


def measure(board: Board, faults: int, baselines: int, doubles: int) -> None:
    """Print the figures of one board."""
    library = standard_library()
    start = time.perf_counter()
    workshop, base = Workshop(board, library, SEED), Isolation(board, library)
    cases = workshop.sample(faults, np.random.default_rng(CASES_SEED))
    report = trial(base, workshop, cases, SEED, baselines).to_json()
    report.pop("searches")
    print(board.name, report)
    print(f"  {time.perf_counter() - start:.0f} s", flush=True)
    if doubles:
        pairs = double_trial(base, workshop, doubles, DOUBLES_SEED)
        both = float(np.mean([pair.both for pair in pairs]))
        means = (np.mean([pair.measurements for pair in pairs]), np.mean([pair.repairs for pair in pairs]))
        print(f"  double faults, both found: {both:.1%} of {len(pairs)} that show; on average {means[0]:.1f} "
              f"measurements, {means[1]:.2f} stops")  # fmt: skip
        print(f"  missed: {[pair.units for pair in pairs if not pair.both]}")
        print(f"  {time.perf_counter() - start:.0f} s", flush=True)


def main() -> None:
    """Read the arguments and measure each board."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("boards", nargs="*", type=Path, help="board folders besides the demo board")
    parser.add_argument("--faults", type=int, default=500)
    parser.add_argument("--baselines", type=int, default=100)
    parser.add_argument("--doubles", type=int, default=60)
    given = parser.parse_args()
    for board in (parse_board_folder(demo_board_files()), *map(load_board, given.boards)):
        measure(board, given.faults, given.baselines, given.doubles)


if __name__ == "__main__":
    main()
