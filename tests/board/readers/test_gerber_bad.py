"""Gerber files that cannot be read: one clear error with file and line, soon, whatever the input."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.readers import gerber as gerber_module
from coppermend.board.readers import gerber_canvas
from coppermend.board.readers.gerber import GerberLayer, parse_gerber
from coppermend.errors import InputError

from .gerber_samples import TWO_SQUARES, gerber
from .test_gerber_aperture import ROUND_RECT


@pytest.mark.parametrize(
    ("word", "found"),
    [
        ("D12*", "aperture D12 is not defined"),
        ("D5*", "aperture D05 is not defined"),
        ("X12D01\nX13D01*", "command 'X12D01\\nX13D01' runs into the next"),
        ("X12X13D01*", "command 'X12X13D01' runs into the next"),
        ("X1Y1D04*", "aperture D04 is not defined"),
        ("X1Y1*", "coordinates 'X1Y1'"),
        ("G05*", "command G05"),
        ("G2x*", "command 'G2x'"),
        ("M03*", "command M03"),
        ("Q5*", "command Q5"),
        ("G*", "code G"),
        ("X1234567890123456D02*", "coordinate '1234567890123456'"),
        ("X-D02*", "coordinate '-'"),
        ("X99999999999D02*", "coordinate 99999999999 is 100000 mm"),
        ("%FSLAX26Y35*%", "format 'FSLAX26Y35'"),
        ("%MOCM*%", "command 'MOCM'"),
        ("%MOMM%", "%MOMM% has no end of block"),
        ("%ADD9C,1*%", "aperture number D9"),
        ("%ADD20X9,1*%", "aperture D20 uses 'X9'"),
        ("%ADD20C*%", "aperture C with 0 parameters"),
        ("%ADD20R,1*%", "aperture R with 1 parameters"),
        ("%ADD20C,-1*%", "aperture C with 1 parameters"),
        ("%ADD20C,one*%", "aperture parameters 'one'"),
        ("%ADD20C,nan*%", "aperture parameters 'nan'"),
        ("%ADD20C,9999*%", "aperture parameters '9999'"),
        ("%ADD20P,1X2*%", "aperture polygon with 2 corners"),
        ("%AD20C,1*%", "aperture definition '20C,1'"),
        ("%LPX*%", "command 'LPX'"),
        ("%LMZ*%", "command 'LMZ'"),
        ("%LRleft*%", "command 'LRleft'"),
        ("%LS0*%", "scaling 'LS0'"),
        ("%IPX*%", "command 'IPX'"),
        ("%IR90*%", "deprecated command 'IR90'"),
        ("%MIA1B0*%", "deprecated command 'MIA1B0'"),
        ("%OFA1.0B0*%", "deprecated command 'OFA1.0B0'"),
        ("%SFA2B1*%", "deprecated command 'SFA2B1'"),
        ("%KOC*%", "command K"),
        ("%IFother.gbr*%", "command 'IFother.gbr'"),
        ("%SRX0Y1I1J1*%", "step and repeat 'SRX0Y1I1J1'"),
        ("%SRX9Y1I5000J0*%", "step and repeat in x is 45000 mm"),
        ("%ABD9*%", "block aperture 'ABD9'"),
        ("%AB*%", "%AB*% closes no block aperture"),
        ("G36*G36*", "G36 inside a region"),
        ("G37*", "G37 without a region"),
        ("G36*X0Y0D03*", "D03 inside a region"),
    ],
)
def test_what_cannot_be_read_names_file_and_line(word, found):
    """The first bad word is named, with its line, and nothing is guessed."""
    with pytest.raises(InputError) as caught:
        parse_gerber(gerber(word), "F_Cu.gbr")

    assert caught.value.found.startswith(found)
    assert (caught.value.where, caught.value.line) == ("F_Cu.gbr", 8)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", "the file stops without its end mark: cut off?"),
        ("%FSLAX36Y36*%\nX1Y1D02*\nM02*", "lengths before the unit"),
        ("%MOMM*%\nX1Y1D02*\nM02*", "coordinates before the format"),
        ("%FSLAX36Y36*%\n%ADD10C,1*%\nM02*", "lengths before the unit"),
        ("%FSLAX36Y36*%\n%MOMM*%\nX1Y1D03*\nM02*", "a flash without an aperture"),
        ("%FSLAX36Y36*%\n%MOMM*%\nX1Y1D01*\nM02*", "a line without an aperture"),
        ("%FSLAX36Y36*%\n%MOMM*%\nG36*\nM02*", "a region is still open at the end"),
        ("%FSLAX36Y36*%\n%MOMM*%\n%ABD20*%\nM02*", "a block aperture is still open at the end"),
        ("PK\x03\x04 not Gerber", "'PK\\x03\\x04 not Gerber' never ends"),
        ("refdes,value\nR1,10k\n", "'refdes,value\\nR1,10k\\n' never ends"),
    ],
)
def test_whole_files_that_are_wrong(text, found):
    """Empty, foreign, headless and unfinished files each get one error."""
    with pytest.raises(InputError) as caught:
        parse_gerber(text, "F_Cu.gbr")

    assert caught.value.found == found
    assert caught.value.line is not None


def test_every_cut_of_a_file_is_noticed():
    """A file cut off at any character is refused, with the line where it stops."""
    for cut in range(len(TWO_SQUARES) - len("M02*\n")):
        with pytest.raises(InputError) as caught:
            parse_gerber(TWO_SQUARES[:cut], "cut.gbr")
        assert 1 <= caught.value.line <= TWO_SQUARES[:cut].count("\n") + 1


def test_transformed_block_is_refused():
    """A block flashed turned would need its objects turned too; it says so."""
    words = ["%ABD20*%", "X0Y0D03*", "%AB*%", "D20*", "%LR90*%", "X0Y0D03*"]
    with pytest.raises(InputError) as caught:
        parse_gerber(gerber(*words), "block.gbr")

    assert caught.value.line == 13


def test_a_line_drawn_with_a_block_is_refused():
    """Blocks can only be flashed (specification 4.11)."""
    with pytest.raises(InputError) as caught:
        parse_gerber(gerber("%ABD20*%", "X0Y0D03*", "%AB*%", "D20*", "X5Y5D01*"), "block.gbr")

    assert caught.value.found == "a line without an aperture"


@pytest.mark.parametrize(
    "words",
    [
        ["%SRX900000Y900000I0.0001J0.0001*%", "X0Y0D03*", "%SR*%"],
        ["%ABD20*%", *["X0Y0D03*"] * 90, "%AB*%", "D20*", "%ABD21*%", *["X0Y0D03*"] * 300, "%AB*%", "D21*",
         "%ABD22*%", *["X0Y0D03*"] * 300, "%AB*%"],
        ["%ABD20*%"] * 30,
        ["G91*", *["X9000000000Y0D02*"] * 3],
    ],
    ids=["repeat", "blocks in blocks", "depth", "incremental"],
)  # fmt: skip
@pytest.mark.usefixtures("no_hang")
def test_small_files_that_would_grow_without_end_are_refused(words):
    """Repeats and nested blocks are counted before they are made."""
    with pytest.raises(InputError):
        parse_gerber(gerber(*words), "bomb.gbr")


def test_caps_on_objects_and_apertures(monkeypatch):
    """Beyond the cap the file is refused, not read for ever."""
    monkeypatch.setattr(gerber_canvas, "MAX_OBJECTS", 3)
    monkeypatch.setattr(gerber_module, "MAX_APERTURES", 3)
    monkeypatch.setattr(gerber_module, "MAX_MACRO_WORK", 100)
    use = "RoundRect,0.25X0.75X0.5X-0.75X0.5X-0.75X-0.5X0.75X-0.5X0"

    for words in (
        ["X0Y0D03*"] * 4,
        ["%ADD20C,1*%", "%ADD21C,1*%"],
        [ROUND_RECT, f"%ADD20{use}*%", f"%ADD20{use}*%"],
    ):
        with pytest.raises(InputError):
            parse_gerber(gerber(*words), "big.gbr")


WORDS = st.sampled_from(
    ["%FSLAX36Y36*%", "%MOMM*%", "%ADD10C,1*%", "%AMM*1,1,$1,0,0*%", "%ADD11M,2*%", "D10*", "D11*", "G36*", "G37*",
     "G02*", "G75*", "X0Y0D02*", "X100Y5I3J4D01*", "X5Y5D03*", "%SRX2Y2I1J1*%", "%SR*%", "%ABD12*%", "%AB*%", "D12*",
     "%LPC*%", "%LR45*%", "%TO.N,A*%", "%TD*%", "M02*", "%", "*", "\n", "G04 x*", "%TO.P,U1*%", "D1*", "X-*"]
)  # fmt: skip


@given(st.lists(WORDS, max_size=40).map("".join) | st.text(max_size=200))
@settings(max_examples=400)
def test_any_text_is_read_or_refused_with_a_line(text):
    """Whatever the text, the result is a layer or one input error with file and line."""
    try:
        assert isinstance(parse_gerber(text, "any.gbr"), GerberLayer)
    except InputError as error:
        assert error.where == "any.gbr"
        assert 1 <= error.line <= max(text.count("\n"), text.count("\r")) + 1


@given(st.integers(0, len(TWO_SQUARES) - 1), st.characters(codec="latin-1"))
@settings(max_examples=300)
def test_one_wrong_character_never_escapes(at, character):
    """A damaged character anywhere gives another layer or an input error, no other exception."""
    try:
        parse_gerber(TWO_SQUARES[:at] + character + TWO_SQUARES[at + 1 :], "typo.gbr")
    except InputError as error:
        assert error.line is not None
