"""Proofs for any board, from its graph and declarations: the list, in the order in which a board comes to life."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.board.subject import Subject, net_subject, part_subject
from coppermend.proving.coverage import Circuit, net_points
from coppermend.proving.described import SHOWS, SelfTestOf, attract_proof, described_proof, self_test_id
from coppermend.proving.machine import leftover_proofs, machine_proofs
from coppermend.proving.powerup import PowerFacts
from coppermend.proving.records import Evidence, Proof
from coppermend.proving.running import running_proofs
from coppermend.proving.supply import DISCHARGE, resistance_id, supply_proofs

__all__ = ["Proof", "net_points", "power_facts", "proofs_for", "unprovable"]


def proofs_for(board: Board, library: PartLibrary) -> tuple[Proof, ...]:
    """Every proof that the board offers; a board without declarations gets what its part types tell.

    Ids are ``KIND:NAME`` and stay the same while the board does: discharge, resistance, rail, ripple, retention,
    clock, reset, program, ram, peripheral, interrupt, lamp, solenoid, sound, display, led, closure, option,
    switch, input, attract, selftest, connector, contact, chip, value.

    Returns:
        Safety first, then supply, running, machine, and what is left; () only for a board without nets.
    """
    if not board.nets:
        return ()
    circuit = Circuit.of(board, library)
    main = [*supply_proofs(circuit), *running_proofs(circuit), *machine_proofs(circuit)]
    main += [*filter(None, [attract_proof(main)]), *self_test_proofs(board, main)]
    covered = frozenset[Subject]().union(*(proof.exercises for proof in main))
    every = [*main, *leftover_proofs(circuit, covered)]
    return tuple({proof.id: proof for proof in every if proof.exercises or proof.id == DISCHARGE}.values())


def self_test_proofs(board: Board, proofs: Sequence[Proof]) -> list[Proof]:
    """Proofs of the self-tests that the board declares; what shows nothing that the board has is left out."""
    kinds = {proof.id.partition(":")[0] for proof in proofs} | {proof.id for proof in proofs}
    found = []
    for test in board.self_tests:
        shows = tuple(word for word in test.shows if word in kinds or kinds & set(SHOWS.get(word, ())))
        if shows:
            described = SelfTestOf(self_test_id(test.name), test.name, shows, test.watched, test.steps)
            found.append(described_proof(proofs, described))
    return found


def unprovable(board: Board, library: PartLibrary, proofs: Sequence[Proof]) -> Mapping[Subject, str]:
    """Parts and nets that no proof exercises, each with the reason in one clause."""
    exercised = frozenset[Subject]().union(*(proof.exercises for proof in proofs))
    reached = {subject.name.rpartition(".")[0] for subject in exercised if subject.kind == "point"}
    found: dict[Subject, str] = {}
    for refdes, part in board.index.parts.items():
        if part_subject(refdes) in exercised or refdes in reached:
            continue
        found[part_subject(refdes)] = _reason(board, library, refdes, part.type)
    for net, pins in board.nets.items():
        if net_subject(net) not in exercised and len(pins) < 2:
            found[net_subject(net)] = "it joins nothing: it has a single pin"
    return found


def _reason(board: Board, library: PartLibrary, refdes: str, type_name: str) -> str:
    if not board.index.pins_of_part.get(refdes):
        return "it has no pin on any net"
    if library.of(board.index.parts[refdes]) is None:
        return f"its type {type_name or '(none given)'} is not in the part-type library: add it, and its proofs appear"
    return "no signal passes through it"


def power_facts(
    board: Board,
    library: PartLibrary,
    strip_done: Sequence[str],
    evidence: Mapping[str, Evidence],
    rails_ohm: Mapping[str, float | None] | None = None,
) -> PowerFacts:
    """What is on record for ``power_up_allowed``.

    Args:
        board: The board.
        library: Part types.
        strip_done: Refdes of what came off.
        evidence: Last result by proof id; ``resistance:RAIL`` and ``discharge`` count here when passed.
        rails_ohm: Readings of rails to ground [Ω], None for open; they go before evidence.
    """
    circuit = Circuit.of(board, library)
    rails = tuple(circuit.nets("rail"))
    noted = {rail: None for rail in rails if (e := evidence.get(resistance_id(rail))) and e.passed}
    gone = evidence.get(DISCHARGE)
    return PowerFacts(
        batteries=tuple(circuit.parts("battery")),
        batteries_off=frozenset(strip_done),
        rails=rails,
        rails_ohm={**noted, **(rails_ohm or {})},
        charge_gone=gone is not None and gone.passed,
    )
