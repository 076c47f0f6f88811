"""The search as a whole: suspects, proposals, stopping, repairing, and belief that never breaks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.subject import Subject
from coppermend.errors import InputError, UnknownName
from coppermend.isolate import Isolation
from coppermend.isolate.choice import Tools
from coppermend.isolate.states import LOGIC_VALUES, MODES, logic_likelihood

from .conftest import board_of, chain, random_board


def _told(search: Isolation, *rows: tuple[str, ...]) -> Isolation:
    for row in rows:
        search.record(*row)
    return search


def test_probabilities_sum_to_one_and_priors_rank_first(demo: Isolation) -> None:
    """Before anything is seen the suspects are the published rates; every suspect says where its prior is from."""
    suspects = demo.suspects()

    assert sum(s.probability for s in suspects) == pytest.approx(1.0)
    assert suspects[0].name == "C1" and "MIL-HDBK-217F" in suspects[0].reasons[0]
    assert suspects[0].probability == pytest.approx(suspects[0].prior)


@pytest.mark.parametrize("seed", range(20))
def test_the_posterior_on_a_board_equals_exact_inference(seed: int) -> None:
    """On 20 generated boards with noisy observations every fault's probability equals pgmpy's to 1e-9."""
    pytest.importorskip("pgmpy")
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

    search, rng = Isolation(random_board(seed)), np.random.default_rng(seed)
    effects, model, evidence = search.effects, DiscreteBayesianNetwork(), {}
    count = len(effects.faults)
    model.add_node("fault")
    model.add_cpds(TabularCPD("fault", count, effects.prior[:, None]))
    nets = [net for net in effects.graph.nets if effects.graph.signal(net)]
    for k, net in enumerate(rng.choice(nets, 6, replace=False).tolist()):
        value = LOGIC_VALUES[int(rng.integers(len(LOGIC_VALUES)))]
        search.record(net, "logic", value)
        modes = effects.modes_at(effects.graph.number[net], "running")
        shown = logic_likelihood(value)
        model.add_edges_from([("fault", f"net{k}"), (f"net{k}", f"seen{k}")])
        model.add_cpds(
            TabularCPD(f"net{k}", 6, MODES[modes].T, ["fault"], [count]),
            TabularCPD(f"seen{k}", 2, np.vstack([shown, 1 - shown]), [f"net{k}"], [6]),
        )
        evidence[f"seen{k}"] = 0

    exact = VariableElimination(model).query(["fault"], evidence=evidence, show_progress=False).values

    assert search.posterior == pytest.approx(exact, abs=1e-9)


def test_the_first_proposal_splits_a_row_of_equals_in_the_middle() -> None:
    """Of sixteen inverters whose last output is bad, the first probe goes to one of the middle nets."""
    search = _told(
        Isolation(chain(16), tools=Tools(spares=False)), ("N16", "logic", "bad"), ("+5V", "volts", "5")
    )

    first = search.propose(1)[0]

    net = search.board.index.net_of_pin[tuple(first.point.split("."))]  # type: ignore[index]
    assert first.kind == "logic" and 5 <= int(net[1:]) <= 11 and first.gain_bits > 0.8
    assert first.why.startswith("Splits the suspicion")


def test_half_splitting_finds_one_of_sixteen_in_about_four_steps() -> None:
    """Following the proposals on a sound meter, a dead stage among sixteen is found in at most six probes."""
    for dead in (1, 6, 16):
        search = _told(
            Isolation(chain(16), tools=Tools(spares=False)), ("N16", "logic", "bad"), ("+5V", "volts", "5")
        )
        steps = 0
        while not search.settled() and steps < 12:
            step = search.propose(1)[0]
            net = search.board.index.net_of_pin[tuple(step.point.split("."))] if step.kind == "logic" else ""  # type: ignore[index]
            good = net == "IN" or (net and int(net[1:]) < dead)
            value = "good" if good else "floating" if net == f"N{dead}" else "stuck high"
            search.record(step.point, step.kind, {"ohms": "0.2", "swap": "same"}.get(step.kind, value))
            steps += 1
        assert search.suspects(1)[0].name in (f"U{dead}", f"N{dead}") and steps <= 8


def test_a_doubtful_rail_comes_before_logic() -> None:
    """While +5 V may be the fault, its voltage is the first thing to measure, with what it should be."""
    first = Isolation(chain(4)).propose(1)[0]

    assert (first.kind, first.expect) == ("volts", "5 V within 5 %")


def test_only_tools_that_are_there_are_used(demo_search: Isolation) -> None:
    """Without spares and adapter nothing is swapped and the CPU stays where it is."""
    bare = demo_search.after_nothing()
    bare.tools = Tools(spares=False, adapter=False, counter=False)
    bare.record("", "symptom", "no boot")

    proposals = bare.propose(30)

    assert proposals and {p.kind for p in proposals} <= {
        "logic",
        "ohms",
        "volts",
        "ripple",
        "watch",
        "joints",
    }
    assert {p.condition for p in proposals} == {"running"}


def test_hazardous_points_carry_a_caution(demo: Isolation) -> None:
    """A probe on a solenoid output warns of coils and mains, and costs more."""
    _told(demo, ("", "symptom", "boots"), ("", "symptom", "solenoid wrong"), ("J5.7", "symptom", "wrong"))

    coils = [p for p in demo.propose(30) if p.cautions and p.cautions[0].code == "solenoid"]

    assert coils and all("coil" in c.cautions[0].text for c in coils)


def test_what_was_measured_is_not_asked_again(demo: Isolation) -> None:
    """A point that has been probed in a condition is not proposed there again."""
    _told(demo, ("", "symptom", "no boot"))
    first = demo.propose(1)[0]
    answer = {"swap": "same", "volts": "5", "ohms": "0.2", "ripple": "0.01"}.get(first.kind, "good")

    demo.record(first.point, first.kind, answer, first.condition)

    assert (first.point, first.kind, first.condition) not in {
        (p.point, p.kind, p.condition) for p in demo.propose(30)
    }


def test_the_search_stops_and_says_what_to_do() -> None:
    """Sure enough it is isolated; a cheap part at 70 % is replaced at once; else it goes on measuring."""
    search = Isolation(chain(4))
    assert search.decision() == "measure" and not search.isolated

    _told(search, ("U3", "swap", "cured"))

    assert search.decision() == "isolated" and search.isolated and search.to_json()["next"] == []


def test_a_cheap_part_is_replaced_early(demo: Isolation) -> None:
    """A reset line held low makes the old electrolytic on it worth replacing before it is certain."""
    _told(demo, ("", "symptom", "no boot"), ("+5V", "volts", "5.0"), ("U1.40", "logic", "stuck low"))

    assert demo.suspects(1)[0].name == "C1" and demo.decision() in ("repair", "isolated")


def test_contradictions_are_told_not_hidden() -> None:
    """Good at the end of a row whose start was found bad: the odd reading is named, the belief stays whole."""
    search = _told(
        Isolation(chain(6)), ("N5", "logic", "good"), ("N6", "logic", "good"), ("N4", "logic", "good"),
        ("N1", "logic", "stuck low"),
    )  # fmt: skip

    document = search.to_json()

    assert "N1 logic stuck low" in document["contradictions"]
    assert (
        np.isfinite(search.posterior).all()
        and sum(s["probability"] for s in document["suspects"]) <= 1 + 1e-6
    )


def test_each_observation_says_what_it_changed(demo: Isolation) -> None:
    """The first observation starts from the priors; each goes on from the one before."""
    _told(demo, ("", "symptom", "no boot"), ("U1.40", "logic", "stuck low"))

    first, second = demo.effects_of_evidence()

    assert (
        second.before == first.after
        and second.after[0][0] == "C1"
        and second.after[0][1] > second.before[0][1]
    )


def test_two_faults_are_named_where_one_does_not_explain() -> None:
    """Two dead stages in two rows that share nothing: a pair of them explains both ends."""
    nets = {"+5V": "U1.14 U2.14 U3.14 U4.14", "GND": "U1.7 U2.7 U3.7 U4.7"}
    for row, (a, b) in enumerate((("U1", "U2"), ("U3", "U4")), 1):
        nets |= {f"I{row}": f"J1.{row} {a}.1", f"M{row}": f"{a}.2 {b}.1", f"O{row}": f"{b}.2 J1.{row + 4}"}
    board = board_of(nets, {**dict.fromkeys(("U1", "U2", "U3", "U4"), "7404"), "J1": "header"})
    search = _told(
        Isolation(board), ("+5V", "volts", "5"), ("I1", "logic", "good"), ("I2", "logic", "good"),
        ("M1", "logic", "good"), ("O1", "logic", "floating"), ("M2", "logic", "good"), ("O2", "logic", "floating"),
    )  # fmt: skip

    pairs = search.pairs()

    assert search.needs_pair and set(pairs[0].names) <= {"U2", "U4", "O1", "O2"}
    assert {frozenset(p.names) for p in pairs} & {frozenset({"U2", "U4"})}


def test_one_fault_needs_no_pair(demo: Isolation) -> None:
    """While a single fault explains everything no pairs are offered."""
    _told(demo, ("", "symptom", "no boot"), ("U1.40", "logic", "stuck low"))

    assert demo.pairs() == () and Isolation(chain(2)).pairs() == ()


def test_after_a_repair_the_good_readings_still_count() -> None:
    """What was good stays known, what was bad is asked anew, and the repaired part falls far back."""
    search = _told(
        Isolation(chain(5)), ("N2", "logic", "good"), ("N3", "logic", "stuck high"), ("U1", "swap", "same")
    )

    again = search.after_repair("part", "U3")

    assert [str(o) for o in again.counting] == ["N2 logic good"]
    assert {s.name: s.probability for s in again.suspects()}["U3"] < 0.05
    assert search.suspects(1)[0].name == "U3"  # the search before the repair is untouched


def test_repairing_what_is_not_there_is_refused() -> None:
    """Only a unit of the board can be repaired."""
    with pytest.raises(UnknownName) as caught:
        Isolation(chain(2)).after_repair("part", "U9")

    assert caught.value.name == "U9"


def test_an_observation_can_be_taken_back() -> None:
    """Without its second observation the search is as it was after the first."""
    search = _told(Isolation(chain(4)), ("N2", "logic", "good"), ("N3", "logic", "bad"))

    assert search.without(1).posterior == pytest.approx(
        _told(Isolation(chain(4)), ("N2", "logic", "good")).posterior
    )


def test_suspects_become_subjects_that_must_be_proven() -> None:
    """A part, its socket and both nets of a short are what a later proof has to cover."""
    search = _told(Isolation(chain(3)), ("IN:N1", "ohms", "0.3"))

    assert {Subject("net", "IN"), Subject("net", "N1")} <= set(search.subjects())


def test_a_refused_observation_leaves_the_search_as_it_was(demo: Isolation) -> None:
    """An unknown point is an error with a clear line, and nothing changes."""
    before = demo.posterior.copy()

    with pytest.raises(InputError) as caught:
        demo.record("U99.1", "logic", "high")

    assert "U99.1" in str(caught.value) and (demo.posterior == before).all() and demo.seen == ()


def test_a_board_without_nets_gives_an_empty_answer() -> None:
    """Nothing to suspect is said in words; nothing breaks."""
    search = Isolation(board_of({}, {}))

    document = search.to_json()

    assert document["suspects"] == [] and document["decision"] == "stuck" and document["notes"]
    assert search.propose(3) == ()


def test_parts_of_unknown_type_are_named() -> None:
    """Where signals cannot be followed the answer says through which parts."""
    assert "X1" in Isolation(board_of({"A": "J1.1 X1.1"}, {"X1": "", "J1": "header"})).notes()[0]


@settings(max_examples=25)
@given(st.lists(st.tuples(st.integers(0, 7), st.sampled_from(LOGIC_VALUES)), max_size=30))
def test_belief_survives_any_evidence(rows: list[tuple[int, str]]) -> None:
    """Whatever is seen, however contradictory, belief stays finite, positive somewhere, and sums to 1."""
    search = SHARED_CHAIN.after_nothing()
    for net, value in rows:
        search.record("IN" if net == 0 else f"N{net}", "logic", value)

    assert np.isfinite(search.posterior).all() and search.posterior.sum() == pytest.approx(1.0)


SHARED_CHAIN = Isolation(chain(7))


def test_more_proposals_begin_with_those_made_before(demo: Isolation) -> None:
    """Asked for one and then for four, the search says the same as when asked for four at once."""
    first = demo.propose(1)

    assert demo.propose(4)[:1] == first and demo.propose(2) == demo.propose(4)[:2]
    assert demo.after_nothing().propose(4) == demo.propose(4)
