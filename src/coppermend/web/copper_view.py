"""The copper stage's page: which probe comes next, what was read, which jumpers are proposed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from coppermend.board.parttypes import PartLibrary
from coppermend.copper.isolation import IsolationScope
from coppermend.copper.plan import CopperPlan, Probe
from coppermend.copper.verdict import limit_of
from coppermend.copper.wirelist import total_words, wire_totals
from coppermend.errors import InputError
from coppermend.job.assess import copper_plan
from coppermend.web.desk import Job
from coppermend.web.drawing import around, jumper_overlays, probe_overlays, stage_overlays
from coppermend.web.language import mark

BEEPER = "beeper"
SCOPES: tuple[tuple[IsolationScope, str], ...] = (
    ("likely", mark("the likely few")),
    ("all", mark("all within reach")),
    ("none", mark("none")),
)


def copper_view(job: Job, wanted: str, library: PartLibrary, isolation: str = "") -> dict[str, Any]:
    """Context of the copper page: ``current`` is the probe asked for, else the first that is left.

    ``isolation`` says which pairs of nets are measured against each other, "" for the likely ones.

    Raises:
        InputError: If there is no such choice.
    """
    if job.found is None or job.board is None:
        return {"current": None, "ahead": (), "overlays": (), "last": None, "plan": None}
    plan = plan_for(job, library, isolation)
    ahead = plan.probes
    current = _probe_asked(ahead, wanted)
    overlays = (*stage_overlays(job, "refit"), *jumper_overlays(job.board, plan.jumpers, "W"))
    totals = [total_words(total) for total in wire_totals([*plan.fitted, *plan.jumpers])]
    coming = ahead[(ahead.index(current) + 1) % len(ahead)] if current else None
    view: dict[str, Any] = {
        "current": current, "ahead": ahead, "coming": coming, "last": _last_reading(job), "wire": totals,
        "numbered": tuple(enumerate(plan.jumpers, 1)), "plan": plan, "isolation": isolation, "scopes": SCOPES,
    }  # fmt: skip
    if current is None:
        return {**view, "overlays": overlays}
    shown = probe_overlays(job.board, current.net, current.a, current.b)
    nets = [job.board.index.place(point).net for point in (current.a, current.b)]
    side = "bottom" if current.side == "bottom" else "top"
    focus = around(job.board, current.a, current.b)
    return {
        **view,
        "overlays": (*overlays, *shown),
        "side": side,
        "focus_mm": focus,
        "nets": tuple(dict.fromkeys(nets)),
        "limit_ohms": limit_of(current),
    }


def _probe_asked(ahead: Sequence[Probe], wanted: str) -> Probe | None:
    """The probe asked for; once a reading has made another of it, one that shares a point; else the first."""
    ends = set(wanted.split("~"))
    same = (p for p in ahead if p.id == wanted)
    alike = (p for p in ahead if ends & {p.a, p.b})
    return next((p for some in (same, alike, ahead) for p in some), None)


def plan_for(job: Job, library: PartLibrary, isolation: str) -> CopperPlan:
    """The job's plan with the pairs of nets that are asked for.

    Raises:
        InputError: If there is no such choice.
    """
    assert job.found is not None
    for scope, _ in SCOPES:
        if (isolation or "likely") == scope:
            return copper_plan(job.found, library, scope)
    raise InputError(f"isolation {isolation[:40]!r}", expected=f"one of {', '.join(dict(SCOPES))}")


def find_probe(job: Job, library: PartLibrary, isolation: str, a: str, b: str) -> Probe | None:
    """The planned probe between two points, if there is one."""
    probes = plan_for(job, library, isolation).probes if job.found else ()
    return next((p for p in probes if {p.a, p.b} == {a, b}), None)


def _last_reading(job: Job) -> int | None:
    """The last reading or jumper that counts, for undo."""
    return next(
        (
            e.seq
            for e in reversed(job.entries)
            if e.kind in ("reading", "jumper") and e.seq not in job.state.voided
        ),
        None,
    )
