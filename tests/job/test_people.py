"""People who may sign in: passphrases, tokens, and how long they last."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from argon2 import extract_parameters
from sqlalchemy import select

from coppermend.errors import InputError, UnknownName
from coppermend.job import people as room
from coppermend.job import tables
from coppermend.job.people import IDLE, WHOLE, People, check_phrase
from coppermend.job.store import Store

AT = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
PHRASE = "marsh kettle ninety lamps"


@pytest.fixture
def people(tmp_path):
    with Store.open(tmp_path) as store:
        made = People(store.engine)
        made.add("R. Tansy", PHRASE, AT)
        yield made


def test_name_and_phrase_open_the_door_and_nothing_else_does(people):
    """A wrong phrase, another name and no name get no token."""
    token = people.sign_in("R. Tansy", PHRASE, AT)
    assert token is not None and people.who(token, AT) == "R. Tansy"
    assert people.sign_in("R. Tansy", PHRASE + " ", AT) is None
    assert people.sign_in("B. Sedge", PHRASE, AT) is None
    assert people.sign_in("", PHRASE, AT) is None
    assert people.who(token + "x", AT) is None


def test_neither_phrase_nor_token_stands_in_the_database(people):
    """Argon2id with the second recommended option of RFC 9106 (64 MiB, 3 passes, 4 lanes); tokens as SHA-256 only."""
    token = people.sign_in("R. Tansy", PHRASE, AT)
    with tables.reading(people.engine) as connection:
        (phrase_hash,) = connection.scalars(select(room.person.c.phrase_hash))
        rows = connection.execute(select(room.signed_in)).all()
    found = extract_parameters(phrase_hash)
    assert phrase_hash.startswith("$argon2id$")
    assert (found.memory_cost, found.time_cost, found.parallelism) == (65536, 3, 4)
    assert len(rows) == 1 and token not in str(rows)


def test_a_token_runs_out_when_it_is_not_used_and_after_a_month_anyhow(people):
    """Idle for a shift: gone. Used all the time: gone after thirty days."""
    token = people.sign_in("R. Tansy", PHRASE, AT)
    assert people.who(token, AT + IDLE - timedelta(seconds=1)) == "R. Tansy"
    assert people.who(token, AT + 2 * IDLE) is None

    token, at = people.sign_in("R. Tansy", PHRASE, AT), AT
    while at < AT + WHOLE - IDLE:
        at += IDLE / 2
        assert people.who(token, at) == "R. Tansy"
    assert people.who(token, AT + WHOLE + timedelta(seconds=1)) is None


def test_a_new_phrase_signs_out_everywhere_and_a_removed_person_is_gone(people):
    """A lost phone is shut out by a new phrase."""
    token = people.sign_in("R. Tansy", PHRASE, AT)
    people.set_phrase("R. Tansy", "another few quiet words")
    assert people.who(token, AT) is None and people.sign_in("R. Tansy", PHRASE, AT) is None
    token = people.sign_in("R. Tansy", "another few quiet words", AT)
    people.remove("R. Tansy")
    assert people.who(token, AT) is None and people.all() == ()
    with pytest.raises(UnknownName, match=r"no person 'R. Tansy'"):
        people.remove("R. Tansy")


def test_signing_out_forgets_one_browser_only(people):
    """The other one stays signed in."""
    here, there = (people.sign_in("R. Tansy", PHRASE, AT) for _ in range(2))
    people.sign_out(here)
    assert people.who(here, AT) is None and people.who(there, AT) == "R. Tansy"


def test_a_name_is_taken_once(people):
    """Two people under one name could not be told apart in the record."""
    with pytest.raises(InputError, match=r"R. Tansy may sign in already"):
        people.add(" R. Tansy ", "yet another phrase here", AT)


@pytest.mark.parametrize("phrase", ["", "short", "x" * 257, "abcabcabcabcabcabc", "aaaaaaaaaaaaaaaaaaaa"])
def test_a_phrase_that_will_not_do_is_refused(phrase):
    """NIST SP 800-63B-4 asks for 15 characters; one piece repeated is no longer than the piece."""
    with pytest.raises(InputError, match="the passphrase"):
        check_phrase(phrase)
