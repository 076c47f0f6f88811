"""The keep-alive circuit around a battery, found on the graph: kept nets, memories, charge path, blocking."""

from __future__ import annotations

import heapq
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from coppermend.board.flow import Flow
from coppermend.board.kinds import natural_key
from coppermend.board.model import Board, Part, PinRef, Rail
from coppermend.board.parttypes import PartLibrary
from coppermend.board.roles import NetRole
from coppermend.errors import InputError
from coppermend.quantity import parse_quantity

_CROSSED = frozenset({"resistor", "diode", "fuse", "inductor"})


@dataclass(frozen=True)
class KeepAlive:
    """What a battery keeps, and how it is charged.

    ``kept_nets`` hang on the battery's plus pole through series parts. ``main`` is the rail that charges
    it, None when there is none; ``charge_parts`` lie on the path from there, ``charge_ohm`` is their sum
    [Ω], None without a path. ``leaks`` are parts through which the kept nets discharge into a dead rail.
    ``feed_diodes`` are those that a memory is fed through, when no other way leads from the plus pole to it.
    ``others`` are powered from the kept nets without being memories. ``battery_pins`` are the battery's points with
    their nets.
    """

    battery: Part
    plus_net: str
    kept_nets: frozenset[str]
    memories: tuple[Part, ...]
    others: tuple[str, ...]
    main: Rail | None
    charge_parts: tuple[str, ...]
    charge_ohm: float | None
    diodes: tuple[Part, ...]
    feed_diodes: tuple[Part, ...]
    leaks: tuple[str, ...]
    battery_pins: tuple[tuple[str, str], ...] = ()


def main_rail(board: Board, library: PartLibrary, roles: Mapping[str, NetRole]) -> Rail | None:
    """The rail of the CPU, or the one with most power pins; 5 V within 5 % is assumed when undeclared.

    Returns:
        None when no part of the board has a power pin on a rail.
    """
    votes: dict[str, int] = {}
    for refdes, part in board.index.parts.items():
        known = library.of(part)
        for pin in known.pins if known else ():
            net = board.index.net_of_pin.get(PinRef(refdes, pin.number), "")
            if pin.direction == "power" and net in roles and roles[net].role == "rail":
                votes[net] = votes.get(net, 0) + (1000 if known and known.kind == "cpu" else 1)
    if not votes:
        return None
    net = max(sorted(votes), key=votes.__getitem__)
    return board.index.rails.get(net, Rail(net, 5.0, 0.05))


def keep_alive(
    board: Board, library: PartLibrary, roles: Mapping[str, NetRole], flow: Flow, battery: Part
) -> KeepAlive | None:
    """The circuit that ``battery`` keeps alive.

    Returns:
        None when its plus pole cannot be told or is on no net.
    """
    grounds = {net for net, role in roles.items() if role.role == "ground"}
    plus = _plus_net(board, library, battery, grounds)
    if not plus:
        return None
    main = main_rail(board, library, roles)
    main_net = main.net if main and main.net != plus else ""
    ohms_to = _spread(flow, plus, grounds | {main_net})
    kept = frozenset(ohms_to)
    path = _charge_path(flow, plus, main_net, grounds, kept)
    powered = _powered(board, library, kept)
    return KeepAlive(
        battery=battery,
        battery_pins=tuple(
            (str(p), board.index.net_of_pin[p]) for p in board.index.pins_of_part[battery.refdes]
        ),
        plus_net=plus,
        kept_nets=kept,
        memories=tuple(p for p in powered if flow.kinds[p.refdes] == "ram"),
        others=tuple(p.refdes for p in powered if flow.kinds[p.refdes] != "ram"),
        main=main if main_net else None,
        charge_parts=path[1] if path else (),
        charge_ohm=path[0] if path else None,
        diodes=tuple(
            board.index.parts[r] for r in _between(flow, kept, main_net) if flow.kinds[r] == "diode"
        ),
        feed_diodes=_feed_diodes(flow, plus, kept, powered),
        leaks=tuple(
            sorted(
                (r for r in _between(flow, kept, main_net) if _conducts(flow, r, kept, main_net)),
                key=natural_key,
            )
        ),
    )


def _plus_net(board: Board, library: PartLibrary, battery: Part, grounds: set[str]) -> str:
    pins = board.index.pins_of_part.get(battery.refdes, [])
    known = library.of(battery)
    for pin in pins:
        spec = known.pin_by_number.get(pin.pin) if known else None
        if spec and spec.name.upper() in ("+", "POS", "P", "PLUS"):
            return board.index.net_of_pin[pin]
    live = {board.index.net_of_pin[pin] for pin in pins} - grounds
    return next(iter(live)) if len(live) == 1 else ""


