"""Whatever is read out or typed of a part's marking: colours in short, codes, plain values. All that it can mean."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from coppermend.errors import InputError
from coppermend.quantity import parse_quantity
from coppermend.rework.codes.colour import COLOURS, decode_bands
from coppermend.rework.codes.dates import DateCode, decode_date
from coppermend.rework.codes.marked import decode_capacitor, decode_digits, decode_eia96, decode_rkm
from coppermend.rework.codes.values import CodeValue

Meaning = CodeValue | DateCode
# IEC 60757 letters (BK BN RD OG YE GN BU VT GY WH PK GD SR, from memory) and what people say and write.
_SAID = {
    "bk": "black", "blk": "black", "bla": "black", "blac": "black", "bn": "brown", "br": "brown", "brn": "brown",
    "rd": "red", "r": "red", "og": "orange", "or": "orange", "orn": "orange", "org": "orange", "ye": "yellow",
    "yl": "yellow", "y": "yellow", "yw": "yellow", "gn": "green", "grn": "green", "bu": "blue", "bl": "blue",
    "blu": "blue", "vt": "violet", "v": "violet", "purple": "violet", "pur": "violet", "purp": "violet",
    "purpel": "violet", "lilac": "violet", "gy": "grey", "gray": "grey", "gry": "grey", "gra": "grey",
    "wh": "white", "w": "white", "wht": "white", "pk": "pink", "gd": "gold", "gld": "gold", "au": "gold",
    "golden": "gold", "sr": "silver", "sl": "silver", "slv": "silver", "ag": "silver", "silber": "silver",
    "no": "none", "none": "none", "nothing": "none", "non": "none",
}  # fmt: skip
_FILLERS = frozenset(
    {"band", "bands", "then", "and", "resistor", "ring", "rings", "stripe", "colour", "color", "um", "uh"}
)
_FEWEST_LETTERS = 3


def colour_of(word: str) -> str:
    """The colour that a word means: in full, in short, or with a letter wrong.

    Raises:
        InputError: If it means none, or more than one.

    >>> colour_of("yel"), colour_of("purple"), colour_of("vilot")
    ('yellow', 'violet', 'violet')
    """
    said = word.strip().lower()
    if said in COLOURS:
        return said
    if said in _SAID:
        return _SAID[said]
    starts = [colour for colour in COLOURS if len(said) >= 2 and colour.startswith(said)]
    if len(starts) == 1:
        return starts[0]
    near = [c for c in COLOURS if len(said) > _FEWEST_LETTERS and _one_wrong(said, c)]
    if len(near) == 1:
        return near[0]
    raise InputError(f"{word!r} is no colour", expected=", ".join(COLOURS))


def _one_wrong(said: str, colour: str) -> bool:
    """Whether two words differ by at most two letters: wrong, missing, added (edit distance)."""
    row = list(range(len(colour) + 1))
    for i, a in enumerate(said, 1):
        before, row[0] = row[0], i
        for j, b in enumerate(colour, 1):
            before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (a != b))
    return row[-1] <= (2 if len(colour) > 5 else 1)


def spoken_bands(text: str) -> tuple[str, ...]:
    """The colours in a text: "yel vio red gold", "Yellow-Violet-Red-Gold", "brn/blk/org".

    Raises:
        InputError: If a word is no colour.
    """
    words = [word for word in re.split(r"[\s,;/\-_+.:]+", text.strip().lower()) if word]
    words = [word for word in words if word not in _FILLERS]
    if not words:
        raise InputError("no colours", expected="colours such as yellow violet red gold")
    return tuple(colour_of(word) for word in words)


def understand(text: str) -> tuple[Meaning, ...]:
    """Everything that a marking can mean, likeliest first.

    Args:
        text: What was read, said or typed: "yel vio red gold", "4K7J", "104", "01C", "7934", "2.2 kΩ".

    Returns:
        One meaning for each code that fits; equal values of one unit once.

    Raises:
        InputError: If no code fits.

    >>> [meaning.words for meaning in understand("yel vio red gold")]
    ['4.7 kΩ 5 %']
    >>> [meaning.words for meaning in understand("104")]
    ['100 kΩ', '100 nF', '104 Ω']
    """
    found: list[Meaning] = []
    if (
        any(character.isalpha() for character in text)
        and len(re.findall(r"[A-Za-z]{2,}|\b[a-z]\b", text)) > 2
    ):
        return (decode_bands(spoken_bands(text)),)
    readers: Sequence[Callable[[str], Meaning | tuple[Meaning, ...]]] = (
        decode_rkm, decode_digits, decode_eia96, decode_capacitor, decode_date, _plain_value,
    )  # fmt: skip
    for read in readers:
        try:
            meaning = read(text)
        except InputError:
            continue  # this code does not fit; the next may
        found += meaning if isinstance(meaning, tuple) else (meaning,)
    if not found:
        expected = "colours (yel vio red gold), 4K7, 103, 01C, 104, 7934, or a value such as 2.2 kΩ"
        raise InputError(f"{text!r} is no marking", expected=expected)
    return tuple({_same(meaning): meaning for meaning in reversed(found)}.values())[::-1]


def _same(meaning: Meaning) -> tuple[object, ...]:
    if isinstance(meaning, DateCode):
        return (meaning.written, meaning.order)
    return (f"{meaning.value:.6g}", meaning.unit)


def _plain_value(text: str) -> CodeValue:
    unit = "F" if re.search(r"[fF]\s*$", text) else "Ω"
    value = parse_quantity(text, unit)
    if value <= 0:
        raise InputError(f"{text!r} is not above zero")
    return CodeValue(value, unit, None, "plain value", text.strip(), "as written")
