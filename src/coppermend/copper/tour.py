"""Short closed tours over things that can be visited in two ways round. Pure combinatorics: knows no probe.

Node 2i is thing i as given, node 2i + 1 the same turned round; a tour visits one of the two. Turning both ends
of a step round must not change its cost. Method: 2-opt and Or-opt over near neighbours, then kicks that swap two
neighbouring stretches, each kept when it shortens the tour (iterated local search: H. R. Lourenço, O. C. Martin,
T. Stützle in "Handbook of Metaheuristics", 2003; segment insertion: I. Or, 1976).
"""

from __future__ import annotations

import random
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

_NEAR = 8  # neighbours looked at
_LONGEST = 3  # things that are moved elsewhere together
_WINDOW = 30  # a kick swaps stretches within so many steps
_EPSILON = 1e-9
_EXACT = 7  # up to so many things the shortest tour is found outright


def short_tour(costs: NDArray[np.float64], kicks: int, seed: int = 1) -> list[int]:
    """A short closed tour; the same input gives the same tour.

    Args:
        costs: (2n, 2n) symmetric array with costs[x ^ 1, y ^ 1] == costs[x, y].
        kicks: How often the tour is shaken; more gives shorter tours.
        seed: For the kicks.

    Returns:
        n nodes, one of 2i and 2i + 1 for each i; [] for no things.
    """
    count = len(costs) // 2
    if count < 2:
        return [2 * i for i in range(count)]
    if count <= _EXACT:
        return _shortest_tour(costs.tolist())
    search = _Search(costs, count)
    search.improve(range(count))
    search.turn_best()
    chance = random.Random(seed)
    best, kept = search.length(), list(search.tour)
    for _ in range(kicks):
        search.improve(search.kick(chance))
        found = search.length_after
        if found < best - _EPSILON:
            best, kept = found, list(search.tour)
        elif found > best + _EPSILON:
            search.restore(kept, best)
    search.restore(kept, best)
    search.turn_best()
    return search.tour


