"""Boards put together from IPC-D-356, Gerber with drills and parts lists, in one frame."""

from __future__ import annotations

import math
from dataclasses import replace
from time import perf_counter

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.import_copper import Copper, outline_of
from coppermend.board.import_infer import with_nets_by_touch
from coppermend.board.importing import Source, import_board
from coppermend.board.model import Pad, PinRef, ReferencePoint, Track, Via
from coppermend.board.parttypes import PartLibrary, parse_part_types
from coppermend.errors import InputError

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
    drill_file,
    gerber_file,
    gerber_set,
    ipc_file,
    ipc_record,
    line,
    pad,
    xy,
)  # fmt: skip

LIBRARY = PartLibrary(
    parse_part_types(
        """
        [resistor]
        description = "resistor"
        kind = "resistor"
        pins = ["1 A passive", "2 B passive"]
        ["7404"]
        description = "inverters"
        kind = "logic"
        pins = ["1 A in", "2 Y out"]
        """
    )
)
NETS = {"CLK": (PinRef("R1", "1"), PinRef("U1", "1")), "GND": (PinRef("R1", "2"),)}


def imported(ipc356=None, gerber=(), parts=None):
    return import_board(name="demo", ipc356=ipc356, gerber=gerber, parts=parts, library=LIBRARY)


def test_all_three_sources_meet_in_one_frame():
    """Three frames become one: origin at the corner of the outline's centre line."""
    board, notes = imported(ipc_file(), gerber_set(), PARTS)

    assert (board.width_mm, board.height_mm) == (29.95, 19.95)
    assert set(board.outline) == {(0, 0), (29.95, 0), (29.95, 19.95), (0, 19.95)}
    assert board.nets == NETS
    assert board.vias == (Via("V1", "CLK", 7.975, 9.975, 0.4, 0.8),)
    assert [(p.refdes, p.x_mm, p.y_mm) for p in board.parts] == [
        ("R1", 4.975, 9.975), ("J1", 24.975, 14.975), ("U1", 7.975, 14.975), ("REF**", 2.975, 2.975),
    ]  # fmt: skip
    assert (
        "IPC-D-356 and Gerber agree on 4 of 4 places after a shift of (90.000, -60.000) mm, within 0.000 mm"
        in notes
    )
    assert "3 of 3 parts of the list sit on their pads, within 0.000 mm" in notes


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


def test_parts_come_from_pins_when_there_is_no_list():
    """Each refdes of the pads is a part at its first pin, typed by its letters."""
    board, notes = imported(gerber=gerber_set())

    assert [(p.refdes, p.type, p.x_mm, p.y_mm, p.side) for p in board.parts] == [
        ("R1", "resistor", 4.975, 9.975, "top"), ("J1", "", 24.975, 14.975, "top"),
        ("U1", "", 7.975, 14.975, "bottom"),
    ]  # fmt: skip
    assert not [n for n in notes if "parts list" in n]


def test_parts_missing_from_the_list_are_added_and_told():
    """A pin whose part is not in the list still has a part."""
    short = Source("parts.csv", b"\n".join(PARTS.data.split(b"\n")[:3]))
    board, notes = imported(gerber=gerber_set(), parts=short)

    assert [p.refdes for p in board.parts] == ["R1", "J1", "U1"]
    assert "not in the parts list: U1" in notes


def test_listed_parts_keep_what_the_list_says():
    """Type, package, section, socket and notes of our own columns win over guesses."""
    rows = b"refdes,value,type,package,section,socketed,notes\nR1,10k,fuse,AXIAL-10,supply,yes,burnt\nX9,1,,,,,\n"
    board, notes = imported(gerber=gerber_set(), parts=Source("parts.csv", rows))

    part = board.parts[0]
    assert (part.type, part.package, part.section, part.socketed, part.notes) == (
        "fuse", "AXIAL-10", "supply", True, "burnt",
    )  # fmt: skip
    assert (part.x_mm, part.y_mm) == (4.975, 9.975)
    assert "no place is known for X9" in notes


def test_types_come_from_value_and_footprint():
    """The library is asked with the value; what it does not know stays empty."""
    board, _ = imported(gerber=gerber_set(), parts=PARTS)

    assert [(p.refdes, p.type, p.package) for p in board.parts[:3]] == [
        ("R1", "resistor", "AXIAL-10.16-D2.5"), ("J1", "", "HDR-1x1-2.54"), ("U1", "7404", "SO-14"),
    ]  # fmt: skip


