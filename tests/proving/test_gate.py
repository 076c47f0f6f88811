"""The gate passes only when every concern is proven, and says what is missing and what would close it."""

from __future__ import annotations

import json
from random import Random

import pytest

from coppermend.board.subject import Subject, net_subject, part_subject
from coppermend.proving.gate import gate, least_cover
from coppermend.proving.powerup import PowerUp
from coppermend.proving.records import ENOUGH, Concern, Evidence, Proof

U1, N1 = part_subject("U1"), net_subject("N1")


def point(name):
    return Subject("point", name)


def proof(name, *subjects, setup="bench", strength=0.9):
    return Proof(name, name, setup, "", frozenset(subjects), strength)


def concern(subject, why="damaged"):
    return Concern(subject, why)


def results(**passed):
    return {name: Evidence(name, ok) for name, ok in passed.items()}


def test_nothing_of_concern_passes():
    """An empty list of concerns leaves the gate shut behind us."""
    assert gate([], [], {}).passed


def test_concern_without_evidence_is_open_and_names_its_proof():
    """The item says why it is of concern and what would close it."""
    state = gate([concern(U1, "removed")], [proof("a", U1)], {})

    assert not state.passed
    assert (state.open[0].covered_by, state.open[0].reason) == (("a",), "")
    assert state.open[0].concerns[0].why == "removed"


def test_passing_proof_closes_what_it_exercises():
    """And only that."""
    state = gate([concern(U1), concern(part_subject("U2"))], [proof("a", U1)], results(a=True))

    assert [(p.subject, p.by) for p in state.proven] == [(U1, ("a",))]
    assert [o.subject.name for o in state.open] == ["U2"]


def test_copper_closes_a_damaged_net_but_not_a_changed_one():
    """A remedy's net must be shown to work, not only to be joined."""
    proofs = [proof("a", N1)]

    assert gate([concern(N1)], proofs, {}, ["N1"]).proven[0].by == ("copper probes",)
    assert not gate([concern(N1), concern(N1, "changed")], proofs, {}, ["N1"]).passed
    assert gate([concern(N1, "changed")], proofs, results(a=True)).passed


def test_copper_says_nothing_of_a_part():
    """Proven copper of a net does not prove the chip of the same name."""
    assert not gate([concern(part_subject("N1"))], [], {}, ["N1"]).passed


def test_failed_proof_reopens_what_it_exercises_and_holds_the_gate():
    """Even where another proof passed, and even copper."""
    proofs = [proof("a", U1), proof("b", U1, N1)]

    state = gate([concern(U1), concern(N1)], proofs, results(a=True, b=False), ["N1"])

    assert [o.failed for o in state.open] == [("b",), ("b",)]
    assert state.open[0].covered_by[0] == "b"
    assert state.failed == ("b",)


def test_failed_proof_of_an_untouched_thing_holds_the_gate_too():
    """A failure is a failure, wherever it is."""
    state = gate([], [proof("a", U1)], results(a=False))

    assert (state.open, state.passed) == ((), False)


def test_weak_proof_closes_nothing_but_its_failure_counts():
    """A rail that is not shorted is not yet a rail that works."""
    weak = proof("w", N1, strength=ENOUGH - 0.01)

    assert gate([concern(N1)], [weak], results(w=True)).open[0].covered_by == ()
    assert gate([concern(N1)], [weak], results(w=False)).open[0].failed == ("w",)


def test_part_is_proven_by_proofs_that_together_use_all_its_pins():
    """Neither lamp alone proves the latch; both do."""
    proofs = [proof("a", point("U1.1")), proof("b", point("U1.2"))]

    half = gate([concern(U1)], proofs, results(a=True))
    assert half.open[0].missing == {point("U1.2")}
    assert half.open[0].covered_by == ("b",)
    assert gate([concern(U1)], proofs, results(a=True, b=True)).proven[0].by == ("a", "b")


def test_net_is_proven_by_proofs_that_together_use_all_its_pins():
    """The pins that count are those that the board asks for."""
    proofs = [proof("a", point("U1.1")), proof("b", point("U2.1"))]
    pins = {"N1": ["U1.1", "U2.1"]}

    assert not gate([concern(N1, "changed")], proofs, results(a=True), net_points=pins).passed
    assert gate([concern(N1, "changed")], proofs, results(a=True, b=True), net_points=pins).passed


def test_net_with_a_pin_that_no_proof_reaches_waits_for_its_copper():
    """Half of a net is not the net."""
    state = gate(
        [concern(N1)], [proof("a", point("U1.1"))], results(a=True), net_points={"N1": ["U1.1", "X9.1"]}
    )

    assert (state.open[0].covered_by, state.open[0].copper, state.open[0].missing) == ((), True, {N1})


def test_suspected_point_is_closed_by_a_proof_through_it():
    """A point needs no more than itself."""
    assert gate([concern(point("U1.1"), "suspected")], [proof("a", point("U1.1"))], results(a=True)).passed


