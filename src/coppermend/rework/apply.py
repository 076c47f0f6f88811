"""A remedy carried out on the board's graph: parts off, parts on, jumpers. Judging the result is ``verify``."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from coppermend.board.kinds import natural_key
from coppermend.board.model import Board, Pad, Part, PinRef, Via
from coppermend.board.parttypes import PartLibrary
from coppermend.errors import InputError
from coppermend.rework.records import KitLine, Remedy

# What is no part of the graph: a socket has the refdes and the contacts of its chip, crimp contacts sit in a cable's
# housing.
_NO_GRAPH = ("ic-socket", "crimp-contacts")


def apply_remedy(board: Board, library: PartLibrary, remedy: Remedy) -> Board:
    """The board as it will be: a new graph, the old one untouched.

    A part in ``parts_off`` disappears with its pins; its plated holes stay as vias, since they may join the layers.
    A plug takes over all contacts of the part in whose socket it stands. A part on at a refdes that the board has takes over the old part's place and, pin by pin of equal name or
    number, its nets. Any other part on comes without a place and is joined by ``jumpers`` alone. A jumper puts two points on one net; if both have
    one, the net of its second point is kept and the other renamed, copper and rails included.

    Args:
        board: The board.
        library: Part types, to match pins by name.
        remedy: What is done; a remedy that is only a note changes nothing.

    Returns:
        The changed board. Nets that lose their last pin go, with their copper.

    Raises:
        InputError: If a part off is not on the board, or a jumper ends at a point that neither board nor remedy has.
    """
    if missing := [refdes for refdes in remedy.parts_off if refdes not in board.index.parts]:
        raise InputError(f"remedy {remedy.id} takes off {missing[0]}, which is not on the board")
    on = {refdes: line for line in remedy.parts_on for refdes in line.refdes if line.type not in _NO_GRAPH}
    plugs = {old: new for new, old in remedy.plugs}
    in_place = {refdes for refdes in on if refdes in board.index.parts}
    made = _plugged(board, plugs, on)
    gone = set(remedy.parts_off) - in_place - set(plugs)
    made = _without_parts(made, gone)
    in_place |= set(plugs.values())
    made = _replaced(made, library, {r: on[r] for r in in_place - set(plugs.values())})
    made = replace(
        made,
        parts=(*made.parts, *(_new_part(r, line, remedy) for r, line in on.items() if r not in in_place)),
    )
    made = _joined(made, remedy.jumpers, remedy.id)
    return _tidied(_remapped(made, dict(remedy.stands_in)), board)


def _remapped(board: Board, stands_in: Mapping[str, str]) -> Board:
    """The memory map with new parts where they answer for old ones."""
    regions = tuple(
        replace(region, parts=tuple(dict.fromkeys(stands_in.get(part, part) for part in region.parts)))
        for region in board.memory_map
    )
    return replace(board, memory_map=regions)


def apply_remedies(board: Board, library: PartLibrary, chosen: Collection[Remedy]) -> Board:
    """The board after several remedies, one after the other, in the order in which they are given.

    Raises:
        InputError: As ``apply_remedy``; so it names what a later remedy misses after an earlier one.
    """
    for remedy in chosen:
        board = apply_remedy(board, library, remedy)
    return board


def _plugged(board: Board, plugs: Mapping[str, str], on: Mapping[str, KitLine]) -> Board:
    """The board with plugs in the sockets of parts that are lifted out: same contacts under another refdes."""
    if not plugs:
        return board
    moved = {
        net: tuple(PinRef(plugs.get(pin.refdes, pin.refdes), pin.pin) for pin in pins)
        for net, pins in board.nets.items()
    }
    parts = [
        replace(p, refdes=plugs[p.refdes], type=on[plugs[p.refdes]].type, value=on[plugs[p.refdes]].value)
        if p.refdes in plugs
        else p
        for p in board.parts
    ]
    pads = tuple(replace(pad, refdes=plugs.get(pad.refdes, pad.refdes)) for pad in board.pads)
    return replace(board, parts=tuple(parts), nets=moved, pads=pads)


def _without_parts(board: Board, gone: set[str]) -> Board:
    kept = {net: tuple(p for p in pins if p.refdes not in gone) for net, pins in board.nets.items()}
    holes = [
        pad
        for pad in board.pads
        if pad.refdes in gone and pad.hole_mm and board.index.net_of_pin.get(pad.ref)
    ]
    return replace(
        board,
        parts=tuple(part for part in board.parts if part.refdes not in gone),
        nets=kept,
        pads=tuple(pad for pad in board.pads if pad.refdes not in gone),
        vias=(*board.vias, *_as_vias(board, holes)),
    )


def _as_vias(board: Board, pads: list[Pad]) -> list[Via]:
    taken = [int(v.name[1:]) for v in board.vias if v.name[:1] == "V" and v.name[1:].isdigit()]
    first = max(taken, default=0) + 1
    return [
        Via(
            f"V{first + n}",
            board.index.net_of_pin[pad.ref],
            pad.x_mm,
            pad.y_mm,
            pad.hole_mm,
            min(pad.size_mm, pad.height_mm),
        )
        for n, pad in enumerate(pads)
    ]


def _replaced(board: Board, library: PartLibrary, swaps: Mapping[str, KitLine]) -> Board:
    """The same places with other parts; pins follow their names where the numbers differ."""
    parts: list[Part] = []
    renamed: dict[PinRef, PinRef] = {}
    for part in board.parts:
        line = swaps.get(part.refdes)
        if line is None:
            parts.append(part)
            continue
        new = replace(part, type=line.type, value=line.value, package=line.package or part.package)
        renamed |= _pin_moves(board, library, part, new)
        parts.append(new)
    moved = {net: tuple(renamed.get(pin, pin) for pin in pins) for net, pins in board.nets.items()}
    pads = tuple(replace(pad, pin=renamed[pad.ref].pin) if pad.ref in renamed else pad for pad in board.pads)
    return replace(board, parts=tuple(parts), nets=moved, pads=pads)


def _pin_moves(board: Board, library: PartLibrary, old: Part, new: Part) -> dict[PinRef, PinRef]:
    before, after = library.of(old), library.of(new)
    if before is None or after is None:
        return {}
    by_name = {pin.name.upper(): pin.number for pin in after.pins}
    moves = {}
    for pin in board.index.pins_of_part[old.refdes]:
        spec = before.pin(pin.pin)
        number = by_name.get(spec.name.upper()) if spec else None
        if number and number != pin.pin:
            moves[pin] = PinRef(pin.refdes, number)
    return moves


def _new_part(refdes: str, line: KitLine, remedy: Remedy) -> Part:
    return Part(refdes, line.type, line.value, package=line.package, notes=f"added by {remedy.id}, wired")


def _joined(board: Board, jumpers: Sequence[tuple[str, str]], remedy: str) -> Board:
    """The board with both ends of each jumper on one net: that of its second end, where it has one."""
    at: dict[PinRef | Via, str] = {pin: net for pin, net in board.index.net_of_pin.items()}  # noqa: C416
    nets = {net: list(pins) for net, pins in board.nets.items()}
    renamed: dict[str, str] = {}
    for a, b in jumpers:
        first, second = _end(board, a, remedy), _end(board, b, remedy)
        other, keep = (_net_now(end, at, renamed) for end in (first, second))
        keep, other = (keep, other) if keep else (other, "")
        keep = keep or f"WIRE_{a}".replace(".", "_")
        for end in (first, second):
            if isinstance(end, PinRef) and not at.get(end):
                at[end] = keep
                nets.setdefault(keep, []).append(end)
        if other and other != keep:
            renamed[other] = keep
            moved = nets.pop(other)
            at.update(dict.fromkeys(moved, keep))
            nets[keep] = list(dict.fromkeys((*nets.get(keep, ()), *moved)))
    joined = replace(board, nets={net: tuple(pins) for net, pins in nets.items()})
    return _renamed(joined, renamed) if renamed else joined


def _net_now(end: PinRef | Via, at: Mapping[PinRef | Via, str], renamed: Mapping[str, str]) -> str:
    net = end.net if isinstance(end, Via) else at.get(end, "")
    while net in renamed:
        net = renamed[net]
    return net


def _end(board: Board, point: str, remedy: str) -> PinRef | Via:
    if via := board.index.vias.get(point):
        return via
    pin = PinRef.parse(point)
    if pin.refdes not in board.index.parts:
        raise InputError(
            f"remedy {remedy} has a jumper to {point}", expected="a part on the board or one it adds"
        )
    return pin


def _renamed(board: Board, renamed: Mapping[str, str]) -> Board:
    """Copper and rails follow the nets that jumpers merged into others."""

    def now(net: str) -> str:
        while net in renamed:
            net = renamed[net]
        return net

    return replace(
        board,
        vias=tuple(replace(v, net=now(v.net)) if v.net in renamed else v for v in board.vias),
        tracks=tuple(replace(t, net=now(t.net)) if t.net in renamed else t for t in board.tracks),
        areas=tuple(replace(a, net=now(a.net)) if a.net in renamed else a for a in board.areas),
        rails=tuple(r for r in board.rails if r.net not in renamed or now(r.net) not in board.index.rails),
    )


def _tidied(board: Board, before: Board) -> Board:
    """Nets that lost all their pins go, with copper that no longer leads anywhere."""
    empty = {net for net, pins in board.nets.items() if not pins and before.nets.get(net)}
    return replace(
        board,
        nets={net: pins for net, pins in board.nets.items() if net not in empty},
        vias=tuple(v for v in board.vias if v.net not in empty),
        tracks=tuple(t for t in board.tracks if t.net not in empty),
        areas=tuple(a for a in board.areas if a.net not in empty),
        rails=tuple(r for r in board.rails if r.net not in empty),
        clocks=tuple(c for c in board.clocks if c.net not in empty),
    )


class NewNames:
    """Free refdes for parts that remedies add: each is given out once, so that remedies can be combined."""

    def __init__(self, board: Board) -> None:
        self.board, self.taken = board, set[str]()

    def next(self, letter: str) -> str:
        """The next free refdes with a letter that was not given out before."""
        name = next_refdes(self.board, letter, self.taken)
        self.taken.add(name)
        return name


def next_refdes(board: Board, letter: str, taken: Collection[str] = ()) -> str:
    """The next free refdes with a letter: "U27" after U26.

    >>> next_refdes(Board("x", 1, 1, parts=(Part("R2"),)), "R", ["R3"])
    'R4'
    """
    names = [*board.index.parts, *taken]
    numbers = [
        int(name[len(letter) :])
        for name in names
        if name.startswith(letter) and name[len(letter) :].isdigit()
    ]
    return f"{letter}{max(numbers, default=0) + 1}"


def point_on(board: Board, net: str, gone: Collection[str], near: tuple[float, float] | None = None) -> str:
    """A pin of ``net`` to solder a wire to: one that stays, nearest to ``near`` [mm]; "" when none stays."""
    staying = [pin for pin in board.nets.get(net, ()) if pin.refdes not in gone]
    if not staying:
        return ""
    placed = [pin for pin in staying if pin in board.index.pads]
    if near and placed:
        pads = board.index.pads
        return str(
            min(placed, key=lambda p: ((pads[p].x_mm - near[0]) ** 2 + (pads[p].y_mm - near[1]) ** 2, str(p)))
        )
    return str(min(staying, key=lambda pin: natural_key(str(pin))))