def test_ipc_alone_gets_a_box_around_its_copper():
    """Without an outline the size is that of the copper and a margin, and the notes say so."""
    board, notes = imported(ipc_file())

    assert board.nets == NETS
    assert (board.pads[0].x_mm, board.pads[0].y_mm) == (2.8, 7.8)
    assert (board.width_mm, board.height_mm) == (25.6, 15.6)
    assert "no outline: the size is that of the copper with 2 mm around it" in notes
    assert [p.side for p in board.pads] == ["both", "both", "both", "bottom"]


def test_ipc_with_a_parts_list_takes_the_lists_frame():
    """The list's origin is the board's."""
    board, _ = imported(ipc_file(), parts=PARTS)

    assert [(p.refdes, p.x_mm, p.y_mm) for p in board.parts][:2] == [("R1", 5, 10), ("J1", 25, 15)]
    assert (board.pads[0].x_mm, board.pads[0].y_mm) == (5, 10)


def test_a_few_wrong_places_do_not_move_the_board():
    """The shift is what most parts agree on, not a mean."""
    records = [ipc_record("A", f"R{n}", "1", 3 * n % 40, 7 * n % 30) for n in range(1, 21)]
    rows = [f"R{n},{3 * n % 40 + (5 if n < 8 else 0)},{7 * n % 30}" for n in range(1, 21)]
    parts = Source("parts.csv", "\n".join(["refdes,x_mm,y_mm", *rows]).encode())
    board, notes = imported(ipc_file(*records), parts=parts)

    assert (board.pads[19].x_mm, board.pads[19].y_mm) == (20, 20)
    assert "13 of 20 parts of the list sit on their pads, within 0.000 mm" in notes


@pytest.mark.parametrize(
    ("rows", "note"),
    [
        (b"R7,1,1\n", "the parts list shares no part with the pads: its places are taken as they are"),
        (b"R1,1,1\nJ1,2,7\nU1,9,3\n", "only 1 of 3 parts of the list sit on their pads: their places are taken as "
         "they are, and may be wrong"),
    ],
)  # fmt: skip
def test_a_list_that_does_not_fit_is_told(rows, note):
    """A parts list of another board, or in inches, is not forced onto the pads."""
    board, notes = imported(gerber=gerber_set(), parts=Source("parts.csv", b"refdes,x_mm,y_mm\n" + rows))

    assert note in notes
    assert (board.parts[0].x_mm, board.parts[0].y_mm) == (1, 1)


def test_cut_names_get_their_full_form_from_gerber():
    """IPC-D-356 cuts names to 14 characters and refdes to 6: through Gerber both are whole again."""
    long = "CPU BOARD RESET LINE"
    top = [*pad("D10*", "RESISTOR1", "1", long, 5, 10), *pad("D10*", "R2", "1", long, 15, 5)]
    records = [ipc_record(long[:14], "RESIST", "1", 5, 10), ipc_record(long[:14], "R2", "1", 15, 5),
               ipc_record(long[:14], "TP1", "1", 25, 15), ipc_record(long[:14], "VIA", "", 20, 5, hole=0.4)]  # fmt: skip
    board, notes = imported(ipc_file(*records), gerber_set(top, []))

    assert board.nets == {long: (PinRef("RESISTOR1", "1"), PinRef("R2", "1"), PinRef("TP1", "1"))}
    assert [v.net for v in board.vias] == [long]
    assert {"1 pads are in the IPC-D-356 file only", "1 vias are in the IPC-D-356 file only"} <= set(notes)
    assert not [n for n in notes if "disagree" in n]


def test_disagreement_on_nets_is_told():
    """A pin on another net, and a net that one source splits, are each named."""
    records = [r.replace("317CLK ", "317GND ") if "R1    -1" in r else r for r in RECORDS]
    moved = imported(ipc_file(*records), gerber_set())[1]
    split = imported(ipc_file(*RECORDS[:3], RECORDS[3].replace("CLK ", "CLK2"), RECORDS[4]), gerber_set())[1]
    gone = imported(ipc_file(*[r.replace("317N/C", "317GND") for r in RECORDS]), gerber_set())[1]

    assert "nets disagree: R1.1 is on net CLK in Gerber but on net GND in IPC-D-356" in moved
    assert "nets disagree: net CLK in Gerber is 2 nets in IPC-D-356: CLK, CLK2" in split
    assert "nets disagree: J1.1 is on no net in Gerber but on net GND in IPC-D-356" in gone