def test_what_nothing_can_prove_says_why():
    """The known reason where there is one, else a plain one."""
    other = part_subject("U2")

    state = gate([concern(U1), concern(other)], [], {}, reasons={U1: "its type is unknown"})

    assert state.open[0].reason == "its type is unknown"
    assert state.open[1].reason.startswith("no proof of this board exercises it")
    assert state.to_json()["uncoverable"] == ["part U1", "part U2"]


def test_items_keep_the_order_of_the_concerns():
    """Several concerns of one subject stand together at the first place."""
    subjects = [part_subject(f"U{n}") for n in (3, 1, 2, 1)]

    state = gate([concern(s) for s in subjects], [], {})

    assert [o.subject.name for o in state.open] == ["U3", "U1", "U2"]
    assert len(state.open[1].concerns) == 2


def test_stray_evidence_and_missing_safety_are_noted():
    """Evidence of another board is not counted silently, and power stays off."""
    state = gate(
        [], [], results(ghost=True), power=PowerUp(False, ("Battery BT1 is not recorded as removed.",))
    )

    assert state.notes == (
        "Power-up is not allowed yet: Battery BT1 is not recorded as removed.",
        "Evidence for ghost is not counted: this board has no such proof.",
    )


def test_json_has_the_documented_keys():
    """touched, proven, unproven, pass: plain JSON."""
    state = gate([concern(U1), concern(N1)], [proof("a", U1), proof("b", N1)], results(a=True))

    document = json.loads(json.dumps(state.to_json()))
    assert document["pass"] is False
    assert document["touched"] == ["net N1", "part U1"]
    assert document["proven"] == [{"item": "part U1", "kind": "part", "name": "U1", "by": ["a"]}]
    assert document["unproven"][0]["proofs_that_would_cover"] == ["b"]
    assert document["counts"] == {"touched": 2, "proven": 1, "unproven": 1}


def test_least_cover_takes_the_proof_that_closes_most():
    """One proof of two items beats two of one."""
    proofs = [proof("a", U1), proof("b", N1), proof("both", U1, N1)]
    state = gate([concern(U1, "changed"), concern(N1, "changed")], proofs, {})

    assert [p.id for p in least_cover(state, proofs)] == ["both"]


def test_least_cover_breaks_ties_for_the_bench_then_strength_then_name():
    """A bench test comes before one in the machine."""
    proofs = [proof("a", U1, setup="machine"), proof("c", U1, strength=0.8), proof("b", U1, strength=0.8)]

    assert [p.id for p in least_cover(gate([concern(U1)], proofs, {}), proofs)] == ["b"]


def test_least_cover_repeats_failures_first_and_leaves_copper_to_the_probes():
    """What failed must pass; a net that probes can prove asks for no test."""
    proofs = [proof("a", part_subject("U9")), proof("b", N1)]
    state = gate([concern(N1)], proofs, results(a=False))

    assert [p.id for p in least_cover(state, proofs)] == ["a"]


def test_least_cover_asks_only_for_the_failed_proof_when_all_else_is_done():
    """Every pin was passed once, and one proof failed: that one must pass."""
    proofs = [proof("a", point("U1.1")), proof("b", point("U1.1"))]
    state = gate([concern(U1)], proofs, results(a=True, b=False))

    assert state.open[0].missing == frozenset()
    assert [p.id for p in least_cover(state, proofs)] == ["b"]


def test_least_cover_of_what_cannot_be_covered_is_empty():
    """No proof, no suggestion."""
    assert least_cover(gate([concern(U1)], [], {}), []) == ()


@pytest.mark.parametrize("seed", range(20))
def test_following_the_suggestion_closes_all_that_can_be_closed(seed):
    """On random boards: pass what is suggested, and only the uncoverable stays open."""
    dice = Random(seed)
    subjects = [part_subject(f"U{n}") for n in range(8)]
    points = [point(f"U{n}.{p}") for n in range(8) for p in range(4)]
    proofs = [
        proof(
            f"p{n}",
            *dice.sample(points, 5),
            *dice.sample(subjects, dice.randint(0, 1)),
            strength=dice.choice([0.3, 0.7]),
        )
        for n in range(12)
    ]
    concerns = [concern(s, "removed") for s in subjects]
    todo = least_cover(gate(concerns, proofs, {}), proofs)

    after = gate(concerns, proofs, {p.id: Evidence(p.id, True) for p in todo})

    assert all(item.reason for item in after.open)


@pytest.mark.parametrize("seed", range(20))
def test_gate_opens_exactly_when_an_item_loses_its_last_cover(seed):
    """Leaving out one proof of a whole cover opens just the items that no other passed proof exercises."""
    dice = Random(seed)
    subjects = [part_subject(f"U{n}") for n in range(6)]
    proofs = [proof(f"p{n}", *dice.sample(subjects, 2)) for n in range(8)]
    left_out = dice.choice(proofs)
    passed = {p.id: Evidence(p.id, True) for p in proofs if p is not left_out}

    opened = {item.subject for item in gate([concern(s) for s in subjects], proofs, passed).open}

    covered = {s for p in proofs if p is not left_out for s in p.exercises}
    assert opened == set(subjects) - covered
