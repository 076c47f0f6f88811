"""What the plan stage shows: remedies, what each calls for, and what the ticked ones come to. Computes nothing of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any
from urllib.parse import urlencode

from markupsafe import Markup

from coppermend.board.parttypes import PartLibrary
from coppermend.board.same import Same
from coppermend.errors import CoppermendError
from coppermend.job.assess import Assessment
from coppermend.job.planning import PlanEffect, plan_effect, remedy_facts
from coppermend.job.shelf import read_shelf, stock
from coppermend.rework.options import break_evens, compare_options
from coppermend.rework.records import Check, Remedy
from coppermend.rework.stocked import Stock
from coppermend.web.desk import Desk, Job
from coppermend.web.sentences import say_titles

TRIED = "try"
_EFFECTS = 128


def plan_view(desk: Desk, job: Job, query: Mapping[str, str]) -> dict[str, Any]:
    """Context of the plan stage: remedies with what each calls for, what the ticked ones come to, options compared."""
    found = job.found
    if found is None:
        return {"offered": ()}
    chosen = set(job.state.remedies)
    titles = {remedy.id: remedy.title for remedy in found.remedies}
    options = compare_options(found.remedies)
    by_id = {option.id: option for option in options}
    rows = [
        {
            "remedy": remedy,
            "chosen": remedy.id in chosen,
            "clashes": [titles[r] for r in remedy.excludes if r in chosen],
            "facts": remedy_facts(found.board, desk.library, remedy),
            "drawing": Markup(say_titles(remedy_facts(found.board, desk.library, remedy).drawing)),
            "option": by_id.get(remedy.id),
        }
        for remedy in found.remedies
    ]
    return {
        "offered": rows,
        "options": options,
        "break_even": break_evens(found.remedies),
        "figure_link": figure_link,
        **effect_view(desk, job, query),
    }


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
