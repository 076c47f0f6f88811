"""Job numbers: what is given out, what is forgiven, what is always caught."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coppermend.errors import InputError
from coppermend.job.number import check_character, check_number, next_number, numbers_in

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
ISSUED = st.builds(
    lambda year, after: next_number(year, after)[1], st.integers(2000, 2099), st.integers(0, 99_999)
)


def standard_check(text: str) -> str:
    """ISO/IEC 7064:2003, hybrid system MOD 37,36, written down anew from its recursive rule (from memory)."""
    product = 36
    for character in text:
        total = (product + ALPHABET.index(character)) % 36 or 36
        product = total * 2 % 37
    return ALPHABET[(37 - product) % 36]


def test_check_character_matches_published_number():
    """The sample release number of the GRid standard (IFPI), checked by MOD 37,36, ends in M."""
    assert check_character("A12425GABC1234002") == "M"


@given(st.integers(0, 10**9))
def test_check_character_follows_the_standards_rule(number: int):
    """Our check character equals the one of the standard's recursive rule."""
    assert check_character(f"{number:06}") == standard_check(f"{number:06}")


def test_next_number_counts_on_within_the_year():
    """Numbers of a year go up one by one, except where the check character could be misread."""
    counters, counter = [], 0
    for _ in range(2000):
        counter, number = next_number(2026, counter)
        counters.append(counter)
        assert number[-1] not in "OIL"

    skipped = set(range(1, counters[-1] + 1)) - set(counters)
    assert {standard_check(f"26{c:04}") for c in skipped} == set("OIL")


def test_counter_may_outgrow_four_digits():
    """The ten-thousandth job of a year still gets a valid number."""
    _, number = next_number(2026, 12344)

    assert number.startswith("26-12345-")
    assert check_number(number) == number


@pytest.mark.parametrize(
    "typed",
    ["26-0042-U", "26 0042 u", "260042u", " 26–0042–U ", "26-oo42-u", "26_0042.U", "26 - OO42 - U"],
)
def test_forgives_how_people_type(typed: str):
    """Case, blanks, dashes and O for 0 change nothing."""
    assert check_number(typed) == "26-0042-U"


def test_forgives_one_read_as_letter():
    """I and L are read as 1."""
    _, number = next_number(2011, 1110)

    assert check_number(number.replace("1", "I")) == number
    assert check_number(number.replace("1", "l")) == number


@given(ISSUED, st.data())
def test_every_wrong_character_is_caught(number: str, data: st.DataObject):
    """Replacing any one character of an issued number by any other is never accepted as another job."""
    plain = number.replace("-", "")
    place = data.draw(st.integers(0, len(plain) - 1))
    wrong = data.draw(st.sampled_from(ALPHABET))
    read_as = wrong.translate(str.maketrans("OIL", "011"))
    typed = plain[:place] + wrong + plain[place + 1 :]

    if read_as == plain[place]:
        assert check_number(typed) == number
    else:
        with pytest.raises(InputError):
            check_number(typed)


def test_every_wrong_digit_is_caught_exhaustively():
    """Every substitution in every digit of 300 numbers, 54,000 and more typing errors, is refused."""
    tried, counter = 0, 0
    for _ in range(300):
        counter, number = next_number(2026, counter)
        for place in (0, 1, 3, 4, 5, 6, 8):
            for wrong in set(ALPHABET) - set("OIL") - {number[place]}:
                tried += 1
                with pytest.raises(InputError):
                    check_number(number[:place] + wrong + number[place + 1 :])
    assert tried > 54_000


def test_nearly_every_swap_of_neighbours_is_caught():
    """Of all swaps of two unequal neighbouring digits at most 1 in 100 passes (the scheme does not promise all)."""
    swaps = passed = counter = 0
    for _ in range(3000):
        counter, number = next_number(2026, counter)
        digits, check = number[:2] + number[3:7], number[-1]
        for i in range(5):
            if digits[i] != digits[i + 1]:
                swaps += 1
                swapped = digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :]
                passed += standard_check(swapped) == check
    assert swaps > 10_000
    assert passed / swaps <= 0.01


def test_wrong_check_character_says_so():
    """A wrong number is refused with what was typed and where the right one is."""
    with pytest.raises(InputError) as caught:
        check_number("26-0042-X")

    assert "wrong digit or check character" in caught.value.found
    assert "tag" in caught.value.expected


@pytest.mark.parametrize("typed", ["", "26", "26-42-U", "AA-0042-U", "٢٦-0042-U", "26-0042-ß", "x" * 10_000])
def test_other_shapes_are_no_job_numbers(typed: str):
    """What has not the shape of a number is refused without echoing all of it."""
    with pytest.raises(InputError) as caught:
        check_number(typed)

    assert "is no job number" in caught.value.found
    assert len(str(caught.value)) < 200


@given(st.text())
def test_any_text_is_read_or_refused(text: str):
    """Whatever is typed, the answer is a canonical number or one clear error."""
    try:
        number = check_number(text)
    except InputError:
        return
    assert check_number(number) == number


def test_numbers_in_marks():
    """Valid numbers are found in running text; look-alikes such as dates and phone numbers are not."""
    marks = "tag 26-0042-U; 2024-05-01; tel 55 0123 9, again 26 0042 U, DT26-0042-U"

    assert numbers_in(marks) == ("26-0042-U",)


def test_check_scheme_catches_every_wrong_character_by_induction():
    """ISO/IEC 7064 MOD 37,36, rule from memory: from any state, unequal characters lead to unequal states, and equal
    characters keep unequal states unequal; so one wrong character in any place of a text of any length changes the
    last state, and with it the check character. All 36 states and 36 characters are tried.
    """

    def after(state: int, character: int) -> int:
        return ((state + character) % 36 or 36) * 2 % 37

    for state in range(1, 37):
        assert len({after(state, character) for character in range(36)}) == 36
    for character in range(36):
        assert len({after(state, character) for state in range(1, 37)}) == 36
    state = 36
    for digit in "260042":
        state = after(state, int(digit))
    assert "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"[(37 - state) % 36] == check_character("260042")
