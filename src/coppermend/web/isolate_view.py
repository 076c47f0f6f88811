"""What the isolate page shows: suspects shaded on the board, the next measurement, what each observation changed."""

from __future__ import annotations

from typing import Any

from coppermend.board.draw import Overlay
from coppermend.board.model import Layer
from coppermend.board.parttypes import PartLibrary
from coppermend.board.where import where_words
from coppermend.errors import CoppermendError
from coppermend.isolate.choice import Measurement
from coppermend.isolate.isolation import Isolation
from coppermend.isolate.observations import KINDS
from coppermend.isolate.states import LOGIC_VALUES
from coppermend.isolate.told import Suspect
from coppermend.job.earlierfaults import earlier_faults
from coppermend.job.isolating import search_of
from coppermend.underway import tell
from coppermend.web.desk import Desk, Job
from coppermend.web.drawing import around, damage_overlays

_SHOWN, _LEAST, _SHADED = 8, 0.005, 0.02
_ANSWERS = {
    "logic": ("good", "wrong", "stuck high", "stuck low", "floating", "between"),
    "swap": ("cured", "same"),
    "watch": ("none", "all"),
    "joints": ("sound",),
    "repair": ("done",),
}


def isolate_view(job: Job, desk: Desk, wanted: str) -> dict[str, Any]:
    """Context of the isolate page; ``wanted`` picks another of the proposals."""
    if job.board is None or job.found is None:
        return {"search": None, "overlays": ()}
    library = desk.library
    # An assessment asks for the history once the search has begun; before, the page shows what it makes suspect.
    history = (
        job.found.history
        if job.state.observations
        else earlier_faults(desk.store, job.board, besides=job.state.number)
    )
    tell(0, 3, "Following the signals")
    search = search_of(job.board, library, job.state, history)
    isolation = search.isolation
    isolation.tools = desk.settings().owned
    tell(1, 3, "Choosing what to measure next")
    ahead = isolation.propose(4) if isolation.effects.faults else ()
    chosen = int(wanted) - 1 if wanted.isascii() and wanted.isdigit() and len(wanted) < 3 else 0
    current = ahead[chosen] if 0 <= chosen < len(ahead) else None
    tell(2, 3, "Choosing what to measure next")
    suspects = isolation.suspects(_SHOWN, _LEAST) if isolation.effects.faults else ()
    changed = isolation.effects_of_evidence() if isolation.effects.faults else ()
    return {
        "search": search, "suspects": suspects, "ahead": ahead, "current": current, "chosen": chosen + 1,
        "changed": list(zip(search.used, changed, strict=True)), "decision": isolation.decision(),
        "typed_answer": current is not None and current.kind in ("watch", "joints"),
        "answers": _ANSWERS.get(current.kind, ()) if current else (),
        "where": where(isolation, library, current), "kinds": KINDS, "logic_values": LOGIC_VALUES,
        "pairs": isolation.pairs(3), "conditions": isolation.conditions, "repaired": isolation.repaired,
        "heard": any(one.kind == "symptom" for one in isolation.counting), "search_notes": (*search.notes, *isolation.notes()),
        **_drawn(job, isolation, suspects, current),
    }  # fmt: skip


def where(isolation: Isolation, library: PartLibrary, current: Measurement | None) -> list[tuple[str, str]]:
    """Each point of a measurement with the words for where it is."""
    if current is None or current.kind in ("swap", "watch", "joints"):
        return []
    found = []
    for point in current.point.split(":"):
        try:
            found.append((point, where_words(isolation.board, library, point)))
        except CoppermendError:  # a net without a pad has no place of its own
            found.append((point, ""))
    return found


def _drawn(
    job: Job, isolation: Isolation, suspects: tuple[Suspect, ...], current: Measurement | None
) -> dict[str, Any]:
    board = isolation.board
    overlays = [*damage_overlays(job)]
    for suspect in suspects:
        if suspect.probability >= _SHADED:
            names = tuple(suspect.name.split(" + ")) if suspect.kind == "short" else (suspect.name,)
            overlays.append(
                Overlay("suspect", names, label=f"{suspect.probability:.0%}", severity=suspect.probability)
            )
    points = [p for p in current.point.split(":") if _has_pad(isolation, p)] if current else []
    side: Layer = "top"
    if points:
        overlays.append(Overlay("probe", tuple(points), label="A"))
    focus = around(board, *points) if points else None
    return {"overlays": tuple(overlays), "side": side, "focus_mm": focus}


def _has_pad(isolation: Isolation, point: str) -> bool:
    refdes, _, pin = point.rpartition(".")
    return any(pad.pin == pin for pad in isolation.board.index.pads_of_part[refdes])
