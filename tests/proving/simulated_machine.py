"""The demo job after rework, with faults planted on its board, and a technician who does what the plan says.

What a proof would show is worked out on the board with the faulty pin cut off, not from what the proof claims:
a proof fails when what it can reach there is no longer what it reached before, or when it needs a chip whose
supply is gone. Copper probes see a pad that is off its net, and nothing inside a part.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from random import Random
from typing import Literal

from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Board, PinRef
from coppermend.board.parttypes import PartLibrary, standard_library
from coppermend.demo import story
from coppermend.demo.board_data import demo_board_files
from coppermend.job.assess import Assessment, assess
from coppermend.job.state import JobState
from coppermend.proving.gate import gate
from coppermend.proving.leastplan import LeastPlan, least_plan
from coppermend.proving.proofs import net_points, proofs_for, unprovable
from coppermend.proving.records import Concern, Evidence, Gate, Proof

FaultSort = Literal["pin", "pad"]  # dead inside the part, or its pad is off the net


@dataclass(frozen=True)
class Planted:
    """A fault at a pin."""

    sort: FaultSort
    pin: PinRef


@dataclass
class Machine:
    """A board with what a job touched on it."""

    board: Board
    library: PartLibrary
    concerns: tuple[Concern, ...]

    @cached_property
    def proofs(self) -> tuple[Proof, ...]:
        return proofs_for(self.board, self.library)

    @cached_property
    def points(self) -> Mapping[str, frozenset[str]]:
        return net_points(self.board, self.library)

    @cached_property
    def reasons(self) -> Mapping[object, str]:
        return unprovable(self.board, self.library, self.proofs)

    @cached_property
    def touched_parts(self) -> set[str]:
        return {c.subject.name for c in self.concerns if c.subject.kind == "part"}

    @cached_property
    def touched_nets(self) -> set[str]:
        return {c.subject.name for c in self.concerns if c.subject.kind == "net"}

    def judge(self, evidence: Mapping[str, Evidence], copper: Collection[str]) -> Gate:
        return gate(
            self.concerns,
            self.proofs,
            evidence,
            copper,
            net_points=self.points,
            probed=self.touched_nets,
            reasons=self.reasons,
        )

    def plan(self, judged: Gate, evidence: Mapping[str, Evidence]) -> LeastPlan:
        return least_plan(judged, self.proofs, evidence)

    @cached_property
    def _seen(self) -> dict[PinRef, frozenset[str]]:
        return {}

    def sees(self, pin: PinRef) -> frozenset[str]:
        """Proofs that come out differently with this pin cut off; worked out once per pin."""
        if pin not in self._seen:
            self._seen[pin] = self._changed(pin) | self._starved(pin) | self._on_rail(pin)
        return self._seen[pin]

    def _changed(self, pin: PinRef) -> frozenset[str]:
        """A part of two ends, or the common end of a network, is gone as a whole when such a pin is cut."""
        pins = self.board.index.pins_of_part[pin.refdes]
        network = self.library.of(self.board.index.parts[pin.refdes])
        common = network is not None and network.kind == "network" and pin == pins[0]
        off = set(pins) if len(pins) == 2 or common else {pin}
        cut = replace(
            self.board,
            nets={n: tuple(p for p in there if p not in off) for n, there in self.board.nets.items()},
        )
        then = {proof.id: proof.exercises for proof in proofs_for(cut, self.library)}
        return frozenset(p.id for p in self.proofs if then.get(p.id) != p.exercises)

    def _starved(self, pin: PinRef) -> frozenset[str]:
        known = self.library.of(self.board.index.parts[pin.refdes])
        spec = known.pin_by_number.get(pin.pin) if known else None
        if spec is None or spec.direction not in ("power", "ground"):
            return frozenset()
        mine = f"{pin.refdes}."
        return frozenset(
            p.id
            for p in self.proofs
            if any(
                s.name.startswith(mine) if s.kind == "point" else s.name == pin.refdes for s in p.exercises
            )
        )

    def _on_rail(self, pin: PinRef) -> frozenset[str]:
        """The rail's voltage is measured at every part on it, a contact's resistance at the contact."""
        net = self.board.index.net_of_pin[pin]
        contact = frozenset(
            p.id
            for p in self.proofs
            if p.id == f"contact:{pin.refdes}" and any(s.name == str(pin) for s in p.exercises)
        )
        return contact | frozenset(p.id for p in self.proofs if p.id == f"rail:{net}")

    def suspects(self) -> list[Planted]:
        """Every fault that would make a touched thing faulty."""
        pins = self.board.index.net_of_pin
        parts = [Planted("pin", p) for p in pins if p.refdes in self.touched_parts]
        return parts + [Planted("pad", p) for p, net in pins.items() if net in self.touched_nets]

    def copper(self, faults: Iterable[Planted]) -> set[str]:
        """Nets that the probes prove: touched ones with every pad on them."""
        broken = {self.board.index.net_of_pin[f.pin] for f in faults if f.sort == "pad"}
        return self.touched_nets - broken


def demo_machine() -> Machine:
    """The sample job's board with everything on its strip list off and its remedies chosen."""
    board, library = parse_board_folder(demo_board_files()), standard_library()
    found = _assessed(board, library)
    concerns = tuple(concern for item in (*found.gate.open, *found.gate.proven) for concern in item.concerns)
    return Machine(found.board, library, concerns)


def _assessed(board: Board, library: PartLibrary) -> Assessment:
    state = JobState(damage=story.damage_area(), remedies=story.REMEDIES)
    strip = {item.refdes: item.fate for item in assess(board, library, state).strip}
    return assess(board, library, replace(state, strip=strip))


def work_through(
    machine: Machine, faults: Collection[Planted], dice: Random | None = None
) -> tuple[Gate, dict[str, Evidence]]:
    """Do what the plan asks until it asks for nothing new. With ``dice`` a proof misses a fault by its strength."""
    evidence: dict[str, Evidence] = {}
    copper = machine.copper(faults)
    while True:
        judged = machine.judge(evidence, copper)
        todo = [proof for proof in machine.plan(judged, evidence).proofs if proof.id not in evidence]
        if not todo:
            return judged, evidence
        for proof in todo:
            caught = [f for f in faults if proof.id in machine.sees(f.pin)]
            if dice is not None:
                caught = [f for f in caught if dice.random() < proof.strength]
            evidence[proof.id] = Evidence(proof.id, not caught)
