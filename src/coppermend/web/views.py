"""What each stage's page shows, gathered from a job's state and assessment. Computes nothing of its own."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Mapping
from functools import lru_cache
from typing import Any

from coppermend.board.atrisk import Touch, TouchedNet, TouchedPart
from coppermend.board.cautions import Caution, cautions_for, merged
from coppermend.board.draw import Overlay
from coppermend.board.model import Board, Layer
from coppermend.board.same import Same
from coppermend.damage.touch import touch_by_section
from coppermend.job.history import earlier_work
from coppermend.job.state import EvidenceLine
from coppermend.proving.records import Proof
from coppermend.proving.supply import DISCHARGE, resistance_id
from coppermend.rework.records import RefitItem, StripItem
from coppermend.web.copper_view import copper_view
from coppermend.web.desk import Desk, Job
from coppermend.web.drawing import damage_overlays, stage_overlays
from coppermend.web.isolate_view import isolate_view
from coppermend.web.language import mark, translate
from coppermend.web.plan_view import plan_view
from coppermend.web.prove_view import tests_here

Query = Mapping[str, str]
_DAMAGES = 64  # whose sections are remembered, in each language
_LARGEST_DRAWN = 40_000  # characters of GeoJSON that are worth editing by hand


def stage_view(desk: Desk, job: Job, stage: str, query: Query) -> dict[str, Any]:
    """Context of a stage's template, with ``overlays`` and the ``side`` that the drawing shows first."""
    side: Layer = "bottom" if query.get("side") == "bottom" else "top"
    overlays: tuple[Overlay, ...] = stage_overlays(job, stage)
    return {"overlays": overlays, "side": side, **_VIEWS[stage](desk, job, query)}


def _receive(desk: Desk, job: Job, query: Query) -> dict[str, Any]:
    state = job.state
    earlier = earlier_work(desk.store, state.serial, state.marks, state.customer, besides=state.number)
    return {"earlier": earlier, "boards": desk.store.boards()}


def _inspect(desk: Desk, job: Job, query: Query) -> dict[str, Any]:
    drawn = json.dumps(job.state.damage) if job.state.damage else ""
    editable = len(drawn) <= _LARGEST_DRAWN
    return {"groups": sections_touched(job), "drawn": drawn if editable else "", "editable": editable}


def _isolate(desk: Desk, job: Job, query: Query) -> dict[str, Any]:
    return {"groups": sections_touched(job), **isolate_view(job, desk, query.get("step", ""))}


Section = tuple[str, tuple[TouchedPart, ...], tuple[TouchedNet, ...]]


def sections_touched(job: Job) -> tuple[Section, ...]:
    """Section, its touched parts and its touched nets, in the board's order."""
    if job.found is None or job.board is None:
        return ()
    return _sections(Same(job.found.touch), Same(job.board), translate("of no section"))


@lru_cache(maxsize=_DAMAGES)
def _sections(touched: Same[Touch], board: Same[Board], nowhere: str) -> tuple[Section, ...]:
    parts = {part.refdes: part for part in touched.thing.parts}
    nets = {net.net: net for net in touched.thing.nets}
    titles = {s.name: s.title or s.name for s in board.thing.sections}
    return tuple(
        (
            titles.get(group.section, group.section) or nowhere,
            tuple(parts[p] for p in group.parts),
            tuple(nets[n] for n in group.nets),
        )
        for group in touch_by_section(touched.thing, board.thing)
    )


def _plan(desk: Desk, job: Job, query: Query) -> dict[str, Any]:
    return plan_view(desk, job, query)


def _strip(desk: Desk, job: Job, query: Query) -> dict[str, Any]:
    if job.found is None:
        return {"rows": (), "left": 0}
    rows = [(item, job.state.strip.get(item.refdes)) for item in job.found.strip]
    left = sum(1 for _, fate in rows if fate is None)
    return {"rows": rows, "left": left, "cautions": _with_items("strip", job.found.strip)}


def _refit(desk: Desk, job: Job, query: Query) -> dict[str, Any]:
    if job.found is None:
        return {"rows": (), "left": 0}
    rows = [(item, job.state.refit.get(item.refdes)) for item in job.found.refit]
    left = sum(1 for _, note in rows if note is None)
    return {"rows": rows, "left": left, "cautions": _with_items("refit", job.found.refit)}


def _with_items(stage: str, items: Iterable[StripItem | RefitItem]) -> tuple[Caution, ...]:
    """The cautions of a stage and of every item on its list, each once."""
    return merged(cautions_for(stage), *(item.cautions for item in items))


def _prove(desk: Desk, job: Job, query: Query) -> dict[str, Any]:
    if job.found is None:
        return {"groups": (), "titles": {}, "count": 0, **tests_here(job)}
    groups: dict[str, list[tuple[Proof, EvidenceLine | None]]] = {name: [] for name in _PROOF_GROUPS}
    needed = {proof.id for proof in job.found.proofs_to_do}
    for proof in job.found.proofs:
        result = job.state.evidence.get(proof.id)
        groups[_proof_group(proof, result, needed)].append((proof, result))
    titles = {proof.id: proof.title for proof in job.found.proofs}
    shown = [(name, cards) for name, cards in groups.items() if cards]
    return {"groups": shown, "titles": titles, "count": len(job.found.proofs), **tests_here(job)}


_PROOF_GROUPS = (mark("Before power"), mark("Needed for the gate"), mark("With a result"), mark("Others"))


def _proof_group(proof: Proof, result: EvidenceLine | None, needed: Collection[str]) -> str:
    if result and result.passed:
        return "With a result"
    if proof.id == DISCHARGE or proof.id.startswith(resistance_id("")):
        return "Before power"
    if proof.id in needed:
        return "Needed for the gate"
    return "With a result" if result else "Others"


def _return(desk: Desk, job: Job, query: Query) -> dict[str, Any]:
    titles = {proof.id: proof.title for proof in job.found.proofs} if job.found else {}
    return {"titles": titles, "shop_paper": desk.settings().paper}


def _copper(desk: Desk, job: Job, query: Query) -> dict[str, Any]:
    view = copper_view(job, query.get("probe", ""), desk.library, query.get("isolation", ""))
    if job.found is not None:
        roles, current = desk.roles(job.sha256), view["current"]
        view["does"] = roles[current.net].does if current and current.net in roles else ""
        view["overlays"] = (*damage_overlays(job), *view["overlays"])
    return view


_VIEWS: Mapping[str, Callable[[Desk, Job, Query], dict[str, Any]]] = {
    "receive": _receive, "inspect": _inspect, "isolate": _isolate, "plan": _plan, "strip": _strip,
    "copper": _copper, "refit": _refit, "prove": _prove, "return": _return,
}  # fmt: skip
