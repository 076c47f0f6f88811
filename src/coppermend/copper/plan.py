"""The copper plan: which probes prove every net at risk, what is open or shorted, and which jumpers cure it.

Stateless: board, touch and all readings in, plan out. Fed the answers to its own probes it asks none twice and
ends with none left. It is assumed that untouched copper is sound, and that filled copper is whole.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from coppermend.board.atrisk import Touch
from coppermend.board.kinds import natural_key
from coppermend.board.model import Board
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import PartLibrary
from coppermend.board.same import Same
from coppermend.copper.graph import NetGraph
from coppermend.copper.isolation import (
    Isolation,
    IsolationProbe,
    IsolationScope,
    across_nets,
    points_by_net,
)
from coppermend.copper.nearby import near_pairs
from coppermend.copper.netstate import NetState
from coppermend.copper.reach import ProbePoint, probe_points
from coppermend.copper.readings import FittedJumper, Reading
from coppermend.copper.records import CopperPlan, Jumper, Masked, Open, Probe, Short
from coppermend.copper.runs import run_fitted, run_wires
from coppermend.copper.states import jumpers_of, net_states, opens_of
from coppermend.copper.walk import Asked, walk_of

__all__ = [
    "CopperPlan",
    "FittedJumper",
    "Jumper",
    "Masked",
    "Open",
    "Probe",
    "Reading",
    "Short",
    "plan_probes",
]

_LISTED = 8  # names spelt out in a note


def plan_probes(
    board: Board,
    library: PartLibrary,
    touched: Touch,
    readings: Sequence[Reading] = (),
    jumpers: Sequence[FittedJumper] = (),
    *,
    removed: Collection[str] = (),
    isolation: IsolationScope = "likely",
) -> CopperPlan:
    """Plan the probes that prove every net at risk, given all readings so far.

    Args:
        board: The board; without pads of its own they are computed from the packages.
        library: Part types, for the words that say where a point is.
        touched: What the damage touched.
        readings: All readings in the order in which they were made; of the same pair the last counts. A
            reading at most 1 Ω above the expected value is good, anything else open.
        jumpers: Jumpers fitted so far, besides those among the readings.
        removed: Refdes of parts that are off the board and hide no point.
        isolation: Which pairs of nets that come within reach in the damage to measure against each other:
            the "likely" few, "all" or "none".

    Returns:
        The plan. Readings on nets that are not at risk tell of shorts only; a shorted net is not proven.

    Raises:
        UnknownName: If a reading or jumper names a point that the board does not have.
    """
    based = with_package_pads(board)
    nets = sorted((net.net for net in touched.nets), key=natural_key)
    fitted = _fitted(based, readings, jumpers)
    points = probe_points(based, dict.fromkeys((*nets, *(net for net in fitted if net))), removed)
    states = net_states(based, touched, nets, points, _numbered(based, readings), fitted)
    naive_probes = sum(max(len(_pads(state.cut.graph)) - 1, 0) for state in states.values())
    apart = Isolation(
        based,
        library,
        near_pairs(based, touched) if isolation != "none" else (),
        points_by_net(points.values()),
        across_nets(based, readings),
        frozenset(removed),
        {net: max(len(readings) if j.after is None else j.after for j in own) for net, own in fitted.items()},
    )
    opens = {net: opens_of(Same(state)) for net, state in states.items()}
    wires = [wire for state in states.values() for wire in jumpers_of(Same(state))]
    asked = [_continuity(state, a, b) for state in states.values() for a, b in state.pairs]
    asked += [_isolation(points, probe) for probe in apart.probes(isolation, naive_probes)]
    last = next((reading for reading in reversed(readings) if not reading.jumper), None)
    probes, route_mm, naive_route_mm = walk_of(based, library, asked, last)
    shorted = {net for short in apart.shorts for net in short.nets}
    return CopperPlan(
        probes=tuple(probes),
        proven=tuple(net for net, state in states.items() if state.holds and net not in shorted),
        opens=tuple(item for found in opens.values() for item in found),
        shorts=apart.shorts,
        masked=apart.masked if isolation != "none" else (),
        jumpers=tuple(run_wires(based, library, wires, opens, frozenset(removed))),
        fitted=tuple(run_fitted(based, library, fitted, points, frozenset(removed))),
        naive_probes=naive_probes,
        route_mm=route_mm,
        naive_route_mm=naive_route_mm,
        notes=(*_notes(based, states), *apart.notes(isolation)),
    )


def _continuity(state: NetState, a: str, b: str) -> Asked:
    return Asked(state.cut.graph.net, state.points[a], state.points[b], "continuity", state.expect_ohm(a, b))


def _isolation(points: Mapping[str, ProbePoint], probe: IsolationProbe) -> Asked:
    return Asked(probe.nets[0], points[probe.a], points[probe.b], "isolation", probe.expect_ohms)


def _numbered(board: Board, readings: Sequence[Reading]) -> dict[str, list[tuple[int, Reading]]]:
    """Readings within one net, by net, with their number in the order of measuring."""
    by_net: dict[str, list[tuple[int, Reading]]] = {}
    for number, reading in enumerate(readings):
        a, b = board.index.place(reading.a), board.index.place(reading.b)
        if a.net == b.net and not reading.jumper:
            by_net.setdefault(a.net, []).append((number, reading))
    return by_net


def _fitted(
    board: Board, readings: Sequence[Reading], jumpers: Iterable[FittedJumper]
) -> dict[str, list[FittedJumper]]:
    """Fitted jumpers within one net, by net, in the order of fitting."""
    among = [FittedJumper(r.a, r.b, after=number) for number, r in enumerate(readings) if r.jumper]
    by_net: dict[str, list[FittedJumper]] = {}
    for jumper in (*jumpers, *among):
        a, b = board.index.place(jumper.a), board.index.place(jumper.b)
        if a.net == b.net:
            by_net.setdefault(a.net, []).append(jumper)
    latest = len(readings)
    return {
        net: sorted(fitted, key=lambda j: latest if j.after is None else j.after)
        for net, fitted in by_net.items()
    }


def _pads(graph: NetGraph) -> list[str]:
    return [spot.name for spot in graph.spots if spot.kind == "pad" and spot.name]


def _notes(board: Board, states: Mapping[str, NetState]) -> Iterable[str]:
    if states:
        yield (
            "untouched copper is taken as sound; a good path proves the pads and vias that it passes; "
            "where copper runs in a loop it proves that the net holds, not each branch of the loop"
        )
    unseen = [net for net, state in states.items() if state.cut.unseen]
    if unseen:
        yield (
            f"the files do not show how all copper of {_listed(unseen)} hangs together: "
            "pieces that they do not join are taken as islands and each is probed"
        )
    if filled := [
        net for net, state in states.items() if any(s.kind == "area" for s in state.cut.graph.spots)
    ]:
        yield f"filled copper is taken as whole: {_listed(filled)}"
    loose = [f"{name} ({net})" for net, state in states.items() for name in _not_needed(state)]
    if loose:
        yield f"at-risk copper beside safe copper, or leading to no pad, is not needed and not probed: {_listed(loose)}"
    hidden = [_first_name(state, island) for state in states.values() for island in state.unreachable]
    if hidden:
        yield f"no probe can reach {_listed(hidden)} with the parts now fitted"
    for net, state in states.items():
        if missing := len(board.nets.get(net, ())) - len(_pads(state.cut.graph)):
            yield f"{missing} pins of {net} have no pad in the files and cannot be probed"
        for a, b in state.known.torn:
            ends = f"{_first_name(state, a)} and {_first_name(state, b)}"
            yield f"{net} reads open between {ends} although other readings prove it whole: measure again"
        if state.known.odd and not state.cut.unseen:
            yield f"{net} reads as whole across copper that other readings prove open: measure again"


def _not_needed(state: NetState) -> list[str]:
    """At-risk tracks and vias whose loss would part no pad from the others."""
    kept = {bond.track for bond in state.bonds}
    at_risk = {*state.cut.parallel_tracks, *(bond.track for bond in state.cut.bonds)} - {0}
    touched = {island for bond in state.bonds for island in bond[:2]}
    vias = [
        _first_name(state, number)
        for number, island in enumerate(state.cut.islands)
        if island.at_risk and not island.pads and number not in touched
    ]
    return [*(f"track {number}" for number in sorted(at_risk - kept)), *vias]


def _first_name(state: NetState, island: int) -> str:
    names = [state.cut.graph.spots[spot].name for spot in state.cut.islands[island].spots]
    return next((name for name in names if name), f"copper of {state.cut.graph.net}")


def _listed(names: Sequence[str]) -> str:
    more = len(names) - _LISTED
    return ", ".join(names[:_LISTED]) + (f" and {more} more" if more > 0 else "")
