"""Money of quotes and invoices: lines, taxes, totals, in exact decimals. Pure; knows no shop and no job."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from typing import Any, Literal

from coppermend.errors import InputError

Rounding = Literal["total", "line"]
ROUNDINGS: tuple[Rounding, ...] = ("total", "line")
_MOST = Decimal(10) ** 9
# ISO 4217 minor units that are not 2 (from memory).
_MINOR = {
    **dict.fromkeys(("CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF", "XPF"), 0),
    **dict.fromkeys(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"), 3),
}  # fmt: skip
RULE: Mapping[Rounding, str] = {
    "total": "Tax is worked out on the sum of each rate and rounded half up once.",
    "line": "Tax is worked out and rounded half up on every line.",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a bill: ``quantity`` times ``unit_price`` [currency, without tax]; ``tax`` names a rate.

    ``link`` says where in the job's record it comes from.
    """

    what: str
    quantity: Decimal
    unit_price: Decimal
    tax: str
    unit: str = ""
    link: str = ""


@dataclass(frozen=True, slots=True)
class BilledLine:
    """A line with its amounts [currency]: ``net`` rounded to the minor unit; ``tax_amount`` as the rule has it."""

    line: Line
    net: Decimal


@dataclass(frozen=True, slots=True)
class TaxTotal:
    """All that is charged at one rate [currency]."""

    name: str
    percent: Decimal
    net: Decimal
    tax: Decimal


@dataclass(frozen=True, slots=True)
class Bill:
    """A bill in one currency. ``total`` is ``net`` plus ``tax``, exactly; ``rule`` says how taxes were rounded."""

    currency: str
    lines: tuple[BilledLine, ...]
    taxes: tuple[TaxTotal, ...]
    net: Decimal
    tax: Decimal
    total: Decimal
    rule: str

    def to_json(self) -> dict[str, Any]:
        """currency, lines [what, quantity, unit, unit_price, net, tax, link], taxes, net, tax, total, rule; amounts as text."""
        return {
            "currency": self.currency,
            "lines": [
                {
                    "what": one.line.what, "quantity": str(one.line.quantity), "unit": one.line.unit,
                    "unit_price": str(one.line.unit_price), "net": str(one.net), "tax": one.line.tax,
                    "link": one.line.link,
                }
                for one in self.lines
            ],
            "taxes": [
                {"name": t.name, "percent": str(t.percent), "net": str(t.net), "tax": str(t.tax)}
                for t in self.taxes
            ],
            "net": str(self.net), "tax": str(self.tax), "total": str(self.total), "rule": self.rule,
        }  # fmt: skip


def minor_unit(currency: str) -> Decimal:
    """The smallest amount of a currency by its ISO 4217 code; a hundredth for codes without a known exception.

    >>> minor_unit("EUR"), minor_unit("JPY")
    (Decimal('0.01'), Decimal('1'))
    """
    return Decimal(1).scaleb(-_MINOR.get(currency, 2))


def rounded(amount: Decimal, currency: str) -> Decimal:
    """``amount`` [currency] half up to the minor unit, half away from zero for credits."""
    return amount.quantize(minor_unit(currency), ROUND_HALF_UP)


def parse_amount(text: str, what: str, *, least: Decimal = Decimal(0)) -> Decimal:
    """An amount as typed, with point or comma for decimals.

    Raises:
        InputError: If it is no plain number, below ``least``, or 10^9 and more.

    >>> parse_amount("12,50", "price")
    Decimal('12.50')
    """
    plain = text.strip().replace(",", ".")
    try:
        value = Decimal(plain)
    except InvalidOperation:
        value = Decimal("NaN")
    if not value.is_finite() or "_" in plain or "e" in plain.lower() or not least <= value < _MOST:
        raise InputError(f"{what} is {text[:40]!r}", expected=f"a number from {least}, such as 12.50")
    return value


def parse_rates(text: str) -> dict[str, Decimal]:
    """Tax rates as typed: name and percent, between commas or semicolons.

    Raises:
        InputError: If a name or a percentage is missing, doubled or not from 0 to 100.

    >>> parse_rates("standard 20; reduced 5.5; none 0")
    {'standard': Decimal('20'), 'reduced': Decimal('5.5'), 'none': Decimal('0')}
    """
    rates: dict[str, Decimal] = {}
    for piece in filter(None, (part.strip() for part in text.split(";"))):
        name, _, percent = piece.rpartition(" ")
        name = name.strip()
        value = parse_amount(percent.rstrip("%"), f"tax {name or piece!r}")
        if not name or name in rates or value > 100:
            raise InputError(
                f"tax rate {piece[:40]!r}",
                expected="a name and a percentage, such as: standard 20; reduced 5",
            )
        rates[name] = value
    if not rates:
        raise InputError("no tax rate", expected="at least one, such as: none 0")
    return rates


def bill(
    lines: Iterable[Line], rates: Mapping[str, Decimal], currency: str, rounding: Rounding = "total"
) -> Bill:
    """Lines made up to a bill.

    Args:
        lines: What is charged, prices without tax [currency].
        rates: Percentages by name.
        currency: ISO 4217 code.
        rounding: ``total``: tax on the sum of each rate; ``line``: tax on each line, then summed.

    Source: EN 16931-1, rules BR-CO-10, BR-CO-13, BR-CO-15 and BR-CO-17: the sums are those of the rounded lines, and the tax of
    a rate is that of its sum (from memory). Rounding on each line is what some tax codes allow instead.

    Raises:
        InputError: If a line names a rate that there is not.
    """
    billed = tuple(BilledLine(line, rounded(line.quantity * line.unit_price, currency)) for line in lines)
    for one in billed:
        if one.line.tax not in rates:
            raise InputError(
                f"{one.line.what} is taxed at {one.line.tax!r}", expected=f"one of {', '.join(rates)}"
            )
    used = [name for name in rates if any(one.line.tax == name for one in billed)]
    taxes = tuple(_tax(name, rates[name], [b.net for b in billed if b.line.tax == name], currency, rounding) for name in used)  # fmt: skip
    zero = rounded(Decimal(0), currency)
    net = sum((one.net for one in billed), zero)
    tax = sum((one.tax for one in taxes), zero)
    return Bill(currency, billed, taxes, net, tax, net + tax, RULE[rounding])


def _tax(name: str, percent: Decimal, nets: Sequence[Decimal], currency: str, rounding: Rounding) -> TaxTotal:
    net = sum(nets, Decimal(0))
    if rounding == "line":
        tax = sum((rounded(one * percent / 100, currency) for one in nets), Decimal(0))
    else:
        tax = rounded(net * percent / 100, currency)
    return TaxTotal(name, percent, net, tax)


def money(amount: Decimal, currency: str) -> str:
    """An amount ready to print: grouped by thin spaces, with its code.

    >>> money(Decimal("1234.5"), "EUR")
    '1\u202f234.50 EUR'
    """
    return f"{rounded(amount, currency):,}".replace(",", "\u202f") + f" {currency}"
