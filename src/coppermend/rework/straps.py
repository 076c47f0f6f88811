"""Remedies for inputs that nothing on the board sets: a protective strap, or the pull-ups of a card that is gone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from coppermend.board.cautions import PRACTICE, cautions_called
from coppermend.board.flow import Flow
from coppermend.board.kinds import natural_key
from coppermend.board.model import PinRef, Rail
from coppermend.board.subject import net_subject
from coppermend.quantity import format_quantity
from coppermend.rework.apply import NewNames, point_on
from coppermend.rework.figured import asked, checks_of, percent
from coppermend.rework.figures.figure import Answer
from coppermend.rework.records import Check, KitLine, Remedy

# Tried from the largest down: the weaker a strap, the less a stuck contact or output has to sink.
_VALUES_OHM = (10e3, 4.7e3, 3.3e3, 2.2e3, 1e3)
_TTL_HIGH_V = 2.4
_WIRING_F = 100e-12  # a net with a cable on it; common practice, no source


@dataclass(frozen=True)
class _Open:
    """A net whose level nothing on the board sets: its inputs, and outputs that can only pull it down."""

    net: str
    inputs: tuple[PinRef, ...]
    pullers: tuple[PinRef, ...]
    connector: str
    on_card: bool


def input_straps(flow: Flow, main: Rail | None, names: NewNames) -> Remedy | None:
    """A resistor to the rail on each input that only a cable sets, so that an open wire reads as rest.

    Returns:
        None when the board has no such input or no supply rail.
    """
    found = [o for o in _open_nets(flow) if not o.on_card and not o.pullers]
    return _strapped(
        flow, main, names, found, "input-straps",
        title="protective straps at inputs that only a cable sets",
        why="{nets}: nothing on this board sets the level. With the cable off, or one contact bad, the input floats, "
        "picks up whatever passes and takes static charge; a strap gives it rest.",
        step="Unplug the cable and measure {net} with power on: it must stand at the rail, not drift.",
    )  # fmt: skip


def pull_up_relocation(flow: Flow, main: Rail | None, names: NewNames) -> Remedy | None:
    """The pull-ups that stood on a plug-in card, fitted on the board, so that it runs without the card.

    Returns:
        None when every net of the card's connector has its level set on the board.
    """
    found = [o for o in _open_nets(flow) if o.on_card or o.pullers]
    return _strapped(
        flow, main, names, found, "pull-up-relocation",
        title="pull-ups moved from a plug-in card onto the board",
        why="{nets}: only the card held them high. Once it is out they float, and the processor sees stray interrupts "
        "or waits for ever.",
        step="With the card out and power on, measure {net}: it must stand at the rail.",
    )  # fmt: skip


def _open_nets(flow: Flow) -> Iterator[_Open]:
    kinds = {c.refdes: c.kind for c in flow.board.connectors}
    for net, pins in flow.board.nets.items():
        if not flow.signal(net):
            continue
        connector = next((p.refdes for p in pins if flow.kinds.get(p.refdes) == "connector"), "")
        others = [p for p in pins if flow.kinds.get(p.refdes) not in ("connector", "capacitor")]
        specs = {p: flow.spec(p) for p in others}
        inputs = tuple(p for p, spec in specs.items() if spec and spec.direction == "in")
        pullers = tuple(p for p, spec in specs.items() if spec and spec.direction == "open-collector")
        # A pin of unknown use may set the level, and a series part may lead to what does: then nothing is offered.
        if connector and inputs and len(inputs) + len(pullers) == len(others) and _chips(flow, inputs):
            edge = flow.board.index.parts[connector].package.upper().startswith("EDGE")
            yield _Open(net, inputs, pullers, connector, kinds.get(connector) == "bus" or edge)


def _chips(flow: Flow, inputs: tuple[PinRef, ...]) -> bool:
    """Whether all are chips, and none of them waits for a clock: that comes from a driver, strap or not."""
    specs = [flow.spec(pin) for pin in inputs]
    return all(flow.kinds.get(p.refdes) != "transistor" for p in inputs) and all(
        spec is not None and spec.role != "clock" for spec in specs
    )


def _strapped(
    flow: Flow, main: Rail | None, names: NewNames, found: list[_Open], id_: str, *, title: str, why: str, step: str
) -> Remedy | None:  # fmt: skip
    if not found or main is None or main.volts * (1 - main.tolerance) <= _TTL_HIGH_V:
        return None
    found = sorted(found, key=lambda o: natural_key(o.net))
    chosen = {o.net: _resistor(flow, main, o) for o in found}
    placed = {o.net: names.next("R") for o in found}
    wires: list[tuple[str, str]] = []
    connections: list[tuple[str, str]] = []
    for one in found:
        owner = flow.board.index.parts[one.inputs[0].refdes]
        for pin, net in (("1", one.net), ("2", main.net)):
            wires.append(
                (f"{placed[one.net]}.{pin}", point_on(flow.board, net, (), (owner.x_mm, owner.y_mm)))
            )
            connections.append((f"{placed[one.net]}.{pin}", net))
    values: dict[str, list[str]] = {}
    for net, (ohms, _) in chosen.items():
        values.setdefault(format_quantity(ohms, "Ω"), []).append(placed[net])
    nets = ", ".join(o.net for o in found)
    return Remedy(
        id=id_,
        title=title,
        why=why.format(nets=nets),
        parts_on=tuple(
            KitLine("resistor", value, "AXIAL-10.16", len(refdes), tuple(refdes), f"to {main.net}")
            for value, refdes in values.items()
        ),
        steps=(
            *(
                f"{placed[o.net]}: from {o.inputs[0]} (net {o.net}) to {main.net}, on the solder side or across the chip."
                for o in found
            ),
            *(step.format(net=o.net) for o in found),
        ),
        checks=tuple(check for o in found for check in _checks(flow, main, o, *chosen[o.net])),
        changes=frozenset(net_subject(o.net) for o in found),
        cautions=cautions_called("static", "iron", "fumes", "lead"),
        jumpers=tuple(wires),
        connections=tuple(connections),
    )  # fmt: skip


def family_of(type_name: str) -> str:
    """The logic family of a chip's type as the figure ``levels`` calls it; NMOS for processors and peripherals.

    >>> family_of("74LS04"), family_of("74HC04"), family_of("7404"), family_of("4069"), family_of("6821")
    ('74LS', '74HC', '74', '4000', 'NMOS')
    """
    name = type_name.upper()
    for pattern, family in (
        (r"74HCT", "74HCT"), (r"74A?HC", "74HC"), (r"74A?LS", "74LS"), (r"^(?:SN|DM|MC)?74\d", "74"), (r"^(?:CD|MC1)?4\d{3}B?$", "4000"),
        (r"65C\d", "74HC"),
    ):  # fmt: skip
        if re.search(pattern, name):
            return family
    return "NMOS"


def _resistor(flow: Flow, main: Rail, one: _Open) -> tuple[float, tuple[Answer, tuple[tuple[str, str], ...]]]:
    """The largest usual value that the pull-up window allows, or the smallest, with the figure's answer."""
    families = [family_of(flow.board.index.parts[p.refdes].type) for p in one.inputs]
    # The family that asks for the highest level decides what the net must reach.
    load = next((f for f in ("4000", "74HC", "74", "74LS", "74HCT", "NMOS") if f in families), "74LS")
    high = 0.7 * main.volts if load in ("4000", "74HC") else _TTL_HIGH_V
    last = None
    for ohms in _VALUES_OHM:
        answer, inputs = asked(
            "pull-up",
            pull_up=percent(ohms, 0.05), rail=percent(main.volts, main.tolerance),
            outputs=f"{len(one.pullers) + 1}", inputs=f"{len(one.inputs)}", load=load, high=f"{high} V",
            net=f"{_WIRING_F!r} F",
        )  # fmt: skip
        last = (ohms, (answer, inputs))
        if answer.ok:
            return last
    assert last is not None
    return last


