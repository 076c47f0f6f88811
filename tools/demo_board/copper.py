"""From routed grid edges to tracks and vias: straight runs, cut corners, rails as wide as room allows."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import shapely

from coppermend.board.model import Board, Track, Via
from coppermend.board.space import pad_shape
from demo_board.grid import CLEARANCE_MM, FREE, TRACK_MM, VIA_HOLE_MM, VIA_MM, Grid
from demo_board.router import Edge, Route, Router

LONGEST_CUT = 3  # grid steps that a cut corner may take from each arm


def copper_of(
    board: Board, router: Router, names: list[str], rails: list[Track], widths_mm: dict[str, float]
) -> tuple[tuple[Track, ...], tuple[Via, ...]]:
    """Tracks and vias of the routed board.

    Args:
        board: The board, with pads.
        router: A router that has finished.
        names: Net names; net number 1 is the first.
        rails: Tracks that were there before routing.
        widths_mm: Width that a net's tracks should have where there is room [mm].
    """
    grid = router.grid
    cutter = _CornerCutter(router)
    cutter.run()
    vias: list[Via] = []
    tracks: list[Track] = []
    for route in router.routes.values():
        name = names[route.net - 1]
        for crossing in _via_crossings(route, grid):
            _, x, y = grid.place(crossing)
            vias.append(Via(f"V{len(vias) + 1}", name, x, y, VIA_HOLE_MM, VIA_MM))
        for a, b in _runs(route, grid, cutter.cuts):
            layer, x1, y1 = grid.place(a)
            _, x2, y2 = grid.place(b)
            tracks.append(Track(name, "bottom" if layer else "top", x1, y1, x2, y2, TRACK_MM))
    return (*rails, *_widened(board, tracks, vias, rails, widths_mm)), tuple(vias)


def _via_crossings(route: Route, grid: Grid) -> list[int]:
    """Crossings where the net changes layer outside its own pads, in order."""
    plane = grid.plane
    found = {min(a, b) for a, b in route.edges if abs(a - b) == plane}
    return sorted(node for node in found if node not in grid.joints)


def _neighbours(edges: set[Edge], plane: int) -> dict[int, list[int]]:
    joined: dict[int, list[int]] = defaultdict(list)
    for a, b in edges:
        if abs(a - b) != plane:
            joined[a].append(b)
            joined[b].append(a)
    return joined


class _CornerCutter:
    """Replaces right-angled corners by diagonals wherever the nodes beside them are free."""

    def __init__(self, router: Router) -> None:
        self.router, self.grid = router, router.grid
        self.holder = {node: route.net for route in router.routes.values() for node in route.uses}
        self.cuts: dict[int, dict[int, tuple[int, int]]] = {}  # net -> corner -> the diagonal's ends

    def run(self) -> None:
        """Cut inner corners first, so that nested bends turn together."""
        for _ in range(6):
            for route in self.router.routes.values():
                self._cut(route)

    def _cut(self, route: Route) -> None:
        plane = self.grid.plane
        joined = _neighbours(route.edges, plane)
        fixed = {n for t in route.terminals for n in t.nodes}
        fixed |= {n for a, b in route.edges if abs(a - b) == plane for n in (a, b)}
        cuts = self.cuts.setdefault(route.net, {})
        used = {n for corner, (a, b) in cuts.items() for n in (corner, a, b)}

        def plain(node: int) -> bool:
            return len(joined[node]) == 2 and node not in fixed and node not in used

        for corner, ends in joined.items():
            if not plain(corner):
                continue
            u, v = ends[0] - corner, ends[1] - corner
            if u == -v:
                continue
            for size in range(LONGEST_CUT, 0, -1):
                arms = [corner + i * step for step in (u, v) for i in range(1, size + 1)]
                straight = all(
                    corner + i * step in joined.get(corner + (i - 1) * step, ())
                    for step in (u, v)
                    for i in range(1, size + 1)
                )
                inner = [corner + i * step for step in (u, v) for i in range(1, size)]
                if (
                    straight
                    and all(map(plain, inner))
                    and not used.intersection(arms)
                    and self._clear(route.net, corner, u, v, size)
                ):
                    a, b = corner + size * u, corner + size * v
                    cuts[corner] = (a, b)
                    used.update((corner, *arms))
                    self._move(route.net, corner, u, v, size)
                    break

    def _clear(self, net: int, corner: int, u: int, v: int, size: int) -> bool:
        """Whether the diagonal, the nodes beside it and the triangle it cuts off hold no other net."""
        owner = self.router.owner
        for i in range(size + 1):
            for j in range(size + 2 - i):
                if (i, j) in ((0, size + 1), (size + 1, 0)):
                    continue
                node = corner + i * u + j * v
                if self.holder.get(node, net) != net or owner[node] not in (FREE, net):
                    return False
        return True

    def _move(self, net: int, corner: int, u: int, v: int, size: int) -> None:
        """Free the corner that was cut off and take the nodes along the diagonal."""
        for step in (u, v):
            for i in range(size):
                self.holder.pop(corner + i * step, None)
        for i in range(size + 1):
            for j in (size - i - 1, size - i, size - i + 1):
                if 0 <= j <= size:
                    self.holder[corner + i * u + j * v] = net


def _runs(route: Route, grid: Grid, cuts: dict[int, dict[int, tuple[int, int]]]) -> list[Edge]:
    """Straight runs of a net between pads, vias, junctions and bends, in a fixed order."""
    plane = grid.plane
    edges = {(min(e), max(e)) for e in route.edges if abs(e[0] - e[1]) != plane}
    breaks = {n for t in route.terminals for n in t.nodes}
    breaks |= {n for a, b in route.edges if abs(a - b) == plane for n in (a, b)}
    runs: list[Edge] = []
    for corner, (a, b) in cuts.get(route.net, {}).items():
        for end in (a, b):
            step = (end - corner) // _steps(corner, end, grid)
            node = corner
            while node != end:
                edges.discard((min(node, node + step), max(node, node + step)))
                node += step
        breaks.update((a, b))
        runs.append((a, b))
    joined = _neighbours(edges, plane)
    for node, ends in joined.items():
        if len(ends) != 2 or ends[0] - node != node - ends[1]:
            breaks.add(node)
    for node in sorted(breaks & joined.keys()):
        for there in sorted(joined[node]):
            step = there - node
            end = there
            while end not in breaks:
                end += step
            if node < end:
                runs.append((node, end))
    return runs


def _steps(a: int, b: int, grid: Grid) -> int:
    gap = abs(a - b)
    return gap if gap < grid.columns else gap // grid.columns


def _widened(
    board: Board, tracks: list[Track], vias: list[Via], rails: list[Track], widths_mm: dict[str, float]
) -> list[Track]:
    """Tracks of the nets in ``widths_mm`` made as wide as the copper of other nets allows."""
    laid = [*tracks, *rails]
    lines = [shapely.LineString([(t.x1_mm, t.y1_mm), (t.x2_mm, t.y2_mm)]) for t in laid]
    reach = [t.width_mm / 2 for t in laid]
    nets = [t.net for t in laid]
    layers = [{t.layer} for t in laid]
    shapes: list[object] = list(lines)
    for via in vias:
        shapes.append(shapely.Point(via.x_mm, via.y_mm))
        reach.append(via.size_mm / 2)
        nets.append(via.net)
        layers.append({"top", "bottom"})
    for pad in board.pads:
        shapes.append(pad_shape(pad))
        reach.append(0.0)
        nets.append(board.index.net_of_pin.get(pad.ref, ""))
        layers.append({"top", "bottom"} if pad.side == "both" else {pad.side})
    rim = shapely.Polygon(board.outline).exterior
    tree = shapely.STRtree(np.array(shapes, dtype=object))
    for i, track in enumerate(tracks):
        wanted = widths_mm.get(track.net)
        if wanted is None:
            continue
        room = lines[i].distance(rim) - 0.6
        for j in tree.query(lines[i], predicate="dwithin", distance=wanted / 2 + 2.0):
            if nets[j] != track.net and layers[j] & layers[i]:
                room = min(room, lines[i].distance(shapes[j]) - reach[j] - CLEARANCE_MM - 0.08)
        reach[i] = max(TRACK_MM / 2, min(wanted / 2, np.floor(room * 10) / 10))
    return [
        Track(t.net, t.layer, t.x1_mm, t.y1_mm, t.x2_mm, t.y2_mm, round(2 * float(r), 2))
        for t, r in zip(tracks, reach, strict=False)
    ]
