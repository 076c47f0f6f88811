"""Short marks for done work: what a small label says in a few signs, and what each sign means."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coppermend.job.assess import Assessment
from coppermend.job.state import JobState


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark: the sign as printed, such as ``J2``, and its meaning in words."""

    sign: str
    words: str


def work_marks(state: JobState, found: Assessment) -> tuple[Mark, ...]:
    """The marks of a job, in the order of the work; () when nothing is recorded yet.

    Signs: R remedies, X parts taken off, C nets whose copper is proven, J jumpers, N parts fitted new, M images
    burnt, T tests passed; the number follows. OK when nothing is left open, ! with how many things are.
    """
    new = sum(item.source == "new" and item.refdes in state.refit for item in found.refit)
    counts = (
        ("R", len(found.chosen), "changes made to the board"),
        ("X", len(state.strip), "parts taken off"),
        ("C", len(found.copper.proven) if state.readings else 0, "connections proven"),
        ("J", len(state.jumpers), "wires added"),
        ("N", new, "parts fitted new"),
        ("M", len({i.refdes or i.name for i in state.images if i.what == "burn"}), "images burnt"),
        ("T", sum(line.passed for line in state.evidence.values()), "tests passed"),
    )
    marks = [Mark(f"{sign}{count}", f"{count} {words}") for sign, count, words in counts if count]
    if not marks:
        return ()
    if found.gate.passed:
        return (*marks, Mark("OK", "nothing that was touched is left unproven"))
    return (*marks, Mark(f"!{len(found.gate.open)}", f"{len(found.gate.open)} things left unproven"))


def legend(marks: Sequence[Mark]) -> str:
    """What the marks mean, in one line.

    >>> legend((Mark("J2", "2 wires added"), Mark("OK", "all proven")))
    'J2: 2 wires added; OK: all proven'
    """
    return "; ".join(f"{mark.sign}: {mark.words}" for mark in marks)
