"""States in which a board is measured: running, or with its loops opened. Each cuts edges and has a cost."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from coppermend.board.model import PinRef
from coppermend.isolate.graph import Edge, SignalGraph

ConditionName = Literal["running", "forced"]
CONDITIONS: tuple[ConditionName, ...] = ("running", "forced")
CUT_KINDS = ("cpu", "peripheral")  # parts in which a condition may cut paths
_KEPT_IN_FORCED = ("clock", "reset", "rail", "ground")


@dataclass(frozen=True, slots=True)
class Condition:
    """How the board stands while it is measured; ``setup_s`` is the time to bring it there [s]."""

    name: ConditionName
    words: str
    setup_s: float


RUNNING = Condition("running", "the board as it is, powered", 0.0)
FORCED = Condition(
    "forced",
    "CPU on an adapter that cuts its data lines and forces a no-operation pattern, interrupts tied off: the "
    "address lines count",
    180.0,
)
_BY_NAME = {"running": RUNNING, "forced": FORCED}


def condition(name: ConditionName) -> Condition:
    """The condition called ``name``."""
    return _BY_NAME[name]


def conditions_of(graph: SignalGraph) -> tuple[Condition, ...]:
    """The conditions that a board can be brought to: ``forced`` needs a CPU in a socket."""
    cpus = [refdes for refdes, kind in graph.kinds.items() if kind == "cpu"]
    parts = graph.board.index.parts
    socketed = any(parts[refdes].socketed or "socket" in parts[refdes].package.lower() for refdes in cpus)
    return (RUNNING, FORCED) if socketed else (RUNNING,)


def edges_in(graph: SignalGraph, name: ConditionName) -> Iterable[Edge]:
    """The edges that carry a signal in a condition."""
    if name == "running":
        return graph.edges
    return [edge for edge in graph.edges if not is_cut(graph, name, edge.enters, edge.leaves)]


def is_cut(graph: SignalGraph, name: ConditionName, enters: PinRef, leaves_by: PinRef) -> bool:
    """Whether a path inside a part, from pin to pin, carries nothing in a condition.

    When forced, into the CPU only clock, reset and supply count, and nothing is written to ports.
    """
    kind = graph.kinds[enters.refdes]
    if name == "running" or kind not in CUT_KINDS:
        return False
    role = graph.roles[graph.net(enters)].role
    if kind == "cpu":
        spec = graph.spec(enters)
        kept = spec is not None and (spec.role in _KEPT_IN_FORCED or spec.direction == "power")
        leaves = graph.spec(leaves_by)
        return not kept or (leaves is not None and leaves.role == "data")
    if kind == "peripheral" and role not in ("rail", "ground"):
        leaves, spec = graph.spec(leaves_by), graph.spec(enters)
        to_port = leaves is not None and leaves.role == "port"
        return to_port and not (spec is not None and spec.role in ("port", "reset"))
    return False


def is_hidden(graph: SignalGraph, name: ConditionName, refdes: str, net: str) -> bool:
    """Whether an adapter keeps what a part does to a net off the board: the data lines of a forced CPU."""
    if name == "running" or graph.kinds.get(refdes) != "cpu":
        return False
    specs = (graph.spec(pin) for pin in graph.board.nets[net] if pin.refdes == refdes)
    return any(spec is not None and spec.role == "data" for spec in specs)