def test_many_disagreements_are_counted():
    """Eight are listed, the rest counted."""
    names = [(f"R{n}", f"N{n}", 2.0 * n) for n in range(1, 13)]
    top = [word for refdes, net, x in names for word in pad("D10*", refdes, "1", "N/C", x, 5)]
    notes = imported(ipc_file(*(ipc_record(net, r, "1", x, 5) for r, net, x in names)), gerber_set(top, []))[
        1
    ]

    assert len([n for n in notes if n.startswith("nets disagree: ")]) == 8
    assert "4 more disagreements on nets" in notes


def bare(sources):
    """The same Gerber files without a single attribute, named by habit."""
    for source in sources:
        kept = [
            row
            for row in source.data.decode().split("\n")
            if not row.startswith(("%TO", "%TA", "%TD", "%TF", ";"))
        ]
        yield source._replace(data="\n".join(kept).encode())


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


def test_repeated_any_refdes_is_a_part_for_each_pad():
    """``REF**`` names nothing: each of its pads is a part of its own, and the notes say that names repeat."""
    top = [*TOP, *pad("D10*", "REF**", "1", "N/C", 2, 2), *pad("D10*", "REF**", "1", "N/C", 28, 2)]
    board, notes = imported(gerber=gerber_set(top=[w.replace("REF**", r"REF\u002A\u002A") for w in top]))

    assert [p.x_mm for p in board.parts if p.refdes == "REF**"] == [1.975, 27.975]
    assert "several parts are called REF**" in notes


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


def test_other_files_are_left_out_by_name():
    """Masks, legends, inner layers and files that are no Gerber at all are listed, not read."""
    others = [
        gerber_file("demo-F_Mask.gbr", "Soldermask,Top", "nonsense*"),
        gerber_file("demo-In1_Cu.gbr", "Copper,L2,Inr"),
        gerber_file("top-silk.gbr", ""),
        Source("readme.txt", b"hello"),
    ]
    board, notes = imported(gerber=[*gerber_set(), *others])

    assert "left out: demo-F_Mask.gbr, demo-In1_Cu.gbr, top-silk.gbr, readme.txt" in notes
    assert board.nets == NETS


def test_without_an_outline_layer_the_notes_say_so():
    """A set without Profile still makes a board."""
    board, notes = imported(gerber=gerber_set()[:2])

    assert "no outline layer among the Gerber files" in notes
    assert board.outline == () and board.width_mm > 20


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


@pytest.mark.parametrize(
    ("sources", "found", "where"),
    [
        ({}, "nothing to import", ""),
        ({"parts": PARTS}, "nothing to import", ""),
        ({"gerber": [PTH]}, "no copper layer among the Gerber files", "PTH.drl"),
        ({"gerber": list(bare(gerber_set()))}, "no pin has a name", "demo-F_Cu.gbr"),
        ({"ipc356": ipc_file(ipc_record("CLK", "VIA", "", 8, 10, hole=0.4))},
         "no pin has a name", "demo.d356"),
        ({"gerber": [*gerber_set(), gerber_file("again.gbr", "Copper,L1,Top")]}, "a second file is the top layer", "again.gbr"),
        ({"gerber": [Source("F_Cu.gbr", b"hello")]}, "neither Gerber nor Excellon", "F_Cu.gbr"),
        ({"gerber": [Source("board.drl", b"hello")]}, "neither Gerber nor Excellon", "board.drl"),
        ({"gerber": [Source("F_Cu.gbr", b"%FS\x00")]}, "a NUL byte: binary data or UTF-16", "F_Cu.gbr"),
        ({"ipc356": ipc_file(ipc_record("A", "R1", "1", 1, 1), ipc_record("A", "R1", "2", 50, 50),
                             ipc_record("A", "J1", "1", 80, 10)), "gerber": gerber_set()},
         "the IPC-D-356 and Gerber files do not fit together: only 1 of 3 places agree", "demo.d356"),
        ({"ipc356": ipc_file("317GND"), "gerber": gerber_set()}, None, "demo.d356"),
        ({"ipc356": ipc_file(), "parts": Source("p.csv", b"R1,1\n")}, "first row 'r1,1'", "p.csv"),
    ],
)  # fmt: skip
def test_what_cannot_be_imported_names_the_file(sources, found, where):
    """Missing, foreign, broken and mismatched files each get one error that names one file."""
    with pytest.raises(InputError) as caught:
        imported(**sources)

    assert found is None or caught.value.found == found
    assert caught.value.where == where


