"""What is open on one net, and the jumpers that would bridge it. Decides nothing about probes.

A jumper joins the two nearest sound points of two pieces of the net; as few are proposed as join all pieces.
Routing the wire and choosing its gauge are left for later: length is measured along the board's axes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from coppermend.board.model import PadSide
from coppermend.copper.islands import Groups
from coppermend.copper.known import Cluster
from coppermend.copper.netstate import NetState
from coppermend.copper.reach import ProbePoint
from coppermend.copper.records import Jumper, Open

_DOUBT_MM = 1000.0  # a point not known to be sound is as good as one a metre further away


def net_opens(state: NetState) -> list[Open]:
    """The opens of a net that still separate it, each between the nearest points on its two sides."""
    found = []
    if not state.holds:
        for cluster in state.known.opens:
            start, *others = cluster.terminals
            found += [_open(state, cluster, start, end) for end in others if not state.known.same(start, end)]
        found += _torn(state)
        if state.cut.unseen:
            found += _unseen_opens(state, found)
    return list(dict.fromkeys(found))


def net_jumpers(state: NetState, opens: Sequence[Open]) -> list[Jumper]:
    """The fewest jumpers that join all pieces of a net that are apart, shortest first."""
    firm = [_firm(state, piece) for piece in state.heads]
    wires = _shortest_wires(state, [piece for piece in firm if _points(state, piece)])
    jumpers = []
    for number, (a, b) in enumerate(wires):
        rest = [wire for i, wire in enumerate(wires) if i != number]
        cures = tuple(item.between for item in opens if _cures(state, rest, (a, b), item))
        jumpers.append(_jumper(state, a, b, cures))
    for item in opens:
        if not any(item.between in jumper.cures for jumper in jumpers) and _is_torn(state, item):
            jumpers.append(_jumper(state, *item.between, (item.between,)))
    return jumpers


def _firm(state: NetState, piece: Sequence[int]) -> tuple[int, ...]:
    """The islands of a piece that are known to hang together with a pad, not only likely to."""
    padded = {state.known.group[i] for i in piece if state.cut.islands[i].pads}
    return tuple(i for i in piece if state.known.group[i] in padded)


def _open(state: NetState, cluster: Cluster, start: int, end: int) -> Open:
    bonds = [state.bonds[i] for i in cluster.bonds if i < len(state.bonds)]
    links = [state.cut.graph.links[bond.link].track for bond in bonds]
    tracks = {bond.track for bond in bonds} - {0} or set(links) - {0}
    a, b = _nearest(state, _near_points(state, start), _near_points(state, end))
    return Open(state.cut.graph.net, (a, b), tuple(sorted(tracks)))


def _torn(state: NetState) -> Iterable[Open]:
    """Readings that are open though others prove the copper whole: something between reads open all the same."""
    spots = state.cut.graph.points
    for pair in state.known.torn:
        reading = next(
            r
            for _, r in reversed(state.readings)
            if not state.is_good(r) and (state.cut.point_island[r.a], state.cut.point_island[r.b]) == pair
        )
        path = state.finder.path(spots[reading.a], spots[reading.b])
        tracks = set(path.tracks if path else ()) - {0}
        yield Open(state.cut.graph.net, (reading.a, reading.b), tuple(sorted(tracks)))


def _is_torn(state: NetState, item: Open) -> bool:
    of = state.cut.point_island
    return state.known.same(of[item.between[0]], of[item.between[1]])


def _unseen_opens(state: NetState, found: Sequence[Open]) -> Iterable[Open]:
    """Between pieces that are apart where the files do not show how they should hang together."""
    explained = Groups(len(state.cut.islands))
    for piece in state.heads:
        for island in piece:
            explained.join(piece[0], island)
    for item in found:
        explained.join(*(state.cut.point_island[point] for point in item.between))
    first, *others = state.heads
    for piece in others:
        ends = [_points(state, _firm(state, islands)) for islands in (first, piece)]
        if all(ends) and explained.join(first[0], piece[0]):
            yield Open(state.cut.graph.net, _nearest(state, *ends), ())


def _near_points(state: NetState, island: int) -> list[str]:
    """Points of an island, else of what it is known to hang together with."""
    own = state.cut.islands[island].points
    if own:
        return list(own)
    group = [i for i in range(len(state.cut.islands)) if state.known.same(i, island)]
    return _points(state, group)


def _points(state: NetState, islands: Iterable[int]) -> list[str]:
    return [point for island in islands for point in state.cut.islands[island].points]


def _nearest(state: NetState, some: Sequence[str], others: Sequence[str]) -> tuple[str, str]:
    """The two nearest points, sound ones preferred, along the board's axes."""
    gaps = np.abs(_places(state, some)[:, None] - _places(state, others)[None]).sum(axis=2)
    gaps += _doubt_mm(state, some)[:, None] + _doubt_mm(state, others)[None]
    a, b = np.unravel_index(int(np.argmin(gaps)), gaps.shape)
    return some[int(a)], others[int(b)]


