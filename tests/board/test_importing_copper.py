"""Pads, vias, tracks, areas, holes and outlines of imported boards."""

from __future__ import annotations

import pytest
import shapely

from coppermend.board.import_copper import Copper, outline_of
from coppermend.board.import_infer import with_nets_by_touch
from coppermend.board.importing import Source
from coppermend.board.model import Pad, PinRef, ReferencePoint, Track

from .import_samples import (
    BOTTOM,
    EDGE,
    NPTH,
    PARTS,
    PTH,
    RECORDS,
    SQUARE,
    TOP,
    VIA,
    area,
    bare,
    drill_file,
    gerber_file,
    gerber_set,
    imported,
    ipc_file,
    ipc_record,
    line,
    pad,
    xy,
)


def test_pads_have_hole_size_side_and_shape():
    """A plated hole is on both sides, a surface-mount pad on its own; a pad without a net stays a pad."""
    board, _ = imported(gerber=gerber_set())

    assert board.pads == (
        Pad("R1", "1", 4.975, 9.975, 0.8, 1.6, "both", 1.6, True),
        Pad("R1", "2", 14.975, 4.975, 0.8, 1.6, "both", 1.6, True),
        Pad("J1", "1", 24.975, 14.975, 0.8, 1.6, "both", 1.6, True),
        Pad("U1", "1", 7.975, 14.975, 0.0, 2.0, "bottom", 1.0, False),
    )
    assert board.index.net_of_pin.get(PinRef("J1", "1")) is None


def test_strokes_along_an_area_are_area():
    """The four strokes around the region are no tracks; they widen the area by half their width."""
    board, _ = imported(gerber=gerber_set())

    assert board.tracks == (
        Track("CLK", "top", 4.975, 9.975, 7.975, 9.975, 0.25),
        Track("CLK", "bottom", 7.975, 9.975, 7.975, 14.975, 0.25),
    )
    (copper,) = board.areas
    assert (copper.net, copper.layer) == ("GND", "top")
    assert shapely.from_wkt(copper.wkt).bounds == pytest.approx((11.85, 1.85, 18.1, 8.1), abs=1e-3)


def test_edge_strokes_may_be_divided_otherwise_than_the_region():
    """Two half strokes along one edge follow it too; a stroke that only crosses the area is a track."""
    halves = line("GND", (12, 2), (15, 2), (18, 2))
    across = line("GND", (12, 2), (18, 8))
    board, _ = imported(
        gerber=gerber_set(top=[*TOP[: len(TOP) - 9], *halves, *across, *area("GND", *SQUARE)])
    )

    ground = [t for t in board.tracks if t.net == "GND"]
    assert [
        (t.x1_mm, t.y1_mm, t.x2_mm, t.y2_mm) for t in ground if t.y1_mm != t.y2_mm and t.x1_mm != t.x2_mm
    ] == [(11.975, 1.975, 17.975, 7.975)]
    assert not [t for t in ground if t.y1_mm == t.y2_mm == 1.975]


def test_a_stroke_of_another_net_along_an_area_is_a_track():
    """Only strokes of the area's own net belong to it."""
    board, _ = imported(gerber=gerber_set(top=[*TOP, *line("CLK", SQUARE[0], SQUARE[1])]))

    assert len([t for t in board.tracks if t.net == "CLK"]) == 3


def test_clearing_cuts_the_areas_drawn_before_it():
    """What LPC draws is taken out of earlier areas and not out of later ones."""
    hole = ["%LPC*%", "D10*", f"{xy(15, 5)}D03*", *line("", (12, 7), (18, 7)), *area("", (12, 2), (13, 2), (13, 3)),
            "%LPD*%"]  # fmt: skip
    later = area("CLK", (20, 2), (22, 2), (22, 4))
    plain, _ = imported(gerber=gerber_set(top=TOP))
    cut, _ = imported(gerber=gerber_set(top=[*TOP, *hole, *later]))

    before, after = (shapely.from_wkt(board.areas[0].wkt) for board in (plain, cut))
    assert before.difference(after).area == pytest.approx(3.14159 * 0.64 + 6.25 * 0.25 + 0.5, rel=0.02)
    assert shapely.from_wkt(cut.areas[1].wkt).area == pytest.approx(2.0, abs=1e-3)


def test_an_area_cleared_away_entirely_is_none():
    """Nothing is left of an area under a larger clear region."""
    board, _ = imported(
        gerber=gerber_set(top=[*TOP, "%LPC*%", *area("", (10, 0), (20, 0), (20, 10), (10, 10))])
    )

    assert board.areas == ()


def test_mounting_holes_become_reference_points():
    """A bare wide hole is a place to align a photo by."""
    board, _ = imported(gerber=gerber_set(), parts=PARTS)

    assert board.reference_points == (ReferencePoint("H1", 2.975, 2.975),)


