"""Remedy for coils that are switched without a diode: one across each, from the switched end to the coil's supply."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from coppermend.board.cautions import cautions_called
from coppermend.board.flow import Flow
from coppermend.board.kinds import natural_key
from coppermend.board.model import Part, PinRef, Rail
from coppermend.board.subject import net_subject
from coppermend.rework.apply import NewNames, point_on
from coppermend.rework.figured import asked, checks_of, percent
from coppermend.rework.records import Check, KitLine, Remedy
from coppermend.rework.substitutes import known_parts

_DIODE = ("rectifier", "1N5404", 3.0)  # type, value, current [A]: a solenoid draws an ampere or two
_NPN_LIKE = ("npn", "n-mosfet")


@dataclass(frozen=True)
class _Coil:
    """A switched end of a coil: its net, the rail at the other end, what switches it, and which part the coil is."""

    net: str
    rail: Rail
    switch: Part
    coil: str


def flyback_diodes(flow: Flow, names: NewNames) -> Remedy | None:
    """A diode for each coil that an output pulls to ground and that has none.

    Coils are relays on the board, and what a connector of kind ``solenoid`` leads to.

    Returns:
        None when every coil has one, or the board switches none.
    """
    board = flow.board
    found = sorted(_bare(flow), key=lambda coil: natural_key(coil.net))
    if not found:
        return None
    kind, value, rating = _DIODE
    placed = {coil.net: names.next("D") for coil in found}
    wires: list[tuple[str, str]] = []
    connections: list[tuple[str, str]] = []
    for coil in found:
        near = (coil.switch.x_mm, coil.switch.y_mm)
        for pin, net in (("2", coil.net), ("1", coil.rail.net)):
            wires.append((f"{placed[coil.net]}.{pin}", point_on(board, net, (), near)))
            connections.append((f"{placed[coil.net]}.{pin}", net))
    return Remedy(
        id="flyback-diodes",
        title=f"flyback diodes at {', '.join(coil.net for coil in found)}",
        why=f"{', '.join(dict.fromkeys(c.switch.refdes for c in found))} switch coils without a diode: each switch-off "
        "throws the coil's current at the transistor until it breaks down.",
        parts_on=(
            KitLine(
                kind, value, "AXIAL-10.16", len(found), tuple(placed.values()),
                "stripe (cathode) to the coil's supply",
            ),
        ),
        steps=(
            *(
                f"{placed[c.net]}: stripe to net {c.rail.net}, other end to net {c.net}, leads short, sleeved."
                for c in found
            ),
            "Before power, measure each coil's resistance and put it into the figure; a shorted coil burns the new diode.",
        ),
        checks=tuple(check for coil in found for check in _checks(coil, rating)),
        changes=frozenset(net_subject(coil.net) for coil in found),
        cautions=cautions_called("solenoid", "polarity", "iron", "fumes", "lead"),
        jumpers=tuple(wires),
        connections=tuple(connections),
    )  # fmt: skip


def _bare(flow: Flow) -> Iterator[_Coil]:
    for net, rail, coil in _coils(flow):
        switch = _switch(flow, net)
        if switch is not None and not _clamped(flow, net, rail.net, switch):
            yield _Coil(net, rail, switch, coil)


def _coils(flow: Flow) -> Iterator[tuple[str, Rail, str]]:
    """(switched net, coil supply, which part) of relays here and of solenoids behind a connector."""
    board = flow.board
    rails = {net: rail for net, rail in board.index.rails.items() if rail.volts > 0}
    for connector in board.connectors:
        pins = board.index.pins_of_part.get(connector.refdes, ())
        nets = list(dict.fromkeys(board.index.net_of_pin[pin] for pin in pins))
        supply = next((rails[net] for net in nets if net in rails), None)
        if connector.kind == "solenoid" and supply:
            yield from ((net, supply, connector.refdes) for net in nets if flow.signal(net))
    for refdes, kind in flow.kinds.items():
        ends = [flow.net(PinRef(refdes, pin)) for pin in ("A1", "A2")]
        if kind == "relay" and any(ends):
            for net, other in (ends, ends[::-1]):
                if other in rails and flow.signal(net):
                    yield net, rails[other], refdes


def _switch(flow: Flow, net: str) -> Part | None:
    """What pulls the net to ground: an open-collector output, or the collector of an NPN transistor."""
    for pin in flow.board.nets[net]:
        part, spec = flow.board.index.parts.get(pin.refdes), flow.spec(pin)
        if part is None or spec is None:
            continue
        collector = flow.kinds[pin.refdes] == "transistor" and spec.name.upper() in ("C", "D")
        if spec.direction == "open-collector" or (collector and part.type.startswith(_NPN_LIKE)):
            return part
    return None


def _clamped(flow: Flow, net: str, rail: str, switch: Part) -> bool:
    """Whether a diode leads from the net to the rail, or the switch has its own whose common pin is on the rail."""
    for pin in flow.board.nets[net]:
        far = flow.across(pin) if flow.kinds.get(pin.refdes) == "diode" else None
        if far and flow.net(far) == rail:
            return True
    known = flow.library.of(switch)
    common = [PinRef(switch.refdes, p.number) for p in (known.pins if known else ()) if p.name == "COM"]
    return any(flow.net(pin) == rail for pin in common)


def _checks(coil: _Coil, rating: float) -> tuple[Check, ...]:
    known = known_parts().get(coil.switch.value.upper())
    stands = known.ratings.get("vceo_v") if known else None
    answer, inputs = asked(
        "flyback",
        rail=percent(coil.rail.volts, coil.rail.tolerance),
        diode_rating=f"{rating}",
        **({"transistor": f"{stands}"} if stands else {}),
    )
    where = "" if stands else f"rating of {coil.switch.value or coil.switch.type} not known, 100 V assumed"
    found = checks_of(
        answer,
        inputs,
        sources={
            "voltage at the transistor": known.source if known and stands else where,
            "diode current": "coil of 20 Ω assumed: measure it",
        },
    )
    return tuple(_named(check, coil.net) for check in found)


def _named(check: Check, net: str) -> Check:

    return replace(check, name=f"{net}: {check.name}")
