"""What follows from a record on its board."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coppermend.board.model import Board, Part, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.copper.records import CopperPlan, Open
from coppermend.errors import InputError
from coppermend.job.assess import Assessment, assess
from coppermend.job.entry import STAGES
from coppermend.job.known import board_facts, touched_by
from coppermend.job.power import rails_ohm
from coppermend.job.progress import FINISHED
from coppermend.job.state import EvidenceLine, JobState, JumperLine, NoteLine, ReadingLine, fold
from coppermend.job.store import Store
from coppermend.job.worklists import work_lists
from coppermend.rework.records import Remedy

SHA = "a" * 64


@pytest.fixture
def work(small: Board, library: PartLibrary, leak: dict[str, Any]):
    """Assess a state on the small board, with the leak unless another damage is given."""

    def run(**fields: Any) -> Assessment:
        return assess(small, library, JobState(**{"complaint": "dead", "damage": leak, **fields}))

    return run


def readings(*lines: tuple[str, str, float | None]) -> tuple[ReadingLine, ...]:
    """Readings in order."""
    return tuple(ReadingLine(a, b, ohms, "", seq) for seq, (a, b, ohms) in enumerate(lines, 10))


def passed(*proofs: str) -> dict[str, EvidenceLine]:
    """Passing evidence for these proofs."""
    return {proof: EvidenceLine(proof, True, "", 50) for proof in proofs}


def all_good(plan) -> tuple[ReadingLine, ...]:
    """Good readings for every probe of a plan."""
    return readings(*((p.a, p.b, p.expect_ohms) for p in plan.probes))


def step(found: Assessment, stage: str) -> tuple[int, int, str]:
    """Done, total and next step of a stage."""
    progress = found.progress[STAGES.index(stage)]
    return progress.done, progress.total, progress.next_step


def test_job_without_damage_touches_nothing(work):
    """Before any damage is recorded nothing is to be stripped or proven, and the next step is to look."""
    for damage in (None, {"type": "FeatureCollection", "features": []}):
        found = work(damage=damage, stage="inspect")
        assert (found.touch.nets, found.strip, found.refit, found.copper.probes) == ((), (), (), ())
        assert found.gate.passed
    assert step(work(damage=None), "inspect") == (
        0,
        1,
        "Draw the damaged area on the board, or record that there is none.",
    )
    assert step(work(damage=damage), "inspect") == (1, 1, "")


def test_leak_leads_through_every_room(work):
    """The leak gives at-risk nets, a strip list, a refit list with its kit, probes, proofs and an open gate."""
    found = work()

    assert {net.net for net in found.touch.nets} == {"+5V", "GND", "IN", "MID", "VBAT", "VRAM"}
    assert [item.refdes for item in found.strip] == ["BT1", "U1", "D1", "XU1"]
    assert {item.refdes for item in found.refit} == {"BT1", "U1", "D1", "XU1"}
    assert sum(line.quantity for line in found.kit) == 4
    assert {probe.net for probe in found.copper.probes} == {net.net for net in found.touch.nets}
    assert not found.gate.passed
    assert {proof.id for proof in found.proofs_to_do} <= {proof.id for proof in found.proofs}


def test_damage_of_another_board_is_refused(work):
    """Damage that does not lie on this board gives one clear error."""
    ring = [[200, 200], [210, 200], [210, 210], [200, 200]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    damage = {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": shape}]}

    with pytest.raises(InputError) as caught:
        work(damage=damage)

    assert "off the board" in caught.value.found


def test_noted_fate_goes_before_the_planned_one(work):
    """A part that the technician keeps goes back; one that is thrown away comes new."""
    kept = work(strip={"D1": "refit", "U1": "refit"})
    tossed = work(strip={"D1": "discard"})

    sources = {item.refdes: item.source for item in kept.refit}
    assert (sources["D1"], sources["U1"]) == ("refit", "refit")
    assert {item.refdes: item.source for item in tossed.refit}["D1"] == "new"


def test_part_that_failed_its_test_comes_new(work, small: Board, library: PartLibrary, leak: dict[str, Any]):
    """A part planned to be tested and noted as discarded comes new, and the list says why."""
    leak["features"][0]["properties"]["severity"] = 0.5
    planned = work()
    assert {item.refdes: item.fate for item in planned.strip}["U1"] == "test"

    bad = next(item for item in work(strip={"U1": "discard"}).refit if item.refdes == "U1")

    assert (bad.source, bad.note) == ("new", "failed its test off the board")


def test_part_taken_off_beyond_the_list_is_to_be_proven(work):
    """What came off without being listed joins the strip list, the refit list and the gate."""
    found = work(strip={"U2": "", "XU2": ""}, refit={"R1": ""})

    extra = {item.refdes: (item.fate, item.part, item.socket) for item in found.strip[-3:]}
    assert extra == {
        "R1": ("refit", "R1", False),
        "U2": ("refit", "U2", False),
        "XU2": ("discard", "U2", True),
    }
    assert {"U2", "R1"} <= {item.refdes for item in found.refit}
    assert {"part U2", "part R1"} <= {str(item.subject) for item in found.gate.open}


def test_what_the_board_does_not_have_is_told(work):
    """Parts, points and remedies of another board are left out, each with a note."""
    found = work(
        strip={"U99": ""},
        remedies=("no-such",),
        readings=readings(("U1.1", "U99.1", 0.1), ("J1.3", "U1.1", 0.2)),
        jumpers=(JumperLine("IN", "V7", "U1.1", "", 30),),
    )

    assert found.notes == (
        "remedy no-such was chosen but does not apply to this board and damage",
        "U99 is in the record, but neither on this board nor on its lists",
        "entry 10 is not used: this board has no point U99.1",
        "entry 30 is not used: this board has no point V7",
    )
    assert "IN" in found.copper.proven


def test_chosen_remedy_is_carried_through(work):
    """A chosen remedy brings its parts into the kit and what it changes into the gate."""
    offered = work().remedies
    remedy = next(r for r in offered if r.parts_on)

    found = work(remedies=(remedy.id,), stage="plan")

    assert found.chosen == (remedy,)
    assert step(found, "plan") == (1, 1, "")
    assert step(work(stage="plan"), "plan")[:2] == (0, 1)
    assert {refdes for line in remedy.parts_on for refdes in line.refdes} <= {
        item.refdes for item in found.refit
    }
    assert remedy.title in {c.note for item in found.gate.open for c in item.concerns if c.why == "changed"}


def test_remedies_that_cannot_go_together(work, monkeypatch: pytest.MonkeyPatch):
    """Of two remedies that exclude each other the one chosen last counts; a note cannot be carried out."""
    one, other = Remedy("one", "One", "", excludes=("other",)), Remedy("other", "Other", "")
    note = Remedy("note", "Note", "", note_only=True)
    touched = work().touch
    monkeypatch.setattr("coppermend.job.assess.touched_by", lambda *_: (touched, (one, other, note)))

    found = work(remedies=("one", "note", "other"))

    assert found.chosen == (other,)
    assert found.notes == (
        "remedy one is left out, since other was chosen after it",
        "remedy note was chosen but is only a note",
    )
    assert work(remedies=("other", "one")).chosen == (one,)


def test_copper_is_proven_by_its_probes(work):
    """Good readings on every probe leave none to make and prove every net at risk."""
    first = work()

    found = work(readings=all_good(first.copper))

    assert step(first, "copper")[:2] == (0, 6)
    assert step(found, "copper") == (6, 6, "")
    assert not [item for item in found.gate.open if item.subject.kind == "net"]


def test_open_net_asks_for_a_jumper_until_it_conducts(work):
    """An open asks for a jumper; fitted and measured again, the net is proven."""
    cut = readings(("D1.1", "R1.2", None))
    fitted = (JumperLine("VRAM", "D1.1", "R1.2", "top", 20),)
    again = (ReadingLine("D1.1", "R1.2", 0.2, "", 21),)

    asked, wired, proven = (
        work(readings=cut),
        work(readings=cut, jumpers=fitted),
        work(readings=again, jumpers=fitted),
    )

    assert step(asked, "copper")[2].startswith("Mend the track or fit a jumper from ")
    assert "VRAM" in {probe.net for probe in wired.copper.probes}
    assert "VRAM" in proven.copper.proven


def test_short_is_the_first_thing_to_find(work):
    """A low reading between two nets goes before everything else at the copper stage."""
    found = work(readings=readings(("D1.1", "D1.2", 0.1)), stage="copper")

    assert found.next_step == "Find the short between VRAM and VBAT, read from D1.1 to D1.2."


def test_parts_that_are_off_hide_no_points(work):
    """The battery stands over a pin until it is off, and again once it is back."""
    where = {"strip": {"BT1": "discard"}}

    def sides(**fields: Any) -> set[str]:
        return {p.side for p in work(**fields).copper.probes if {p.a, p.b} == {"U1.2", "U2.1"}}

    assert sides() == {"bottom"}
    assert sides(**where) == {"both"}
    assert sides(**where, refit={"BT1": ""}) == {"bottom"}


@pytest.mark.parametrize(
    ("strip", "refit", "off"),
    [
        ((), (), set()),
        (("U1",), (), set()),
        (("U1", "XU1"), (), {"U1"}),
        (("U1", "XU1"), ("XU1",), set()),
        (("BT1", "U1", "XU1"), ("U1", "XU1"), {"BT1"}),
    ],
)
def test_part_is_off_when_its_socket_is_off_too(
    small: Board, library: PartLibrary, work, strip: tuple, refit: tuple, off: set
):
    """A chip lifted out of a socket that still stands leaves its place covered."""
    state = JobState(strip=dict.fromkeys(strip, ""), refit=dict.fromkeys(refit, ""))

    lists = work_lists(small, library, work().touch, (), state)

    assert lists.off == off
    assert lists.came_off == {refdes.removeprefix("X") for refdes in strip}


def test_power_waits_for_what_is_on_record(work):
    """Power is refused until battery, rails and discharge are recorded; readings and evidence both count."""
    refused = work(stage="prove", readings=all_good(work().copper))
    allowed = work(
        strip={"BT1": "discard"},
        readings=readings(("C1.1", "C1.2", 220.0)),
        evidence={
            **passed("discharge", "resistance:VBAT"),
            "resistance:VRAM": EvidenceLine("resistance:VRAM", True, "", 9, {"ohms": "OL"}),
        },
    )

    assert refused.next_step == "Before power: Battery BT1 is not recorded as removed."
    assert allowed.power.allowed
    assert not any("Power-up" in note for note in allowed.gate.notes)


def test_failed_proof_is_the_next_to_repeat(work):
    """A proof that failed comes first, and holds the gate."""
    evidence = {
        **passed("discharge", "resistance:+5V", "resistance:VBAT", "resistance:VRAM"),
        "value:D1": EvidenceLine("value:D1", False, "reads 0.1 V both ways", 9),
    }

    found = work(stage="prove", strip={"BT1": ""}, evidence=evidence)

    assert found.next_step.startswith("Prove again ")
    assert found.gate.failed == ("value:D1",)


def test_nets_left_to_the_probes(work):
    """When only copper is open, the step at the proofs sends to the probes."""
    every = {proof.id for proof in work().proofs} - {
        "rail:+5V",
        "rail:VBAT",
        "rail:VRAM",
        "ripple:+5V",
        "connector:J1",
    }
    found = work(strip={"BT1": ""}, evidence=passed(*every, "connector:J1"), stage="prove")

    assert found.proofs_to_do == ()
    assert step(found, "prove")[2].startswith("Prove the copper of net ")


def test_what_nothing_can_prove_is_named(work, small: Board, library: PartLibrary):
    """A touched part that no proof reaches is named with the reason, once all else is proven."""
    part = Part("X1", "mystery", "", 22, 44, package="DIP-8")
    odd = replace(small, parts=(*small.parts, part), nets={**small.nets, "NX": (PinRef("X1", "1"),)})
    first = assess(odd, library, work().state)
    every = passed(*(proof.id for proof in first.proofs))

    good = all_good(first.copper)
    found = assess(odd, library, replace(first.state, strip={"BT1": ""}, evidence=every, readings=good))

    assert step(found, "prove")[2] == (
        "Look after part X1: its type mystery is not in the part-type library: add it, and its proofs appear."
    )


def test_open_that_no_jumper_cures_is_to_be_mended(work):
    """An open without a jumper to offer still gives a next step."""
    copper = CopperPlan(opens=(Open("VRAM", ("D1.1", "R1.2"), (4,)),))

    assert step(replace(work(), copper=copper), "copper")[2] == (
        "Mend net VRAM, open between D1.1 and R1.2, then measure again."
    )


def test_notes_at_the_isolate_stage_are_counted(work):
    """What was found beyond the damage counts as done at its stage."""
    note = NoteLine("reset stuck low", "Bo", datetime(2026, 3, 4, tzinfo=UTC), "isolate", 3)

    assert step(work(notes=(note, replace(note, stage="plan"))), "isolate") == (1, 1, "")


def test_board_without_remedies_has_nothing_to_plan(work):
    """Where no remedy applies the plan is finished from the start."""
    assert step(replace(work(), remedies=()), "plan") == (0, 0, "")


def test_whole_job_from_arrival_to_return(
    store: Store, small: Board, library: PartLibrary, leak: dict[str, Any]
):
    """Doing what the record asks for, entry by entry, ends with a passed gate and nothing left to do."""
    job = store.new_job({"customer": "Ana"}, who="Bo")

    def now() -> Assessment:
        return assess(small, library, fold(store.entries(job)))

    def log(stage: str, kind: str, **body: Any) -> None:
        store.append(job, "stage", stage, {"stage": stage}, who="Bo")
        store.append(job, kind, stage, body, who="Bo")

    assert now().next_step == "Note the complaint in the customer's words."
    log("receive", "job", complaint="dead")
    log("inspect", "damage", area=leak)
    while left := [item for item in now().strip if item.refdes not in now().state.strip]:
        log("strip", "strip", refdes=left[0].refdes, done=True, fate=left[0].fate)
    cut = {"D1.1", "R1.2"}
    while probes := now().copper.probes:
        expected = "OL" if probes[0].expect_ohms is None else probes[0].expect_ohms
        ohms = "OL" if {probes[0].a, probes[0].b} == cut and not now().state.jumpers else expected
        log("copper", "reading", a=probes[0].a, b=probes[0].b, ohms=ohms)
        for wire in now().copper.jumpers:
            log("copper", "jumper", net=wire.net, a=wire.a, b=wire.b, side=wire.side)
    while left := [item for item in now().refit if item.refdes not in now().state.refit]:
        log("refit", "refit", refdes=left[0].refdes, done=True)
    for proof in ("discharge", "resistance:+5V", "resistance:VBAT", "resistance:VRAM"):
        log("prove", "evidence", proof=proof, passed=True)
    while proofs := now().proofs_to_do:
        log("prove", "evidence", proof=proofs[0].id, passed=True)
    assert now().gate.passed
    sha256 = store.attach(b"%PDF", "tag.pdf", "application/pdf")
    log("return", "paper", what="tag", sha256=sha256, name="tag.pdf")
    assert now().next_step == "Make the return report."
    log("return", "paper", what="report", sha256=sha256, name="report.pdf")

    assert now().next_step == FINISHED
    assert [stage.title for stage in now().progress if not stage.finished] == []
    assert len(now().state.jumpers) == 1


def test_next_step_looks_elsewhere_when_a_stage_is_finished(work):
    """With nothing to do at the current stage the first unfinished stage is named."""
    assert work(damage=None, stage="strip").next_step.startswith("Inspect: Draw the damaged area")


def test_assessment_as_json(work):
    """The whole assessment survives JSON and says of each item whether it is done."""
    found = work(
        strip={"BT1": "discard"},
        refit={"D1": ""},
        evidence=passed("value:D1"),
        remedies=("turned-pin-sockets",),
    )

    document = json.loads(json.dumps(found.to_json()))

    assert {i["refdes"]: (i["done"], i["fate_noted"]) for i in document["strip"]}["BT1"] == (True, "discard")
    assert {i["refdes"]: i["done"] for i in document["refit"]}["D1"] is True
    assert {p["id"]: p["evidence"] for p in document["proofs"]}["value:D1"] == {"passed": True, "note": ""}
    assert [r["id"] for r in document["remedies"] if r["chosen"]] == ["turned-pin-sockets"]
    assert document["gate"]["pass"] is False
    assert [stage["stage"] for stage in document["progress"]] == list(STAGES)
    assert document["next_step"] == found.next_step


def test_board_and_damage_are_worked_out_once(small: Board, library: PartLibrary, leak: dict[str, Any]):
    """The same board and damage are not worked out again; an equal but other board is."""
    other = replace(small)

    assert board_facts(small, library) is board_facts(small, library)
    assert touched_by(small, library, leak) is touched_by(small, library, json.loads(json.dumps(leak)))
    assert board_facts(other, library) is not board_facts(small, library)


@pytest.mark.parametrize(
    ("point", "net"), [("U1.1", "IN"), ("U1.3", ""), ("V1", ""), ("U9.1", ""), ("", ""), (".", "")]
)
def test_net_of_a_point(small: Board, library: PartLibrary, point: str, net: str):
    """A pin's net is found; a pin on no net and a point that does not exist have none."""
    assert board_facts(small, library).net_of_point(point) == net


