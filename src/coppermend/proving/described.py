"""Proofs that a program gives of itself: its self-tests as the user describes them, and what is seen in attract mode.

What such a test passes through is what the ordinary proofs of the same things pass through; only its strength differs.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from coppermend.board.cautions import Caution
from coppermend.board.model import Watched
from coppermend.board.subject import Subject
from coppermend.errors import InputError
from coppermend.proving.records import Proof

# Word -> kinds of proofs that it stands for.
SHOWS: Mapping[str, tuple[str, ...]] = {
    "lamps": ("lamp", "led"), "displays": ("display",), "solenoids": ("solenoid",), "sounds": ("sound",),
    "switches": ("closure", "input", "switch"), "options": ("option",), "memory": ("ram",),
    "peripherals": ("peripheral",), "program": ("program",),
}  # fmt: skip
# Most of what such a test can reveal (common practice, no source). One by one is nearly the ordinary proof; all at once
# a dim lamp, a wrong one or a joined pair is overlooked; a program that reports shares its faults with what it tests.
STRENGTH: Mapping[Watched, float] = {"each": 0.85, "together": 0.6, "reported": 0.7}
_WATCH: Mapping[Watched, str] = {
    "each": "Look at each by itself: it comes, alone and fully, and goes.",
    "together": "Watch all of them through at least two rounds: none stays out, stays on, or is weak.",
    "reported": "Note what the program reports; run it three times.",
}
ATTRACT = "attract"
_LEAST_ATTRACTIONS = 2


@dataclass(frozen=True, slots=True)
class SelfTestOf:
    """A described test: ``id`` without its kind, words for the page, what it shows and how it is watched."""

    id: str
    title: str
    shows: tuple[str, ...]
    watched: Watched
    steps: str = ""


def self_test_id(name: str) -> str:
    """A name as an id: letters and digits, joined by hyphens.

    >>> self_test_id("Lamp test, third in the book")
    'lamp-test-third-in-the-book'
    """
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:60] or "unnamed"


def shown_proofs(proofs: Sequence[Proof], shows: Sequence[str]) -> tuple[Proof, ...]:
    """The ordinary proofs that a described test stands for.

    Args:
        proofs: The proofs of the board.
        shows: Words of ``SHOWS``, or ids of proofs.

    Raises:
        InputError: If a word is neither, or the board has nothing of that sort.
    """
    known = {proof.id: proof for proof in proofs}
    found: dict[str, Proof] = {}
    for word in shows:
        kinds = SHOWS.get(word.strip().lower(), ())
        ordinary = {p.id: p for p in proofs if p.id.partition(":")[0] in kinds}
        if word in known:
            ordinary = {word: known[word]}
        if not ordinary:
            raise InputError(
                f"a test shows {word[:60]!r}, of which this board has nothing",
                expected=f"one of {', '.join(SHOWS)}, or the id of a proof",
            )
        found |= ordinary
    return tuple(found.values())


def described_proof(proofs: Sequence[Proof], test: SelfTestOf) -> Proof:
    """The proof that a described self-test gives.

    Raises:
        InputError: As ``shown_proofs``.
    """
    shown = shown_proofs(proofs, test.shows)
    how = f"{test.steps.strip()} {_WATCH[test.watched]}".strip()
    weakest = min(proof.strength for proof in shown)
    return Proof(
        f"selftest:{test.id}",
        test.title,
        "machine" if any(proof.setup == "machine" for proof in shown) else "bench",
        how,
        _exercised(shown),
        min(STRENGTH[test.watched], weakest),
        _cautions(shown),
    )


def attract_proof(proofs: Sequence[Proof]) -> Proof | None:
    """What the machine shows while nobody plays; None for a board without a program or with a single output.

    It shows drivers and wiring of lamps and displays, less surely than a test of each: sounds and coils rest.
    """
    shown = [proof for proof in proofs if proof.id.partition(":")[0] in ("lamp", "display")]
    if len(shown) < _LEAST_ATTRACTIONS or not any(proof.id == "program" for proof in proofs):
        return None
    return Proof(
        ATTRACT,
        "lamps and displays while the machine plays by itself",
        "machine",
        "Leave the machine alone with its program running, and watch it through at least two rounds: every lamp and "
        "every digit comes and goes, none stays out, stays on, or is weak. A wrong lamp in the right place of a "
        "pattern is easily overlooked; the lamp test of each is surer.",
        _exercised(shown),
        STRENGTH["together"],
        _cautions(shown),
    )


def _exercised(shown: Sequence[Proof]) -> frozenset[Subject]:
    return frozenset[Subject]().union(*(proof.exercises for proof in shown))


def _cautions(shown: Sequence[Proof]) -> tuple[Caution, ...]:
    return tuple(dict.fromkeys(caution for proof in shown for caution in proof.cautions))
