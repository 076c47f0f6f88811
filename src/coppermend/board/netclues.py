"""What the parts and tables of a board say about one net, strongest clue first. No walking from net to net."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import NamedTuple

from coppermend.board.kinds import kinds_of
from coppermend.board.model import Board, Connector, Part, PinRef
from coppermend.board.parttypes import PartLibrary, PinSpec
from coppermend.board.where import part_words
from coppermend.quantity import format_quantity

_GROUND = re.compile(r"(?:[ADPS]|CHASSIS_?)?GND(?:[A-Z]|\d*)|GROUND|VSS|0V\d*")
_RAIL = re.compile(r"[+-]\d+(?:\.\d+)?V?\w*|\d+V\d*|V(?:CC|DD|EE|BB|PP|BAT|BACKUP|RAM)\w*")
# Names that boards give their nets (common practice, no source); believed when nothing else speaks.
_NAMES = tuple(
    (re.compile(pattern), role, does)
    for pattern, role, does in (
        (r"(?:ADDR?|A)_?(\d{1,2})", "address", "address line {}, by its name"),
        (r"(?:DATA|DB|D)_?(\d{1,2})", "data", "data line {}, by its name"),
        (r"N?(?:RES|RST|RESET)\w{0,4}", "reset", "reset, by its name"),
        (r"(?:CLK|CLOCK|PHI\d|XTAL)\w{0,4}", "clock", "clock, by its name"),
        (r"N?(?:IRQ|NMI|FIRQ|INT)\w{0,2}", "interrupt", "interrupt, by its name"),
        (r"\w{0,6}(?:CS|CE)\d?", "select", "chip select, by its name"),
        (r"R/?W|RW|N?(?:RD|WR|OE|WE)\w?", "control", "control line, by its name"),
    )
)
_ANY_NAME = re.compile("|".join(f"(?:{pattern.pattern})" for pattern, _, _ in _NAMES))  # most nets fit none
_CONNECTOR_ROLES = {
    "lamp": ("lamp", "lamp"), "solenoid": ("solenoid", "solenoid"), "display": ("display", "display"),
    "sound": ("sound", "sound"), "switch": ("switch", "switch"), "option": ("option", "option switch"),
    "supply": ("rail", "supply"), "bus": ("signal", "bus line"), "": ("signal", "line"),
}  # fmt: skip
_SAYS_KIND = re.compile(r"\b(?:switch|lamp|solenoid|display|sound)\b", re.IGNORECASE)
_CPU_ORDER = ("address", "data", "reset", "clock", "interrupt", "control")
_CHIP_ORDER = ("address", "data", "reset", "interrupt", "select", "clock", "control")
_CHIPS = frozenset({"rom", "ram", "peripheral"})
_MARKS = str.maketrans("", "", "~{}\\#*")


class Clue(NamedTuple):
    """A role with its words; ``weak`` gives way to what the net leads to."""

    role: str
    does: str
    weak: bool = False


class _Pin(NamedTuple):
    """A pin of a net with what is known of it."""

    ref: PinRef
    part: Part
    kind: str
    spec: PinSpec


_Rule = Callable[[str, list[_Pin]], Clue | None]


class NetClues:
    """Everything that speaks about the nets of one board, looked up once."""

    def __init__(self, board: Board, library: PartLibrary) -> None:
        self.board, self.library = board, library
        self._kinds = {refdes: kind or "" for refdes, kind in kinds_of(board, library).items()}
        self._cpus = [refdes for refdes, kind in self._kinds.items() if kind == "cpu"]
        self._clocks = {clock.net: clock.hz for clock in board.clocks}
        self._strobes = _numbered(board.matrix.strobes)
        self._returns = _numbered(board.matrix.returns)
        self._section_order = {section.name: i for i, section in enumerate(board.sections)}
        self._ordered: dict[frozenset[str], tuple[str, ...]] = {}
        types = {refdes: library.of(part) for refdes, part in board.index.parts.items()}
        self._specs = {refdes: known.pin_by_number if known else {} for refdes, known in types.items()}
        self._unlisted: dict[str, PinSpec] = {}
        self._speaking: dict[frozenset[str], list[_Rule]] = {}
        # Strongest first, each with the kinds of parts that it speaks about where it is about no others.
        self._rules: tuple[tuple[_Rule, frozenset[str] | None], ...] = (
            (self._declared, None), (self._supply, None), (self._cpu, frozenset({"cpu"})),
            (self._reset, frozenset({"supervisor", "peripheral"})),
            (self._clock, frozenset({"crystal", "oscillator"})), (self._chip, _CHIPS), (self._connector, None),
            (self._operated, frozenset({"switch", "lamp", "display"})), (self._port, frozenset({"peripheral"})),
            (self._name, None),
        )  # fmt: skip

    @property
    def serve_machine(self) -> bool:
        """Whether any net can serve lamps, coils, displays, sound or switches, so that others lead to it."""
        matrix = self._strobes or self._returns or self.board.connectors
        return bool(matrix) or any(kind in ("switch", "lamp", "display") for kind in self._kinds.values())

    def sections(self, net: str) -> tuple[str, ...]:
        """Sections of the parts on ``net``, each once, in the order that the board lists them."""
        parts = self.board.index.parts
        named = frozenset([parts[pin.refdes].section for pin in self.board.nets[net] if pin.refdes in parts])
        if named not in self._ordered:
            last = len(self._section_order)
            order = sorted(named - {""}, key=lambda name: (self._section_order.get(name, last), name))
            self._ordered[named] = tuple(order)
        return self._ordered[named]

    def of(self, net: str) -> Clue:
        """The strongest clue about ``net``."""
        pins = list(self._pins(net))
        for rule in self._rules_about(frozenset([pin.kind for pin in pins])):
            if clue := rule(net, pins):
                return clue
        return self._joins(net, pins)

    def _rules_about(self, kinds: frozenset[str]) -> list[_Rule]:
        """The rules that speak of parts of these kinds, strongest first; remembered, since many nets join alike."""
        if kinds not in self._speaking:
            rules = [rule for rule, about in self._rules if about is None or not about.isdisjoint(kinds)]
            self._speaking[kinds] = rules
        return self._speaking[kinds]

    def _pins(self, net: str) -> Iterable[_Pin]:
        parts, specs, kinds = self.board.index.parts, self._specs, self._kinds
        for ref in self.board.nets[net]:
            if part := parts.get(ref.refdes):
                spec = specs[ref.refdes].get(ref.pin) or self._passive(ref.pin)
                yield _Pin(ref, part, kinds[ref.refdes], spec)

    def _passive(self, number: str) -> PinSpec:
        """A pin that the library does not list, remembered."""
        if number not in self._unlisted:
            self._unlisted[number] = PinSpec(number, number, "passive")
        return self._unlisted[number]

    def _declared(self, net: str, _pins: list[_Pin]) -> Clue | None:
        """Rails, clocks and matrix as ``board.toml`` names them."""
        if rail := self.board.index.rails.get(net):
            return Clue("rail", f"{rail.volts:+g} V rail") if rail.volts else Clue("ground", "ground")
        if net in self._strobes:
            return Clue("strobe", f"strobe {self._strobes[net]} of the switch matrix")
        if net in self._returns:
            return Clue("return", f"return {self._returns[net]} of the switch matrix")
        if net in self._clocks:
            return Clue("clock", f"{format_quantity(self._clocks[net], 'Hz')} clock")
        return None

    def _supply(self, net: str, pins: list[_Pin]) -> Clue | None:
        """Ground and rails that are not declared: by name, by regulator, by supply pins without a driver."""
        name = _bare(net)
        if _GROUND.fullmatch(name):
            return Clue("ground", "ground")
        if _RAIL.fullmatch(name):
            return Clue("rail", f"{name} rail")
        directions = {pin.spec.direction for pin in pins}
        if "ground" in directions:
            return Clue("ground", "ground")
        if "out" in directions:
            for pin in pins:
                if pin.kind == "regulator" and pin.spec.direction == "out":
                    return Clue("rail", f"rail made by {part_words(pin.part)}")
        if "power" in directions and not directions & {"out", "bidi"}:
            return Clue("rail", f"supply of {_parts([pin for pin in pins if pin.spec.direction == 'power'])}")
        return None

    def _cpu(self, _net: str, pins: list[_Pin]) -> Clue | None:
        pin = _first(pins, frozenset({"cpu"}), _CPU_ORDER)
        if pin is None:
            return None
        which = "the CPU" if len(self._cpus) == 1 else part_words(pin.part)
        return Clue(pin.spec.role, f"{_line(pin.spec)} of {which}")

    def _reset(self, _net: str, pins: list[_Pin]) -> Clue | None:
        for pin in pins:
            if pin.spec.role == "reset" and pin.kind in ("supervisor", "peripheral"):
                return Clue(
                    "reset", f"reset {'from' if pin.kind == 'supervisor' else 'of'} {part_words(pin.part)}"
                )
        return None

    def _clock(self, _net: str, pins: list[_Pin]) -> Clue | None:
        for pin in pins:
            if pin.kind == "crystal" or (pin.kind == "oscillator" and pin.spec.direction == "out"):
                return Clue("clock", f"clock at {part_words(pin.part)}")
        return None

    def _chip(self, _net: str, pins: list[_Pin]) -> Clue | None:
        """Buffered buses and selects: nets of memories and peripherals that no CPU pin is on."""
        pin = _first(pins, _CHIPS, _CHIP_ORDER)
        if pin is None:
            return None
        same = [p for p in pins if p.kind in _CHIPS and p.spec.role == pin.spec.role]
        return Clue(pin.spec.role, f"{_line(pin.spec)} of {_parts(same)}")

    def _connector(self, _net: str, pins: list[_Pin]) -> Clue | None:
        known = self.board.index.connectors
        found = [(known[pin.ref.refdes], pin.ref) for pin in pins if pin.ref.refdes in known] if known else []
        # A plain label says less than a lamp or a solenoid that the net goes to as well.
        found.sort(key=lambda pair: pair[0].kind in ("", "bus"))
        return _at_connector(*found[0]) if found else None

    def _operated(self, _net: str, pins: list[_Pin]) -> Clue | None:
        """Nets at parts that a person sees or touches: switches, buttons, lamps, displays."""
        for pin in pins:
            if pin.kind == "switch" and pin.part.type.startswith("dip-switch"):
                return Clue("option", f"option switch {pin.spec.name.rstrip('AB')} of {pin.ref.refdes}")
            if pin.kind == "switch":
                return Clue("switch", f"switch {_titled(pin.part)}")
            if pin.kind in ("lamp", "display"):
                return Clue(pin.kind, f"{pin.kind} {pin.ref.refdes}")
        return None

    def _port(self, _net: str, pins: list[_Pin]) -> Clue | None:
        for pin in pins:
            if pin.spec.role == "port" and pin.kind == "peripheral":
                return Clue("signal", f"port line {pin.spec.name} of {part_words(pin.part)}", weak=True)
        return None

    def _name(self, net: str, _pins: list[_Pin]) -> Clue | None:
        name = _bare(net)
        for pattern, role, does in _NAMES if _ANY_NAME.fullmatch(name) else ():
            if found := pattern.fullmatch(name):
                return Clue(
                    role, does.format(*found.groups()), weak=role not in ("reset", "clock", "interrupt")
                )
        return None

    def _joins(self, net: str, pins: list[_Pin]) -> Clue:
        for pin in pins:
            if pin.spec.direction in ("out", "open-collector"):
                others = [p for p in pins if p.ref.refdes != pin.ref.refdes]
                to = f", to {_parts(others)}" if others else ""
                return Clue("signal", f"output {pin.spec.name} of {part_words(pin.part)}{to}", weak=True)
        if not pins:
            return Clue("signal", "reaches no part that the board lists", weak=True)
        reach = "joins" if len({pin.ref.refdes for pin in pins}) > 1 else "only reaches"
        return Clue("signal", f"{reach} {_parts(pins)}", weak=True)


def _numbered(nets: tuple[str, ...]) -> dict[str, int]:
    """Numbers of strobes or returns: those at the end of their names where all differ, else counted from 1."""
    ends = [re.search(r"(\d+)$", net) for net in nets]
    numbers = [int(end[1]) for end in ends if end]
    own = len(numbers) == len(nets) == len(set(numbers))
    return dict(zip(nets, numbers if own else range(1, len(nets) + 1), strict=True))


def _bare(net: str) -> str:
    """A net's name as it is spoken: without its sheet ("/sheet/NAME"), bars and polarity marks, in capitals."""
    name = net.rpartition("/")[2] if net.startswith("/") else net
    return (name or net).translate(_MARKS).upper()


