"""Rules about parts, pins and part types: what ``parts.csv`` and ``nets.csv`` say against each other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from coppermend.board.finding import Finding, listed
from coppermend.board.index import Groups
from coppermend.board.kinds import natural_key
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary, PinSpec


def netlist_findings(board: Board, library: PartLibrary) -> Iterator[Finding]:
    """Findings of all rules in this file."""
    yield from _duplicate_refdes(board)
    yield from _missing_parts(board)
    yield from _pins_twice(board)
    yield from _pins_not_in_type(board, library)
    yield from _unconnected_power(board, library)
    yield from _tied_outputs(board, library)
    yield from _lonely_nets(board)
    yield from _pins_without_pads(board)
    yield from _unknown_types(board, library)


def _duplicate_refdes(board: Board) -> Iterator[Finding]:
    """Several parts of one refdes; harmless for mounting holes and the like, which have no pin on a net."""
    for refdes, count in Counter(part.refdes for part in board.parts).items():
        if count > 1:
            wired = bool(board.index.pins_of_part[refdes])
            tail = "" if wired else ", none of which has a pin on a net"
            yield Finding(
                "duplicate-refdes",
                "error" if wired else "note",
                f"{refdes} is the refdes of {count} parts{tail}",
                (refdes,),
            )


def _missing_parts(board: Board) -> Iterator[Finding]:
    """Parts that nets or pads speak of, and that ``parts.csv`` lacks."""
    index = board.index
    for refdes in sorted({*index.pins_of_part, *index.pads_of_part} - {*index.parts}, key=natural_key):
        pins = len(index.pins_of_part[refdes])
        what = f"{pins} pins on nets" if pins else "pads"
        yield Finding("missing-part", "error", f"{refdes} has {what} but is not among the parts", (refdes,))


def _pins_twice(board: Board) -> Iterator[Finding]:
    """Pins on two nets, and pins listed twice on one."""
    nets_of_pin = Groups.of((str(pin), net) for net, pins in board.nets.items() for pin in pins)
    for pin, nets in nets_of_pin.items():
        distinct = list(dict.fromkeys(nets))
        if len(distinct) > 1:
            message = f"pin {pin} is on {len(distinct)} nets: {listed(distinct)}"
            yield Finding("pin-on-two-nets", "error", message, (pin, *distinct))
        elif len(nets) > 1:
            message = f"pin {pin} is listed {len(nets)} times on net {nets[0]}"
            yield Finding("pin-listed-twice", "warning", message, (pin, nets[0]))


def _pins_not_in_type(board: Board, library: PartLibrary) -> Iterator[Finding]:
    """Pins on nets that the part's type does not have."""
    for refdes, part in board.index.parts.items():
        known = library.of(part)
        if known is None:
            continue
        strange = [p for p in board.index.pins_of_part[refdes] if known.pin(p.pin) is None]
        if strange:
            has = f"it has {len(known.pins)} pins" if known.pins else "it has no pins"
            message = f"{refdes} ({part.type}) has no pin {listed([p.pin for p in strange])}; {has}"
            yield Finding("pin-not-in-type", "error", message, tuple(map(str, strange)))


def _unconnected_power(board: Board, library: PartLibrary) -> Iterator[Finding]:
    """Power and ground pins on no net. A part without any pin on a net is a spare footprint: one note."""
    for refdes, part in board.index.parts.items():
        known = library.of(part)
        needed = [pin for pin in known.pins if pin.direction in ("power", "ground")] if known else []
        if needed and not board.index.pins_of_part[refdes]:
            yield Finding(
                "part-without-nets", "note", f"{refdes} ({part.type}) has no pin on a net", (refdes,)
            )
            continue
        for pin in needed:
            ref = PinRef(refdes, pin.number)
            if ref not in board.index.net_of_pin:
                message = f"{ref} ({pin.name} of {part.type}, {pin.direction}) is on no net"
                yield Finding("unconnected-power", "error", message, (str(ref),))


def _tied_outputs(board: Board, library: PartLibrary) -> Iterator[Finding]:
    """Outputs that always drive, on one net. Gates of one package in parallel may be meant: a warning."""
    for net, pins in board.nets.items():
        driving = [str(pin) for pin in dict.fromkeys(pins) if _always_drives(board, library, pin)]
        if len(driving) > 1:
            one_part = len({PinRef.parse(pin).refdes for pin in driving}) == 1
            tail = ", all of one part" if one_part else ""
            message = f"outputs tied together on net {net}: {listed(driving)}{tail}"
            severity = "warning" if one_part else "error"
            yield Finding("outputs-tied", severity, message, (net, *driving))  # type: ignore[arg-type]


def _always_drives(board: Board, library: PartLibrary, pin: PinRef) -> bool:
    """Whether a pin is a push-pull output that cannot be switched off.

    Bus pins of a CPU or peripheral give way to others; a regulator only sources.
    """
    part = board.index.parts.get(pin.refdes)
    known = library.of(part) if part else None
    spec: PinSpec | None = known.pin(pin.pin) if known else None
    if known is None or spec is None or spec.direction != "out":
        return False
    on_bus = known.kind in ("cpu", "peripheral") and spec.role in ("address", "data", "control")
    return not (known.three_state or on_bus or known.kind in ("rom", "ram", "regulator"))


def _lonely_nets(board: Board) -> Iterator[Finding]:
    """Nets of one pin or none, which connect nothing."""
    for net, pins in board.nets.items():
        distinct = set(pins)
        if not distinct:
            yield Finding("net-without-pins", "warning", f"net {net} has no pins", (net,))
        elif len(distinct) == 1:
            yield Finding(
                "single-pin-net", "warning", f"net {net} has one pin only: {pins[0]}", (net, str(pins[0]))
            )


def _pins_without_pads(board: Board) -> Iterator[Finding]:
    """Pins on nets that are nowhere on the board, part by part."""
    if not board.pads:
        if board.nets:
            yield Finding("no-pads", "note", "no pads: where pins are on the board is unknown")
        return
    for refdes, pins in board.index.pins_of_part.items():
        lost = [str(pin) for pin in pins if pin not in board.index.pads]
        if not lost or refdes not in board.index.parts:
            continue
        if board.index.pads_of_part[refdes]:
            message = f"{refdes} has pins on nets but no pads for them: {listed(lost)}"
        else:
            package = board.index.parts[refdes].package
            why = f"package {package!r} is not known" if package else "no package is given"
            message = f"{refdes} has no pads" + (f": {why}" if board.pads_from_packages else "")
        yield Finding("pin-without-pad", "warning", message, (refdes, *lost))


def _unknown_types(board: Board, library: PartLibrary) -> Iterator[Finding]:
    """Part types that the library lacks: such parts are handled without knowing their pins."""
    by_type = Groups.of((p.type, p.refdes) for p in board.parts if library.of(p) is None)
    for name, refdes in by_type.items():
        wired = [r for r in dict.fromkeys(refdes) if board.index.pins_of_part[r]]
        if wired:
            what = f"part type {name!r} is not in the library" if name else "no part type is given"
            yield Finding("unknown-type", "note", f"{what}: {listed(wired)}", tuple(wired))