def _shortest_tour(costs: Sequence[Sequence[float]]) -> list[int]:
    """The shortest tour by dynamic programming over sets of visited things (M. Held, R. M. Karp, 1962)."""
    nodes = len(costs)
    reached: dict[tuple[int, int], tuple[float, list[int]]] = {(1, 0): (0.0, [0])}
    for _ in range(nodes // 2 - 1):
        further: dict[tuple[int, int], tuple[float, list[int]]] = {}
        for (visited, here), (length, tour) in reached.items():
            for node in range(2, nodes):
                thing = 1 << (node >> 1)
                if visited & thing:
                    continue
                key, total = (visited | thing, node), length + costs[here][node]
                if key not in further or total < further[key][0]:
                    further[key] = (total, [*tour, node])
        reached = further
    return min(reached.values(), key=lambda found: found[0] + costs[found[1][-1]][0])[1]


def _nearest_first(costs: NDArray[np.float64]) -> list[int]:
    """From the first node always on to the nearest of the things left, the first of equals."""
    left = np.zeros(len(costs))
    tour = [0]
    for _ in range(len(costs) // 2 - 1):
        here = tour[-1]
        left[here & ~1 : (here | 1) + 1] = np.inf
        tour.append(int((costs[here] + left).argmin()))
    return tour


class _Search:
    """A tour as a list of nodes with the place of each thing; moves keep both."""

    def __init__(self, costs: NDArray[np.float64], count: int) -> None:
        self.costs: list[list[float]] = costs.tolist()
        self.count = count
        folded = np.minimum(costs[::2, ::2], costs[::2, 1::2])
        np.fill_diagonal(folded, np.inf)
        near = min(_NEAR, count - 1)
        order = np.argsort(folded, axis=1, kind="stable")[:, :near]
        gaps = np.take_along_axis(folded, order, axis=1)
        self.near: list[list[tuple[int, float]]] = [
            list(zip(things, costs, strict=True))
            for things, costs in zip(order.tolist(), gaps.tolist(), strict=True)
        ]
        self.tour = _nearest_first(costs)
        self.place = [0] * count
        self._note(0, count)
        self.length_after = self.length()

    def length(self) -> float:
        tour = self.tour
        return sum(self.costs[a][b] for a, b in zip(tour, tour[1:] + tour[:1], strict=True))

    def restore(self, tour: Sequence[int], length: float) -> None:
        self.tour = list(tour)
        self._note(0, self.count)
        self.length_after = length

    def _note(self, start: int, stop: int) -> None:
        place = self.place
        for at in range(start, stop):
            place[self.tour[at] >> 1] = at

    def improve(self, things: Sequence[int]) -> None:
        """Move on from the given things until nothing near them can be bettered."""
        queue, waiting = list(things), [False] * self.count
        for thing in queue:
            waiting[thing] = True
        while queue:
            thing = queue.pop()
            waiting[thing] = False
            while changed := self._move(thing):
                for other in changed:
                    if not waiting[other]:
                        waiting[other] = True
                        queue.append(other)

    def _move(self, thing: int) -> list[int] | None:
        """One move that shortens the tour at a thing; the things whose neighbours changed, or None."""
        return self._reverse_move(thing) or self._shift_move(thing)

    def _reverse_move(self, thing: int) -> list[int] | None:
        """2-opt: reverse the stretch between two steps, turned round or not."""
        tour, costs, count, place = self.tour, self.costs, self.count, self.place
        at = place[thing]
        for ahead in (1, -1):
            a, b = tour[at], tour[(at + ahead) % count]
            step = costs[a][b]
            for other, gap in self.near[thing]:
                if gap >= step:
                    break
                there = place[other]
                c, d = tour[there], tour[(there + ahead) % count]
                if c in (a, b) or d == a:
                    continue
                before = step + costs[c][d]
                # The new steps are a-c and b-d; the stretch between may be turned round as a whole.
                for turn in (0, 1):
                    gain = before - costs[a][c ^ turn] - costs[b ^ turn][d]
                    if gain > _EPSILON:
                        first, last = (at + 1, there) if ahead == 1 else (there, at - 1)
                        if ahead == -1:
                            # Going backwards the stretch runs from c to b: new steps c-a and d-b.
                            gain = before - costs[c ^ turn][a] - costs[d][b ^ turn]
                            if gain <= _EPSILON:
                                continue
                        self._reverse(first % count, last % count, turn)
                        self.length_after -= gain
                        return [a >> 1, b >> 1, c >> 1, d >> 1]
        return None

    def _reverse(self, first: int, last: int, turn: int) -> None:
        """Reverse tour[first..last], round the end if need be; or, alike, all the rest."""
        tour, count = self.tour, self.count
        inside = (last - first) % count + 1
        if 2 * inside > count:
            # Reversing the rest gives the same tour run backwards; a turn then falls on the rest too.
            first, last, inside = (last + 1) % count, (first - 1) % count, count - inside
        if first + inside <= count:
            tour[first : first + inside] = [node ^ turn for node in reversed(tour[first : first + inside])]
            self._note(first, first + inside)
            return
        spots = [(first + k) % count for k in range(inside)]
        nodes = [tour[spot] ^ turn for spot in reversed(spots)]
        for spot, node in zip(spots, nodes, strict=True):
            tour[spot] = node
            self.place[node >> 1] = spot

    def _shift_move(self, thing: int) -> list[int] | None:
        """Or-opt: move up to three things in a row, the given one at their end, to beside one of its neighbours."""
        tour, costs, count, place = self.tour, self.costs, self.count, self.place
        at, near = place[thing], self.near[thing]
        for size in range(1, min(_LONGEST, count - 3) + 1):
            for start in (at, at - size + 1) if size > 1 else (at,):
                first, last = tour[start % count], tour[(start + size - 1) % count]
                before, after = tour[(start - 1) % count], tour[(start + size) % count]
                freed = costs[before][first] + costs[last][after] - costs[before][after] - _EPSILON
                if freed <= near[0][1]:
                    continue
                held, far = (first, last) if start == at else (last, first)
                for other, gap in near:
                    if gap >= freed:
                        break  # the new step here is no shorter than what is freed
                    there = place[other]
                    if (there - start) % count < size:
                        continue
                    node, d, c = tour[there], tour[(there + 1) % count], tour[there - 1]
                    row = costs[node]
                    for turn in (0, 1):
                        kept = freed - row[held ^ turn]
                        if kept <= 0:
                            continue
                        if d != first and (gain := kept + row[d] - costs[d][far ^ turn]) > 0:
                            after_node, swap = node, held != first
                        elif c != last and (gain := kept + row[c] - costs[c][far ^ turn]) > 0:
                            after_node, swap = c, held == first and size > 1
                        else:
                            continue
                        changed = [x >> 1 for x in (first, last, before, after, after_node, node, d)]
                        self._shift(start % count, size, after_node, swap, turn)
                        self.length_after -= gain + _EPSILON
                        return changed
        return None

    def _shift(self, start: int, size: int, after: int, swap: bool, turn: int) -> None:
        tour, count = self.tour, self.count
        if start + size > count:  # the stretch runs over the list's end: begin the list with it
            tour[:] = tour[start:] + tour[:start]
            self._note(0, count)
            start = 0
        stretch = [node ^ turn for node in tour[start : start + size]]
        if swap:
            stretch.reverse()
        at = self.place[after >> 1]
        if at > start:
            tour[start : at + 1] = tour[start + size : at + 1] + stretch
            self._note(start, at + 1)
        else:
            tour[at + 1 : start + size] = stretch + tour[at + 1 : start]
            self._note(at + 1, start + size)

    def kick(self, chance: random.Random) -> list[int]:
        """Swap two neighbouring stretches (a double bridge); the things whose neighbours changed."""
        tour, count = self.tour, self.count
        window = min(_WINDOW, count - 1)
        start = chance.randrange(count - window)
        i, j, k = sorted(chance.sample(range(start, start + window + 1), 3))
        before, after = tour[i - 1], tour[k % count]
        ends = (tour[i], tour[j - 1], tour[j], tour[k - 1])
        if before in ends or after in ends:
            return []
        costs = self.costs
        removed = costs[before][ends[0]] + costs[ends[1]][ends[2]] + costs[ends[3]][after]
        added = costs[before][ends[2]] + costs[ends[3]][ends[0]] + costs[ends[1]][after]
        tour[i:k] = tour[j:k] + tour[i:j]
        self._note(i, k)
        self.length_after += added - removed
        return [node >> 1 for node in (before, *ends, after)]

    def turn_best(self) -> None:
        """The best way round for each thing in the order as it is (dynamic programming over the tour)."""
        costs, things = self.costs, [node >> 1 for node in self.tour]
        options = []
        for opening in (2 * things[0], 2 * things[0] + 1):
            reached = {opening: (0.0, [opening])}
            for thing in things[1:]:
                reached = {
                    node: min(
                        ((cost + costs[end][node], [*way, node]) for end, (cost, way) in reached.items()),
                        key=lambda found: found[0],
                    )
                    for node in (2 * thing, 2 * thing + 1)
                }
            options += [(cost + costs[end][opening], way) for end, (cost, way) in reached.items()]
        length, way = min(options, key=lambda found: found[0])
        if length < self.length() - _EPSILON:
            self.restore(way, length)
