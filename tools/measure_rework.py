"""Measure rework's promises at full size: samples of retention, curves beside ngspice, codes, remedies. Prints figures.

Run: ``.venv/bin/python tools/measure_rework.py``; ngspice is used when it is there. Seeds are fixed.
"""

from __future__ import annotations

import itertools
import shutil
import subprocess
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from coppermend.board.atrisk import Touch
from coppermend.board.folder import parse_board_folder
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.job.remedying import offered_remedies
from coppermend.rework.codes.colour import COLOURS, DIGITS, TOLERANCES, decode_bands, encode_bands
from coppermend.rework.codes.marked import decode_eia96, decode_rkm, encode_eia96, encode_rkm
from coppermend.rework.figures.catalog import FIGURES
from coppermend.rework.figures.hold import hold_up_curve
from coppermend.rework.verify import check_remedy

NETLIST = """hold-up
C1 keep 0 0.1 IC=4.7
R1 keep 0 1MEG
I1 keep 0 2u
.tran 60 80000 0 60 UIC
.meas tran hold WHEN v(keep)=2.0 FALL=1
.end
"""


def best_of(call, rounds=5):
    """Shortest time of several calls [s]."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return min(times)


def busy_of(call, rounds=5):
    """Shortest processor time of several calls [s], which other work on the machine does not lengthen much."""
    times = []
    for _ in range(rounds):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return min(times)


def measure_samples():
    """10^6 samples of every figure."""
    for name, figure in FIGURES.items():
        call = lambda f=figure: f.evaluate({}, samples=1_000_000, seed=1)  # noqa: E731
        print(f"{name}: 1,000,000 samples in {best_of(call, 3):.3f} s, {busy_of(call, 3):.3f} s of processor")


def measure_curve():
    """A hold-up curve of 1,334 points beside the same transient of ngspice."""
    seconds = np.arange(0, 80_040, 60.0)
    ours = best_of(lambda: hold_up_curve(0.1, 4.7, 2e-6, 1e6, seconds), 200)
    print(f"hold-up curve of {len(seconds)} points: {ours * 1e6:.1f} us")
    program = shutil.which("ngspice")
    if not program:
        print("ngspice is not installed: no comparison")
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "hold.cir"
        path.write_text(NETLIST)
        spice = best_of(lambda: subprocess.run([program, "-b", str(path)], capture_output=True, check=False))
    print(f"ngspice, same transient: {spice * 1e3:.1f} ms, {spice / ours:.0f} times as long")


def measure_codes():
    """Round trips over the full range of codes."""
    bands = 0
    for first, second, third in itertools.product(DIGITS[1:], DIGITS, DIGITS):
        for power, tolerance in itertools.product(COLOURS, TOLERANCES):
            colours = (first, second, third, power, tolerance)
            found = decode_bands(colours)
            assert encode_bands(found.value, found.tolerance, 3) == colours
            bands += 1
    letters = 0
    for digits, power in itertools.product(range(10, 100), range(-2, 11)):
        value = float(f"{digits}e{power}")
        assert decode_rkm(encode_rkm(value)).value == value
        letters += 1
    for number, letter in itertools.product(range(1, 97), "ZYXABCDEF"):
        assert encode_eia96(decode_eia96(f"{number:02d}{letter}").value) == f"{number:02d}{letter}"
    print(f"round trips: {bands} colour bands, {letters} letter codes, {96 * 9} EIA-96 codes, none differs")


def measure_remedies():
    """Each remedy of the demo board and of variants of it on the netlist, whole and with each jumper left out."""
    library = standard_library()
    board = with_package_pads(parse_board_folder(demo_board_files()))
    boards = {"demo board": board, "without D21 and RN4": without(board, "D21", "RN4")}
    for title, one in boards.items():
        for remedy in offered_remedies(one, library, Touch()):
            if not remedy.note_only:
                print(f"{title}, {measured(one, library, remedy)}")


def without(board, *refdes):
    """The board with some parts left out."""
    nets = {n: tuple(p for p in pins if p.refdes not in refdes) for n, pins in board.nets.items()}
    return replace(
        board,
        parts=tuple(p for p in board.parts if p.refdes not in refdes),
        nets={n: pins for n, pins in nets.items() if pins},
        pads=tuple(p for p in board.pads if p.refdes not in refdes),
    )


def measured(board, library, remedy):
    """What the netlist says of one remedy, and how long that takes."""
    start = time.perf_counter()
    sound = check_remedy(board, library, remedy) == ()
    took = time.perf_counter() - start
    caught = 0
    for number in range(len(remedy.jumpers)):
        cut = replace(remedy, jumpers=remedy.jumpers[:number] + remedy.jumpers[number + 1 :])
        caught += any(f.code == "missing-connection" for f in check_remedy(board, library, cut))
    wires = f"{caught} of {len(remedy.jumpers)} missing jumpers named"
    return f"{remedy.id}: ok {remedy.ok}, sound {sound}, {wires}, {took:.2f} s"


if __name__ == "__main__":
    measure_samples()
    measure_curve()
    measure_codes()
    measure_remedies()
