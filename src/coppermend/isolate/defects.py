"""Every fault that can be planted on a simulated board, as often as its part is said to fail. Shares no table with the belief.

Only the published failure rates are common ground.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from coppermend.board.model import PinRef
from coppermend.isolate.machine import Defect, Machine
from coppermend.isolate.priors import rate_of, rate_of_class


def defects_of(machine: Machine) -> tuple[Defect, ...]:
    """Every fault that can be planted on a board."""
    return tuple(_defects(machine))


def _defects(machine: Machine) -> Iterator[Defect]:
    index = machine.board.index
    for refdes, part in index.parts.items():
        weight = rate_of(part, machine.library).weight
        outputs = [pin for pin in machine.inputs if pin.refdes == refdes]
        if refdes in index.repeated:
            continue
        if outputs:
            yield from _chip(machine, refdes, weight, outputs)
        else:
            yield from _small(machine, refdes, weight)
    yield from _copper(machine)
    for net in machine.supply:
        fed = [p for p in machine.board.nets[net] if (s := machine.flow.spec(p)) and s.direction == "power"]
        if machine.roles[net] == "rail" and fed:
            weight = rate_of_class("connector").weight
            yield Defect(("rail", net), "missing", weight, dead_rail=net)
            filters = {p.refdes for p in machine.board.nets[net] if machine.kinds[p.refdes] == "electrolytic"}
            if filters:
                dry = 0.1 * len(filters) * rate_of_class("electrolytic").weight
                yield Defect(("rail", net), "noisy", dry, noisy_rail=net)


def _chip(machine: Machine, refdes: str, weight: float, outputs: Sequence[PinRef]) -> Iterator[Defect]:
    unit = ("part", refdes)
    for level in (0, 1, None):
        yield Defect(unit, "dead", 0.1 * weight, stuck=dict.fromkeys(outputs, level))
    for pin in outputs:
        for stuck in (0, 1, None):
            yield Defect(unit, f"{pin} stuck at {stuck}", 0.4 * weight / len(outputs) / 3, stuck={pin: stuck})
    reads = list(dict.fromkeys(p for out in outputs for p in machine.inputs[out]))
    for pin in reads:
        yield Defect(unit, f"{pin} shorted", 0.2 * weight / len(reads), forced={machine.net(pin): 0})
    if machine.kinds[refdes] == "rom":
        yield Defect(unit, "wrong content", 0.3 * weight, scrambled=tuple(outputs))
    part = machine.board.index.parts[refdes]
    if part.socketed or "socket" in part.package.lower():
        for pin in dict.fromkeys((*outputs, *reads)):
            contact = rate_of_class("ic_socket").weight / 10
            yield Defect(("socket", refdes), f"contact {pin}", contact, open_pins=(pin,))


def _small(machine: Machine, refdes: str, weight: float) -> Iterator[Defect]:
    kind, pins = machine.kinds[refdes], machine.board.index.pins_of_part[refdes]
    nets = [machine.net(pin) for pin in pins]
    carries = any(link[0] == refdes for link in machine.links.values()) or kind == "crystal"
    if carries:
        yield Defect(("part", refdes), "open", weight * 0.5, broken=(refdes,))
    if kind in ("capacitor", "electrolytic") and len(set(nets)) == 2:
        ground = [net for net in nets if machine.roles.get(net) == "ground"]
        signal = [net for net in nets if net not in machine.supply]
        if ground and signal:
            yield Defect(("part", refdes), "shorted", weight * 0.5, forced={signal[0]: 0})


def _copper(machine: Machine) -> Iterator[Defect]:
    joint = rate_of_class("solder_joint").weight
    reads = {pin for pins in machine.inputs.values() for pin in pins}
    for net, pins in machine.board.nets.items():
        if net in machine.supply or len(pins) < 2:
            continue
        for pin in pins:
            if pin in machine.inputs or pin in reads:
                yield Defect(("net", net), f"open at {pin}", joint, open_pins=(pin,))
    for refdes in machine.board.index.pins_of_part:
        ordered = sorted(
            (p for p in machine.board.index.pins_of_part[refdes] if p.pin.isdigit()), key=lambda p: int(p.pin)
        )
        for a, b in pairwise(ordered) if len(ordered) > 2 else ():  # leads of a two-lead part are far apart
            nets = (machine.net(a), machine.net(b))
            if int(b.pin) - int(a.pin) != 1 or nets[0] == nets[1] or set(nets) & machine.supply:
                continue
            yield Defect(("short", " + ".join(nets)), f"touch at {refdes}", 0.25 * joint, bridged=nets)
