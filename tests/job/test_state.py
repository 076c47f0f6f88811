"""Folding entries into the state of a job."""

from __future__ import annotations

import dataclasses
import json
import random
from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from coppermend.job.entry import STAGES, Entry
from coppermend.job.state import BoardLine, EvidenceLine, JobState, JumperLine, fold
from coppermend.job.validate import KINDS
from coppermend.job.voiding import voided

START = datetime(2026, 3, 4, 9, tzinfo=UTC)
SHA = "a" * 64
NUMBER = "26-0042-U"


def record(*lines: tuple[str, dict[str, Any]]) -> list[Entry]:
    """A record of one job from (kind, body) lines, one a minute."""
    return [
        Entry(NUMBER, seq, START + timedelta(minutes=seq), "Bo", "receive", kind, body)
        for seq, (kind, body) in enumerate(lines, 1)
    ]


def area(severity: float) -> dict[str, Any]:
    """A square of damage."""
    shape = {"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 0]]]}
    feature = {"type": "Feature", "properties": {"severity": severity}, "geometry": shape}
    return {"type": "FeatureCollection", "features": [feature]}


OPEN = ("job", {"customer": "Ana", "machine": "Pebble Run", "complaint": "dead"})

names = st.sampled_from(["U1", "U2", "R3"])
points = st.sampled_from(["U1.1", "U1.2", "V1", "V2"])
lines = st.one_of(
    st.tuples(st.just("job"), st.dictionaries(st.sampled_from(["customer", "serial"]), names)),
    st.tuples(st.just("board"), st.fixed_dictionaries({"name": names, "sha256": st.just(SHA)})),
    st.tuples(st.just("photo"), st.fixed_dictionaries({"name": names, "sha256": st.just(SHA)})),
    st.tuples(st.just("damage"), st.fixed_dictionaries({"area": st.floats(0, 1).map(area)})),
    st.tuples(st.just("note"), st.fixed_dictionaries({"text": names})),
    st.tuples(st.just("remedy"), st.fixed_dictionaries({"id": names, "chosen": st.booleans()})),
    st.tuples(st.just("strip"), st.fixed_dictionaries({"refdes": names, "done": st.booleans()})),
    st.tuples(st.just("refit"), st.fixed_dictionaries({"refdes": names, "done": st.booleans()})),
    st.tuples(
        st.just("reading"),
        st.fixed_dictionaries({"a": points, "b": points, "ohms": st.just("OL") | st.floats(0, 1e6)}),
    ),
    st.tuples(st.just("jumper"), st.fixed_dictionaries({"net": names, "a": points, "b": points})),
    st.tuples(st.just("evidence"), st.fixed_dictionaries({"proof": names, "passed": st.booleans()})),
    st.tuples(st.just("stage"), st.fixed_dictionaries({"stage": st.sampled_from(STAGES)})),
    st.tuples(
        st.just("paper"), st.fixed_dictionaries({"what": names, "name": names, "sha256": st.just(SHA)})
    ),
    st.tuples(st.just("void"), st.fixed_dictionaries({"seq": st.integers(1, 30)})),
    st.tuples(st.sampled_from([*KINDS, "quote"]), st.dictionaries(names, st.integers() | names)),
)
records = st.lists(lines, max_size=30).map(lambda drawn: record(OPEN, *drawn))


def told(state: JobState) -> JobState:
    """The state without what merely counts entries."""
    return dataclasses.replace(state, seq=0, changed=None, voided=frozenset())


def test_no_entries_is_an_empty_state():
    """A record without entries folds to nothing, at the first stage."""
    assert fold(()) == JobState()


def test_header_keeps_the_last_word_on_each_key():
    """A later job entry corrects the keys it names and leaves the others."""
    state = fold(record(OPEN, ("job", {"customer": "Ana L.", "serial": "7"})))

    assert (state.customer, state.machine, state.serial) == ("Ana L.", "Pebble Run", "7")
    assert (state.number, state.seq) == (NUMBER, 2)
    assert state.opened == START + timedelta(minutes=1)


def test_last_of_each_counts():
    """Damage, board, stage, remedies, strip, refit and evidence follow their last entry."""
    state = fold(
        record(
            OPEN,
            ("damage", {"area": area(0.2)}),
            ("damage", {"area": area(0.9)}),
            ("board", {"name": "Old", "sha256": SHA}),
            ("board", {"name": "Tiny", "sha256": SHA}),
            ("stage", {"stage": "strip"}),
            ("stage", {"stage": "copper"}),
            ("remedy", {"id": "cells", "chosen": True}),
            ("remedy", {"id": "fram", "chosen": True}),
            ("remedy", {"id": "cells", "chosen": False}),
            ("strip", {"refdes": "U1", "done": True, "fate": "discard"}),
            ("strip", {"refdes": "U2", "done": True, "fate": "test"}),
            ("strip", {"refdes": "U2", "done": False}),
            ("refit", {"refdes": "U1", "done": True, "note": "socketed"}),
            ("evidence", {"proof": "rails", "passed": False}),
            ("evidence", {"proof": "rails", "passed": True, "note": "5.02 V", "volts": 5.02}),
        )
    )

    assert state.damage == area(0.9)
    assert state.board == BoardLine("Tiny", SHA)
    assert (state.stage, state.remedies) == ("copper", ("fram",))
    assert (state.strip, state.refit) == ({"U1": "discard"}, {"U1": "socketed"})
    assert state.evidence == {"rails": EvidenceLine("rails", True, "5.02 V", 16, {"volts": 5.02})}


def test_readings_are_kept_once_per_pair_as_written():
    """A pair measured again, from the other end too, keeps only its last reading, as it was written."""
    state = fold(
        record(
            OPEN,
            ("reading", {"a": "U1.1", "b": "V1", "ohms": "OL"}),
            ("reading", {"a": "U1.2", "b": "V2", "ohms": 3}),
            ("reading", {"a": "V1", "b": "U1.1", "ohms": 0.2, "instrument": "bench meter"}),
            ("reading", {"a": "U2.1", "b": "V1", "ohms": "OL"}),
        )
    )

    assert [(r.a, r.b, r.ohms) for r in state.readings] == [
        ("U1.2", "V2", 3.0), ("V1", "U1.1", 0.2), ("U2.1", "V1", None),
    ]  # fmt: skip
    assert state.readings[1].instrument == "bench meter"


def test_jumper_noted_twice_is_one_jumper():
    """The same jumper noted again only corrects its side."""
    state = fold(
        record(
            OPEN,
            ("jumper", {"net": "A5", "a": "U1.1", "b": "V1", "side": "top"}),
            ("jumper", {"net": "A5", "a": "V1", "b": "U1.1", "side": "bottom"}),
            ("jumper", {"net": "A6", "a": "U1.2", "b": "V2"}),
        )
    )

    assert state.jumpers == (
        JumperLine("A5", "V1", "U1.1", "bottom", 2),
        JumperLine("A6", "U1.2", "V2", "", 4),
    )


def test_notes_photos_and_papers_are_all_kept():
    """What only adds to the story stays in order, with its entry's number."""
    state = fold(
        record(
            OPEN,
            ("note", {"text": "first"}),
            ("photo", {"sha256": SHA, "name": "front.jpg", "caption": "before"}),
            ("note", {"text": "second"}),
            ("paper", {"what": "tag", "sha256": SHA, "name": "tag.pdf"}),
        )
    )

    assert [(note.seq, note.text, note.who) for note in state.notes] == [
        (2, "first", "Bo"),
        (4, "second", "Bo"),
    ]
    assert [(f.name, f.words, f.seq) for f in (*state.photos, *state.papers)] == [
        ("front.jpg", "before", 3), ("tag.pdf", "tag", 5),
    ]  # fmt: skip


def test_void_brings_the_earlier_entry_back():
    """Voiding the last damage makes the one before it count again."""
    state = fold(
        record(OPEN, ("damage", {"area": area(0.2)}), ("damage", {"area": area(0.9)}), ("void", {"seq": 3}))
    )

    assert state.damage == area(0.2)
    assert state.voided == {3}


def test_void_of_a_void_restores():
    """Undoing an undo lets the entry count again."""
    state = fold(record(OPEN, ("note", {"text": "x"}), ("void", {"seq": 2}), ("void", {"seq": 3})))

    assert [note.text for note in state.notes] == ["x"]
    assert state.voided == {3}


def test_future_kinds_and_bodies_are_counted_and_skipped():
    """Entries this version cannot read do not stop it, and it says how many there are."""
    state = fold(
        record(OPEN, ("quote", {"sum": 90}), ("note", {}), ("stage", {"stage": "paint"}), ("void", {}))
    )

    assert state.unread == 4
    assert state.stage == "receive"


def test_a_body_that_is_no_object_is_counted():
    """Even a damaged body of a void entry is only counted."""
    state = fold([*record(OPEN), Entry(NUMBER, 2, START, "Bo", "strip", "void", [1])])  # type: ignore[arg-type]

    assert (state.unread, state.voided) == (1, frozenset())


def test_state_as_json():
    """The state survives JSON, with moments as text."""
    state = fold(record(OPEN, ("note", {"text": "x"}), ("evidence", {"proof": "rails", "passed": True})))

    document = json.loads(json.dumps(state.to_json()))

    assert document["opened"] == "2026-03-04T09:01:00+00:00"
    assert document["notes"][0]["at"] == "2026-03-04T09:02:00+00:00"
    assert document["evidence"]["rails"]["passed"] is True
    assert fold(()).to_json()["opened"] is None


@given(records)
def test_every_prefix_folds(entries: list[Entry]):
    """However far a record has come, and whatever is in it, it has a state."""
    for length in range(len(entries) + 1):
        state = fold(entries[:length])

        assert state.seq == length
        assert len(state.readings) <= 6
        assert all(0 < seq < length for seq in state.voided)


@given(records, st.randoms())
def test_order_given_does_not_matter(entries: list[Entry], rng: random.Random):
    """A fold depends on the entries' numbers, not on the order they are handed over in."""
    shuffled = entries.copy()
    rng.shuffle(shuffled)

    assert fold(shuffled) == fold(entries)


@given(records, lines.filter(lambda line: line[0] != "void"))
def test_void_undoes_exactly(entries: list[Entry], line: tuple[str, dict[str, Any]]):
    """An entry followed by its void leaves the state as if neither had been written."""
    before = [(e.kind, e.body) for e in entries]
    seq = len(entries) + 1

    state = fold(record(*before, line, ("void", {"seq": seq})))

    assert told(state) == told(fold(entries))
    assert state.voided == fold(entries).voided | {seq}


@given(records, lines.filter(lambda line: line[0] != "void"))
def test_redo_restores_exactly(entries: list[Entry], line: tuple[str, dict[str, Any]]):
    """Voiding the void brings back exactly what had been undone."""
    before = [(e.kind, e.body) for e in entries]
    seq = len(entries) + 1

    redone = fold(record(*before, line, ("void", {"seq": seq}), ("void", {"seq": seq + 1})))

    assert told(redone) == told(fold(record(*before, line)))


@given(st.dictionaries(st.integers(1, 20), st.integers(-3, 25)))
def test_voids_settle(voids: dict[int, int]):
    """An entry is void exactly when some void entry that itself counts reaches back to it."""
    gone = voided(voids)

    assert gone == {target for seq, target in voids.items() if seq not in gone and target < seq}


@given(st.permutations(["U1", "U2", "R3", "C4"]))
def test_ticks_of_different_parts_commute(order: list[str]):
    """In whatever order different parts are ticked off, the same parts have come off."""
    state = fold(record(OPEN, *(("strip", {"refdes": r, "done": True, "fate": "test"}) for r in order)))

    assert state.strip == dict.fromkeys(["U1", "U2", "R3", "C4"], "test")
