"""Packages: pads and bodies from a name. Dimensions from JEDEC outlines, from memory, where named."""

from __future__ import annotations

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from coppermend.board.model import Board, Pad, Part
from coppermend.board.packages import body_height_mm, body_shape, package_pads, with_package_pads
from coppermend.board.parttypes import standard_library
from coppermend.board.space import pad_shape


def spots(package: str, **part) -> dict[str, tuple[float, float]]:
    return {p.pin: (p.x_mm, p.y_mm) for p in package_pads(Part("X1", package=package, **part))}


@pytest.mark.parametrize(
    ("package", "row_mm"),
    [
        # JEDEC MS-001 (300 mil), MS-010 (400 mil), MS-011 (600 mil), from memory: rows apart at the board
        ("DIP-8", 7.62), ("DIP-14", 7.62), ("DIP-16", 7.62), ("DIP-18", 7.62), ("DIP-20", 7.62),
        ("DIP-22-400", 10.16), ("DIP-22", 10.16),
        ("DIP-24-600", 15.24), ("DIP-28-600", 15.24), ("DIP-40-600", 15.24), ("DIP-40", 15.24),
        ("DIP-24-300", 7.62), ("SW-DIP-8", 7.62), ("RNET-DIP-16", 7.62),
    ],
)  # fmt: skip
def test_dip_rows_lie_as_jedec_says(package, row_mm):
    """A dual in-line part counts down the left and up the right, its rows the JEDEC width apart, at 2.54 mm."""
    at = spots(package)
    last, half = len(at), len(at) // 2

    assert at["1"] == (0, 0)
    assert at["2"] == (0, -2.54)
    assert at[str(half)] == (0, pytest.approx(-2.54 * (half - 1)))
    assert at[str(half + 1)] == (pytest.approx(row_mm), pytest.approx(-2.54 * (half - 1)))
    assert at[str(last)] == (pytest.approx(row_mm), 0)


def test_rotation_is_counter_clockwise():
    """A quarter turn carries the right-hand lead of a resistor above the left-hand one."""
    assert spots("AXIAL-10.16", x_mm=10, y_mm=20, rotation_deg=90) == {"1": (10, 20), "2": (10, 30.16)}


def test_bottom_side_is_mirrored_before_it_is_turned():
    """On the bottom side pin 14 lies to the left of pin 1; turned a quarter, below it."""
    assert spots("DIP-14", side="bottom")["14"] == (-7.62, 0)
    assert spots("DIP-14", side="bottom", rotation_deg=90)["14"] == (0, -7.62)


def test_oblong_pads_turn_with_the_part():
    """The fingers of an edge connector are long across the edge, whichever way the edge runs."""
    upright = package_pads(Part("J1", package="EDGE-4"))[0]
    turned = package_pads(Part("J1", package="EDGE-4", rotation_deg=90))[0]

    assert upright.height_mm > 3 * upright.size_mm
    assert (turned.size_mm, turned.height_mm) == (upright.height_mm, upright.size_mm)
    assert upright.hole_mm == 0


def test_edge_connector_has_fingers_on_both_sides():
    """EDGE-22x2 has 44 contacts: 1 to 22 on top at 0.156 in, 23 to 44 behind them; flipped, they swap."""
    pads = {p.pin: p for p in package_pads(Part("J1", package="EDGE-22x2"))}
    flipped = {p.pin: p for p in package_pads(Part("J1", package="EDGE-22x2", side="bottom"))}

    assert len(pads) == 44
    assert (pads["1"].side, pads["23"].side) == ("top", "bottom")
    assert (flipped["1"].side, flipped["23"].side) == ("bottom", "top")
    assert pads["2"].x_mm == pytest.approx(0.156 * 25.4, abs=0.01)
    assert pads["24"].x_mm == pads["2"].x_mm


def test_double_row_header_alternates():
    """Odd pins of a two-row header go down the left, even pins down the right."""
    assert spots("HDR-2x3") == {
        "1": (0, 0), "2": (2.54, 0), "3": (0, -2.54), "4": (2.54, -2.54), "5": (0, -5.08), "6": (2.54, -5.08),
    }  # fmt: skip


def test_single_row_header_takes_its_pitch():
    """A 3.96 mm header is longer than one at the usual 2.54 mm."""
    assert spots("HDR-1x3-3.96")["3"] == (0, -7.92)
    assert spots("HDR-1x3")["3"] == (0, -5.08)


@pytest.mark.parametrize(
    ("package", "pins"),
    [
        ("TO-92", 3), ("TO-18", 3), ("TO-39", 3), ("TO-5", 3), ("TO-220", 3), ("TO-220-5", 5), ("TO-220-2", 2),
        ("TO-3", 4), ("SOT-23", 3), ("TRIM-3", 3), ("SIP-9", 9), ("HDR-1x8", 8), ("AXIAL-12.7", 2), ("AXIAL-25.4", 2),
        ("RADIAL-5.08", 2), ("RADIAL-POL-5", 2), ("RADIAL-POL-5-D12.5", 2), ("DISC-5.08", 2), ("HC-49", 2),
        ("HC-18/U", 2), ("LED-5", 2), ("FUSE-20", 2), ("BAT-BARREL", 2), ("BAT-COIN", 2), ("SW-PUSH", 2),
        ("SW-PUSH-4", 4), ("TP", 1), ("EDGE-10x1", 10), ("EDGE-10x2-2.54", 20), ("axial-10.16", 2),
    ],
)  # fmt: skip
def test_every_package_has_pads_clear_of_each_other(package, pins):
    """Pads of one package keep 0.2 mm apart on each side, stand on a body with a height, and hold their hole."""
    part = Part("X1", package=package)
    pads = package_pads(part)

    assert len(pads) == pins
    for one in pads:
        assert 0 <= one.hole_mm < min(one.size_mm, one.height_mm)
        for other in pads:
            if other is not one and (one.side == other.side or "both" in (one.side, other.side)):
                assert pad_shape(one).distance(pad_shape(other)) >= 0.2
    assert body_height_mm(part) > 0
    assert body_shape(Board("b", 100, 100), part).area > 0