def test_an_ipc_file_that_shares_no_name_is_placed_by_its_holes():
    """When no pin has the same name in both, the pattern of places decides whether they fit."""
    records = [ipc_record(net, r, p, x, y) for net, r, p, x, y in (
        ("CLK", "X1", "1", 5, 10), ("GND", "X1", "2", 15, 5), ("N/C", "X2", "1", 25, 15), ("CLK", "X3", "1", 8, 15))]  # fmt: skip
    board, notes = imported(ipc_file(*records), gerber_set())

    assert "4 pads are in the IPC-D-356 file only" in notes
    assert board.index.pads[PinRef("X1", "1")].x_mm == pytest.approx(4.975, abs=0.01)


@given(st.binary(max_size=60), st.integers(0, 400), st.sampled_from(["gerber", "drill", "ipc", "parts"]))
@settings(max_examples=150, deadline=5000)
def test_damaged_sources_give_a_board_or_one_clear_error(noise, at, which):
    """Bytes overwritten anywhere in any source end in a board or an InputError, never in another exception."""

    def spoiled(source: Source) -> Source:
        return source._replace(data=source.data[:at] + noise + source.data[at + len(noise) :])

    files = gerber_set()
    number = {"gerber": 0, "drill": 3}.get(which)
    if number is not None:
        files[number] = spoiled(files[number])
    try:
        imported(
            spoiled(ipc_file()) if which == "ipc" else ipc_file(),
            files,
            spoiled(PARTS) if which == "parts" else PARTS,
        )
    except InputError as error:
        assert str(error)


def test_the_same_files_in_another_order_give_the_same_board():
    """The order in which a folder lists its files must not matter."""
    first, _ = imported(ipc_file(), gerber_set(), PARTS)
    second, _ = imported(ipc_file(), gerber_set()[::-1], PARTS)

    assert replace(first, nets=dict(first.nets)) == replace(second, nets=dict(second.nets))


def test_nothing_is_lost_with_npth_only():
    """A drill file without any hole in copper adds reference points only."""
    board, _ = imported(gerber=[*gerber_set()[:3], NPTH])

    assert {p.hole_mm for p in board.pads} == {0.0}
    assert len(board.reference_points) == 1


def tangle(count: int) -> list[str]:
    """A region whose every edge crosses half of all others."""
    corners = [(15 + 14 * math.cos(2.4 * k), 10 + 9 * math.sin(2.4 * k)) for k in range(count)]
    return area("GND", *corners)


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (tangle(3_000), "an area crosses itself all over"),
        (["D10*", *["%LPC*%", f"{xy(1, 1)}D03*", "%LPD*%", *area("GND", *SQUARE)] * 600],
         "areas and clearing alternate too often"),
    ],
    ids=["tangle", "alternating"],
)  # fmt: skip
def test_areas_beyond_computing_are_refused_soon(words, found):
    """A hostile area ends in an error that names the file, in seconds."""
    start = perf_counter()
    with pytest.raises(InputError) as caught:
        imported(gerber=gerber_set(top=[*TOP, *words]))

    assert (caught.value.found, caught.value.where) == (found, "demo-F_Cu.gbr")
    assert perf_counter() - start < 10


def test_a_small_tangle_is_untangled():
    """A figure of eight is two areas, not an error."""
    board, _ = imported(gerber=gerber_set(top=[*TOP, *area("CLK", (20, 2), (24, 6), (24, 2), (20, 6))]))

    eight = next(shapely.from_wkt(a.wkt) for a in board.areas if a.net == "CLK")
    assert eight.is_valid and eight.area == pytest.approx(8, abs=1e-3)


