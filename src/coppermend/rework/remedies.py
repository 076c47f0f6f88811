"""Remedies found on any board from its graph: which deliberate changes are worth offering. Figures: elsewhere."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from coppermend.board.atrisk import Touch
from coppermend.board.flow import Flow
from coppermend.board.kinds import kind_of
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.board.roles import net_roles
from coppermend.errors import InputError, UnknownName
from coppermend.rework.apply import NewNames
from coppermend.rework.coincell import coin_cell
from coppermend.rework.connectors import connector_contacts, header_pins
from coppermend.rework.flybacks import flyback_diodes
from coppermend.rework.keepalive import keep_alive, main_rail
from coppermend.rework.placing import with_places
from coppermend.rework.records import Remedy
from coppermend.rework.regulated import regulator_renewal
from coppermend.rework.remotepack import remote_pack
from coppermend.rework.renewal import larger_eprom, sockets, supply_capacitors
from coppermend.rework.retained import nonvolatile_ram, supercapacitor
from coppermend.rework.straps import input_straps, pull_up_relocation
from coppermend.rework.strip import strip_list
from coppermend.rework.supervised import reset_supervisor


def remedies(board: Board, library: PartLibrary, touch: Touch) -> tuple[Remedy, ...]:
    """What could be changed on ``board``, each with its reason, parts, checks and what must be proven again.

    Returns:
        Battery remedies first, then reset, supply, inputs, coils, sockets, connectors, and notes; () when none applies.
        Ids are stable for one board: ``supercapacitor-BT1``, ``coin-cell-BT1``, ``remote-pack-BT1``,
        ``nonvolatile-ram-BT1``, ``reset-supervisor``, ``supply-capacitors``, ``regulators``, ``input-straps``,
        ``pull-up-relocation``, ``flyback-diodes``, ``turned-pin-sockets``, ``header-pins``, ``connector-contacts``,
        ``larger-eprom``.
    """
    roles = net_roles(board, library)
    supply = {net for net, role in roles.items() if role.role in ("rail", "ground")}
    flow = Flow(board, library, supply)
    found: list[Remedy | None] = []
    names, main, kept = NewNames(board), main_rail(board, library, roles), None
    for part in board.index.parts.values():
        if kind_of(part, library) == "battery" and (circuit := keep_alive(board, library, roles, flow, part)):
            found += [
                supercapacitor(circuit, board, library),
                coin_cell(circuit, flow, library, names),
                remote_pack(circuit, flow, names),
                nonvolatile_ram(circuit, flow, library),
            ]
            kept = circuit
    found += [
        reset_supervisor(flow, main, names),
        supply_capacitors(board, library, roles),
        regulator_renewal(flow, library, kept),
        input_straps(flow, main, names),
        pull_up_relocation(flow, main, names),
        flyback_diodes(flow, names),
        sockets(board, strip_list(board, library, touch)),
        header_pins(board, library, touch),
        connector_contacts(board, library, touch),
        larger_eprom(board, library),
    ]
    offered = [remedy for remedy in found if remedy]
    ids = {remedy.id for remedy in offered}
    return tuple(with_places(board, _without_absent(remedy, ids)) for remedy in offered)


def _without_absent(remedy: Remedy, ids: Collection[str]) -> Remedy:
    return replace(remedy, excludes=tuple(other for other in remedy.excludes if other in ids))


def choose(offered: Sequence[Remedy], ids: Collection[str]) -> tuple[Remedy, ...]:
    """The remedies with these ids, in the order in which they were offered.

    Raises:
        UnknownName: If an id was not offered.
        InputError: If two of them exclude each other, or one is a note without parts.
    """
    by_id = {remedy.id: remedy for remedy in offered}
    for name in ids:
        if name not in by_id:
            raise UnknownName("remedy", name, hint=f"offered: {', '.join(by_id) or 'none'}")
        if by_id[name].note_only:
            raise InputError(f"remedy {name} is only a note", expected="a remedy with parts")
        if clash := set(by_id[name].excludes) & set(ids):
            raise InputError(f"remedies {name} and {min(clash)} exclude each other", expected="one of them")
    return tuple(remedy for remedy in offered if remedy.id in ids)
