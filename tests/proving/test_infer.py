"""Faults are found from reports: every single one in small matrices, pairs, ghosts, misreadings, and the next closure."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from coppermend.proving.infer import infer
from coppermend.proving.matrixfaults import fault_words, single_faults
from coppermend.proving.matrixfile import Observation
from coppermend.proving.nextclosure import three_corners
from coppermend.proving.scan import Scanner

from .matrix_cases import crossings, diagnose, fault, full_matrix, look, walked

SMALL = [("switch", True), ("switch", False), ("lamp", True)]


def every_subset(matrix):
    """Every set of up to all nine switches of a 3 x 3 matrix."""
    names = [p.crossing for p in matrix.positions]
    return [frozenset(c for n, c in enumerate(names) if bits >> n & 1) for bits in range(1 << len(names))]


@pytest.mark.parametrize(("kind", "diodes"), SMALL)
def test_every_single_fault_of_a_small_matrix_is_found(kind, diodes):
    """All of 3 x 3: the likeliest group holds it, and whatever else is in that group acts alike whatever is closed."""
    matrix = full_matrix(3, diodes, kind)
    scanner, sets = Scanner(matrix), every_subset(matrix)
    for planted, _ in single_faults(matrix):
        found = diagnose(matrix, [planted], least_bits=1e-5)

        group = [e.faults for e in found.explanations if e.group == 1]
        alike = scanner.predict([(planted,), *group], sets)
        assert (planted,) in group, planted
        assert all(np.array_equal(alike[0], one) for one in alike[1:]), (planted, group)


@pytest.mark.parametrize(
    ("diodes", "planted"),
    [
        (True, fault("open strobe", 3)),
        (True, fault("shorted lines", 10, 11)),
        (False, fault("stuck switch", 2, 13)),
    ],
)
def test_single_faults_of_a_full_matrix(diodes, planted):
    """Of 8 x 8, three (all of them: tools/measure_prove.py): named first and alone but for what acts alike."""
    found = diagnose(full_matrix(8, diodes), [planted], most=12)

    group = [e.faults for e in found.explanations if e.group == 1]
    assert (planted,) in group and found.explanations[0].probability > 0.5 / len(group)


PAIRS = [
    (fault("open strobe", 2), fault("stuck return", 12)),
    (fault("shorted lines", 2, 3), fault("open return", 9)),
    (fault("swapped lines", 8, 9), fault("open strobe", 5)),
    (fault("stuck switch", 1, 9), fault("open return", 14)),
    (fault("open strobe", 0), fault("open strobe", 7)),
    (fault("shorted lines", 0, 1), fault("shorted lines", 12, 13)),
]


@pytest.mark.parametrize("pair", PAIRS, ids=str)
def test_pairs_are_among_the_first_three(pair):
    """Two faults at once, each of which shows."""
    found = diagnose(full_matrix(), pair, most=25)

    assert set(pair) in [set(e.faults) for e in found.explanations[:3]]


def test_a_sound_matrix_is_said_to_be_sound():
    """Everything is reported as it was closed."""
    matrix = full_matrix()

    found = infer(matrix, look(matrix, [], *walked(matrix)))

    assert (found.explanations[0].kind, found.explanations[0].lines) == ("none", ())


def test_ghosts_of_a_matrix_without_diodes_are_no_fault():
    """A rectangle's fourth corner is explained, and named."""
    matrix = full_matrix(4, diodes=False)

    found = infer(matrix, look(matrix, [], crossings("S0:R0 S0:R1 S1:R0")))

    assert (found.explanations[0].kind, found.explanations[0].lines) == ("ghosting", ("S1:R1",))
    assert [[str(c) for c in ghosts] for _, ghosts in found.ghosts] == [["S1:R1"]]
    assert found.to_json()["ghosts"][0]["ghosts"] == ["S1:R1"]


def test_a_dead_line_is_told_from_a_dead_position_by_the_next_closure():
    """One closure that is not reported may be strobe, return or diode: the next one halves them."""
    matrix = full_matrix()
    seen = look(matrix, [fault("open strobe", 2)], crossings("S0:R0"), crossings("S2:R2"))

    found = infer(matrix, seen)

    assert {e.kind for e in found.explanations if e.group == 1} == {
        "open strobe",
        "open return",
        "open diode",
    }
    (closed,) = found.next.closed
    assert (closed.strobe == "S2") != (closed.ret == "R2") and found.next.gain_bits > 0.9


