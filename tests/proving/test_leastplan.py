"""The least plan is never dearer than the greedy one, equals brute force where that can be tried, and closes the gate."""

from __future__ import annotations

import json
from itertools import combinations
from random import Random

import pytest

from coppermend.board.subject import Subject, net_subject, part_subject
from coppermend.proving.costs import RIG_MINUTES, doubt, minutes, rig_minutes, rigs
from coppermend.proving.gate import gate, least_cover
from coppermend.proving.leastplan import least_plan, plan_cost
from coppermend.proving.records import Concern, Evidence, Proof
from coppermend.proving.setcover import Column, cost_of, least_cover_of

KINDS = ("rail", "clock", "ram", "lamp", "solenoid", "closure", "program", "display", "odd")


def proof(name, *subjects, setup="bench", strength=0.9):
    return Proof(name, name, setup, "", frozenset(subjects), strength)


def concerns(*subjects):
    return [Concern(subject, "changed") for subject in subjects]


def random_job(seed, parts=6, count=10):
    """Random parts with pins, and proofs through some of them."""
    dice = Random(seed)
    subjects = [part_subject(f"U{n}") for n in range(parts)]
    points = [Subject("point", f"U{n}.{pin}") for n in range(parts) for pin in range(2)]
    proofs = [
        proof(
            f"{dice.choice(KINDS)}:{n}",
            *dice.sample(points, dice.randint(1, 4)),
            *dice.sample(subjects, dice.randint(0, 2)),
            setup=dice.choice(["bench", "machine"]),
            strength=dice.choice([0.3, 0.6, 0.8, 0.95]),
        )
        for n in range(count)
    ]
    results = {p.id: Evidence(p.id, dice.random() < 0.6) for p in dice.sample(proofs, 2)}
    return [Concern(s, "removed") for s in subjects], proofs, results


def passed(proofs, results=()):
    return {**dict(results), **{p.id: Evidence(p.id, True) for p in proofs}}


@pytest.mark.parametrize("seed", range(60))
def test_plan_is_never_dearer_than_greedy_and_closes_as_much(seed):
    """Passing what is planned leaves open only what nothing can prove."""
    wanted, proofs, results = random_job(seed, parts=10, count=16)
    state = gate(wanted, proofs, results)

    plan = least_plan(state, proofs, results)

    assert plan.cost <= plan_cost(state, least_cover(state, proofs)) + 1e-9
    after = gate(wanted, proofs, passed(plan.proofs, results))
    assert all(item.reason for item in after.open) and not after.failed


@pytest.mark.parametrize("seed", range(40))
def test_plan_equals_brute_force(seed):
    """Of all sets of proofs that close the gate as far as it can be closed, none costs less."""
    wanted, proofs, results = random_job(seed, parts=4, count=9)
    state = gate(wanted, proofs, results)

    plan = least_plan(state, proofs, results)

    least_open = len(gate(wanted, proofs, passed(proofs)).open)
    ways = [chosen for size in range(10) for chosen in combinations(proofs, size)]
    closing = [
        plan_cost(state, chosen)
        for chosen in ways
        if len((after := gate(wanted, proofs, passed(chosen, results))).open) == least_open
        and not after.failed
    ]
    assert plan.optimal and plan.cost == pytest.approx(min(closing))


