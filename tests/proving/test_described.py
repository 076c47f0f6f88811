"""Self-tests as the user describes them, and attract mode: what they pass through, how sure they are, what is refused."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coppermend.board.folder_toml import format_board_toml, read_board_toml
from coppermend.board.model import SelfTest
from coppermend.errors import InputError
from coppermend.proving.described import (
    ATTRACT,
    STRENGTH,
    SelfTestOf,
    attract_proof,
    described_proof,
    self_test_id,
)
from coppermend.proving.proofs import proofs_for
from coppermend.proving.records import ENOUGH


def of_kind(proofs, kind):
    return [proof for proof in proofs if proof.id.partition(":")[0] == kind]


@pytest.fixture
def offered(machine_board, library):
    return proofs_for(machine_board(), library)


def test_a_described_test_passes_through_what_the_ordinary_proofs_do(offered):
    """A lamp test exercises the union of all lamp proofs; its steps stand before how to watch."""
    test = SelfTestOf("book-3", "Lamp test", ("lamps",), "each", "Press the red button three times.")

    proof = described_proof(offered, test)

    lamps = of_kind(offered, "lamp")
    assert proof.exercises == frozenset().union(*(lamp.exercises for lamp in lamps)) and lamps
    assert proof.id == "selftest:book-3" and proof.how.startswith(
        "Press the red button three times. Look at each"
    )


def test_strength_says_how_it_is_watched(offered):
    """All at once is less sure than the program's report, and that less sure than one by one; none surer than the ordinary."""
    strengths = [
        described_proof(offered, SelfTestOf("x", "x", ("lamps",), watched)).strength
        for watched in ("together", "reported", "each")
    ]

    assert strengths == sorted(strengths) and len(set(strengths)) == 3
    assert strengths[-1] < min(lamp.strength for lamp in of_kind(offered, "lamp"))
    assert min(STRENGTH.values()) >= ENOUGH


def test_attract_mode_proves_lamps_and_displays_less_surely(offered):
    """It is offered with a program running, covers every lamp, and is weaker than the test of each."""
    attract = next(proof for proof in offered if proof.id == ATTRACT)

    lamps = of_kind(offered, "lamp")
    assert all(lamp.exercises <= attract.exercises and attract.strength < lamp.strength for lamp in lamps)
    assert attract_proof([proof for proof in offered if proof.id != "program"]) is None
    assert attract_proof(offered[:3]) is None


@pytest.mark.parametrize("word", ["lamp test", "solenoids of another board", ""])
def test_what_the_board_has_not_is_refused(offered, word):
    """A word that stands for nothing here is named."""
    with pytest.raises(InputError) as caught:
        described_proof(offered, SelfTestOf("x", "x", (word,), "each"))

    assert repr(word) in caught.value.found and "lamps" in caught.value.expected


def test_a_single_proof_may_be_named(offered):
    """Instead of a word, the id of a proof."""
    first = of_kind(offered, "lamp")[0]

    assert described_proof(offered, SelfTestOf("x", "x", (first.id,), "each")).exercises == first.exercises


def test_declared_self_tests_become_proofs(machine_board, library):
    """[[self_tests]] of board.toml survive the file and are offered; one that shows nothing here is left out."""
    tests = (
        SelfTest("Lamp test, third in the book", ("lamps",), "together", "Open the door."),
        SelfTest("Sound test", ("sounds",)),
    )
    board = replace(machine_board(), self_tests=tests)

    again = read_board_toml(format_board_toml(board).encode(), "board.toml")
    ids = [proof.id for proof in of_kind(proofs_for(board, library), "selftest")]

    assert again["self_tests"] == tests
    assert ids == ["selftest:lamp-test-third-in-the-book"]


def test_a_self_test_that_shows_nothing_is_refused_in_the_file():
    """shows must be there, watched must be a known word; the line is told."""
    head = 'name = "x"\nwidth_mm = 1\nheight_mm = 1\n[[self_tests]]\nname = "a"\n'
    for more, word in (
        ('watched = "each"\n', "shows"),
        ('shows = ["lamps"]\nwatched = "twice"\n', "watched"),
    ):
        with pytest.raises(InputError) as caught:
            read_board_toml((head + more).encode(), "board.toml")
        assert word in caught.value.found and caught.value.where == "board.toml"


def test_ids_are_made_of_names():
    """Letters and digits; never empty."""
    assert self_test_id("№ ...") == "unnamed" and self_test_id("Lamps (all)") == "lamps-all"