def test_outlines_of_very_many_lines():
    """Beyond two thousand lines ends must meet: a finely divided circle still closes, a scribble becomes a box."""
    ring = [
        (15 + 14 * math.cos(k * math.tau / 2500), 10 + 9 * math.sin(k * math.tau / 2500)) for k in range(2500)
    ]
    scribble = [(15 + 14 * math.cos(2.4 * k), 10 + 9 * math.sin(2.4 * k)) for k in range(2500)]
    sets = [gerber_set(), gerber_set()]
    for files, points, closed in ((sets[0], ring, ring[:1]), (sets[1], scribble, [])):
        words = ["D14*", f"{xy(*points[0])}D02*", *(f"{xy(*p)}D01*" for p in (*points[1:], *closed))]
        files[2] = gerber_file("demo-Edge_Cuts.gbr", "Profile,NP", *words)

    round_, boxed = (imported(gerber=files) for files in sets)
    assert (round_[0].width_mm, round_[0].height_mm) == pytest.approx((28, 18), abs=0.01)
    assert len(round_[0].outline) > 2000
    assert "the outline does not close: the box around it is taken" in boxed[1]


@pytest.mark.parametrize(
    "data",
    [b";" * 30_000, b"\n" * 200_000, b"%FS" + b" " * 300_000 + b"x", b"*" + b" " * 300_000, b"M48\n" + b";" * 300_000,
     b"%OFA" + b"0" * 300_000 + b"x*%M02*"],
    ids=["semicolons", "line ends", "blanks", "star and blanks", "comment", "zeros"],
)  # fmt: skip
@pytest.mark.parametrize("name", ["F_Cu.gbr", "PTH.drl", "notes.txt"])
def test_long_runs_of_one_character_take_no_time(data, name):
    """No pattern that sniffs or splits a file backtracks over its length."""
    start = perf_counter()
    with pytest.raises(InputError):
        imported(gerber=[Source(name, data)])

    assert perf_counter() - start < 2


def test_folders_in_a_name_do_not_count():
    """A file is judged by its own name, not by the folders it lies in."""
    files = [f._replace(name=f"/outline/NPTH mask/{f.name}") for f in bare(gerber_set())]
    board, notes = imported(ipc_file(), [*files, Source("C:\\top copper\\notes.txt", b"hello")])

    assert board.counts() == imported(ipc_file(), list(bare(gerber_set())))[0].counts()
    assert "left out: notes.txt" in notes


def test_copper_without_net_stays_without():
    """A pad's stub on no net is copper all the same; an empty file of conductors changes nothing."""
    board, _ = imported(gerber=gerber_set(top=[*TOP, *line("N/C", (25, 15), (27, 15))]))

    assert board.tracks[1] == Track("", "top", 24.975, 14.975, 26.975, 14.975, 0.25)


def test_ipc_records_without_a_pin_are_told():
    """A bare hole names no pin; a wide one is a mounting hole; a second access point of a via is not another via."""
    hole = ipc_record("N/C", "", "", 3, 3, hole=3.2)
    board, notes = imported(ipc_file(*RECORDS, hole), parts=PARTS)

    assert "1 IPC-D-356 records name no pin and are left out" in notes
    assert [(p.name, round(p.x_mm, 3), round(p.y_mm, 3)) for p in board.reference_points] == [
        ("H1", 3.0, 3.0)
    ]


def test_an_ipc_outline_is_the_boards():
    """389 records with the board's edge give the frame when no Gerber file does."""
    edge = ["389BOARD_EDGE      X+010000Y+010000 X+040000 Y+030000 X+010000 Y+010000"]
    board, notes = imported(ipc_file(*RECORDS, *edge))

    assert (board.width_mm, board.height_mm) == (30, 20)
    assert (board.pads[0].x_mm, board.pads[0].y_mm) == (5, 10)
    assert not [n for n in notes if "outline" in n]


def test_gerber_and_ipc_without_a_common_place():
    """Gerber files without a pad or hole cannot be laid under an IPC-D-356 file."""
    with pytest.raises(InputError) as caught:
        imported(ipc_file(), gerber_set(line("CLK", (5, 10), (8, 10)), [])[:3])

    assert caught.value.found == "the IPC-D-356 and Gerber files do not fit together: no place is in both"


def test_copper_that_is_named_already_is_left_alone():
    """Nets are looked for only where one is missing; a place with no copper at all has no box."""
    copper = Copper(tracks=(Track("A", "top", 0, 0, 1, 0, 0.2),))

    assert with_nets_by_touch(copper) is copper
    assert Copper().bounds_mm() is None
    assert outline_of([]) == (None, ())
    assert outline_of([[(0, 0), (0, 0)]]) == (None, ())