def test_via_is_a_point(board: Board, library: PartLibrary):
    """A via counts as a point and has a net."""
    facts = board_facts(board, library)

    assert facts.has_points("V1")
    assert facts.net_of_point("V1") == "N1"


NET = {"A.1": "+5V", "A.2": "GND", "A.3": "IN"}.get


@pytest.mark.parametrize(
    ("lines", "result", "expected"),
    [
        ([("A.1", "A.2", 90.0)], None, {"+5V": 90.0}),
        ([("A.2", "A.1", None)], None, {"+5V": None}),
        ([("A.1", "A.3", 90.0), ("A.3", "A.2", 5.0)], None, {}),
        ([("A.1", "A.2", 90.0)], (True, 70), {"+5V": 70.0}),
        ([], (True, "OL"), {"+5V": None}),
        ([], (True, "a few"), {}),
        ([], (True, True), {}),
        ([("A.1", "A.2", 90.0)], (False, None), {}),
        ([("A.1", "A.2", 90.0)], (False, 40.0), {}),
        ([("A.1", "A.2", 90.0)], (False, 0.2), {"+5V": 0.2}),
    ],
)
def test_rail_resistance_on_record(lines: list, result: tuple | None, expected: dict):
    """Readings across a rail and ground count, as do ohms in evidence; a failed proof takes a good reading back."""
    evidence = {}
    if result:
        evidence["resistance:+5V"] = EvidenceLine("resistance:+5V", result[0], "", 99, {"ohms": result[1]})
    state = JobState(readings=readings(*lines), evidence=evidence)

    assert rails_ohm({"+5V"}, {"GND"}, lambda point: NET(point, ""), state) == expected


