"""The states of all nets at risk on a board, each remembered: a reading tells of one net, and changes no other.

Composes ``islands`` and ``netstate``; what they need of the damage is gathered once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from coppermend.board.atrisk import Touch
from coppermend.board.model import Board
from coppermend.board.same import Same
from coppermend.copper.chances import Severities
from coppermend.copper.graph import NetGraph, net_graphs
from coppermend.copper.islands import NetIslands, net_islands
from coppermend.copper.netstate import NetState
from coppermend.copper.opens import net_jumpers, net_opens
from coppermend.copper.reach import ProbePoint
from coppermend.copper.readings import FittedJumper, Reading
from coppermend.copper.records import Jumper, Open
from coppermend.underway import told

_EFFORT = (
    20_000  # states of knowledge planned exactly for one board, about a second: 25 nets of eight islands
)
_DAMAGES, _NETS = 16, 1024  # remembered
Points = Mapping[str, ProbePoint]


def net_states(  # noqa: PLR0917  (what the states depend on)
    board: Board, touched: Touch, nets: Sequence[str], points: Points,
    readings: Mapping[str, Sequence[tuple[int, Reading]]], jumpers: Mapping[str, Sequence[FittedJumper]],
) -> dict[str, NetState]:  # fmt: skip
    """The state of each of some nets, in their order.

    Nets are planned exactly only as far as that takes no long wait: those that are likeliest open come first.

    Args:
        board: The board.
        touched: What the damage touched.
        nets: Nets at risk.
        points: Points that a probe can reach, as ``reach.probe_points`` gave them.
        readings: Readings within a net, by net, with their number in the order of measuring.
        jumpers: Fitted jumpers within a net, by net, in the order of fitting.
    """
    states = {}
    for net, graph in told(net_graphs(board, nets).items(), len(nets), "Planning the probes"):
        own, fitted = in_own_order(readings.get(net, ()), jumpers.get(net, ()))
        states[net] = _state(Same(board), Same(touched), Same(graph), Same(points), fitted, own)
    spent, exact = 0, set()
    for net in sorted(states, key=lambda net: -sum(states[net].chances)):
        spent += states[net].effort
        if spent <= _EFFORT:
            exact.add(net)
    return {net: state if net in exact else _inexact(Same(state)) for net, state in states.items()}


def in_own_order(
    readings: Sequence[tuple[int, Reading]], jumpers: Sequence[FittedJumper]
) -> tuple[tuple[tuple[int, Reading], ...], tuple[FittedJumper, ...]]:
    """Readings of one net numbered among themselves, and its jumpers after as many of them as before.

    So that what was read on other nets, before or between, makes no other state of it.
    """
    own = tuple((number, reading) for number, (_, reading) in enumerate(readings))
    fitted = tuple(
        jumper if jumper.after is None else replace(jumper, after=sum(n < jumper.after for n, _ in readings))
        for jumper in jumpers
    )
    return own, fitted


@lru_cache(maxsize=_NETS)
def opens_of(state: Same[NetState]) -> tuple[Open, ...]:
    """``opens.net_opens``, remembered."""
    return tuple(net_opens(state.thing))


@lru_cache(maxsize=_NETS)
def jumpers_of(state: Same[NetState]) -> tuple[Jumper, ...]:
    """``opens.net_jumpers``, remembered."""
    return tuple(net_jumpers(state.thing, opens_of(state)))


@dataclass(frozen=True)
class _Risks:
    points: Mapping[str, float]  # severity by name
    tracks: Mapping[str, Mapping[int, float]]  # severity by net and number


@lru_cache(maxsize=_DAMAGES)
def _risks(touched: Same[Touch]) -> _Risks:
    points = {pad.point: pad.severity for pad in touched.thing.pads}
    points |= {via.name: via.severity for via in touched.thing.vias}
    tracks: dict[str, dict[int, float]] = {}
    for track in touched.thing.tracks:
        tracks.setdefault(track.net, {})[track.number] = track.severity
    return _Risks(points, tracks)


@lru_cache(maxsize=_NETS)
def _cut(touched: Same[Touch], graph: Same[NetGraph], points: Same[Points]) -> NetIslands:
    risks = _risks(touched)
    return net_islands(graph.thing, risks.tracks.get(graph.thing.net, {}), risks.points, points.thing)


@lru_cache(maxsize=_NETS)
def _state(  # noqa: PLR0917  (a cache tells keys apart by position)
    board: Same[Board], touched: Same[Touch], graph: Same[NetGraph], points: Same[Points],
    jumpers: tuple[FittedJumper, ...], readings: tuple[tuple[int, Reading], ...],
) -> NetState:  # fmt: skip
    risks = _risks(touched)
    tracks = risks.tracks.get(graph.thing.net, {})
    return NetState(
        _cut(touched, graph, points),
        {name: points.thing[name] for name in graph.thing.points if name in points.thing},
        jumpers,
        readings,
        Severities(tracks, risks.points),
        {number: board.thing.tracks[number - 1].width_mm for number in tracks},
    )


@lru_cache(maxsize=_NETS)
def _inexact(state: Same[NetState]) -> NetState:
    return replace(state.thing, exact=False)
