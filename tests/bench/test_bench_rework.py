"""Retention over a million samples, and a hold-up curve beside the same transient in ngspice."""

from __future__ import annotations

import shutil
import subprocess

import numpy as np
import pytest

from coppermend.rework.figures.catalog import figure_called
from coppermend.rework.figures.hold import hold_up_curve

NGSPICE = shutil.which("ngspice") or ""
NETLIST = """hold-up
C1 keep 0 0.1 IC=4.7
R1 keep 0 1MEG
I1 keep 0 2u
.tran 60 80000 0 60 UIC
.meas tran hold WHEN v(keep)=2.0 FALL=1
.end
"""


def test_a_million_samples_of_retention(benchmark):
    """Half a second at most for 10^6 samples of all seven results."""
    answer = benchmark.pedantic(
        lambda: figure_called("retention").evaluate({}, samples=1_000_000, seed=1), rounds=5, warmup_rounds=1
    )

    assert answer.samples == 1_000_000
    assert benchmark.stats.stats.min <= 0.5


def test_a_hold_up_curve(benchmark):
    """1,334 points of the closed form."""
    seconds = np.arange(0, 80_040, 60.0)

    volts = benchmark(lambda: hold_up_curve(0.1, 4.7, 2e-6, 1e6, seconds))

    assert volts[0] == 4.7


@pytest.mark.debian
@pytest.mark.skipif(not NGSPICE, reason="outside check skipped: ngspice is not installed")
def test_the_same_curve_in_ngspice(benchmark, tmp_path):
    """The reference for the row above: at least a thousand times as long."""
    path = tmp_path / "hold.cir"
    path.write_text(NETLIST)
    seconds = np.arange(0, 80_040, 60.0)

    run = benchmark.pedantic(
        lambda: subprocess.run([NGSPICE, "-b", str(path)], capture_output=True, text=True, check=False),
        rounds=5,
    )

    import timeit

    ours = min(timeit.repeat(lambda: hold_up_curve(0.1, 4.7, 2e-6, 1e6, seconds), number=10, repeat=20)) / 10
    assert "hold" in run.stdout
    assert benchmark.stats.stats.min >= 1000 * ours
