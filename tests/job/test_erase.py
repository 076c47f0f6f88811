"""Personal data is erased on request; the technical record and the fact of erasing stay."""

from __future__ import annotations

from pathlib import Path

import pytest

from coppermend.errors import InputError
from coppermend.job import tables
from coppermend.job.erase import ERASED, erase_personal
from coppermend.job.state import fold
from coppermend.job.store import Store

BOTH = True


def test_person_is_gone_and_the_work_stays(store: Store, job: str):
    """Customer and contact are in no entry, card, word or guess any more; machine, complaint and numbers stay."""
    store.append(job, "note", "receive", {"text": "Ask for Wilhelmina at the door"}, who="Bo")
    store.append(job, "note", "copper", {"text": "Dry joint at RN1"}, who="Bo")

    erased = erase_personal(store, job, why="letter of 3 March", who="Bo", notes=[2])

    entries = store.entries(job)
    state = fold(entries)
    assert erased.entries == (1, 2)
    assert [(e.seq, e.kind) for e in entries] == [(1, "job"), (2, "note"), (3, "note"), (4, "erased")]
    assert (state.customer, state.contact, state.machine, state.serial) == ("", "", "Pebble Run", "PR-0117")
    assert [note.text for note in state.notes] == [ERASED, "Dry joint at RN1"]
    assert state.erased == entries[3].at
    for word in ("lindqvist", "lindqvsit", "ana@example.org", "wilhelmina"):
        assert store.search(word).jobs == ()
    assert [found.number for found in store.find("rn1 pebble")] == [job]
    assert store.verify() == ()


@pytest.mark.sqlite
def test_file_keeps_no_trace(store: Store, job: str):
    """The bytes of the name are in no file of the database."""
    other = store.new_job({"customer": "Tom"}, who="Bo")
    erase_personal(store, job, why="letter", who="Bo")

    place = Path(str(store.engine.url.database))
    assert not any(b"indqvist" in path.read_bytes().lower() for path in place.parent.glob("record.sqlite*"))
    assert [found.number for found in store.find("tom")] == [other]


@pytest.mark.parametrize(
    "sql", ["UPDATE entry SET who = 'Eve'", "UPDATE entry SET seq = seq + 9", "DELETE FROM entry"]
)
def test_everything_else_stays_fixed(store: Store, job: str, sql: str):
    """After erasing the database still refuses any other change, and any change of other entries."""
    store.append(job, "note", "copper", {"text": "x"}, who="Bo")
    erase_personal(store, job, why="letter", who="Bo")

    for statement in (sql, "UPDATE entry SET body = '{}' WHERE seq = 2"):
        with (
            pytest.raises(tables.IntegrityError, match="only ever added"),
            tables.writing(store.engine) as connection,
        ):
            connection.exec_driver_sql(statement)


def test_erasing_needs_reason_and_substance(store: Store, job: str):
    """Without a reason, with nothing to erase, or for what is no note, nothing is erased."""
    for settings in ({"why": " "}, {"why": "letter", "notes": [1]}):
        with pytest.raises(InputError):
            erase_personal(store, job, who="Bo", **settings)
    erase_personal(store, job, why="letter", who="Bo")

    with pytest.raises(InputError, match="nothing personal"):
        erase_personal(store, job, why="letter", who="Bo")
