"""Bills: exact decimals, taxes by rate, the stated rounding rule."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coppermend.errors import InputError
from coppermend.job.money import Line, bill, minor_unit, money, parse_amount, parse_rates, rounded

D = Decimal
RATES = {"standard": D(25), "reduced": D(15), "none": D(0)}


def test_taxes_are_those_of_the_sums_of_each_rate():
    """Worked by hand after EN 16931-1, BR-CO-10, -13, -15, -17 (rules from memory): nets 100.00, 33.33 and 66.67 at 25 %
    and 50.00 at 15 % give 200.00 and 50.00, taxes 50.00 and 7.50, in all 307.50.
    """
    lines = [
        Line("a", D(4), D("25"), "standard"), Line("b", D(1), D("33.33"), "standard"),
        Line("c", D(1), D("66.67"), "standard"), Line("d", D("2.5"), D("20"), "reduced"),
    ]  # fmt: skip

    made = bill(lines, RATES, "EUR")

    assert [(t.name, t.net, t.tax) for t in made.taxes] == [
        ("standard", D("200.00"), D("50.00")),
        ("reduced", D("50.00"), D("7.50")),
    ]
    assert (made.net, made.tax, made.total) == (D("250.00"), D("57.50"), D("307.50"))


def test_rounding_by_line_and_by_total_differ_as_stated():
    """Three lines of 0.10 at 25 %: 0.03 on each line, 0.08 on their sum of 0.30 (0.075, half up)."""
    lines = [Line("x", D(1), D("0.10"), "standard")] * 3

    assert bill(lines, RATES, "EUR", "line").tax == D("0.09")
    assert bill(lines, RATES, "EUR", "total").tax == D("0.08")
    assert "every line" in bill(lines, RATES, "EUR", "line").rule


@pytest.mark.parametrize(("currency", "shown"), [("EUR", "0.01"), ("JPY", "1"), ("KWD", "0.001")])
def test_minor_units(currency: str, shown: str):
    """ISO 4217: two decimals, none for the yen, three for the Kuwaiti dinar (from memory)."""
    assert minor_unit(currency) == D(shown)


@pytest.mark.parametrize(
    ("amount", "want"), [("0.005", "0.01"), ("-0.005", "-0.01"), ("1.005", "1.01"), ("2.675", "2.68")]
)
def test_half_goes_up_in_decimals(amount: str, want: str):
    """Amounts that binary fractions would round down."""
    assert rounded(D(amount), "EUR") == D(want)


@given(
    st.lists(
        st.tuples(
            st.decimals("0", "9999", places=3),
            st.decimals("0", "9999", places=2),
            st.sampled_from(list(RATES)),
        ),
        max_size=30,
    ),
    st.sampled_from(["total", "line"]),
)
def test_sums_always_agree(rows, rounding):
    """Whatever is billed: net is the sum of the lines and of the rates, total is net plus tax, to the last unit."""
    made = bill([Line("x", q, p, tax) for q, p, tax in rows], RATES, "EUR", rounding)

    assert (
        made.net
        == sum((one.net for one in made.lines), D("0.00"))
        == sum((t.net for t in made.taxes), D("0.00"))
    )
    assert made.total == made.net + sum((t.tax for t in made.taxes), D("0.00"))
    assert all(abs(t.tax - t.net * t.percent / 100) <= D("0.005") * max(len(rows), 1) for t in made.taxes)


def test_unknown_rate_is_refused():
    """The line is named."""
    with pytest.raises(InputError, match="widget is taxed at 'luxury'"):
        bill([Line("widget", D(1), D(1), "luxury")], RATES, "EUR")


@pytest.mark.parametrize("text", ["", "x", "-1", "1e5", "NaN", "inf", "1_000", "10000000000", "1.2.3"])
def test_amounts_are_plain_numbers(text: str):
    """Nothing else is taken."""
    with pytest.raises(InputError, match="price is"):
        parse_amount(text, "price")


@pytest.mark.parametrize("text", ["", "20", "standard", "a 20; a 5", "a -1", "a 101", "a x"])
def test_rates_need_name_and_percentage(text: str):
    """Each once, from 0 to 100."""
    with pytest.raises(InputError):
        parse_rates(text)


def test_bill_to_json_and_words():
    """Amounts are text, so that no reader turns them into binary fractions; nothing billed is 0.00."""
    assert bill([], RATES, "EUR").to_json()["total"] == "0.00"
    assert (
        bill([Line("x", D(1), D("0.1"), "none", "h", "why")], RATES, "EUR").to_json()["lines"][0]["net"]
        == "0.10"
    )
    assert money(D("1234567.5"), "EUR") == "1\u202f234\u202f567.50 EUR"
