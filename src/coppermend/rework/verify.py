"""Whether a remedy, carried out on the graph, makes just the connections it means to. Carrying out is ``apply``."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import permutations

from coppermend.board.check import check_board
from coppermend.board.finding import Finding
from coppermend.board.kinds import kind_of
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.board.same import Same
from coppermend.rework.apply import apply_remedy, point_on
from coppermend.rework.records import Remedy


def check_remedy(board: Board, library: PartLibrary, remedy: Remedy) -> tuple[Finding, ...]:
    """What is wrong with the board once ``remedy`` is carried out; () when nothing is.

    Looks for connections that the remedy means to make and does not (naming the missing one), pins of new parts
    joined to a net they are not meant for, inputs that lost their last driver, nets left with one pin, and every
    error of ``check_board`` that the board did not have before. An output that nothing reads any more is no fault.

    Raises:
        InputError: If the remedy cannot be carried out on this board.
    """
    after = apply_remedy(board, library, remedy)
    found = [*_missing(board, after, remedy), *_strange(after, remedy), *_floating(board, after, library)]
    before = _errors_before(Same(board), Same(library))
    errors = [f for f in check_board(after, library) if f.severity == "error"]
    found += [f for f in errors if (f.code, f.subjects) not in before]
    return tuple(dict.fromkeys(found))


@lru_cache(maxsize=8)
def _errors_before(board: Same[Board], library: Same[PartLibrary]) -> Counter[tuple[str, tuple[str, ...]]]:
    """Errors that the board has anyway; remembered, since every remedy of a board is held against them."""
    found = check_board(board.thing, library.thing)
    return Counter((f.code, f.subjects) for f in found if f.severity == "error")


def _missing(board: Board, after: Board, remedy: Remedy) -> Iterator[Finding]:
    for point, net in remedy.connections:
        wanted = _wanted(after, board, net)
        if not wanted or after.index.net_of_pin.get(PinRef.parse(point)) != wanted:
            near = point_on(board, net, (*remedy.parts_off, PinRef.parse(point).refdes))
            tail = f", for example by a jumper from {point} to {near}" if near else ""
            what = f"net {net}" if net in board.nets else f"pin {net}"
            message = f"{point} is not joined to {what}: that connection is missing{tail}"
            yield Finding("missing-connection", "error", message, (point, net))


def _wanted(after: Board, board: Board, target: str) -> str:
    """The net that a connection's second end is on now: a pin of a new part, or a net of the old board."""
    refdes = target.rpartition(".")[0]
    if refdes in after.index.parts and target not in board.nets:
        return after.index.net_of_pin.get(PinRef.parse(target), "")
    return _now(after, board, target)


def _now(after: Board, board: Board, net: str) -> str:
    """What a net of the old board is called on the new one: jumpers may have merged it into another."""
    if net in after.nets:
        return net
    pins = [after.index.net_of_pin.get(pin, "") for pin in board.nets.get(net, ())]
    return next((name for name in pins if name), net)


def _strange(after: Board, remedy: Remedy) -> Iterator[Finding]:
    """Pins of new parts on a net although no connection is meant."""
    meant = {point for point, _ in remedy.connections}
    meant |= {
        to
        for _, to in remedy.connections
        if to.rpartition(".")[0] in after.index.parts and to not in after.nets
    }
    for refdes in sorted({point.rpartition(".")[0] for point in meant}):
        for pin in after.index.pins_of_part[refdes]:
            if str(pin) not in meant:
                message = f"{pin} is on net {after.index.net_of_pin[pin]}, which the remedy does not mean"
                yield Finding("unmeant-connection", "error", message, (str(pin),))


def _floating(board: Board, after: Board, library: PartLibrary) -> Iterator[Finding]:
    """Nets that the remedy leaves without a driver or with a single pin, and that were sound before."""
    for net, pins in after.nets.items():
        was = board.nets.get(net, ())
        if len(set(pins)) == 1 and len(set(was)) > 1 and _direction(after, library, pins[0]) != "out":
            yield Finding(
                "single-pin-net", "error", f"net {net} is left with {pins[0]} only", (net, str(pins[0]))
            )
        elif (
            _listens(after, library, pins)
            and not _speaks(after, library, pins)
            and _speaks(board, library, was)
        ):
            yield Finding(
                "floating-input", "error", f"net {net} has inputs and nothing left to drive it", (net,)
            )


def _listens(board: Board, library: PartLibrary, pins: tuple[PinRef, ...]) -> bool:
    return any(_direction(board, library, pin) in ("in", "bidi") for pin in pins)


def _speaks(board: Board, library: PartLibrary, pins: tuple[PinRef, ...]) -> bool:
    """Whether anything can set the level: an output, a part that passes one on, or a way off the board."""
    for pin in pins:
        part = board.index.parts.get(pin.refdes)
        if part is None:
            continue
        passive = kind_of(part, library) not in ("capacitor", "electrolytic", "supercapacitor", "mechanical")
        if (
            _direction(board, library, pin)
            in ("out", "bidi", "open-collector", "power", "ground", "", "passive")
            and passive
        ):
            return True
    return False


def _direction(board: Board, library: PartLibrary, pin: PinRef) -> str:
    part = board.index.parts.get(pin.refdes)
    known = library.of(part) if part else None
    spec = known.pin(pin.pin) if known else None
    return spec.direction if spec else ""


def conflicts(chosen: Sequence[Remedy]) -> tuple[str, ...]:
    """Why remedies cannot be carried out together, one sentence each; () when they can.

    Two that exclude each other, that take the same part off, that bring the same new refdes, or of which one solders
    a wire to a part that the other takes off.
    """
    found = []
    for one, other in permutations(chosen, 2):
        if one.id < other.id:
            found += _clashes(one, other)
        placed = {refdes for line in other.parts_on for refdes in line.refdes}
        gone = set(other.parts_off) - placed
        ends = {end for jumper in one.jumpers for end in jumper if end.rpartition(".")[0] in gone}
        found += [f"{one.id} solders a wire to {end}, which {other.id} takes off" for end in sorted(ends)]
    return tuple(found)


def _clashes(one: Remedy, other: Remedy) -> list[str]:
    found = []
    if other.id in one.excludes or one.id in other.excludes:
        found.append(f"{one.id} and {other.id} exclude each other")
    twice = set(one.parts_off) & set(other.parts_off)
    found += [f"{one.id} and {other.id} both take off {refdes}" for refdes in sorted(twice)]
    placed = ({refdes for line in r.parts_on for refdes in line.refdes} for r in (one, other))
    both = set.intersection(*placed) - twice
    return found + [f"{one.id} and {other.id} both bring {refdes}" for refdes in sorted(both)]
