"""What the plan stage shows: remedies, what each calls for, and what the ticked ones come to. Computes nothing of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any
from urllib.parse import urlencode

from markupsafe import Markup

from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.board.same import Same
from coppermend.errors import CoppermendError
from coppermend.job.assess import Assessment
from coppermend.job.planning import PlanEffect, RemedyFacts, plan_effect, remedy_facts
from coppermend.job.shelf import read_shelf, stock
from coppermend.rework.options import BreakEven, Option, break_evens, compare_options
from coppermend.rework.records import Check, Remedy
from coppermend.rework.stocked import Stock
from coppermend.web.desk import Desk, Job
from coppermend.web.language import spoken
from coppermend.web.sentences import say_titles

TRIED = "try"
_EFFECTS = 128


@dataclass(frozen=True)
class Offer:
    """A remedy on offer as the page shows it; ``clashes`` are titles of chosen ones that exclude it, ``option`` its price.

    ``drawing`` is in the language that it was made for.
    """

    remedy: Remedy
    chosen: bool
    clashes: tuple[str, ...]
    facts: RemedyFacts
    drawing: Markup
    option: Option | None


def plan_view(desk: Desk, job: Job, query: Mapping[str, str]) -> dict[str, Any]:
    """Context of the plan stage: remedies with what each calls for, what the ticked ones come to, options compared."""
    found = job.found
    if found is None:
        return {"offered": ()}
    chosen = frozenset(job.state.remedies)
    options, break_even = _compared(Same(found.remedies))
    return {
        "offered": _offers(Same(found.board), Same(desk.library), Same(found.remedies), chosen, spoken()),
        "options": options,
        "break_even": break_even,
        **effect_view(desk, job, query),
    }


@lru_cache(maxsize=_EFFECTS)
def _compared(offered: Same[tuple[Remedy, ...]]) -> tuple[tuple[Option, ...], tuple[BreakEven, ...]]:
    return compare_options(offered.thing), break_evens(offered.thing)


@lru_cache(maxsize=_EFFECTS)
def _offers(
    board: Same[Board], library: Same[PartLibrary], offered: Same[tuple[Remedy, ...]], chosen: frozenset[str],
    _language: str,
) -> tuple[Offer, ...]:  # fmt: skip
    titles = {remedy.id: remedy.title for remedy in offered.thing}
    by_id = {option.id: option for option in _compared(offered)[0]}
    made = []
    for remedy in offered.thing:
        facts = remedy_facts(board.thing, library.thing, remedy)
        clashes = tuple(titles[name] for name in remedy.excludes if name in chosen)
        drawing = Markup(say_titles(facts.drawing))
        made.append(Offer(remedy, remedy.id in chosen, clashes, facts, drawing, by_id.get(remedy.id)))
    return tuple(made)


def effect_view(desk: Desk, job: Job, query: Mapping[str, str]) -> dict[str, Any]:
    """What the remedies ticked in a query come to; those chosen, when the query tries none."""
    if job.found is None:
        return {"effect": None, "ticked": (), "effect_error": ""}
    offered = job.found.remedies
    ticked = ticked_ids(offered, query) if query.get(TRIED) else tuple(one.id for one in job.found.chosen)
    try:
        effect = _effect(Same(job.found), Same(desk.library), tuple(ticked), shelf_of(desk, job))
    except CoppermendError as error:
        return {"effect": None, "ticked": ticked, "effect_error": str(error)}
    return {"effect": effect, "ticked": ticked, "effect_error": ""}


@lru_cache(maxsize=_EFFECTS)
def _effect(
    found: Same[Assessment], library: Same[PartLibrary], ids: tuple[str, ...], shelf: tuple[Stock, ...]
) -> PlanEffect:
    return plan_effect(found.thing, library.thing, ids, shelf)


def shelf_of(desk: Desk, job: Job) -> tuple[Stock, ...]:
    """What the shop has for this job: what is free, and what it has reserved."""
    return stock(read_shelf(desk.store), job.number)


def ticked_ids(offered: Sequence[Remedy], query: Mapping[str, str]) -> tuple[str, ...]:
    """Ids of the remedies that a form or query ticks, in the order in which they are offered."""
    return tuple(one.id for one in offered if query.get(f"tick-{one.id}") == "1")


def figure_link(check: Check) -> str:
    """The page of the figure behind a check, filled in as the check was computed; "" when it was read off the board."""
    if not check.figure:
        return ""
    return f"/figures/{check.figure}?{urlencode(check.inputs)}"
