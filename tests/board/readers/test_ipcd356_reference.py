"""IPC-D-356 read by us and by an independent library (gerbonara 1.5, Apache-2.0) must agree."""

from __future__ import annotations

import warnings
from math import degrees

import pytest

from coppermend.board.readers.ipcd356 import parse_ipcd356
from coppermend.board.readers.text import decode_text

from .ipcd356_samples import HEADER, record, whole

KINDS = {1: "through", 2: "surface", 3: "tooling feature", 4: "tooling hole", 6: "nonplated"}


def theirs(text: str):
    from gerbonara.ipc356 import Netlist

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return Netlist.from_string(text, "board.d356")


def assert_agree(ours, reference) -> None:
    """Every field of one test record is equal; lengths to a nanometre."""
    inch = 25.4 if str(reference.unit) == "in" else 1
    assert ours.kind == KINDS[reference.pad_type.value]
    assert (ours.net or None) == reference.net_name
    assert (ours.refdes or None, ours.is_via) == (reference.ref_des, reference.is_via)
    assert (ours.pin or None, ours.midpoint) == (reference.pin, reference.is_middle)
    assert (ours.plated, ours.access) == (reference.is_plated, reference.access_layer)
    lengths = (ours.hole_mm, ours.x_mm, ours.y_mm, ours.size_x_mm, ours.size_y_mm)
    expected = [
        (value or 0) * inch
        for value in (reference.hole_dia, reference.x, reference.y, reference.w, reference.h)
    ]
    assert lengths == pytest.approx(expected, abs=1e-6)
    assert ours.rotation_deg == pytest.approx(degrees(reference.rotation))
    if reference.solder_mask is not None:
        assert ours.soldermask == reference.solder_mask.value


@pytest.mark.shared
@pytest.mark.parametrize(
    ("board", "count", "vias"), [("clock-module", 156, 8), ("trainer-computer", 661, 164)]
)
def test_real_boards_agree(shared_boards, board, count, vias):
    """On both real boards all records agree, none is left out, and the vias are as many as the boards have."""
    text = decode_text((shared_boards / board / "board.d356").read_bytes())
    ours, reference = parse_ipcd356(text, "board.d356"), theirs(text)

    assert len(ours.records) == len(reference.test_records) == count
    assert sum(r.is_via for r in ours.records) == vias
    assert ours.notes == ()
    for mine, other in zip(ours.records, reference.test_records, strict=True):
        assert_agree(mine, other)


@pytest.mark.shared
@pytest.mark.parametrize("board", ["clock-module", "trainer-computer"])
def test_real_boards_pins_fall_on_their_nets(shared_boards, board):
    """Grouping pins by net gives the groups of the design itself, though the names are cut."""
    ours = parse_ipcd356(decode_text((shared_boards / board / "board.d356").read_bytes()), board)
    truth = [line.split(",") for line in (shared_boards / board / "nets.csv").read_text().splitlines()[1:]]

    def groups(rows) -> set[frozenset[tuple[str, str]]]:
        by_net: dict[str, set[tuple[str, str]]] = {}
        for net, refdes, pin in rows:
            by_net.setdefault(net, set()).add((refdes, pin))
        return {frozenset(pins) for pins in by_net.values()}

    found = [(r.net, r.refdes, r.pin) for r in ours.records if r.net and not r.is_via]

    assert groups(found) == groups(truth)


@pytest.mark.parametrize("units", ["CUST 0", "CUST 1"])
def test_samples_agree(units):
    """Records with every field used agree in inch and in metric units."""
    text = whole(
        record(),
        record(refdes="VIA", pin="", midpoint="M", soldermask=" S3"),
        record(
            code="327", net="N/C", hole=" " * 5, plated=" ", access="A01", size_y="Y0300", rotation="R090"
        ),
        record(code="367", net="", refdes="", pin="", plated="U", soldermask=""),
        header=f"P  UNITS {units}\nP  NNAME1 SWITCH_MATRIX_RETURN_3\n",
    )
    ours, reference = parse_ipcd356(text, "a"), theirs(text)

    for mine, other in zip(ours.records, reference.test_records, strict=True):
        assert_agree(mine, other)


def test_outlines_agree():
    """Outline chains with carried coordinates and two paths agree."""
    text = whole("389BOARD_EDGE         X+000000Y+000000 X+100000 Y+080000", "089 * X+1Y+2 X+3", record())
    ours, reference = parse_ipcd356(text, "a"), theirs(text)

    expected = [[(x * 25.4, y * 25.4) for x, y in path.outline] for path in reference.outlines]
    assert [list(path.points) for path in ours.outline] == [
        [pytest.approx(point, abs=1e-6) for point in path] for path in expected
    ]


def test_adjacency_agrees():
    """Neighbours agree; the library lists each pair from both ends."""
    text = HEADER + "379RESET CLOCK A0\n" + record() + "\n999\n"
    ours, reference = parse_ipcd356(text, "a"), theirs(text)

    assert set(ours.adjacency[0].others) == reference.adjacency["RESET"]