def _supply_like(flow: Flow, net: str) -> bool:
    """Whether a net only feeds: no known part uses it as a signal."""
    specs = [flow.spec(pin) for pin in flow.board.nets.get(net, ())]
    return all(spec is None or spec.direction in ("power", "passive") for spec in specs)


def _spread(flow: Flow, start: str, stop: set[str], kinds: Collection[str] = _CROSSED) -> dict[str, float]:
    """Nets reached from ``start`` through series parts, with the ohms on the way; ``stop`` is not entered."""
    best, heap = {start: 0.0}, [(0.0, start)]
    while heap:
        ohms, net = heapq.heappop(heap)
        for pin in flow.board.nets.get(net, ()):
            far = flow.across(pin) if flow.kinds.get(pin.refdes) in kinds else None
            other = flow.net(far) if far else ""
            if not other or other in stop or not _supply_like(flow, other):
                continue
            cost = ohms + _ohms(flow, pin.refdes)
            if cost < best.get(other, float("inf")):
                best[other] = cost
                heapq.heappush(heap, (cost, other))
    return best


def _ohms(flow: Flow, refdes: str) -> float:
    if flow.kinds[refdes] != "resistor":
        return 0.0
    try:
        return parse_quantity(flow.board.index.parts[refdes].value, "Ω")
    except InputError:
        return 0.0


def _charge_path(
    flow: Flow, plus: str, main_net: str, grounds: set[str], kept: frozenset[str]
) -> tuple[float, tuple[str, ...]] | None:
    """Least resistance from the main rail to the plus pole in the direction in which diodes conduct."""
    if not main_net:
        return None
    heap: list[tuple[float, str, tuple[str, ...]]] = [(0.0, main_net, ())]
    done: set[str] = set()
    while heap:
        ohms, net, via = heapq.heappop(heap)
        if net == plus:
            return ohms, via
        if net in done:
            continue
        done.add(net)
        for pin in flow.board.nets.get(net, ()):
            far = flow.across(pin) if flow.kinds.get(pin.refdes) in _CROSSED else None
            if far and flow.net(far) in kept - grounds and _forward(flow, pin):
                heapq.heappush(heap, (ohms + _ohms(flow, pin.refdes), flow.net(far), (*via, pin.refdes)))
    return None


def _forward(flow: Flow, entered: PinRef) -> bool:
    """Whether current can enter a series part by this pin: not by the cathode of a diode."""
    spec = flow.spec(entered)
    return not (flow.kinds[entered.refdes] == "diode" and spec and spec.name.upper().startswith("K"))


def _between(flow: Flow, kept: frozenset[str], main_net: str) -> tuple[str, ...]:
    """Series parts with one end on a kept net and the other on the main rail, in file order."""
    found = dict.fromkeys(
        pin.refdes
        for net in sorted(kept)
        for pin in flow.board.nets.get(net, ())
        if flow.kinds.get(pin.refdes) in _CROSSED and (far := flow.across(pin)) and flow.net(far) == main_net
    )
    return tuple(found)


def _conducts(flow: Flow, refdes: str, kept: frozenset[str], main_net: str) -> bool:
    """Whether a part between a kept net and the rail lets current out of the kept net."""
    pins = [p for p in flow.board.index.pins_of_part[refdes] if flow.net(p) in kept]
    return any(_forward(flow, pin) for pin in pins)


def _feed_diodes(flow: Flow, plus: str, kept: frozenset[str], powered: tuple[Part, ...]) -> tuple[Part, ...]:
    outside = set(flow.board.nets) - kept
    straight = _spread(flow, plus, outside, _CROSSED - {"diode"})
    fed = {flow.net(p) for part in powered for p in flow.board.index.pins_of_part[part.refdes]} & kept
    if fed <= set(straight):
        return ()
    crossing = dict.fromkeys(
        pin.refdes
        for net in sorted(straight)
        for pin in flow.board.nets[net]
        if flow.kinds.get(pin.refdes) == "diode"
        and (far := flow.across(pin))
        and flow.net(far) in kept - set(straight)
    )
    return tuple(flow.board.index.parts[refdes] for refdes in crossing)


def _powered(board: Board, library: PartLibrary, kept: frozenset[str]) -> tuple[Part, ...]:
    found = {}
    for net in kept:
        for pin in board.nets.get(net, ()):
            part = board.index.parts.get(pin.refdes)
            known = library.of(part) if part else None
            spec = known.pin_by_number.get(pin.pin) if known else None
            if part and spec and spec.direction == "power":
                found[part.refdes] = part
    return tuple(sorted(found.values(), key=lambda p: natural_key(p.refdes)))