def _first(pins: list[_Pin], kinds: frozenset[str], roles: tuple[str, ...]) -> _Pin | None:
    known = [pin for pin in pins if pin.kind in kinds and pin.spec.role in roles]
    return min(known, key=lambda pin: roles.index(pin.spec.role)) if known else None


def _line(spec: PinSpec) -> str:
    """What a pin of a bus is called: "address line 5", "reset", "clock PHI2", "control line R/W"."""
    if number := re.fullmatch(r"(AD?|DB?)(\d+)", spec.name):
        both = "address and " if number[1] == "AD" else ""
        return f"{both}{spec.role} line {number[2]}"
    nouns = {
        "address": "register select",
        "select": "chip select",
        "control": "control line",
        "data": "data line",
    }
    return "reset" if spec.role == "reset" else f"{nouns.get(spec.role, spec.role)} {spec.name}"


def _parts(pins: Iterable[_Pin]) -> str:
    """Parts in few words: two by name, of more the first and how many others."""
    parts = list({pin.part.refdes: pin.part for pin in pins}.values())
    first = part_words(parts[0])
    if len(parts) == 2:
        return f"{first} and {part_words(parts[1])}"
    return f"{first} and {len(parts) - 1} more" if len(parts) > 2 else first


def _titled(part: Part) -> str:
    return f"{part.refdes} ({part.value or part.notes})" if part.value or part.notes else part.refdes


def _at_connector(connector: Connector, pin: PinRef) -> Clue:
    label = connector.signals.get(pin.pin, "")
    # Mixed connectors: a label such as "tilt switch" says more than what the connector mostly serves.
    said = _SAYS_KIND.search(label)
    role, noun = _CONNECTOR_ROLES[said[0].lower() if said else connector.kind]
    names_itself = bool(label) and (not connector.kind or noun.split()[0] in label.lower())
    words = label if said or names_itself else f"{noun} {label}".strip()
    return Clue(role, f"{words} at {pin}", weak=role == "signal")
