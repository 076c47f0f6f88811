"""The wire list: what to cut, in all and for each jumper, and the runs of jumpers that are fitted."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

from coppermend.board.atrisk import Touch
from coppermend.board.model import Pad, PinRef, Track
from coppermend.board.parttypes import standard_library
from coppermend.copper.plan import plan_probes
from coppermend.copper.readings import FittedJumper, Reading
from coppermend.copper.records import Jumper
from coppermend.copper.wirelist import cut_mm, total_words, wire_list_csv, wire_totals

from .meter import board_of

WIRES = (
    Jumper("D0", "U1.9", "U2.9", "bottom", 41.2, (), 30, ((0.0, 0.0), (30.0, 0.0), (30.0, 11.2))),
    Jumper("+5V", "C1.1", "U2.14", "both", 20.0, (), 24, ((1.0, 2.0), (21.0, 2.0))),
    Jumper("D1", "U1.8", "U2.8", "bottom", 10.0, (), 30, ((0.0, 0.0), (10.0, 0.0))),
)


def test_totals_by_gauge_with_both_ends():
    """5 mm at either end, rounded up: 52 and 20 mm of AWG 30, 30 mm of AWG 24; thinnest first."""
    thin, thick = wire_totals(WIRES)

    assert (thin.gauge_awg, thin.pieces, thin.run_mm, thin.cut_mm) == (30, 2, 51.2, 72)
    assert total_words(thick) == "1 wire of AWG 24, 30 mm to cut" and wire_totals([]) == ()


def test_the_list_reads_back_row_by_row():
    """Ends, side, gauge, what to cut, corners; a net that begins with a sign is no formula of a spreadsheet."""
    rows = list(csv.DictReader(io.StringIO(wire_list_csv(WIRES))))

    assert [(row["from"], row["to"], row["side"], row["gauge_awg"]) for row in rows] == [
        ("U1.9", "U2.9", "bottom", "30"), ("C1.1", "U2.14", "both", "24"), ("U1.8", "U2.8", "bottom", "30"),
    ]  # fmt: skip
    assert [int(row["cut_mm"]) for row in rows] == [cut_mm(wire) for wire in WIRES] == [52, 30, 20]
    assert rows[0]["corners_mm"] == "0 0; 30 0; 30 11.2" and rows[1]["net"] == " +5V"


def test_a_fitted_jumper_keeps_its_run_and_gauge():
    """A rail of 2 mm between two pads: AWG 22 for its current, and the side that was noted."""
    board = board_of([(10, 10, 40, 10)], [(10, 10), (40, 10)])
    rail = replace(
        board,
        nets={"+5V": board.nets["N"]},
        tracks=tuple(replace(track, net="+5V", width_mm=2.0) for track in board.tracks),
    )

    plan = plan_probes(
        rail, standard_library(), Touch(), jumpers=[FittedJumper("P.1", "P.2", "+5V", "bottom")]
    )

    (wire,) = plan.fitted
    assert (wire.net, wire.side, wire.length_mm, wire.gauge_awg) == ("+5V", "bottom", 30.0, 22)
    assert wire.route == ((10.0, 10.0), (40.0, 10.0)) and plan.to_json()["fitted"][0]["a"] == "P.1"


def test_a_jumper_among_the_readings_lies_where_both_ends_are_reached():
    """No side noted, both pads through the board: on the solder side, unless an end lies on the top alone."""
    board = board_of([(10, 10, 40, 10)], [(10, 10), (40, 10)])
    one_side = replace(
        board,
        pads=(*board.pads, Pad("Q", "1", 60.0, 10.0, 0.0, 1.6, side="top")),
        nets={"N": (*board.nets["N"], PinRef("Q", "1"))},
        tracks=(*board.tracks, Track("N", "top", 40, 10, 60, 10, 0.3)),
    )
    rows = [Reading("P.1", "P.2", 0.0, jumper=True), Reading("P.2", "Q.1", 0.0, jumper=True)]
    plan = plan_probes(one_side, standard_library(), Touch(), rows)

    assert [(wire.a, wire.b, wire.side) for wire in plan.fitted] == [
        ("P.1", "P.2", "bottom"), ("P.2", "Q.1", "top"),
    ]  # fmt: skip
    assert {wire.gauge_awg for wire in plan.fitted} == {30}
