"""Which points a probe can reach, and from where."""

from __future__ import annotations

from dataclasses import replace

from coppermend.board.model import Board, Pad, Part, PinRef, Via
from coppermend.copper.reach import probe_points


def board(**changes) -> Board:
    """A DIP-14 on top at x 10..17.6, y 19..36, with a via beneath, and a pad of its own."""
    made = Board(
        "b",
        50.0,
        50.0,
        parts=(Part("U1", x_mm=10, y_mm=35, package="DIP-14"),),
        pads=(Pad("U1", "1", 10, 35, 0.8, 1.6),),
        vias=(Via("V1", "N", 13, 28, 0.4), Via("V2", "N", 30, 30, 0.4)),
        nets={"N": (PinRef("U1", "1"),)},
    )
    return replace(made, **changes)


def sides(made: Board, removed=()) -> dict[str, str]:
    return {name: point.side for name, point in probe_points(made, ["N"], removed).items()}


def test_a_via_under_a_body_is_reached_from_the_other_side():
    """Pins of the part and vias in the open are reached from both."""
    assert sides(board()) == {"U1.1": "both", "V1": "bottom", "V2": "both"}


def test_a_removed_part_hides_nothing():
    """With the part off the board, both sides are free."""
    assert sides(board(), removed=["U1"])["V1"] == "both"


def test_bodies_on_both_sides_hide_a_via():
    """It cannot be probed at all."""
    under = Part("U2", x_mm=17.62, y_mm=35, side="bottom", package="DIP-14")

    assert "V1" not in sides(board(parts=(*board().parts, under)))


def test_a_surface_pad_under_another_body_is_lost():
    """It has no other side."""
    pads = (Pad("C1", "1", 13, 28, 0, 1.0, "top"), Pad("C1", "2", 13, 30, 0, 1.0, "bottom"))
    made = board(pads=pads, nets={"N": tuple(pad.ref for pad in pads)})

    assert sides(made) == {"C1.2": "bottom", "V1": "bottom", "V2": "both"}


def test_a_part_of_unknown_package_does_not_hide_its_own_pads():
    """Its body is only guessed from them; what lies between them it does hide."""
    pads = tuple(Pad("X1", str(i), x, 40, 0, 1.0, "top") for i, x in enumerate((35, 45)))
    made = board(
        parts=(Part("X1", package="odd"),), pads=pads, nets={"N": tuple(p.ref for p in pads)},
        vias=(Via("V1", "N", 40, 40, 0.4),),
    )  # fmt: skip

    assert sides(made) == {"X1.0": "top", "X1.1": "top", "V1": "bottom"}


def test_flat_things_hide_nothing():
    """Edge fingers and test points are there to be touched."""
    pads = (Pad("TP1", "1", 40, 10, 1.0, 2.0), Pad("J1", "1", 10, 5, 0, 2.4, "top"))
    parts = (Part("TP1", x_mm=40, y_mm=10, package="TP"), Part("J1", x_mm=10, y_mm=5, package="EDGE-4"))
    made = board(parts=parts, pads=pads, vias=(), nets={"N": tuple(p.ref for p in pads)})

    assert sides(made) == {"TP1.1": "both", "J1.1": "top"}


def test_bare_holes_and_second_names_are_no_points():
    """A hole drilled to its rim has no copper; a repeated name means the first."""
    pads = (Pad("H1", "1", 40, 10, 3.0, 3.0), *board().pads, replace(board().pads[0], x_mm=45.0))
    vias = (*board().vias, Via("V2", "N", 5, 5, 0.4))
    made = board(pads=pads, vias=vias, nets={"N": (PinRef("H1", "1"), PinRef("U1", "1"))})

    points = probe_points(made, ["N"])

    assert set(points) == {"U1.1", "V1", "V2"} and points["U1.1"].place.x_mm == 10
    assert points["V2"].place.x_mm == 30 and points["V2"].size_mm == 1.0


def test_a_board_without_parts():
    """Nothing is hidden."""
    assert sides(board(parts=())) == {"U1.1": "both", "V1": "both", "V2": "both"}