@pytest.mark.parametrize(
    "package",
    [
        "",
        "BGA-400",
        "DIP-",
        "DIP-7",
        "DIP-2",
        "SIP-0",
        "DIP-14-500",
        "AXIAL-0",
        "AXIAL-9999",
        "SIP-100000",
        "HOLE-0",
    ],
)
def test_unknown_package_has_nothing(package):
    """A name that is no package gives no pads, no height and no body, and raises nothing."""
    part = Part("X1", package=package)

    assert package_pads(part) == ()
    assert body_height_mm(part) == 0.0
    assert body_shape(Board("b", 100, 100), part).is_empty


def test_library_names_packages_that_are_known():
    """Every package that a part type of the library names has a pad for each of the type's pins."""
    missing = {
        kind.name: kind.package
        for kind in standard_library().types.values()
        if kind.package and not {p.number for p in kind.pins} <= spots(kind.package).keys()
    }

    assert missing == {}


def test_socket_lifts_the_part():
    """A socketed part stands higher than one soldered in."""
    assert body_height_mm(Part("U1", package="DIP-24", socketed=True)) > body_height_mm(
        Part("U1", package="DIP-24")
    )


def test_body_lies_between_the_rows():
    """The body of a dual in-line part sits between its rows of pins, wherever the part is turned."""
    part = Part("U1", package="DIP-14", x_mm=50, y_mm=50, rotation_deg=90)
    body = body_shape(Board("b", 100, 100), part)

    # pins 1 to 7 run to the right of the anchor, the other row lies 7.62 mm above
    assert shapely.contains_xy(body, 50 + 3 * 2.54, 53.81)
    assert not shapely.contains_xy(body, 50 + 3 * 2.54, 50)
    assert body.bounds[2] - body.bounds[0] > body.bounds[3] - body.bounds[1]


def test_body_without_package_is_the_box_around_its_pads():
    """A part of unknown package covers its pads' box and 1 mm more all round."""
    pads = (Pad("X1", "1", 10, 10, 0.8, 2.0), Pad("X1", "2", 20, 10, 0.8, 2.0))
    board = Board("b", 100, 100, parts=(Part("X1"),), pads=pads)

    assert body_shape(board, board.parts[0]).bounds == (8, 8, 22, 12)


def test_parts_that_share_a_refdes_have_no_guessed_body():
    """Holes and logos called alike would otherwise cover the board between them."""
    pads = (Pad("H", "1", 10, 10, 3.0, 6.0), Pad("H", "1", 90, 90, 3.0, 6.0))
    board = Board("b", 100, 100, parts=(Part("H"), Part("H", package="logo")), pads=pads)

    assert board.index.repeated == {"H"}
    assert all(body_shape(board, part).is_empty for part in board.parts)


def test_hole_has_a_body_but_no_pads():
    """A mounting hole of 3.2 mm is an opening, not copper."""
    part = Part("H1", package="HOLE-3.2", x_mm=5, y_mm=5)

    assert package_pads(part) == ()
    assert body_shape(Board("b", 10, 10), part).bounds == pytest.approx((3.4, 3.4, 6.6, 6.6))


def test_board_without_pads_gets_them_from_packages():
    """A board folder without pads.csv is given the pads of its packages, and says so."""
    board = Board("b", 100, 100, parts=(Part("R1", package="AXIAL-10.16"), Part("X1", package="?")))
    made = with_package_pads(board)

    assert [str(pad.ref) for pad in made.pads] == ["R1.1", "R1.2"]
    assert made.pads_from_packages
    assert with_package_pads(made) is made


def test_board_of_unknown_packages_stays_as_it_is():
    """Where no package is known there is nothing to add, and no claim that pads were computed."""
    board = Board("b", 100, 100, parts=(Part("X1", package="?"),))

    assert with_package_pads(board) is board


@given(st.text(max_size=30))
def test_any_text_is_a_package_name(text):
    """No name, however odd, does more than say that it is unknown."""
    assert isinstance(package_pads(Part("X1", package=text)), tuple)


@given(
    st.floats(0, 360), st.sampled_from(["top", "bottom"]), st.sampled_from(["DIP-16", "TO-92", "AXIAL-12.7"])
)
def test_turning_keeps_distances(angle, side, package):
    """However a part is turned, its pads stay as far from pin 1 as they were."""
    still = spots(package)
    turned = spots(package, rotation_deg=angle, side=side)

    for pin, (x, y) in still.items():
        assert abs(complex(*turned[pin])) == pytest.approx(abs(complex(x, y)), abs=1e-3)
