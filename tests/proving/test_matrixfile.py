"""Matrices from TOML and observations from CSV: what is read, and what is refused with its line."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.errors import InputError
from coppermend.proving.matrix import Crossing
from coppermend.proving.matrixfile import parse_matrix, parse_observations

SMALL = 'strobes = ["S1", "S2"]\nreturns = ["R1", "R2"]\n'
POSITIONS = (
    SMALL + '[[positions]]\nstrobe = "S1"\nreturn = "R1"\nname = "start"\ndiode = false\nproven = true\n'
    '[[positions]]\nstrobe = "S2"\nreturn = "R2"\ndiode = "D9"\n'
    '[[positions]]\nstrobe = "S1"\nreturn = "R2"\npopulated = false\n'
)


def test_without_positions_every_crossing_has_a_switch_and_a_diode():
    """Names may be numbers; diodes = false takes all diodes away."""
    whole = parse_matrix("strobes = [1, 2]\nreturns = ['a']")

    assert [str(p.crossing) for p in whole.positions] == ["1:a", "2:a"]
    assert all(p.diode for p in whole.positions)
    assert not any(p.diode for p in parse_matrix(SMALL + "diodes = false").positions)


def test_positions_carry_name_diode_and_whether_they_are_there():
    """Unpopulated ones are left out; a button in use proves both its lines."""
    matrix = parse_matrix(POSITIONS)

    assert [(str(p.crossing), p.name, p.diode, p.diode_on_board) for p in matrix.positions] == [
        ("S1:R1", "start", False, ""),
        ("S2:R2", "", True, "D9"),
    ]
    assert (matrix.proven_strobes, matrix.proven_returns) == ({"S1"}, {"R1"})
    assert matrix.crossing("start") == Crossing("S1", "R1")


def test_positions_may_be_short():
    """Lists and STROBE:RETURN are read as well."""
    matrix = parse_matrix(SMALL + 'positions = ["S1:R2", ["S2", "R1"]]')

    assert [str(p.crossing) for p in matrix.positions] == ["S1:R2", "S2:R1"]


def test_the_matrix_of_a_board_file_can_be_pasted():
    """All keys may stand under [matrix]."""
    assert parse_matrix("[matrix]\n" + SMALL).strobes == ("S1", "S2")


def test_proven_lines_are_named_as_lines_or_buttons():
    """Plain names, STROBE:RETURN, or a table by kind."""
    plain = parse_matrix(SMALL + 'dedicated = ["tilt"]\nproven = ["S1", "S2:R2", "tilt"]')
    table = parse_matrix(SMALL + '[proven]\nstrobes = ["S1"]\nreturns = ["R2"]')

    assert (plain.proven_strobes, plain.proven_returns) == ({"S1", "S2"}, {"R2"})
    assert plain.proven_dedicated == {"tilt"}
    assert (table.proven_strobes, table.proven_returns) == ({"S1"}, {"R2"})


def test_a_proven_position_proves_its_diode():
    """The walk need not pass it again."""
    text = SMALL + '[[positions]]\nstrobe = "S1"\nreturn = "R1"\ndiode = "D1"\nproven = true\n'

    assert parse_matrix(text).proven_diodes == {"D1"}


def test_columns_and_rows_make_a_lamp_matrix():
    """Lamp matrices use their own words."""
    text = 'columns = ["C1"]\nrows = ["W1"]\n[[positions]]\ncolumn = "C1"\nrow = "W1"\n'

    assert parse_matrix(text).kind == "lamp"
    assert parse_matrix(text).positions[0].crossing == Crossing("C1", "W1")


@pytest.mark.parametrize(
    ("text", "told", "line"),
    [
        ("strobes = [", "TOML", None),
        ("a = 1\nb = = 2", "TOML", 2),
        ("matrix = 3", "matrix is no table", None),
        ("returns = ['a']", "strobes is missing", None),
        ("strobes = ['a']\nreturns = [1.5]", "returns is missing or no list", 2),
        (SMALL + "speed = 3", "unknown key 'speed'", 3),
        ("strobes = ['a', 'a']\nreturns = ['b']", "names 'a' twice", 1),
        ("strobes = ['a;b']\nreturns = ['b']", "the name 'a;b'", 1),
        (f"strobes = {[f's{n}' for n in range(600)]}\nreturns = ['b']", "has 601 lines", 1),
        (SMALL + "kind = 'sound'", "kind is 'sound'", 3),
        (SMALL + "diodes = 'yes'", "diodes is 'yes'", 3),
        (SMALL + "positions = 3", "positions is no list", 3),
        (SMALL + "positions = [3]", "position 1 cannot be read", 3),
        (SMALL + "[[positions]]\nstrobe = 'S1'", "position 1 lacks", 3),
        (SMALL + "[[positions]]\nstrobe = 'S1'\nreturn = 'S1'", "of no such lines", 3),
        (SMALL + "positions = ['S1:R1']\n#", "", 0),
        (POSITIONS + "[[positions]]\nstrobe = 'S1'\nreturn = 'R1'", "S1:R1 is given twice", 17),
        (SMALL + "[[positions]]\nstrobe = 'S1'\nreturn = 'R1'\npopulated = 1", "flag or name", 3),
        (SMALL + "proven = ['R9']", "proven names 'R9'", 3),
        (SMALL + "proven = ['S1:R9']", "is no crossing", None),
        (SMALL + "[proven]\nstrobes = ['R1']", "proven has 'strobes'", 4),
        ("strobes = [1]\nreturns = [1]\nproven = [1]", "both a strobe and a return", 3),
    ],
)
def test_a_wrong_matrix_is_refused_with_its_line(text, told, line):
    """One clear error that names file, line and what was expected."""
    if not told:
        assert parse_matrix(text).positions
        return
    with pytest.raises(InputError) as caught:
        parse_matrix(text, "m.toml")

    assert told in str(caught.value) and caught.value.where == "m.toml"
    assert caught.value.expected and caught.value.line == line


def test_observations_are_lists_with_or_without_header():
    """Either side may be empty; names of positions are read."""
    matrix = parse_matrix(POSITIONS)

    seen = parse_observations("\ufeffclosed,reported\n,\nstart; S2:R2,S1:R2\n", matrix)

    assert [len(one.closed) for one in seen] == [0, 2]
    assert seen[1].reported == {Crossing("S1", "R2")}
    assert parse_observations("S1:R1,\n", matrix)[0].closed == {Crossing("S1", "R1")}


@pytest.mark.parametrize(
    ("text", "told", "line"),
    [
        ("S1:R1", "is no observation", 1),
        ("closed,reported\nS9:R1,", "'S9:R1' is no crossing", 2),
        ("S1:R2,", "S1:R2 was closed but is not populated", 1),
        ('a,"b', "broken CSV", 1),
        ("," + "\n," * 2000, "has 2001 observations", None),
    ],
)
def test_a_wrong_observation_is_refused_with_its_line(text, told, line):
    """What cannot count is refused, not passed over."""
    with pytest.raises(InputError) as caught:
        parse_observations(text, parse_matrix(POSITIONS), "seen.csv")

    assert told in str(caught.value)
    assert (caught.value.where, caught.value.line) == ("seen.csv", line)


@settings(max_examples=60)
@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text):
    """Hostile text never ends in anything but a matrix, observations or an InputError."""
    matrix = parse_matrix(POSITIONS)
    for read in (parse_matrix, lambda t: parse_observations(t, matrix)):
        try:
            read(text)
        except InputError as error:
            assert str(error)
