"""Puts IPC-D-356 and Gerber copper of one board together and checks one by the other. Builds no board."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Generic, NamedTuple, TypeVar

from coppermend.board.import_copper import Copper, NetPad
from coppermend.board.import_frame import Shift, shift_by_pins, shift_by_points
from coppermend.board.import_infer import with_nets_by_touch
from coppermend.board.model import Pad, PinRef, Via
from coppermend.errors import InputError

SAME_PLACE_MM = 0.05
_LISTED = 8


class _Pins(NamedTuple):
    """Net of every pin, "" for none; the first pad of a pin speaks for it."""

    net_of: dict[PinRef, str]

    @classmethod
    def of(cls, pads: Sequence[NetPad]) -> _Pins:
        table: dict[PinRef, str] = {}
        for net, pad in pads:
            table.setdefault(pad.ref, net)
        return cls(table)


def merged(gerber: Copper, ipc: Copper, where: str) -> Copper:
    """One copper from both, in the Gerber frame: names and shapes from Gerber, what it lacks from IPC-D-356.

    Args:
        gerber: From the Gerber and drill files; may name no nets and pins.
        ipc: From the IPC-D-356 file.
        where: The IPC-D-356 file's name, for errors.

    Raises:
        InputError: If the two do not fit together: other boards, or turned against each other.
    """
    shift = shift_by_pins(gerber.pads, ipc.pads) or shift_by_points(gerber.points_mm, ipc.points_mm)
    if shift is None or not shift.good:
        agreeing = (
            f"only {shift.agreeing} of {shift.compared} places agree" if shift else "no place is in both"
        )
        raise InputError(
            f"the IPC-D-356 and Gerber files do not fit together: {agreeing}",
            expected="files of one board",
            where=where,
        )
    moved = ipc.moved(shift.dx_mm, shift.dy_mm)
    note = _fit_note(shift)
    if not gerber.named:
        return _named_by_ipc(gerber, moved, note)
    full = _full_names(gerber, moved)
    added_pads = _missing_pads(gerber, moved, full)
    added_vias = _missing_vias(gerber, moved, full)
    notes = [*gerber.notes, *ipc.notes, note, *_disagreements(gerber, moved, full)]
    if added_pads:
        notes.append(f"{len(added_pads)} pads are in the IPC-D-356 file only")
    if added_vias:
        notes.append(f"{len(added_vias)} vias are in the IPC-D-356 file only")
    return replace(
        gerber,
        pads=(*gerber.pads, *added_pads),
        vias=(*gerber.vias, *added_vias),
        tracks=gerber.tracks or tuple(replace(t, net=full.get(t.net, t.net)) for t in moved.tracks),
        outline=gerber.outline or moved.outline,
        notes=tuple(notes),
    )


def _fit_note(shift: Shift) -> str:
    return (
        f"IPC-D-356 and Gerber agree on {shift.agreeing} of {shift.compared} places after a shift of "
        f"({shift.dx_mm:.3f}, {shift.dy_mm:.3f}) mm, within {shift.residual_mm:.3f} mm"
    )


def _named_by_ipc(gerber: Copper, ipc: Copper, note: str) -> Copper:
    """Pins, vias and nets from IPC-D-356; shapes of all copper and the outline from Gerber without names."""
    drawn = _Places((pad, pad.x_mm, pad.y_mm) for pad in gerber.bare_pads)
    vias = [(via, drawn.at(via.x_mm, via.y_mm)) for via in ipc.vias]
    named = replace(
        gerber,
        pads=tuple(NetPad(net, _as_drawn(pad, drawn.at(pad.x_mm, pad.y_mm))) for net, pad in ipc.pads),
        vias=tuple(replace(via, size_mm=pad.size_mm) if pad else via for via, pad in vias),
        bare_pads=(),
        tracks=gerber.tracks or ipc.tracks,
        outline=gerber.outline or ipc.outline,
        mountings=gerber.mountings or ipc.mountings,
        notes=(
            *gerber.notes,
            *ipc.notes,
            note,
            "the Gerber files name no pins: names are those of the IPC-D-356 file",
        ),
    )
    return with_nets_by_touch(named)


def _as_drawn(pad: Pad, drawn: Pad | None) -> Pad:
    """A pad of the IPC-D-356 file in the shape that Gerber gives it; IPC-D-356 knows boxes and discs only."""
    return (
        replace(drawn, refdes=pad.refdes, pin=pad.pin, hole_mm=drawn.hole_mm or pad.hole_mm) if drawn else pad
    )


_Item = TypeVar("_Item")


class _Places(Generic[_Item]):
    """Items by their place, found again within rounding."""

    def __init__(self, items: Iterable[tuple[_Item, float, float]]) -> None:
        self._cells: dict[tuple[int, int], list[tuple[_Item, float, float]]] = defaultdict(list)
        for item, x, y in items:
            self._cells[round(x / 0.1), round(y / 0.1)].append((item, x, y))

    def at(self, x_mm: float, y_mm: float) -> _Item | None:
        """The item at a place, or None."""
        cx, cy = round(x_mm / 0.1), round(y_mm / 0.1)
        near = [i for dx in (-1, 0, 1) for dy in (-1, 0, 1) for i in self._cells.get((cx + dx, cy + dy), ())]
        return next((item for item, x, y in near if abs(x - x_mm) + abs(y - y_mm) <= SAME_PLACE_MM), None)


def _full_names(gerber: Copper, ipc: Copper) -> dict[str, str]:
    """IPC-D-356 net name to Gerber net name, by the pins and vias that both have."""
    known = _Pins.of(gerber.pads).net_of
    votes: dict[str, Counter[str]] = defaultdict(Counter)
    for ref, short in _Pins.of(ipc.pads).net_of.items():
        if short and known.get(ref):
            votes[short][known[ref]] += 1
    for short_via, via in _via_pairs(gerber, ipc):
        if short_via.net and via and via.net:
            votes[short_via.net][via.net] += 1
    return {short: _most_likely(short, counter) for short, counter in votes.items()}


def _most_likely(short: str, votes: Counter[str]) -> str:
    """The name with most votes; of equal ones that which the short one was cut from."""
    return max(votes, key=lambda name: (votes[name], name.upper().startswith(short.upper())))


def _via_pairs(gerber: Copper, ipc: Copper) -> list[tuple[Via, Via | None]]:
    """Every IPC-D-356 via with the Gerber via at its place."""
    places = _Places((via, via.x_mm, via.y_mm) for via in gerber.vias)
    return [(via, places.at(via.x_mm, via.y_mm)) for via in ipc.vias]


def _missing_pads(gerber: Copper, ipc: Copper, full: Mapping[str, str]) -> list[NetPad]:
    known = {pad.ref for _, pad in gerber.pads}
    return [NetPad(full.get(net, net), pad) for net, pad in ipc.pads if pad.ref not in known]


def _missing_vias(gerber: Copper, ipc: Copper, full: Mapping[str, str]) -> list[Via]:
    return [
        replace(via, net=full.get(via.net, via.net)) for via, same in _via_pairs(gerber, ipc) if same is None
    ]


def _disagreements(gerber: Copper, ipc: Copper, full: Mapping[str, str]) -> list[str]:
    known, other = _Pins.of(gerber.pads).net_of, _Pins.of(ipc.pads).net_of
    said = [
        f"{ref} is on {_name(known[ref])} in Gerber but on {_name(full.get(net, net))} in IPC-D-356"
        for ref, net in other.items()
        if ref in known and full.get(net, net) != known[ref]
    ]
    shorts: dict[str, list[str]] = defaultdict(list)
    for short, name in full.items():
        shorts[name].append(short)
    said += [
        f"net {name} in Gerber is {len(nets)} nets in IPC-D-356: {', '.join(sorted(nets))}"
        for name, nets in shorts.items()
        if len(nets) > 1
    ]
    more = [f"{len(said) - _LISTED} more disagreements on nets"] if len(said) > _LISTED else []
    return [f"nets disagree: {text}" for text in said[:_LISTED]] + more


def _name(net: str) -> str:
    return f"net {net}" if net else "no net"
