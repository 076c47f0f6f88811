"""Sources that cannot be imported: one clear error that names the file, soon."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.importing import Source
from coppermend.errors import InputError

from .import_samples import (
    PARTS,
    PTH,
    SQUARE,
    TOP,
    area,
    bare,
    gerber_file,
    gerber_set,
    imported,
    ipc_file,
    ipc_record,
    line,
    xy,
)


@pytest.mark.parametrize(
    ("sources", "found", "where"),
    [
        ({}, "nothing to import", ""),
        ({"parts": PARTS}, "nothing to import", ""),
        ({"gerber": [PTH]}, "no copper layer among the Gerber files", "PTH.drl"),
        ({"gerber": list(bare(gerber_set()))}, "no pin has a name", "demo-F_Cu.gbr"),
        ({"ipc356": ipc_file(ipc_record("CLK", "VIA", "", 8, 10, hole=0.4))},
         "no pin has a name", "demo.d356"),
        ({"gerber": [*gerber_set(), gerber_file("again.gbr", "Copper,L1,Top")]}, "a second file is the top layer", "again.gbr"),
        ({"gerber": [Source("F_Cu.gbr", b"hello")]}, "neither Gerber nor Excellon", "F_Cu.gbr"),
        ({"gerber": [Source("board.drl", b"hello")]}, "neither Gerber nor Excellon", "board.drl"),
        ({"gerber": [Source("F_Cu.gbr", b"%FS\x00")]}, "a NUL byte: binary data or UTF-16", "F_Cu.gbr"),
        ({"ipc356": ipc_file(ipc_record("A", "R1", "1", 1, 1), ipc_record("A", "R1", "2", 50, 50),
                             ipc_record("A", "J1", "1", 80, 10)), "gerber": gerber_set()},
         "the IPC-D-356 and Gerber files do not fit together: only 1 of 3 places agree", "demo.d356"),
        ({"ipc356": ipc_file("317GND"), "gerber": gerber_set()}, None, "demo.d356"),
        ({"ipc356": ipc_file(), "parts": Source("p.csv", b"R1,1\n")}, "first row 'r1,1'", "p.csv"),
    ],
)  # fmt: skip
def test_what_cannot_be_imported_names_the_file(sources, found, where):
    """Missing, foreign, broken and mismatched files each get one error that names one file."""
    with pytest.raises(InputError) as caught:
        imported(**sources)

    assert found is None or caught.value.found == found
    assert caught.value.where == where


@given(st.binary(max_size=60), st.integers(0, 400), st.sampled_from(["gerber", "drill", "ipc", "parts"]))
@settings(max_examples=150)
def test_damaged_sources_give_a_board_or_one_clear_error(noise, at, which):
    """Bytes overwritten anywhere in any source end in a board or an InputError, never in another exception."""

    def spoiled(source: Source) -> Source:
        return source._replace(data=source.data[:at] + noise + source.data[at + len(noise) :])

    files = gerber_set()
    number = {"gerber": 0, "drill": 3}.get(which)
    if number is not None:
        files[number] = spoiled(files[number])
    try:
        imported(
            spoiled(ipc_file()) if which == "ipc" else ipc_file(),
            files,
            spoiled(PARTS) if which == "parts" else PARTS,
        )
    except InputError as error:
        assert str(error)


def tangle(count: int) -> list[str]:
    """A region whose every edge crosses half of all others."""
    corners = [(15 + 14 * math.cos(2.4 * k), 10 + 9 * math.sin(2.4 * k)) for k in range(count)]
    return area("GND", *corners)


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (tangle(3_000), "an area crosses itself all over"),
        (["D10*", *["%LPC*%", f"{xy(1, 1)}D03*", "%LPD*%", *area("GND", *SQUARE)] * 600],
         "areas and clearing alternate too often"),
    ],
    ids=["tangle", "alternating"],
)  # fmt: skip
@pytest.mark.usefixtures("no_hang")
def test_areas_beyond_computing_are_refused_soon(words, found):
    """A hostile area ends in an error that names the file, in seconds."""
    with pytest.raises(InputError) as caught:
        imported(gerber=gerber_set(top=[*TOP, *words]))

    assert (caught.value.found, caught.value.where) == (found, "demo-F_Cu.gbr")


def test_outlines_of_very_many_lines():
    """Beyond two thousand lines ends must meet: a finely divided circle still closes, a scribble becomes a box."""
    ring = [
        (15 + 14 * math.cos(k * math.tau / 2500), 10 + 9 * math.sin(k * math.tau / 2500)) for k in range(2500)
    ]
    scribble = [(15 + 14 * math.cos(2.4 * k), 10 + 9 * math.sin(2.4 * k)) for k in range(2500)]
    sets = [gerber_set(), gerber_set()]
    for files, points, closed in ((sets[0], ring, ring[:1]), (sets[1], scribble, [])):
        words = ["D14*", f"{xy(*points[0])}D02*", *(f"{xy(*p)}D01*" for p in (*points[1:], *closed))]
        files[2] = gerber_file("demo-Edge_Cuts.gbr", "Profile,NP", *words)

    round_, boxed = (imported(gerber=files) for files in sets)
    assert (round_[0].width_mm, round_[0].height_mm) == pytest.approx((28, 18), abs=0.01)
    assert len(round_[0].outline) > 2000
    assert "the outline does not close: the box around it is taken" in boxed[1]


@pytest.mark.parametrize(
    "data",
    [b";" * 30_000, b"\n" * 200_000, b"%FS" + b" " * 300_000 + b"x", b"*" + b" " * 300_000, b"M48\n" + b";" * 300_000,
     b"%OFA" + b"0" * 300_000 + b"x*%M02*"],
    ids=["semicolons", "line ends", "blanks", "star and blanks", "comment", "zeros"],
)  # fmt: skip
@pytest.mark.parametrize("name", ["F_Cu.gbr", "PTH.drl", "notes.txt"])
@pytest.mark.usefixtures("no_hang")
def test_long_runs_of_one_character_take_no_time(data, name):
    """No pattern that sniffs or splits a file backtracks over its length."""
    with pytest.raises(InputError):
        imported(gerber=[Source(name, data)])


def test_gerber_and_ipc_without_a_common_place():
    """Gerber files without a pad or hole cannot be laid under an IPC-D-356 file."""
    with pytest.raises(InputError) as caught:
        imported(ipc_file(), gerber_set(line("CLK", (5, 10), (8, 10)), [])[:3])

    assert caught.value.found == "the IPC-D-356 and Gerber files do not fit together: no place is in both"
