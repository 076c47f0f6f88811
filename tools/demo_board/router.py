"""A negotiating two-layer router: nets may overlap at first, and crowded nodes grow dearer until none do.

After L. McMurchie and C. Ebeling, "PathFinder: a negotiation-based performance-driven router for FPGAs",
FPGA '95, with A* (Hart, Nilsson and Raphael, 1968) between the islands of each net.
"""

from __future__ import annotations

import heapq
import itertools
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field

from demo_board.grid import FREE, Grid, Terminal

WRONG_WAY = 2.2  # cost of a step across the layer's direction, along it being 1
VIA_COST = 9.0
GREED = 1.05
UNREACHED = 1e18
Edge = tuple[int, int]


@dataclass
class Route:
    """The copper of one net: edges between nodes, and every node it keeps others out of."""

    net: int
    terminals: list[Terminal]
    edges: set[Edge] = field(default_factory=set)
    uses: set[int] = field(default_factory=set)


class Router:
    """Routes all nets of a grid; top runs left-right, bottom runs up-down."""

    def __init__(self, grid: Grid, terminals: list[Terminal]) -> None:
        self.grid = grid
        self.columns, self.plane = grid.columns, grid.plane
        self.owner: list[int] = grid.owner.ravel().tolist()
        self.via_owner: list[int] = grid.via_owner.ravel().tolist()
        self.joints = grid.joints
        size = 2 * self.plane
        self.history = [0.0] * size
        self.taken = [0] * size
        self.price = [1.0] * size
        self.pressure = 0.6
        self.routes: dict[int, Route] = {}
        by_net: dict[int, list[Terminal]] = defaultdict(list)
        for terminal in terminals:
            by_net[terminal.net].append(terminal)
        for net, found in by_net.items():
            self.routes[net] = Route(net, found)

    def run(self, rounds: int, tell: Callable[[str], None]) -> bool:
        """Route until no node is shared, at most ``rounds`` times over; True when that was reached."""
        started = time.monotonic()
        order = sorted(self.routes.values(), key=self._span)
        todo = order
        for number in range(1, rounds + 1):
            for route in todo:
                self._rip(route, whole=number <= 3 or len(route.terminals) <= 8 or number % 8 == 0)
                self._connect(route)
            crowded = [node for node, count in enumerate(self.taken) if count > 1]
            tell(
                f"round {number}: {len(todo)} nets, {len(crowded)} crowded nodes, {time.monotonic() - started:.0f} s"
            )
            if not crowded:
                return True
            for node in crowded:
                self.history[node] += 0.5
            self.pressure = min(self.pressure * 1.25, 60.0)
            hot = set(crowded)
            self._reprice(range(2 * self.plane))
            todo = [route for route in order if route.uses & hot]
        return False

    def _span(self, route: Route) -> tuple[int, int]:
        xs = [n % self.columns for t in route.terminals for n in t.nodes[:1]]
        ys = [(n % self.plane) // self.columns for t in route.terminals for n in t.nodes[:1]]
        return (max(xs) - min(xs) + max(ys) - min(ys), route.net)

    def _reprice(self, nodes: object) -> None:
        history, taken, price, pressure = self.history, self.taken, self.price, self.pressure
        for node in nodes:  # type: ignore[attr-defined]
            price[node] = (1.0 + history[node]) * (1.0 + pressure * taken[node])

    def _use(self, route: Route) -> None:
        """Claim the nodes of a route's edges; a via also claims its four neighbours on both layers."""
        plane, columns = self.plane, self.columns
        uses = {node for edge in route.edges for node in edge}
        for a, b in route.edges:
            low, high = min(a, b), max(a, b)
            if high - low == plane and low not in self.joints:
                for base in (low, high):
                    uses.update((base - 1, base + 1, base - columns, base + columns))
        for node in uses - route.uses:
            self.taken[node] += 1
        for node in route.uses - uses:
            self.taken[node] -= 1
        self._reprice(uses ^ route.uses)
        route.uses = uses

    def _rip(self, route: Route, *, whole: bool) -> None:
        if whole:
            route.edges = set()
        else:
            hot = {node for node in route.uses if self.taken[node] > 1}
            near = set(hot)
            for node in hot:  # the middle of a via whose skirt is crowded
                near.update((node - 1, node + 1, node - self.columns, node + self.columns))
            vias = {n for e in route.edges if abs(e[0] - e[1]) == self.plane for n in e}
            gone = hot | (near & vias)
            route.edges = {e for e in route.edges if not (e[0] in gone or e[1] in gone)}
            self._prune(route)
        self._use(route)

    def _prune(self, route: Route) -> None:
        """Drop stubs that end at no terminal."""
        ends = {node for terminal in route.terminals for node in terminal.nodes}
        joined: dict[int, set[Edge]] = defaultdict(set)
        for edge in route.edges:
            for node in edge:
                joined[node].add(edge)
        loose = [node for node, edges in joined.items() if len(edges) == 1 and node not in ends]
        while loose:
            node = loose.pop()
            for edge in list(joined[node]):
                route.edges.discard(edge)
                for other in edge:
                    joined[other].discard(edge)
                    if other != node and len(joined[other]) == 1 and other not in ends:
                        loose.append(other)

    def _islands(self, route: Route) -> list[set[int]]:
        """Groups of nodes that are joined already."""
        parent: dict[int, int] = {}

        def root(node: int) -> int:
            while parent.setdefault(node, node) != node:
                parent[node] = parent[parent[node]]
                node = parent[node]
            return node

        for terminal in route.terminals:
            for node in terminal.nodes:
                parent[root(node)] = root(terminal.nodes[0])
        for a, b in route.edges:
            parent[root(a)] = root(b)
        groups: dict[int, set[int]] = defaultdict(set)
        for node in parent:
            groups[root(node)].add(node)
        ends = {root(t.nodes[0]) for t in route.terminals}
        return [group for key, group in groups.items() if key in ends]

    def _connect(self, route: Route) -> None:
        """Join the islands of a net, always the one nearest to what is joined already."""
        islands = sorted(self._islands(route), key=len, reverse=True)
        tree = islands.pop(0)
        boxes = [self._box(island) for island in islands]
        gaps = [self._gap(tree, box) for box in boxes]
        while islands:
            best = gaps.index(min(gaps))
            island, box = islands.pop(best), boxes.pop(best)
            del gaps[best]
            path = self._search(route.net, tree, island, box)
            route.edges.update((a, b) for a, b in itertools.pairwise(path))
            grown = island.union(path)
            gaps = [min(gap, self._gap(grown, box)) for gap, box in zip(gaps, boxes, strict=True)]
            tree |= grown
        self._use(route)

    def _box(self, nodes: set[int]) -> tuple[int, int, int, int]:
        xs = [n % self.columns for n in nodes]
        ys = [(n % self.plane) // self.columns for n in nodes]
        return min(xs), min(ys), max(xs), max(ys)

    def _gap(self, nodes: set[int], box: tuple[int, int, int, int]) -> int:
        """Steps from the nearest of ``nodes`` to ``box``."""
        x0, y0, x1, y1 = box
        columns, plane = self.columns, self.plane
        best = 1 << 30
        for node in nodes:
            x = node % columns
            y = (node % plane) // columns
            gap = (x0 - x if x < x0 else x - x1 if x > x1 else 0) + (
                y0 - y if y < y0 else y - y1 if y > y1 else 0
            )
            best = min(best, gap)
        return best

    def _search(
        self, net: int, sources: set[int], goals: set[int], box: tuple[int, int, int, int]
    ) -> list[int]:
        """Cheapest path of nodes from any source to any goal.

        Raises:
            LookupError: If the net's own pads are walled in.
        """
        owner, price = self.owner, self.price
        columns, plane = self.columns, self.plane
        x0, y0, x1, y1 = box
        push, pop = heapq.heappush, heapq.heappop

        def guess(node: int) -> float:
            x = node % columns
            y = (node % plane) // columns
            return GREED * (
                (x0 - x if x < x0 else x - x1 if x > x1 else 0)
                + (y0 - y if y < y0 else y - y1 if y > y1 else 0)
            )

        cost = dict.fromkeys(sources, 0.0)
        came: dict[int, int] = {}
        heap = [(guess(node), node) for node in sources]
        heapq.heapify(heap)
        done: set[int] = set()
        while heap:
            _, node = pop(heap)
            if node in done:
                continue
            done.add(node)
            if node in goals:
                path = [node]
                while path[-1] in came:
                    path.append(came[path[-1]])
                return path[::-1]
            here = cost[node]
            bottom = node >= plane
            along, across = (WRONG_WAY, 1.0) if bottom else (1.0, WRONG_WAY)
            for step, weight in ((1, along), (-1, along), (columns, across), (-columns, across)):
                there = node + step
                if owner[there] != FREE and owner[there] != net:
                    continue
                total = here + weight * price[there]
                if total < cost.get(there, UNREACHED):
                    cost[there] = total
                    came[there] = node
                    push(heap, (total + guess(there), there))
            there = node - plane if bottom else node + plane
            total = here + self._via_cost(net, node, there)
            if total < cost.get(there, UNREACHED):
                cost[there] = total
                came[there] = node
                push(heap, (total + guess(there), there))
        raise LookupError(f"net {net} is walled in at {sorted(goals)[:3]}")

    def _via_cost(self, net: int, node: int, there: int) -> float:
        """What it costs to change layer from ``node`` to ``there``: nothing in an own pad, endless where none fits."""
        crossing = min(node, there)
        if self.joints.get(crossing) == net:
            return 0.0
        owner, price = self.owner, self.price
        if self.via_owner[crossing] not in (FREE, net) or owner[there] not in (FREE, net):
            return UNREACHED
        total = VIA_COST * price[there]
        for base in (node, there):
            for skirt in (base - 1, base + 1, base - self.columns, base + self.columns):
                if owner[skirt] not in (FREE, net):
                    return UNREACHED
                total += price[skirt] - 1.0
        return total
