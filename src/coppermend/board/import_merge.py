"""Puts IPC-D-356 and Gerber copper of one board together and checks one by the other. Builds no board."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from coppermend.board.import_copper import Copper, NetPad
from coppermend.board.import_frame import Shift, shift_by_pins, shift_by_points
from coppermend.board.import_infer import with_nets_by_touch
from coppermend.board.model import PinRef, Via
from coppermend.errors import InputError

SAME_VIA_MM = 0.05
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
    """Pads, vias and nets from IPC-D-356; shapes of tracks, areas and the outline from Gerber without names."""
    bare = replace(
        gerber,
        pads=ipc.pads,
        vias=ipc.vias,
        tracks=gerber.tracks or ipc.tracks,
        outline=gerber.outline or ipc.outline,
        mountings=gerber.mountings or ipc.mountings,
        notes=(*ipc.notes, note, "the Gerber files name no pins: names are those of the IPC-D-356 file"),
    )
    return with_nets_by_touch(bare)


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
    return {short: counter.most_common(1)[0][0] for short, counter in votes.items()}


def _via_pairs(gerber: Copper, ipc: Copper) -> list[tuple[Via, Via | None]]:
    """Every IPC-D-356 via with the Gerber via at its place."""
    cells: dict[tuple[int, int], list[Via]] = defaultdict(list)
    for via in gerber.vias:
        cells[round(via.x_mm / 0.1), round(via.y_mm / 0.1)].append(via)
    pairs = []
    for via in ipc.vias:
        cx, cy = round(via.x_mm / 0.1), round(via.y_mm / 0.1)
        near = [v for i in (-1, 0, 1) for j in (-1, 0, 1) for v in cells.get((cx + i, cy + j), ())]
        same = [v for v in near if abs(v.x_mm - via.x_mm) + abs(v.y_mm - via.y_mm) <= SAME_VIA_MM]
        pairs.append((via, same[0] if same else None))
    return pairs


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
