"""A test of the outputs as it goes: which to switch on now, and what explains those that did not follow. Keeps nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coppermend.board.kinds import natural_key
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.proving.drive import DriveFault, DriveResult, Outputs, explain_drive

# What can hurt or burn comes last.
_ORDER = ("lamp", "display", "sound", "solenoid")


@dataclass(frozen=True, slots=True)
class Output:
    """One output: its net, what it drives, what the machine calls it, and its contacts."""

    net: str
    role: str
    title: str
    contacts: tuple[PinRef, ...]

    @property
    def proof(self) -> str:
        """Id of the proof of this output alone."""
        return f"{self.role}:{self.net}"


@dataclass(frozen=True)
class DriveRun:
    """Where the test stands. ``turn`` is the output to switch on now, None for "look at everything at rest".

    ``finished`` says that all were tried; ``faults`` are what explains the results, likeliest first.
    """

    outputs: tuple[Output, ...]
    turn: Output | None
    finished: bool
    faults: tuple[DriveFault, ...]
    done: int

    @property
    def total(self) -> int:
        """Looks in all: at rest, and at each output."""
        return len(self.outputs) + 1


def outputs_of(board: Board, library: PartLibrary) -> tuple[Output, ...]:
    """The outputs in the order in which to try them: lamps, displays, sounds, coils."""
    found = Outputs.of(board, library)
    circuit = found.circuit
    made = [
        Output(net, circuit.roles[net].role, _title(board, net, pins, circuit.does(net)), pins)
        for net, pins in found.contacts.items()
    ]
    return tuple(sorted(made, key=lambda one: (_ORDER.index(one.role), natural_key(one.net))))


def _title(board: Board, net: str, pins: Sequence[PinRef], does: str) -> str:
    named = [
        name
        for pin in pins
        if (plug := board.index.connectors.get(pin.refdes)) and (name := plug.signals.get(pin.pin))
    ]
    return named[0] if named else does or net


def drive_run(board: Board, library: PartLibrary, results: Sequence[DriveResult]) -> DriveRun:
    """Where a test of the outputs stands after ``results``, in the order in which they were made."""
    outputs = outputs_of(board, library)
    latest = {result.commanded: result for result in results}  # looked at again: the last look counts
    tried = latest.keys()
    left = [one for one in outputs if frozenset({one.net}) not in tried]
    at_rest = frozenset[str]() in tried
    turn = left[0] if at_rest and left else None
    faults = explain_drive(board, library, tuple(latest.values()))
    return DriveRun(outputs, turn, at_rest and not left, faults, len(outputs) - len(left) + at_rest)
