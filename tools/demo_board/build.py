"""From circuit and placement to a routed board."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace

from shapely import Polygon

from coppermend.board.model import Board, Part, PinRef, Track
from coppermend.board.packages import with_package_pads
from demo_board import circuit, placement
from demo_board.copper import copper_of
from demo_board.facts import FACTS
from demo_board.grid import build_grid
from demo_board.router import Router


def bare_board() -> Board:
    """The demo board with parts, nets and pads, before any copper joins them."""
    parts = []
    for fitted in circuit.PARTS:
        x, y, turn = placement.SPOTS[fitted.refdes]
        parts.append(
            Part(
                fitted.refdes,
                fitted.type,
                fitted.value,
                round(x * placement.TENTH_MM, 3),
                round(y * placement.TENTH_MM, 3),
                float(turn),
                "top",
                fitted.section,
                fitted.package,
                fitted.socketed,
                fitted.notes,
            )
        )
    nets = {net: tuple(PinRef(*pin) for pin in pins) for net, pins in circuit.nets().items()}
    board = Board(
        width_mm=placement.WIDTH_MM,
        height_mm=placement.HEIGHT_MM,
        outline=placement.OUTLINE,
        parts=tuple(parts),
        nets=nets,
        **FACTS,
    )
    return with_package_pads(board)


def _rails() -> list[Track]:
    scale = placement.TENTH_MM
    return [
        Track(net, layer, *(round(v * scale, 4) for v in (*a, *b)), width)
        for net, layer, width, corners in placement.RAILS
        for a, b in itertools.pairwise(corners)
    ]


def build_board(rounds: int, tell: Callable[[str], None]) -> Board | None:
    """The routed demo board, or None when the router gave up."""
    board = bare_board()
    numbers = {net: n for n, net in enumerate(board.nets, start=1)}
    net_of = {pin: numbers[net] for net, pins in board.nets.items() for pin in pins}
    holes = [(x, y, placement.HOLE_KEEPOUT_MM) for x, y in placement.HOLES.values()]
    rails = _rails()
    owned = [(numbers[rail.net], rail) for rail in rails]
    grid, terminals = build_grid(Polygon(placement.OUTLINE), board.pads, net_of, owned, holes=holes)
    router = Router(grid, terminals)
    if not router.run(rounds, tell):
        return None
    tracks, vias = copper_of(board, router, list(board.nets), rails, placement.WIDTHS_MM)
    return replace(board, tracks=tracks, vias=vias)