def random_columns(dice, rows, count):
    return [
        Column(
            frozenset(dice.sample(range(rows), dice.randint(1, max(1, rows // 2)))),
            dice.randint(1, 9),
            frozenset(dice.sample("abc", dice.randint(0, 2))),
        )
        for _ in range(count)
    ]


@pytest.mark.parametrize("seed", range(60))
def test_set_cover_equals_brute_force(seed):
    """Reductions and solver together find the cheapest cover, rigs paid once."""
    dice = Random(seed)
    columns, costs = random_columns(dice, 8, 10), {"a": 3, "b": 5, "c": 0}
    free = frozenset(dice.sample("abc", dice.randint(0, 1)))

    found = least_cover_of(columns, costs, free=free)

    every = frozenset[int]().union(*(c.rows for c in columns))
    covers = [
        cost_of(columns, chosen, costs, free)
        for size in range(len(columns) + 1)
        for chosen in combinations(range(len(columns)), size)
        if frozenset[int]().union(*(columns[n].rows for n in chosen)) == every
    ]
    assert frozenset[int]().union(*(columns[n].rows for n in found.columns)) == every
    assert found.optimal and found.cost == min(covers) == cost_of(columns, found.columns, costs, free)


def test_a_core_that_no_reduction_settles_goes_to_the_solver():
    """Three rows, three columns in a ring: any two of them; and the hint is kept when it is as cheap."""
    ring = [Column(frozenset({n, (n + 1) % 3}), 2) for n in range(3)]

    found = least_cover_of(ring, {})

    assert found.cost == 4 and len(found.columns) == 2 and found.optimal
    assert least_cover_of(ring, {}, hint=[0, 1]).cost == 4


def test_out_of_time_a_valid_cover_is_still_given(monkeypatch):
    """Without an answer of the solver the plan is greedy and says that it may not be the cheapest."""
    monkeypatch.setattr("coppermend.proving.setcover._SOLVER_SECONDS", 0.0)
    dice = Random(3)
    columns = random_columns(dice, 60, 60)

    found = least_cover_of(columns, {"a": 3, "b": 5, "c": 1})

    assert frozenset().union(*(columns[n].rows for n in found.columns)) == frozenset().union(
        *(c.rows for c in columns)
    )
    assert not found.optimal


def test_a_dear_valid_choice_gives_way_to_a_cheaper_hint(monkeypatch):
    """When the solver ran out of time, a cheaper hint is taken."""
    monkeypatch.setattr(
        "coppermend.proving.setcover._solved", lambda columns, *_: (set(range(len(columns))), False)
    )
    ring = [Column(frozenset({n, (n + 1) % 3}), 2) for n in range(3)]

    assert least_cover_of(ring, {}, hint=[0, 1]).columns == (0, 1)


def test_one_set_up_is_better_than_two():
    """A slower test at the bench wins over a quick one for which the machine must be opened."""
    u1, u2 = part_subject("U1"), part_subject("U2")
    proofs = [proof("rail:a", u1), proof("rail:b", u2), proof("lamp:c", u2, setup="machine")]

    plan = least_plan(gate(concerns(u1, u2), proofs, {}), proofs)

    assert [p.id for p in plan.proofs] == ["rail:a", "rail:b"]


def test_a_stronger_test_is_better_when_it_costs_the_same():
    """Weakness counts as time that an escaped fault would cost."""
    u1 = part_subject("U1")
    proofs = [proof("clock:a", u1, strength=0.6), proof("clock:b", u1, strength=0.9)]

    assert [p.id for p in least_plan(gate(concerns(u1), proofs, {}), proofs).proofs] == ["clock:b"]


def test_order_is_failed_again_then_bench_then_machine_and_hazards_last():
    """Solenoids come when everything else works."""
    names = ["solenoid:L1", "lamp:L2", "rail:+5V", "display:J1", "clock:CLK"]
    subjects = [part_subject(name) for name in names]
    proofs = [
        proof(name, s, setup="bench" if name[0] in "rc" else "machine")
        for name, s in zip(names, subjects, strict=True)
    ]
    evidence = {"lamp:L2": Evidence("lamp:L2", False)}
    state = gate(concerns(*subjects), proofs, evidence)

    plan = least_plan(state, proofs, evidence)

    assert [(s.proof.id, s.again) for s in plan.steps] == [
        ("lamp:L2", True), ("rail:+5V", False), ("clock:CLK", False), ("display:J1", False), ("solenoid:L1", False),
    ]  # fmt: skip


def test_each_step_says_what_it_closes_helps_and_sets_up():
    """Two proofs that together pass all pins of a part: the first helps, the second closes; a rig is counted once."""
    u1, n1 = part_subject("U1"), net_subject("N1")
    proofs = [proof("rail:a", Subject("point", "U1.1"), n1), proof("rail:b", Subject("point", "U1.2"))]

    plan = least_plan(gate(concerns(u1, n1), proofs, {}), proofs)

    assert [(s.closes, s.helps, s.rigs) for s in plan.steps] == [
        ((n1,), (u1,), ("bench",)), ((u1,), (), ()),
    ]  # fmt: skip
    assert plan.minutes == 2 * minutes(proofs[0]) + RIG_MINUTES["bench"]


def test_plan_names_what_cannot_be_covered_and_what_comes_before_power():
    """The reason stands beside it; a safety measurement on record is asked for no more."""
    u1 = part_subject("U1")
    proofs = [proof("discharge", strength=0.0), proof("resistance:+5V", strength=0.3)]
    state = gate(concerns(u1), proofs, {}, reasons={u1: "its type is unknown"})

    plan = least_plan(state, proofs, {"discharge": Evidence("discharge", True)})

    assert [p.id for p in plan.before_power] == ["resistance:+5V"]
    document = json.loads(json.dumps(plan.to_json()))
    assert document["uncoverable"] == [{"item": "part U1", "reason": "its type is unknown"}]
    assert document["steps"] == [] and document["optimal"] is True


def test_costs_of_kinds():
    """Power-off measurements need no rig; unknown kinds get a middling time; doubt grows with what hangs on a proof."""
    assert rigs(proof("resistance:+5V")) == frozenset()
    assert rigs(proof("lamp:L1", setup="machine")) == {"test program", "machine"}
    assert minutes(proof("novel:x")) == 5
    assert doubt(proof("lamp:a", strength=0.5), ["x", "y"]) == 1.0
    assert rig_minutes(["bench", "bench", "scope"]) == RIG_MINUTES["bench"] + RIG_MINUTES["scope"]
