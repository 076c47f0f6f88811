"""Boards put together from IPC-D-356, Gerber with drills and parts lists, in one frame."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coppermend.board.importing import Source
from coppermend.board.model import PinRef, Via

from .import_samples import (
    NETS,
    PARTS,
    RECORDS,
    TOP,
    bare,
    gerber_file,
    gerber_set,
    imported,
    ipc_file,
    ipc_record,
    pad,
)


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


def test_repeated_any_refdes_is_a_part_for_each_pad():
    """``REF**`` names nothing: each of its pads is a part of its own, and the notes say that names repeat."""
    top = [*TOP, *pad("D10*", "REF**", "1", "N/C", 2, 2), *pad("D10*", "REF**", "1", "N/C", 28, 2)]
    board, notes = imported(gerber=gerber_set(top=[w.replace("REF**", r"REF\u002A\u002A") for w in top]))

    assert [p.x_mm for p in board.parts if p.refdes == "REF**"] == [1.975, 27.975]
    assert "several parts are called REF**" in notes


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


def test_an_ipc_file_that_shares_no_name_is_placed_by_its_holes():
    """When no pin has the same name in both, the pattern of places decides whether they fit."""
    records = [ipc_record(net, r, p, x, y) for net, r, p, x, y in (
        ("CLK", "X1", "1", 5, 10), ("GND", "X1", "2", 15, 5), ("N/C", "X2", "1", 25, 15), ("CLK", "X3", "1", 8, 15))]  # fmt: skip
    board, notes = imported(ipc_file(*records), gerber_set())

    assert "4 pads are in the IPC-D-356 file only" in notes
    assert board.index.pads[PinRef("X1", "1")].x_mm == pytest.approx(4.975, abs=0.01)


def test_the_same_files_in_another_order_give_the_same_board():
    """The order in which a folder lists its files must not matter."""
    first, _ = imported(ipc_file(), gerber_set(), PARTS)
    second, _ = imported(ipc_file(), gerber_set()[::-1], PARTS)

    assert replace(first, nets=dict(first.nets)) == replace(second, nets=dict(second.nets))


def test_folders_in_a_name_do_not_count():
    """A file is judged by its own name, not by the folders it lies in."""
    files = [f._replace(name=f"/outline/NPTH mask/{f.name}") for f in bare(gerber_set())]
    board, notes = imported(ipc_file(), [*files, Source("C:\\top copper\\notes.txt", b"hello")])

    assert board.counts() == imported(ipc_file(), list(bare(gerber_set())))[0].counts()
    assert "left out: notes.txt" in notes


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