def _places(state: NetState, names: Sequence[str]) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    places = [state.points[name].place for name in names]
    return np.array([(place.x_mm, place.y_mm) for place in places], dtype=float)


def _doubt_mm(state: NetState, names: Sequence[str]) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Extra distance for points at risk that no reading has reached."""
    read = {point for _, r in state.readings if state.is_good(r) for point in (r.a, r.b)}
    proven = {island for bond in state.known.proven for island in state.graph.bonds[bond]}
    islands = [state.cut.point_island[name] for name in names]
    sound = [
        name in read or island in proven or not state.cut.islands[island].at_risk
        for name, island in zip(names, islands, strict=True)
    ]
    return np.where(sound, 0.0, _DOUBT_MM)


def _shortest_wires(state: NetState, pieces: Sequence[tuple[int, ...]]) -> list[tuple[str, str]]:
    """A shortest set of wires that joins all pieces. Method: minimum spanning tree, Kruskal 1956."""
    candidates = []
    for i, piece in enumerate(pieces):
        for j in range(i + 1, len(pieces)):
            a, b = _nearest(state, _points(state, piece), _points(state, pieces[j]))
            candidates.append((_run_mm(state, a, b), i, j, (a, b)))
    joined = Groups(len(pieces))
    return [wire for _, i, j, wire in sorted(candidates) if joined.join(i, j)]


def _cures(state: NetState, others: Sequence[tuple[str, str]], wire: tuple[str, str], item: Open) -> bool:
    """Whether a jumper bridges an open: with all other jumpers fitted, the open would still separate its ends."""
    of = state.cut.point_island
    ends = [of[point] for point in item.between]
    without, whole = _joined(state, others), _joined(state, [*others, wire])
    if whole.root(ends[0]) == whole.root(ends[1]):
        return without.root(ends[0]) != without.root(ends[1])
    # One side of the open is a stub that nothing needs: any jumper from its other side goes round it.
    return bool({without.root(of[point]) for point in wire} & {without.root(end) for end in ends})


def _joined(state: NetState, wires: Iterable[tuple[str, str]]) -> Groups:
    joined = Groups(len(state.cut.islands))
    for piece in state.heads:
        for island in piece:
            joined.join(piece[0], island)
    for a, b in wires:
        joined.join(state.cut.point_island[a], state.cut.point_island[b])
    return joined


def _jumper(state: NetState, a: str, b: str, cures: tuple[tuple[str, str], ...]) -> Jumper:
    side = wire_side(state.points[a], state.points[b])
    return Jumper(state.cut.graph.net, a, b, side, round(_run_mm(state, a, b), 2), cures)


def _run_mm(state: NetState, a: str, b: str) -> float:
    return float(np.abs(_places(state, [a])[0] - _places(state, [b])[0]).sum())


def common_side(a: ProbePoint, b: ProbePoint) -> PadSide:
    """The side from which both points can be touched; "both" when either will do, or when there is none."""
    if a.side == "both":
        return b.side
    return a.side if b.side in ("both", a.side) else "both"


def wire_side(a: ProbePoint, b: ProbePoint) -> PadSide:
    """The side on which a wire between two points lies; "both" when it must go from one to the other."""
    side = common_side(a, b)
    return "bottom" if side == "both" and a.side == b.side else side
