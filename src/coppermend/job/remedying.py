"""Remedies as a whole job sees them: those of rework, with what other rooms add, and the proofs that they call for.

Rework finds what a board's graph offers; one larger ROM needs an adapter, which the rom room plans and simulates.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache

from coppermend.board.atrisk import Touch
from coppermend.board.kinds import kind_of, natural_key
from coppermend.board.model import Board
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import PartLibrary
from coppermend.board.same import Same
from coppermend.board.subject import part_subject
from coppermend.errors import CoppermendError, InputError
from coppermend.proving.concerns import concerns_from
from coppermend.proving.gate import gate
from coppermend.proving.leastplan import least_plan
from coppermend.proving.records import Concern, Proof
from coppermend.rework.larger import AdapterChip, AdapterWire, AdapterWiring, larger_rom
from coppermend.rework.placing import with_places
from coppermend.rework.records import Check, Remedy
from coppermend.rework.remedies import remedies
from coppermend.rom.adapt import plan_adapter
from coppermend.rom.adapter import Adapter, AdapterGate, Verification, apply_adapter, verify_adapter
from coppermend.rom.devices import get_device
from coppermend.rom.readmap import Socket, socket_of
from coppermend.rom.timing import access_margin

_LARGER = ("2732", "2764", "27128", "27256", "27512")
_SEED = 6
_REMEDIES = 256  # whose proofs are remembered
_STRENGTH = 0.95  # a comparison of all bytes, or a meter across a resistor: common practice, no source


def offered_remedies(board: Board, library: PartLibrary, touched: Touch) -> tuple[Remedy, ...]:
    """Every remedy on offer; the note on one larger ROM becomes a remedy where an adapter can be planned.

    Returns:
        As ``rework.remedies``; where no adapter fits, the note stays and says why.
    """
    found = remedies(board, library, touched)
    note = next((one for one in found if one.id == "larger-eprom"), None)
    if note is None:
        return found
    taken = tuple(r for one in found for line in one.parts_on for r in line.refdes)
    made = _larger(with_package_pads(board), library, note, taken)
    return tuple(made if one is note else one for one in found)


def _larger(board: Board, library: PartLibrary, note: Remedy, taken: tuple[str, ...]) -> Remedy:
    reasons: list[str] = []
    for adapter in _adapters(board, library, reasons):
        checked = verify_adapter(board, library, adapter, _contents(adapter.sockets))
        checks = (*note.checks, _contents_check(checked), *_access_check(board, library, adapter))
        made = larger_rom(board, library, adapter_wiring(library, adapter), checks, taken)
        return with_places(board, made)
    why = f"{note.why} An adapter could not be planned: {reasons[0] if reasons else 'no device fits'}."
    return replace(note, why=why)


def _adapters(board: Board, library: PartLibrary, reasons: list[str]) -> Iterator[Adapter]:
    """Plans that work, the smallest device first; why others do not goes into ``reasons``."""
    refdes = sorted(
        (r for r, p in board.index.parts.items() if kind_of(p, library) == "rom"), key=natural_key
    )
    try:
        old = [socket_of(board, library, name) for name in refdes]
    except CoppermendError as error:
        reasons.append(str(error))
        return
    size = sum(socket.device.bytes for socket in old)
    for name in _LARGER:
        device = get_device(name)
        if device.bytes < size:
            continue
        for host in reversed(refdes):
            try:
                yield plan_adapter(board, library, old, device, host)
            except InputError as error:
                reasons.append(str(error))


def _contents(sockets: Sequence[Socket]) -> dict[str, bytes]:
    # Any two wirings that differ at some address read differently from random bytes, all but surely.
    numbers = random.Random(_SEED)
    return {socket.refdes: numbers.randbytes(socket.device.bytes) for socket in sockets}


def _contents_check(found: Verification) -> Check:
    return Check(
        "every CPU address reads as before",
        f"{found.right:,} of {found.intended:,} addresses, {found.wrong + found.driven_on_write:,} wrong",
        "all of them, none wrong",
        found.passed,
        "simulated on the edited netlist over all 65,536 addresses, reads and writes, with random contents",
    )


def _access_check(board: Board, library: PartLibrary, adapter: Adapter) -> tuple[Check, ...]:
    after = apply_adapter(board, library, adapter)
    try:
        margin = access_margin(after, library, adapter.host, adapter.device)
    except InputError:
        return ()  # without a declared clock there is nothing to hold the access time against
    return (
        Check(
            "access time of the new device", f"{margin.margin_ns:.0f} ns to spare", "at least 0 ns",
            margin.margin_ns >= 0, margin.source,
        ),
    )  # fmt: skip


def adapter_wiring(library: PartLibrary, adapter: Adapter) -> AdapterWiring:
    """The plan of the rom room as plain values of rework."""
    device = adapter.device
    nets = {wire.pin: wire.net for wire in adapter.wires}
    supplies = (nets.get(device.supply, ""), nets.get(device.ground, ""))
    return AdapterWiring(
        host=adapter.host,
        sockets=tuple(socket.refdes for socket in adapter.sockets),
        device=device.part_type.name,
        package=device.package,
        wires=tuple(AdapterWire(w.pin, w.name, w.net, w.source) for w in adapter.wires),
        chips=tuple(_chip(library, gate, supplies) for gate in adapter.gates),
        slots=tuple(
            f"{slot.refdes} at offset {slot.offset:04X} (CPU {slot.cpu_first:04X} to {slot.cpu_last:04X})"
            for slot in adapter.slots
        ),
        notes=adapter.notes,
    )


def _chip(library: PartLibrary, gate: AdapterGate, supplies: tuple[str, str]) -> AdapterChip:
    kind = library.get(gate.type)
    path = next(p for p in kind.paths if len(p.inputs) == len(gate.inputs))
    used = dict(zip(path.inputs, gate.inputs, strict=True))
    for spec in kind.pins:
        if spec.direction in ("power", "ground"):
            used[spec.number] = supplies[spec.direction == "ground"]
        elif spec.direction == "in" and spec.number not in used:
            used[spec.number] = supplies[1]  # the gates that are not used rest on ground
    return AdapterChip(gate.refdes, gate.type, tuple(used.items()), gate.output, path.outputs[0])


def required_proofs(chosen: Sequence[Remedy]) -> tuple[Proof, ...]:
    """The proofs that remedies bring with them, for parts that the old board did not have."""
    return tuple(proof for remedy in chosen for proof in _required(Same(remedy)))


@lru_cache(maxsize=_REMEDIES)
def _required(remedy: Same[Remedy]) -> tuple[Proof, ...]:
    cautions = remedy.thing.cautions
    return tuple(
        Proof(one.id, one.title, "bench", one.how, frozenset({part_subject(one.part)}), _STRENGTH, cautions)
        for one in remedy.thing.requires
    )


def required_concerns(chosen: Sequence[Remedy]) -> tuple[Concern, ...]:
    """The new parts that ``required_proofs`` are about: the gate stays shut until each is proven."""
    return tuple(
        Concern(part_subject(one.part), "changed", remedy.title) for remedy in chosen for one in remedy.requires
    )  # fmt: skip


def proofs_of(remedy: Remedy, board: Board, proofs: Sequence[Proof]) -> tuple[Proof, ...]:
    """The least set of proofs that this remedy alone calls for.

    Args:
        remedy: The remedy.
        board: The board.
        proofs: Every proof that the board offers.

    Returns:
        What the gate would ask for if nothing else had been done to the board; () for a note.
    """
    if remedy.note_only:
        return ()
    placed = frozenset(r for line in remedy.parts_on for r in line.refdes if r in board.index.parts)
    changed = concerns_from(Touch(), refit=placed, remedies={remedy.title: remedy.changes}, board=board)
    every = (*proofs, *required_proofs([remedy]))
    judged = gate((*changed, *required_concerns([remedy])), every, {})
    return least_plan(judged, every, {}).proofs