def _checks(
    flow: Flow, main: Rail, one: _Open, ohms: float, figure: tuple[Answer, tuple[tuple[str, str], ...]]
) -> tuple[Check, ...]:
    answer, inputs = figure
    rise = answer.out("rise_s")
    window = checks_of(answer, inputs)
    family = dict(inputs)["load"]
    note = ""
    if family in ("74HC", "4000"):
        note = (
            "HC and 4000 inputs are not safe behind TTL or NMOS outputs; with a pull-up to the rail they are."
        )
    return (
        Check(
            f"{one.net}: strap of {format_quantity(ohms, 'Ω')} within the window",
            f"{window[0].value} to {window[1].value}",
            f"{window[0].limit}, {window[1].limit}",
            answer.ok, f"{window[0].source}; leakage of 100 µA and sink of 8 mA for what the cable brings: {PRACTICE}",
            note, figure="pull-up", inputs=inputs,
        ),
        Check(
            f"{one.net}: rise from 10 to 90 %", format_quantity(rise.high, "s"), "at most 10 µs", rise.high <= 10e-6,
            f"RC·ln 9 with {format_quantity(_WIRING_F, 'F')} of wiring; slower edges need a Schmitt input: {PRACTICE}",
            must=False, figure="pull-up", inputs=inputs,
        ),
    )  # fmt: skip