REFDES = st.sampled_from(["BT1", "D1", "U1", "XU1", "U2", "C1", "U77", "X"])
POINTS = st.sampled_from(["U1.1", "U1.2", "U2.1", "J1.3", "D1.1", "D1.2", "R1.2", "C1.1", "BT1.2", "Z9.1"])
STATES = st.builds(
    JobState,
    stage=st.sampled_from(STAGES),
    strip=st.dictionaries(REFDES, st.sampled_from(["", "discard", "test", "refit"])),
    refit=st.dictionaries(REFDES, st.just("")),
    remedies=st.lists(st.sampled_from(["turned-pin-sockets", "supply-capacitors", "none"]), unique=True).map(
        tuple
    ),
    readings=st.lists(
        st.tuples(POINTS, POINTS, st.none() | st.floats(0, 100)).filter(lambda r: r[0] != r[1])
    ).map(lambda lines: readings(*lines)),
    jumpers=st.lists(
        st.builds(JumperLine, st.just("MID"), POINTS, POINTS, st.just(""), st.integers(1, 30)), max_size=3
    ).map(tuple),
    evidence=st.dictionaries(st.sampled_from(["value:D1", "rail:+5V", "stray"]), st.booleans()).map(
        lambda results: {name: EvidenceLine(name, good, "", 40) for name, good in results.items()}
    ),
)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(STATES)
def test_any_record_has_an_assessment(work, state: JobState):
    """Whatever was recorded, there is an assessment whose counts agree, and a next step."""
    found = work(**{name: getattr(state, name) for name in ("stage", "strip", "refit", "remedies", "readings")},
                 jumpers=state.jumpers, evidence=state.evidence)  # fmt: skip

    assert all(0 <= one.done <= one.total for one in found.progress)
    assert found.next_step
    assert {item.refdes for item in found.strip} >= {"BT1", "U1", "D1", "XU1"}
    assert found.gate.passed is not bool(found.gate.open or found.gate.failed)
    json.dumps(found.to_json())