def test_wide_holes_of_connectors_are_no_reference_points():
    """Only mounting-hole parts and holes without a pin count; others belong to a part."""
    wide = drill_file((2, 5, 10), (1, 8, 10), (2, 15, 5))
    big = Source("big.drl", PTH.data.replace(b"T2C0.8", b"T2C2.4"))
    board, _ = imported(gerber=[*gerber_set()[:3], big])
    hole_part, _ = imported(gerber=[*gerber_set(top=[*TOP, *pad("D10*", "H1", "1", "N/C", 20, 15)])[:3], wide,
                                    Source("h.drl", drill_file((2, 20, 15)).data.replace(b"T2C0.8", b"T2C2.4"))])  # fmt: skip

    assert board.reference_points == ()
    assert hole_part.reference_points == (ReferencePoint("H1", 19.975, 14.975),)


def test_gerber_without_attributes_is_named_by_ipc():
    """Old Gerber files know no nets: pins come from IPC-D-356, and copper gets its net from what it touches."""
    named, _ = imported(ipc_file(), gerber_set())
    board, notes = imported(ipc_file(), list(bare(gerber_set())))

    assert board.nets == named.nets
    assert board.tracks == named.tracks
    assert board.areas == named.areas
    assert "the Gerber files name no pins: names are those of the IPC-D-356 file" in notes


def test_unnamed_copper_that_touches_two_nets_or_none_is_left_out():
    """It could be a short or a logo: the notes say what was dropped."""
    floating = line("", (20, 18), (22, 18))
    bridge = line("", (5, 10), (15, 5))
    board, notes = imported(ipc_file(), list(bare(gerber_set(top=[*TOP, *floating, *bridge]))))

    assert board.tracks == ()
    assert "copper joins nets CLK, GND: left unnamed" in notes
    assert "4 tracks and 1 areas could be given no net and are left out" in notes


def test_conductors_of_an_ipc_file_become_tracks():
    """378 records are tracks, unless Gerber files draw them already; inner layers are left out."""
    conductors = ["378CLK            L01 X0200      X+015000Y+020000 X+018000 Y+025000",
                  "378CLK            L03 X0200      X+015000Y+020000 X+018000",
                  "378GND            L04 X0300      X+015000Y+020000 X+018000"]  # fmt: skip
    board, notes = imported(ipc_file(*RECORDS, *conductors), parts=PARTS)

    assert board.tracks == (
        Track("CLK", "top", 5, 10, 8, 10, 0.2),
        Track("CLK", "top", 8, 10, 8, 15, 0.2),
        Track("GND", "bottom", 5, 10, 8, 10, 0.3),
    )
    assert "1 conductors on inner layers are left out" in notes


def test_vias_are_named_in_reading_order_whatever_the_source():
    """Rows from the top edge down, each from the left; the order in the files does not matter."""
    places = [(20, 5), (8, 10), (5, 5), (9, 10.02), (1, 19)]
    words = [word for x, y in places for word in ("D12*", "%TO.N,CLK*%", f"{xy(x, y)}D03*", "%TD*%")]
    forward, _ = imported(gerber=gerber_set(top=[*TOP[:15], *words], bottom=BOTTOM))
    backward, _ = imported(
        ipc_file(*RECORDS[:4], *(ipc_record("CLK", "VIA", "", x, y, hole=0.4) for x, y in reversed(places)))
    )

    assert [v.name for v in forward.vias] == ["V1", "V2", "V3", "V4", "V5"]
    first = forward.vias[0]
    offsets = [[(round(v.x_mm - vias[0].x_mm, 2), round(v.y_mm - vias[0].y_mm, 2)) for v in vias]
               for vias in (forward.vias, backward.vias)]  # fmt: skip
    assert (first.x_mm, first.y_mm) == (0.975, 18.975)
    assert offsets[0] == offsets[1] == [(0, 0), (7, -9), (8, -8.98), (4, -14), (19, -14)]


def test_pads_of_own_shape_and_anchors():
    """A pad drawn as a region takes its box; several shapes of one pin at one place are one pad."""
    shape = ["%TO.P,Q1,3*%", *area("CLK", (20, 10), (24, 10), (24, 12), (20, 12))[0:1],
             "G36*", f"{xy(20, 10)}D02*", *(f"{xy(*p)}D01*" for p in ((24, 10), (24, 12), (20, 12), (20, 10))), "G37*", "%TD*%"]  # fmt: skip
    board, _ = imported(gerber=gerber_set(top=[*TOP, *pad("D10*", "Q1", "3", "CLK", 22, 11), *shape]))

    assert board.pads[-1] == Pad("U1", "1", 7.975, 14.975, 0.0, 2.0, "bottom", 1.0, False)
    assert board.pads[3] == Pad("Q1", "3", 21.975, 10.975, 0.0, 4.0, "top", 2.0, False)


