"""Substitutes are compared rating by rating, and what fails is named."""

from __future__ import annotations

import doctest
import json

import pytest

from coppermend.errors import InputError, UnknownName
from coppermend.rework import substitutes
from coppermend.rework.substitutes import (
    compare,
    known_parts,
    parse_known_parts,
    part_called,
    substitutes_for,
)


def pair(old, new):
    return compare(part_called(old), part_called(new))


@pytest.mark.parametrize(
    ("old", "new"),
    [("2N3904", "2N4401"), ("1N914", "1N4148"), ("1N4001", "1N4004"), ("TIP120", "TIP102"), ("5101", "5101L"),
     ("2732", "2732A"), ("6264", "6264L"), ("electrolytic-85", "electrolytic-105")],
)  # fmt: skip
def test_a_better_part_meets_every_rating_and_not_the_other_way(old, new):
    """Data-sheet ratings: what exceeds in one direction fails in the other, save for true twins."""
    if old != "2N3904":  # 2N4401 is slower by its data sheet
        assert pair(old, new).ok
    assert not pair(new, old).ok


@pytest.mark.parametrize(
    ("old", "new", "fails"),
    [
        ("2N4401", "2N3904", "collector current"),
        ("2N3904", "BC547B", "collector current"),
        ("1N4148", "BAT85", "reverse leakage"),
        ("1N4148", "1N4001", "reverse recovery"),
        ("1N4004", "1N4001", "reverse voltage"),
        ("5101L", "5101", "retention current"),
        ("2732A", "2732", "access time"),
        ("electrolytic-105", "electrolytic-85", "rated voltage"),
        ("74LS", "74HC", "input high level"),
        ("74", "74LS", "output current low"),
    ],
)
def test_the_rating_that_fails_is_named(old, new, fails):
    """In words, with both values."""
    found = pair(old, new)

    assert not found.ok
    assert any(words.startswith(fails) for words in found.failing)


def test_hct_stands_in_for_ls_inputs_where_hc_does_not():
    """The trap of HC behind TTL: only HCT keeps the input levels of LS."""
    assert "input high level" in " ".join(pair("74LS", "74HC").failing)
    assert "input high level" not in " ".join(pair("74LS", "74HCT").failing)


def test_a_2532_needs_adapting_in_place_of_a_2732():
    """Collectors' archive: the 2532 is not a 2732, the 2516 is a 2716."""
    assert pair("2732", "2532").adaptations == ("leads: 2532 has 24 pin, 2532, the place has 24 pin, 2732",)
    assert pair("2716", "2516").adaptations == ()


def test_a_rating_that_is_not_known_fails():
    """A 2114 has no retention mode, so it cannot stand in for a kept memory."""
    failing = pair("5101L", "2114").failing

    assert "retention voltage not known, at most 2 V" in failing


def test_different_kinds_are_not_compared():
    """A diode is no transistor."""
    with pytest.raises(InputError) as caught:
        pair("2N3904", "1N4148")

    assert caught.value.expected == "parts of one kind"


def test_the_best_substitute_comes_first():
    """Those that meet all, pin for pin, before those that do not."""
    found = substitutes_for("1n4001")

    assert [c.new.name for c in found[:2]] == ["1N4004", "1N4007"]
    assert [c.ok for c in found] == sorted((c.ok for c in found), reverse=True)
    assert json.loads(json.dumps(found[0].to_json()))["ok"] is True


def test_an_unknown_part_is_named_with_those_that_are_known():
    """The list helps on."""
    with pytest.raises(UnknownName) as caught:
        part_called("XYZ1")

    assert "2N3904" in caught.value.hint


def test_every_known_part_has_a_source():
    """No figure without a passport."""
    assert all(part.source and part.ratings for part in known_parts().values())


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("x = [", "Invalid"),
        ("x = 1", "is no table"),
        ('["A"]\nkind = "npn"\npins = "EBC"', "lacks source"),
        ('["A"]\nkind = "npn"\npins = "EBC"\nsource = "s"\ncolour = 1', "has colour 1"),
        ('["A"]\nkind = "npn"\npins = "EBC"\nsource = "s"\nhfe = "big"', "has hfe 'big'"),
    ],
)
def test_broken_data_is_refused(text, says):
    """One clear error that names the file."""
    with pytest.raises(InputError) as caught:
        parse_known_parts(text, "mine.toml")

    assert says in caught.value.found or says == "Invalid"
    assert caught.value.where == "mine.toml"


def test_examples_in_the_docstrings_run():
    """Each example gives what it says."""
    assert doctest.testmod(substitutes).failed == 0