def test_one_misread_report_does_not_hide_a_fault():
    """A strobe that is dead in seven closures is dead, though an eighth was read wrongly."""
    matrix = full_matrix()
    sets = [crossings(f"S2:R{n}") for n in range(8)]
    seen = look(matrix, [fault("open strobe", 2)], *sets)
    seen[3] = Observation(sets[3], sets[3])

    found = infer(matrix, seen)

    assert (found.explanations[0].kind, found.explanations[0].misread) == ("open strobe", 1)


def test_nothing_closed_yet_leaves_the_prior_and_a_first_closure():
    """Without observations nothing is likelier than a sound matrix."""
    found = infer(full_matrix(4), [])

    assert found.explanations[0].kind == "none" and found.next is not None and not found.settled


def test_reports_of_unpopulated_crossings_count_when_the_machine_names_them():
    """ "auto" looks at all crossings once one that has no switch is reported; "populated" never does."""
    matrix = full_matrix(3)
    matrix = replace(
        matrix, positions=tuple(p for p in matrix.positions if p.strobe != "S1" or p.ret == "R1")
    )
    seen = look(matrix, [fault("shorted lines", 0, 1)], crossings("S0:R0"))
    hidden = [Observation(o.closed, o.reported - crossings("S1:R0")) for o in seen]

    assert infer(matrix, seen).explanations[0].lines == ("S0", "S1")
    assert infer(matrix, hidden).explanations[0].kind == "none"
    assert infer(replace(matrix, shown="populated"), seen).explanations[0].kind == "none"
    assert infer(replace(matrix, shown="all"), hidden).explanations[0].kind == "none"


def test_repeats_count_once():
    """The same report twice says no more than once."""
    matrix = full_matrix(4)
    seen = look(matrix, [fault("open strobe", 2)], crossings("S2:R2"))

    assert infer(matrix, seen * 5).to_json() == infer(matrix, seen).to_json()


def test_three_corners_need_a_rectangle():
    """A position alone on its lines has none."""
    matrix = full_matrix(2)
    alone = replace(matrix, positions=tuple(p for p in matrix.positions if p.strobe[1] == p.ret[1]))

    assert [sorted(map(str, c)) for c in three_corners(Scanner(matrix), 0, 2)] == [
        ["S0:R0", "S0:R1", "S1:R0"]
    ]
    assert list(three_corners(Scanner(alone), 0, 2)) == []
    assert list(three_corners(Scanner(alone), 0, 3)) == []


@pytest.mark.parametrize("kind", ["switch", "lamp"])
def test_every_fault_has_words(kind):
    """Each says in a sentence where to look, with the names of its lines."""
    for diodes in (True, False):
        matrix = full_matrix(2, diodes, kind)
        for one, _ in single_faults(matrix):
            words = fault_words(matrix, one)
            assert any(name in words for name in (*matrix.strobes, *matrix.returns)) and "{" not in words


def test_json_has_the_documented_keys():
    """Faults with kind, lines and probability, and the next closure; plain JSON."""
    matrix = full_matrix(3)

    document = json.loads(
        json.dumps(infer(matrix, look(matrix, [fault("open strobe", 0)], *walked(matrix))).to_json())
    )

    assert {"kind", "lines", "probability"} <= set(document["faults"][0])
    assert document["next"]["closed"] and document["settled"] is False
    assert sum(f["probability"] for f in document["faults"]) <= 1.0001


@pytest.mark.parametrize(
    "pair",
    [
        (fault("swapped lines", 2, 6), fault("stuck switch", 6, 14)),
        (fault("shorted lines", 6, 13), fault("swapped lines", 8, 13)),
    ],
    ids=str,
)
def test_a_wrong_wire_beside_another_fault_is_found_without_diodes(pair):
    """Both, after every switch was closed once: their effects do not add up, since the wire moves what the other does."""
    matrix = full_matrix(8, diodes=False)
    closed = [frozenset(), *(frozenset({p.crossing}) for p in matrix.positions)]

    found = infer(matrix, look(matrix, pair, *closed))

    first = [set(e.faults) for e in found.explanations if e.group == 1]
    assert set(pair) in first and found.explanations[0].misread == 0