def test_a_hole_off_the_middle_of_its_pad_is_found():
    """A long pad with its hole at one end is a through-hole pad, and a via inside a surface pad is not its hole."""
    top = pad("D11*", "J2", "1", "CLK", 10, 10)
    board, _ = imported(gerber=[*gerber_set(top, [*top, *pad("D11*", "U5", "1", "CLK", 20, 10)])[:3],
                                drill_file((2, 10.4, 10), (1, 20.4, 10))])  # fmt: skip

    assert [(p.refdes, p.hole_mm, p.side) for p in board.pads] == [("J2", 0.8, "both"), ("U5", 0.0, "bottom")]


def test_pads_without_a_pin_are_told():
    """Fiducials and logos in copper are no pads of any part."""
    notes = imported(gerber=gerber_set(top=[*TOP, "D11*", f"{xy(20, 10)}D03*"]))[1]

    assert "1 pads in the copper files name no pin and are left out" in notes


def test_open_and_multiple_outlines():
    """An outline that does not close becomes its box; cut-outs inside are told."""
    opened = gerber_set()
    opened[2] = gerber_file("demo-Edge_Cuts.gbr", "Profile,NP", *EDGE[:-1])
    inside = [f"{xy(10, 15)}D02*", *(f"{xy(*p)}D01*" for p in ((12, 15), (12, 17), (10, 17), (10, 15)))]
    holed = gerber_set()
    holed[2] = gerber_file("demo-Edge_Cuts.gbr", "Profile,NP", *EDGE, *inside)
    filled = gerber_set()
    filled[2] = gerber_file("demo-Edge_Cuts.gbr", "Profile,NP", *area("", (0, 0), (30, 0), (30, 20), (0, 20)))

    results = [imported(gerber=s) for s in (opened, holed, filled)]
    assert [(b.width_mm, b.height_mm) for b, _ in results] == [(29.95, 19.95), (29.95, 19.95), (30, 20)]
    assert "the outline does not close: the box around it is taken" in results[0][1]
    assert "the outline has 2 rings: the outer edge is taken" in results[1][1]


def test_plating_follows_the_name_when_the_file_is_silent():
    """NPTH in the file's name makes holes unplated, so that a lone flash there is no via."""
    bare_drill = b"M48\nMETRIC\nT1C0.4\n%\nT1\nX108.0Y-40.0\nM30\n"
    words = [w.replace("D12*", "D15*") for w in VIA]
    top = ["%ADD15C,0.8*%", *TOP[:15], *words]
    plated = imported(gerber=[*gerber_set(top, [])[:3], Source("holes.drl", bare_drill)])[0]
    unplated = imported(gerber=[*gerber_set(top, [])[:3], Source("demo-NPTH.drl", bare_drill)])[0]

    assert (len(plated.vias), len(unplated.vias)) == (1, 0)


def test_negative_copper_is_told():
    """A layer that claims negative polarity is read as drawn, with a note."""
    notes = imported(gerber=gerber_set(top=["%TF.FilePolarity,Negative*%", *TOP]))[1]

    assert "demo-F_Cu.gbr says its polarity is negative; it is read as drawn" in notes


def test_nothing_is_lost_with_npth_only():
    """A drill file without any hole in copper adds reference points only."""
    board, _ = imported(gerber=[*gerber_set()[:3], NPTH])

    assert {p.hole_mm for p in board.pads} == {0.0}
    assert len(board.reference_points) == 1


def test_a_small_tangle_is_untangled():
    """A figure of eight is two areas, not an error."""
    board, _ = imported(gerber=gerber_set(top=[*TOP, *area("CLK", (20, 2), (24, 6), (24, 2), (20, 6))]))

    eight = next(shapely.from_wkt(a.wkt) for a in board.areas if a.net == "CLK")
    assert eight.is_valid and eight.area == pytest.approx(8, abs=1e-3)


def test_copper_without_net_stays_without():
    """A pad's stub on no net is copper all the same; an empty file of conductors changes nothing."""
    board, _ = imported(gerber=gerber_set(top=[*TOP, *line("N/C", (25, 15), (27, 15))]))

    assert board.tracks[1] == Track("", "top", 24.975, 14.975, 26.975, 14.975, 0.25)


def test_copper_that_is_named_already_is_left_alone():
    """Nets are looked for only where one is missing; a place with no copper at all has no box."""
    copper = Copper(tracks=(Track("A", "top", 0, 0, 1, 0, 0.2),))

    assert with_nets_by_touch(copper) is copper
    assert Copper().bounds_mm() is None
    assert outline_of([]) == (None, ())
    assert outline_of([[(0, 0), (0, 0)]]) == (None, ())
