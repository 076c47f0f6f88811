"""The wire list of some jumpers: what to cut of which gauge, and how each wire runs. Chooses nothing."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from coppermend.copper.records import Jumper

END_MM = 5.0  # of insulation taken off and wire laid on the joint, at either end (common practice, no source)
_HEADER = ("net", "from", "to", "side", "gauge_awg", "run_mm", "cut_mm", "corners_mm")
_MARKS = "=+-@"  # a spreadsheet takes text that begins so for a formula


@dataclass(frozen=True, slots=True)
class WireTotal:
    """Wire of one gauge: how many pieces, their runs and what to cut for them in all [mm]."""

    gauge_awg: int
    pieces: int
    run_mm: float
    cut_mm: int


def cut_mm(jumper: Jumper) -> int:
    """What to cut for a jumper [mm]: its run and both ends, rounded up to whole millimetres.

    >>> cut_mm(Jumper("N", "U1.1", "U2.1", "bottom", 12.3, ()))
    23
    """
    return math.ceil(round(jumper.length_mm + 2 * END_MM, 3))


def wire_totals(jumpers: Iterable[Jumper]) -> tuple[WireTotal, ...]:
    """Wire needed of each gauge, thinnest first; () for no jumpers."""
    by_gauge: dict[int, list[Jumper]] = {}
    for jumper in jumpers:
        by_gauge.setdefault(jumper.gauge_awg, []).append(jumper)
    return tuple(
        WireTotal(gauge, len(own), round(sum(j.length_mm for j in own), 1), sum(map(cut_mm, own)))
        for gauge, own in sorted(by_gauge.items(), reverse=True)
    )


def total_words(total: WireTotal) -> str:
    """One gauge's total in words.

    >>> total_words(WireTotal(30, 2, 45.5, 66))
    '2 wires of AWG 30, 66 mm to cut'
    """
    wires = "wire" if total.pieces == 1 else "wires"
    return f"{total.pieces} {wires} of AWG {total.gauge_awg}, {total.cut_mm} mm to cut"


def wire_list_csv(jumpers: Sequence[Jumper]) -> str:
    """The jumpers as CSV, one wire a row, corners as ``x y`` [mm] separated by semicolons."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(_HEADER)
    for j in jumpers:
        corners = "; ".join(f"{x:g} {y:g}" for x, y in j.route)
        rows.writerow((_safe(j.net), j.a, j.b, j.side, j.gauge_awg, f"{j.length_mm:.1f}", cut_mm(j), corners))
    return out.getvalue()


def _safe(name: str) -> str:
    """A net's name that no spreadsheet takes for a formula; ``+5V`` keeps its plain look behind a space."""
    return f" {name}" if name[:1] in _MARKS else name
