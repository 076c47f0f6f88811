"""The routing grid: which net may use which node, worked out from pads, rails, holes and edge. No searching.

A node is one grid crossing on one layer; its number is ``(layer * rows + y) * columns + x``. Layer 0 is the top.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from coppermend.board.model import Pad, PinRef, Track
from coppermend.board.space import pad_shape, track_shape

PITCH_MM = 0.635
TRACK_MM = 0.35
VIA_MM = 1.0
VIA_HOLE_MM = 0.5
CLEARANCE_MM = 0.22
FREE, BLOCKED = 0, -1


@dataclass
class Terminal:
    """Where a net must arrive: the nodes inside one pad."""

    net: int
    name: str
    nodes: tuple[int, ...]


@dataclass
class Grid:
    """Owners of nodes: 0 free, -1 blocked, else the only net that may pass.

    ``via_owner`` is per crossing: 0 where a via of any net fits, -1 where a pad is too near, else the net whose
    rail is there.
    ``joints`` maps a crossing inside a plated pad to its net: the pad itself joins the layers there.
    """

    columns: int
    rows: int
    owner: np.ndarray = field(init=False)
    via_owner: np.ndarray = field(init=False)
    joints: dict[int, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.owner = np.zeros((2, self.rows, self.columns), dtype=np.int32)
        self.via_owner = np.zeros((self.rows, self.columns), dtype=np.int32)

    @property
    def plane(self) -> int:
        """Crossings on one layer."""
        return self.rows * self.columns

    def place(self, node: int) -> tuple[int, float, float]:
        """Layer and x, y [mm] of a node."""
        layer, crossing = divmod(node, self.plane)
        y, x = divmod(crossing, self.columns)
        return layer, round(x * PITCH_MM, 4), round(y * PITCH_MM, 4)

    def near(self, shape: BaseGeometry, reach_mm: float) -> np.ndarray:
        """Crossings (k, 2) as y, x within ``reach_mm`` of ``shape``."""
        x0, y0, x1, y1 = shape.bounds
        xs = np.arange(
            max(0, int(np.ceil((x0 - reach_mm) / PITCH_MM))),
            min(self.columns - 1, int(np.floor((x1 + reach_mm) / PITCH_MM))) + 1,
        )
        ys = np.arange(
            max(0, int(np.ceil((y0 - reach_mm) / PITCH_MM))),
            min(self.rows - 1, int(np.floor((y1 + reach_mm) / PITCH_MM))) + 1,
        )
        yy, xx = (a.ravel() for a in np.meshgrid(ys, xs, indexing="ij"))
        away = shapely.distance(shapely.points(xx * PITCH_MM, yy * PITCH_MM), shape)
        close = away < reach_mm - 1e-6
        return np.stack([yy[close], xx[close]], axis=1)

    def claim(self, layers: Iterable[int], spots: np.ndarray, net: int) -> None:
        """Give nodes to one net; a node that two nets claim is blocked for both."""
        for layer in layers:
            cells = self.owner[layer, spots[:, 0], spots[:, 1]]
            self.owner[layer, spots[:, 0], spots[:, 1]] = np.where(
                (cells == FREE) | (cells == net), net, BLOCKED
            )

    def close_vias(self, shape: BaseGeometry, net: int = BLOCKED, clearance_mm: float = CLEARANCE_MM) -> None:
        """Keep vias of all nets but ``net`` away from ``shape``."""
        spots = self.near(shape, VIA_MM / 2 + clearance_mm)
        cells = self.via_owner[spots[:, 0], spots[:, 1]]
        self.via_owner[spots[:, 0], spots[:, 1]] = np.where((cells == FREE) | (cells == net), net, BLOCKED)


def build_grid(
    outline: Polygon,
    pads: Iterable[Pad],
    net_of: Mapping[PinRef, int],
    rails: Iterable[tuple[int, Track]],
    *,
    holes: Iterable[tuple[float, float, float]],
    edge_mm: float = 1.2,
) -> tuple[Grid, list[Terminal]]:
    """The grid of a board, and the terminals of its pads.

    Args:
        outline: The board's outline, its lower-left corner at the origin [mm].
        pads: Every pad; one without a net is only an obstacle.
        net_of: Number (from 1) of a pin's net.
        rails: Tracks that are there before routing, each with its net's number.
        holes: x, y and keep-out radius of mounting holes [mm].
        edge_mm: Distance that copper keeps from the edge [mm].
    """
    _, _, width_mm, height_mm = outline.bounds
    grid = Grid(int(width_mm / PITCH_MM) + 1, int(height_mm / PITCH_MM) + 1)
    terminals = []
    for pad in pads:
        net = net_of.get(pad.ref, BLOCKED)
        shape = pad_shape(pad)
        layers = {"both": (0, 1), "top": (0,), "bottom": (1,)}[pad.side]
        grid.claim(layers, grid.near(shape, TRACK_MM / 2 + CLEARANCE_MM), net)
        grid.close_vias(shape)
        if net != BLOCKED:
            terminals.append(_terminal(grid, pad, shape, layers, net))
    for net, rail in rails:
        shape = track_shape(rail)
        layer = 0 if rail.layer == "top" else 1
        grid.claim((layer,), grid.near(shape, TRACK_MM / 2 + CLEARANCE_MM), net)
        grid.close_vias(shape, net)
        inside = grid.near(shape, 0.05)
        nodes = tuple(int(layer * grid.plane + y * grid.columns + x) for y, x in inside)
        terminals.append(Terminal(net, "rail", nodes))
    for x, y, radius in holes:
        hole = shapely.Point(x, y).buffer(radius)
        grid.claim((0, 1), grid.near(hole, TRACK_MM / 2), BLOCKED)
        grid.close_vias(hole, clearance_mm=0.0)
    yy, xx = np.mgrid[0 : grid.rows, 0 : grid.columns]
    inner = outline.buffer(-(edge_mm + TRACK_MM / 2))
    off = ~shapely.contains_xy(inner, xx.ravel() * PITCH_MM, yy.ravel() * PITCH_MM).reshape(yy.shape)
    grid.owner[:, off & (grid.owner == FREE).all(axis=0)] = BLOCKED
    grid.owner[:, [0, -1]] = grid.owner[:, :, [0, -1]] = BLOCKED  # so that a step never leaves the grid
    grid.via_owner[off] = BLOCKED
    return grid, terminals


def _terminal(grid: Grid, pad: Pad, shape: BaseGeometry, layers: tuple[int, ...], net: int) -> Terminal:
    x, y = round(pad.x_mm / PITCH_MM), round(pad.y_mm / PITCH_MM)
    if max(abs(x * PITCH_MM - pad.x_mm), abs(y * PITCH_MM - pad.y_mm)) < 0.02:
        spots = [(y, x)]
    else:
        inner = shape.buffer(-TRACK_MM / 2) or shape
        spots = [(int(a), int(b)) for a, b in grid.near(inner, 0.001)]
    if not spots:
        raise ValueError(f"no grid crossing inside {pad.ref}")
    if len(layers) == 2:
        for a, b in spots:
            grid.joints[a * grid.columns + b] = net
    nodes = tuple(layer * grid.plane + a * grid.columns + b for layer in layers for a, b in spots)
    return Terminal(net, str(pad.ref), nodes)
