"""IPC-D-356 records that can be read: columns, units, names, continuations, paths."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from coppermend.board.readers.ipcd356 import Adjacency, Outline, parse_ipcd356

from .ipcd356_samples import HEADER, SAMPLE, counted_in_bytes, record, whole

COLUMNS = Path(__file__).resolve().parents[2] / "references" / "ipcd356_columns.csv"


def read(*lines: str, header: str = HEADER):
    return parse_ipcd356(whole(*lines, header=header), "board.d356")


def only(line: str, header: str = HEADER):
    (found,) = read(line, header=header).records
    return found


def test_every_field_of_a_record_is_read():
    """A through-hole pin comes out with all its fields, lengths in mm."""
    found = only(record(midpoint="M", size_y="Y0500", rotation="R270", soldermask=" S1"))

    assert (found.kind, found.net, found.refdes, found.pin) == ("through", "RESET", "U3", "40")
    assert (found.is_via, found.midpoint, found.plated, found.access) == (False, True, True, 0)
    assert (found.hole_mm, found.x_mm, found.y_mm) == (0.8128, 31.75, -60.198)
    assert (found.size_x_mm, found.size_y_mm) == (1.524, 1.27)
    assert (found.rotation_deg, found.soldermask, found.line, found.continues) == (270, 1, 3, False)


@pytest.mark.parametrize(
    "row", list(csv.DictReader(COLUMNS.open())), ids=lambda row: f"{row['first']}-{row['last']}"
)
def test_fields_stand_in_the_published_columns(row):
    """Our sample record, and so the reader that reads it whole, follows the published column table."""
    fields = {
        "code": "327",
        "net": "N" * 14,
        "refdes": "R" * 6,
        "pin": "P" * 4,
        "midpoint": "M",
        "hole": "D1234",
        "plated": "U",
        "access": "A12",
        "x": "X+123456",
        "y": "Y-123456",
        "size_x": "X1234",
        "size_y": "Y4321",
        "rotation": "R180",
    }
    expected = {**fields, "blank": "", "hyphen": "-", "soldermask": "S3"}
    line = record(**fields, soldermask=" S3")

    assert only(line).net == "N" * 14
    assert line[int(row["first"]) - 1 : int(row["last"])].strip() == expected[row["field"]]


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        ("307", "buried"),
        ("317", "through"),
        ("327", "surface"),
        ("337", "tooling feature"),
        ("347", "tooling hole"),
        ("367", "nonplated"),
    ],
)
def test_operation_code_gives_kind(code, kind):
    """The second digit of the operation code says what kind of point it is."""
    assert only(record(code=code)).kind == kind


def test_via_has_no_refdes():
    """VIA in the refdes field marks a via, which belongs to no part."""
    found = only(record(refdes="VIA", pin=""))

    assert found.is_via
    assert (found.refdes, found.pin) == ("", "")


@pytest.mark.parametrize("net", ["N/C", ""])
def test_no_net_is_empty(net):
    """A point without a net has the empty net name."""
    assert only(record(net=net)).net == ""


def test_surface_mount_has_no_hole():
    """Blanks in the hole field mean no hole and nothing said of plating."""
    found = only(record(code="327", hole=" " * 5, plated=" ", access=" " * 3))

    assert (found.hole_mm, found.plated, found.access) == (0, None, None)


def test_unplated_hole():
    """U says that the hole is not plated."""
    assert only(record(code="367", plated="U")).plated is False


@pytest.mark.parametrize(
    ("units", "kept", "x_mm"),
    [
        ("CUST 0", "CUST 0", 31.75),
        ("CUST", "CUST 0", 31.75),
        ("CUST 1", "CUST 1", 12.5),
        ("SI", "CUST 1", 12.5),
        ("CUST   2", "CUST 2", 31.75),
    ],
)
def test_units(units, kept, x_mm):
    """One count is 0.0001 inch, or 0.001 mm in the metric units (from memory of IPC-D-356A)."""
    result = read(record(), header=f"P  UNITS {units}\n")

    assert result.units == kept
    assert result.records[0].x_mm == x_mm


def test_radians_are_hundredths():
    """CUST 2 gives rotations in radians; how they fit three digits is our assumption, and is noted."""
    result = read(record(rotation="R157"), header="P  UNITS CUST 2\n")

    assert result.records[0].rotation_deg == pytest.approx(90, abs=0.1)
    assert "hundredths of a radian" in result.notes[0]


@pytest.mark.parametrize(
    ("text", "degree"), [("R360", 0), ("R-90", 270), ("R 45", 45), ("R   ", 0), ("    ", 0)]
)
def test_rotation_is_brought_into_one_turn(text, degree):
    """Rotations end up from 0 to below 360 degrees."""
    assert only(record(rotation=text)).rotation_deg == degree


@pytest.mark.parametrize("x", ["X+001000", "X 001000", "X0001000", "X   1000", "X  +1000", "X1000   "])
def test_spelling_of_coordinates(x):
    """Sign and leading zeros may be missing."""
    assert only(record(x=x)).x_mm == 2.54


def test_negative_coordinate():
    """A minus sign counts."""
    assert only(record(x="X-001000")).x_mm == -2.54


@pytest.mark.parametrize("soldermask", [" S2", "S2", " S2  000123"])
def test_soldermask_may_stand_one_column_early(soldermask):
    """Code S in column 72 or 73 is read, with or without a record number behind it."""
    assert only(record(soldermask=soldermask)).soldermask == 2


@pytest.mark.parametrize(
    ("end", "size_x", "size_y"), [(57, 0, 0), (62, 1.524, 0), (67, 1.524, 1.27), (71, 1.524, 1.27)]
)
def test_record_may_end_after_any_field_behind_the_place(end, size_x, size_y):
    """What a short record leaves out is 0 or None, and a file of such records has no note."""
    result = read(record(size_y="Y0500")[:end])

    assert (result.records[0].size_x_mm, result.records[0].size_y_mm) == (size_x, size_y)
    assert result.records[0].soldermask is None
    assert result.notes == ()


def test_short_record_among_full_ones_is_noted():
    """One record that ends early where its like go on may be cut, so it is pointed out."""
    result = read(record(), record(pin="1")[:57], record(pin="2"))

    assert result.notes == ("a test record ends earlier than others of the kind, first in line 4",)


def test_alias_gives_full_net_name():
    """NNAME aliases are resolved, also when they stand behind the record that uses them."""
    result = read(record(net="NNAME7"), "P  NNAME7  SOLENOID_DRIVE_LEFT_OUTER ")

    assert result.records[0].net == "SOLENOID_DRIVE_LEFT_OUTER"
    assert result.names == {"NNAME7": "SOLENOID_DRIVE_LEFT_OUTER"}


def test_alias_in_comment_is_used_and_noted():
    """Some programs put the aliases into comments; a P record wins over them."""
    result = read(
        "C  NNAME1 LAMP_A", "C  NNAME2 LAMP_B", "P  NNAME1 LAMP_1", record(net="NNAME1"), record(net="NNAME2")
    )

    assert [r.net for r in result.records] == ["LAMP_1", "LAMP_B"]
    assert result.notes == ("net names taken from comments, where some programs put them: 1",)


def test_alias_without_definition_is_kept_and_noted():
    """A record with an alias nobody defines keeps it, and a note says so."""
    result = read(record(net="NNAME9"))

    assert result.records[0].net == "NNAME9"
    assert result.notes == ("no name is given for NNAME9",)


def test_many_aliases_without_definition_make_one_short_note():
    """A file that lost all its aliases gets one note that names five of them."""
    result = read(*(record(net=f"NNAME{i}") for i in range(1, 9)))

    assert result.notes == ("no name is given for NNAME1, NNAME2, NNAME3, NNAME4, NNAME5 and 3 more",)


def test_parameters_are_kept():
    """P records other than UNITS and aliases are kept; an empty one says nothing."""
    result = read("P", "P  TITLE  Rolling ball board  ", "P  arrayDim   N", record())

    assert result.parameters["TITLE"] == "Rolling ball board"
    assert result.parameters["arrayDim"] == "N"


def test_continuation_gives_a_further_access_point():
    """017 repeats its record with its own fields in place (from memory of IPC-D-356A)."""
    first, further = read(record(), "017" + " " * 35 + "A02" + " " * 16 + "X0800").records

    assert (first.access, first.size_x_mm, first.continues) == (0, 1.524, False)
    assert (further.access, further.size_x_mm, further.continues) == (2, 2.032, True)
    assert (further.net, further.refdes, further.pin, further.x_mm, further.line) == (
        "RESET",
        "U3",
        "40",
        31.75,
        4,
    )


def test_continuation_without_fields_adds_nothing():
    """A continuation that says nothing in the known columns is no further point."""
    assert len(read(record(), "017").records) == 1


def test_conductor_path_with_carried_coordinates():
    """In a 378 record a lone X or Y keeps the other; an asterisk starts a new path of the same net."""
    result = read(
        "378RESET          L02 X0120 X+001000Y+002000 X+003000 Y+004000",
        "078 * X+000000Y+000000X+001000Y+001000 *",
    )
    first, second = result.conductors

    assert (first.net, first.layer, first.width_mm, first.height_mm, first.line) == ("RESET", 2, 0.3048, 0, 3)
    assert first.points == ((2.54, 5.08), (7.62, 5.08), (7.62, 10.16))
    assert second.points == ((0, 0), (2.54, 2.54))


def test_conductor_with_rectangular_aperture():
    """An aperture with X and Y is a rectangle."""
    (found,) = read("378N/C            L01 X0120Y0240 X+0Y+0").conductors

    assert (found.net, found.width_mm, found.height_mm, found.points) == ("", 0.3048, 0.6096, ((0, 0),))


def test_adjacency_with_continuation_and_alias():
    """379 lists the neighbours of a net; aliases are resolved there too."""
    result = read("P  NNAME1 DISPLAY_STROBE_12", "379RESET NNAME1", "079 CLOCK A0", record())

    assert result.adjacency == (Adjacency("RESET", ("DISPLAY_STROBE_12", "CLOCK", "A0"), 4),)


def test_adjacency_needs_no_units():
    """A file of adjacency alone has no lengths, so no units are missed until there is a record."""
    result = read("379RESET CLOCK", "P  UNITS CUST 1", header="")

    assert (result.units, result.adjacency[0].others) == ("CUST 1", ("CLOCK",))


def test_outline_with_continuation():
    """389 gives an outline, whose points may run on in 089."""
    result = read("389BOARD_EDGE         X+000000Y+000000 X+100000", "089 Y+050000 X+000000Y+000000")

    assert result.outline == (Outline("BOARD_EDGE", ((0, 0), (254, 0), (254, 127), (0, 0)), 3),)


@pytest.mark.parametrize("ends", ["\r\n", "\r", "\n\n"])
def test_line_ends(ends):
    """CRLF, lone CR and blank lines between make no difference but to line numbers."""
    plain, other = parse_ipcd356(SAMPLE, "a"), parse_ipcd356(SAMPLE.replace("\n", ends), "a")

    assert [r.net for r in other.records] == [r.net for r in plain.records]
    assert (other.names, other.notes) == (plain.names, plain.notes)
    assert [c.points for c in other.conductors] == [c.points for c in plain.conductors]


def test_sample_has_every_kind():
    """The sample of all kinds is read without a note; a byte order mark and a final Ctrl-Z do no harm."""
    result = parse_ipcd356("\ufeff" + SAMPLE + "\x1a", "board.d356")

    assert [r.kind for r in result.records] == ["through", "through", "through", "surface", "nonplated"]
    assert (len(result.conductors), len(result.adjacency), len(result.outline)) == (2, 1, 1)
    assert result.notes == ()


def test_lines_after_the_end_are_noted():
    """Nothing behind 999 is read, and a note says so."""
    result = read(record(), "999", record(pin="41"))

    assert len(result.records) == 1
    assert result.notes == ("lines after the end record in line 4 were passed over: 2",)


def test_unknown_kind_is_noted():
    """A record of a kind we do not know is passed over with its continuations, and noted."""
    result = read(record(), "390SOMETHING", "090 MORE")

    assert result.notes == ("records of unknown kind 390 were passed over: 1",)


def test_names_with_columns_counted_in_characters():
    """A name such as µCLK is read where its columns count characters."""
    assert only(record(net="µCLK")).net == "µCLK"


@pytest.mark.parametrize("refdes", ["U3", "VIA", "Ω1"])
def test_names_with_columns_counted_in_bytes(refdes):
    """Programs that pad names in UTF-8 bytes shift the columns; such lines are read too, aliases included."""
    net = "µCLK_ÄÖÜ"
    found = only(counted_in_bytes(net=net, refdes=refdes))

    assert (found.net, found.is_via, found.pin, found.x_mm) == (net, refdes == "VIA", "40", 31.75)
    assert found.refdes == ("" if refdes == "VIA" else refdes)
