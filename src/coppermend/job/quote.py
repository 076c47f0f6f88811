"""What a job costs: the quote from kit and remedies before the work, the invoice from what the record says was done."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from decimal import Decimal

from coppermend.job.assess import Assessment
from coppermend.job.learning import estimate
from coppermend.job.money import Bill, Line, bill
from coppermend.job.shop import Shop
from coppermend.job.sums import Sums
from coppermend.rework.options import Prices, compare_options, usual_prices
from coppermend.rework.records import KitLine, RefitItem
from coppermend.rework.stocked import Stock, supply_kit

_CENT = Decimal("0.01")
NO_HISTORY = Sums()
# Bench time of a job beside its remedies: log in, inspect, clean, prove, pack. Common practice, no source; a start value
# only, since the shop's own finished jobs on the board outweigh it.
BASE_MINUTES = 60.0


def quote_bill(
    found: Assessment, shop: Shop, shelf: Sequence[Stock] = (), history: Sums = NO_HISTORY
) -> Bill:
    """The quote: the kit as it stands, the time of every remedy of the plan, and the bench time beside them.

    All times together come to what the plan makes of it; with jobs on this board behind it, to the shop's own estimate,
    for which the plan is the first guess (see ``learning.estimate``). ``history`` holds those jobs' times [ln min].
    """
    prices = usual_prices()
    lines = [
        _part_line(
            supply.line, supply.price / supply.line.quantity, shop, f"for {', '.join(supply.line.refdes)}"
        )
        for supply in supply_kit(found.kit, shelf, prices)
        if supply.line.quantity
    ]
    planned = compare_options(found.chosen, prices)
    lines += [
        _time_line(option.title, option.minutes, shop, f"remedy {option.id}")
        for option in planned
        if option.minutes
    ]
    remedies = sum(option.minutes for option in planned)
    others = _minutes_besides(found, prices, len(found.strip), len(found.refit), len(found.state.jumpers))
    besides, why = BASE_MINUTES + others, "estimate of the bench time"
    if history.count:
        learnt = estimate(history, guess=remedies + besides)
        besides, why = max(learnt.middle - remedies, 0.0), f"all together {learnt.words}"
    lines.append(_time_line("Cleaning, parts off and on, proving", besides, shop, why))
    return bill(lines, shop.rates, shop.currency, shop.rounding)


def invoice_bill(
    found: Assessment, shop: Shop, shelf: Sequence[Stock] = (), minutes: float | None = None
) -> Bill:
    """The invoice: parts that the record says are fitted new, wires added, and time.

    Args:
        found: The job.
        shop: Currency, taxes, prices.
        shelf: Prices of stock.
        minutes: Bench time to charge [min]; None for what the timer noted, and where it noted nothing, by what was
            done with the usual times.
    """
    prices, state = usual_prices(), found.state
    fitted = [item for item in found.refit if item.source == "new" and item.refdes in state.refit]
    kit = _as_kit(fitted)
    lines = [
        _part_line(s.line, s.price / s.line.quantity, shop, f"fitted as {', '.join(s.line.refdes)}")
        for s in supply_kit(kit, shelf, prices)
    ]
    noted = minutes if minutes is not None else state.time.minutes
    if noted or minutes is not None:
        lines.append(_time_line("Bench time", noted, shop, "time noted in the record"))
        return bill(lines, shop.rates, shop.currency, shop.rounding)
    done = [remedy for remedy in found.chosen if set(remedy.parts_off) <= set(state.strip)]
    lines += [
        _time_line(o.title, o.minutes, shop, f"remedy {o.id}")
        for o in compare_options(done, prices)
        if o.minutes
    ]
    others = _minutes_besides(found, prices, len(state.strip), len(state.refit), len(state.jumpers))
    words = (
        f"Cleaning, {len(state.strip)} parts off, {len(state.refit)} on, {len(state.jumpers)} wires, proving"
    )
    lines.append(_time_line(words, BASE_MINUTES + others, shop, f"record up to entry {state.seq}"))
    return bill(lines, shop.rates, shop.currency, shop.rounding)


def billed_minutes(made: Bill) -> float:
    """The bench time on a bill [min]."""
    return float(sum((one.line.quantity for one in made.lines if one.line.unit == "h"), Decimal(0)) * 60)


def _minutes_besides(found: Assessment, prices: Prices, off: int, on: int, jumpers: int) -> float:
    """Minutes for parts and wires that no remedy counts already."""
    remedy_off = sum(len(remedy.parts_off) for remedy in found.chosen)
    remedy_on = sum(line.quantity for remedy in found.chosen for line in remedy.parts_on)
    return (
        max(off - remedy_off, 0) * prices.part_off_min
        + max(on - remedy_on, 0) * prices.part_on_min
        + jumpers * prices.jumper_min
    )


def _as_kit(items: Sequence[RefitItem]) -> tuple[KitLine, ...]:
    """Parts fitted, equal ones in one line."""
    groups: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for item in items:
        groups[item.type, item.value, item.package].append(item.refdes)
    return tuple(KitLine(t, v, p, len(names), tuple(names)) for (t, v, p), names in groups.items())


def _part_line(line: KitLine, price: float, shop: Shop, link: str) -> Line:
    words = " ".join(
        dict.fromkeys(filter(None, (line.value or line.type, line.type if line.value else "", line.package)))
    )
    each = Decimal(repr(price)) * (1 + Decimal(shop.markup.replace(",", ".")) / 100)
    return Line(words, Decimal(line.quantity), each.quantize(_CENT), shop.parts_tax, "", link)


def _time_line(what: str, minutes: float, shop: Shop, link: str) -> Line:
    hours = (Decimal(repr(float(minutes))) / 60).quantize(_CENT)
    return Line(
        f"{what[:1].upper()}{what[1:]}",
        hours,
        Decimal(shop.hourly.replace(",", ".")),
        shop.labour_tax,
        "h",
        link,
    )
