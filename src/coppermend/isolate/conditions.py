"""States in which a board is measured: running, or with its loops opened. Each cuts edges and has a cost.

Feedback makes every net of a loop follow every other; what opens it is a condition. A condition is named in
readings: ``running``, ``forced``, ``deselected``, or ``without U7``.
"""

from __future__ import annotations

from dataclasses import dataclass

from coppermend.board.model import Board, Part, PinRef
from coppermend.errors import InputError
from coppermend.isolate.graph import SignalGraph

ConditionName = str
WITHOUT = "without "
MEMORY_KINDS = ("rom", "ram", "peripheral")  # what a chip select keeps off the data bus
CUT_KINDS = ("cpu", *MEMORY_KINDS)  # parts in which forcing or deselecting cuts paths
_KEPT_IN_FORCED = ("clock", "reset", "rail", "ground")
ALL_ROLES, _NO_ROLES = frozenset({"*"}), frozenset[str]()
_DATA, _PORT = frozenset({"data"}), frozenset({"port"})
# Seconds to set up (common practice, no source): adapter in, selects clipped off, one part out of its socket.
FORCED_S, DESELECT_S, EMPTY_S = 180.0, 60.0, 60.0


@dataclass(frozen=True, slots=True)
class Condition:
    """How the board stands while it is measured; ``setup_s`` is the time to bring it there [s].

    ``forced`` says that the CPU is on an adapter, ``deselected`` that no memory or peripheral is selected;
    ``out`` is the refdes whose socket is empty, or "".
    """

    name: ConditionName
    words: str
    setup_s: float
    forced: bool = False
    deselected: bool = False
    out: str = ""


RUNNING = Condition("running", "the board as it is, powered", 0.0)
FORCED = Condition(
    "forced",
    "CPU on an adapter that cuts its data lines and forces a no-operation pattern, interrupts tied off: the "
    "address lines count",
    FORCED_S,
    forced=True,
)
DESELECTED = Condition(
    "deselected",
    "CPU forced as above, and every chip select of memories and peripherals held off, at the decoder's enable or "
    "through 1 kΩ to its resting level: nothing may drive the data lines, they float or rest",
    FORCED_S + DESELECT_S,
    forced=True,
    deselected=True,
)


def without(refdes: str, *, forced: bool) -> Condition:
    """The condition in which one socket is empty; with the CPU forced where that can be, else running."""
    setup = (FORCED_S if forced else 0.0) + EMPTY_S
    base = "CPU forced to a no-operation pattern, and " if forced else ""
    words = (
        f"{base}{refdes} taken out of its socket, with power off: what it did to its nets is gone; judge levels, "
        "since no program runs without it"
    )
    return Condition(f"{WITHOUT}{refdes}", words, setup, forced=forced, out=refdes)


def condition_name(board: Board, text: str) -> ConditionName:
    """The canonical name of a condition as someone wrote it; ``running`` for "".

    Raises:
        InputError: If there is no such condition, or the part is in no socket of this board.
    """
    words = text.split()
    name = " ".join(words).lower() or RUNNING.name
    if name in (RUNNING.name, FORCED.name, DESELECTED.name):
        return name
    expected = "one of running, forced, deselected, or without and a refdes such as without U7"
    if len(words) != 2 or words[0].lower() != WITHOUT.strip():
        raise InputError(f"unknown condition {text!r:.40}", expected=expected)
    part = board.index.parts.get(words[1])
    if part is None or not in_socket(part):
        raise InputError(f"{board.name} has no part {words[1]!r:.40} in a socket", expected=expected)
    return f"{WITHOUT}{words[1]}"


def in_socket(part: Part) -> bool:
    """Whether a part comes out without a soldering iron."""
    return part.socketed or "socket" in part.package.lower()


def conditions_of(graph: SignalGraph) -> tuple[Condition, ...]:
    """The conditions that are always worth a look: ``forced`` and ``deselected`` need a CPU in a socket.

    Emptied sockets are many: see ``emptied``.
    """
    parts = graph.board.index.parts
    if not any(in_socket(parts[refdes]) for refdes, kind in graph.kinds.items() if kind == "cpu"):
        return (RUNNING,)
    memories = any(kind in MEMORY_KINDS for kind in graph.kinds.values())
    return (RUNNING, FORCED, DESELECTED) if memories else (RUNNING, FORCED)


def emptied(graph: SignalGraph) -> dict[str, Condition]:
    """Refdes -> the condition in which its socket is empty, for socketed parts that share a net with others.

    A CPU is not among them where it can be forced: its adapter takes its place.
    """
    forced = len(conditions_of(graph)) > 1
    found = {}
    for refdes, part in graph.board.index.parts.items():
        kind = graph.kinds.get(refdes)
        if not in_socket(part) or (kind == "cpu" and forced) or refdes in graph.board.index.repeated:
            continue
        if graph.outputs_of(refdes) or graph.inputs_of(refdes):
            found[refdes] = without(refdes, forced=forced)
    return found


def blocked_roles(graph: SignalGraph, how: Condition, enters: PinRef) -> frozenset[str]:
    """Roles of the output pins that an input no longer acts on in a condition; ``ALL_ROLES``: on none.

    When forced, into the CPU only clock, reset and supply count, and nothing is written to ports; when deselected
    no memory or peripheral reaches the data lines; an empty socket passes nothing.
    """
    if how.out and enters.refdes == how.out:
        return ALL_ROLES
    kind = graph.kinds[enters.refdes]
    if not how.forced or kind not in CUT_KINDS:
        return _NO_ROLES
    spec = graph.spec(enters)
    if kind == "cpu":
        kept = spec is not None and (spec.role in _KEPT_IN_FORCED or spec.direction == "power")
        return _DATA if kept else ALL_ROLES
    blocked = _DATA if how.deselected else _NO_ROLES
    supplied = graph.net(enters) in graph.supply
    if kind == "peripheral" and not supplied and (spec is None or spec.role not in ("port", "reset")):
        return blocked | _PORT
    return blocked


def is_cut(graph: SignalGraph, how: Condition, enters: PinRef, leaves_by: PinRef) -> bool:
    """Whether a path inside a part, from pin to pin, carries nothing in a condition."""
    blocked = blocked_roles(graph, how, enters)
    if not blocked or blocked is ALL_ROLES:
        return bool(blocked)
    leaves = graph.spec(leaves_by)
    return leaves is not None and leaves.role in blocked


def is_hidden(graph: SignalGraph, how: Condition, refdes: str, net: str) -> bool:
    """Whether what a part does to a net is off the board: the data lines of a forced CPU, all of a part that is out."""
    if refdes == how.out:
        return bool(how.out)
    if not how.forced or graph.kinds.get(refdes) != "cpu":
        return False
    specs = (graph.spec(pin) for pin in graph.board.nets[net] if pin.refdes == refdes)
    return any(spec is not None and spec.role == "data" for spec in specs)


def is_released(graph: SignalGraph, how: Condition, pin: PinRef) -> bool:
    """Whether an output of a memory or peripheral is switched off from the data lines, so that only what it
    cannot let go of shows.
    """
    if not how.deselected or graph.kinds.get(pin.refdes) not in MEMORY_KINDS:
        return False
    spec = graph.spec(pin)
    return spec is not None and spec.role == "data"
