"""Nothing faulty passes a closed gate: faults planted in the demo job, and evidence taken away from it."""

from __future__ import annotations

from random import Random

import pytest

from coppermend.board.subject import Subject
from coppermend.proving.records import ENOUGH, Evidence

from .simulated_machine import Machine, Planted, demo_machine, work_through


@pytest.fixture(scope="module")
def machine() -> Machine:
    """The demo job after rework."""
    return demo_machine()


def test_a_sound_machine_passes(machine):
    """Doing what is planned closes the gate; on the demo job everything is coverable."""
    judged, evidence = work_through(machine, [])

    assert judged.passed and judged.proven and not [item for item in judged.open if item.reason]
    assert all(result.passed for result in evidence.values())


def test_no_planted_fault_passes_the_gate(machine):
    """A sample of single faults (all of them, and 1,000 sets of up to three: tools/measure_prove.py)."""
    for planted in Random(8).sample(machine.suspects(), 12):
        judged, _ = work_through(machine, [planted])

        assert not judged.passed, planted


def test_a_fault_is_missed_only_when_every_proof_of_it_misses(machine):
    """With proofs as weak as stated, a closed gate means that every proof done that could see the fault missed it."""
    dice = Random(8)
    pins = dice.sample(sorted({p.pin for p in machine.suspects() if p.sort == "pin"}), 3)
    for _ in range(30):
        planted = Planted("pin", dice.choice(pins))
        judged, evidence = work_through(machine, [planted], dice)

        could = machine.sees(planted.pin) & set(evidence)
        assert could and judged.passed == all(evidence[name].passed for name in could)


def covered(machine, evidence, copper, subject, whys):
    """Whether something on record still speaks for a subject: written down anew, item by item."""
    proofs = {p.id: p.exercises for p in machine.proofs if p.strength >= ENOUGH}
    good = [x for name, x in proofs.items() if name in evidence and evidence[name].passed]
    bad = [p.exercises for p in machine.proofs if p.id in evidence and not evidence[p.id].passed]
    if subject.kind == "part":
        parts = {
            p
            for x in proofs.values()
            for p in x
            if p.kind == "point" and p.name.rpartition(".")[0] == subject.name
        }
    else:
        parts = {Subject("point", name) for name in machine.points[subject.name]}
    if any(x & (parts | {subject}) for x in bad):
        return False
    works = any(subject in x for x in good) or (bool(parts) and all(any(p in x for x in good) for p in parts))
    if subject.kind == "part":
        return works
    damaged, changed = "damaged" in whys, "changed" in whys
    on_net = subject.name in copper
    return (on_net or not damaged) and (works or not changed)


@pytest.mark.parametrize("block", range(6))
def test_gate_opens_exactly_when_an_item_loses_its_last_cover(machine, block):
    """50 times each: leave out or fail some proofs and nets, and compare the open items with those counted anew."""
    _, whole = work_through(machine, [])
    whys = {}
    for concern in machine.concerns:
        whys.setdefault(concern.subject, set()).add(concern.why)
    for seed in range(50 * block, 50 * block + 50):
        dice = Random(seed)
        evidence = dict(whole)
        for name in dice.sample(sorted(whole), dice.randint(1, 3)):
            if dice.random() < 0.5:
                del evidence[name]
            else:
                evidence[name] = Evidence(name, False)
        copper = machine.touched_nets - set(dice.sample(sorted(machine.touched_nets), dice.randint(0, 2)))

        judged = machine.judge(evidence, copper)

        expected = {s for s, why in whys.items() if not covered(machine, evidence, copper, s, why)}
        assert {item.subject for item in judged.open} == expected
        assert judged.passed == (not expected and all(e.passed for e in evidence.values()))
