"""What must be proven before a board leaves: damaged, removed, changed and suspected subjects. No evidence."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from coppermend.board.atrisk import Touch, TouchedNet, grade
from coppermend.board.kinds import natural_key
from coppermend.board.model import Board
from coppermend.board.subject import Subject, net_subject, part_subject
from coppermend.proving.records import Concern

__all__ = ["Concern", "concerns_from"]


def concerns_from(
    touch: Touch,
    strip_done: Collection[str] = (),
    refit: Collection[str] = (),
    remedies: Mapping[str, Iterable[Subject]] | None = None,
    suspects: Iterable[Subject] = (),
    *,
    board: Board | None = None,
) -> tuple[Concern, ...]:
    """Everything that the job has given reason to doubt.

    Args:
        touch: What the damage touched.
        strip_done: Refdes on the board of parts that came off; for a socket the part that sits in it.
        refit: Refdes on the board of parts that are to be on it in the end.
        remedies: Title of each chosen remedy -> what it changes.
        suspects: What was suspected and not yet cleared.
        board: The board; with it, damaged holes, logos and other parts on no net are left out.

    Returns:
        Damaged nets and parts, worst first as in ``touch``; then removed, changed and suspected subjects
        by name. A subject may be of concern for several reasons. A part that a remedy took off for good
        is of no concern itself; the nets that the remedy changed are.
    """
    changed = {title: frozenset(subjects) for title, subjects in (remedies or {}).items()}
    remade = {subject.name for subjects in changed.values() for subject in subjects if subject.kind == "part"}
    replaced = {r for r in remade if r not in set(refit)}
    return (
        *(_damaged_net(net) for net in touch.nets),
        *(
            Concern(part_subject(part.refdes), "damaged", f"{grade(part.severity)} damage")
            for part in touch.parts
            if part.refdes not in replaced and (board is None or part.refdes in board.index.pins_of_part)
        ),
        *_removed(set(strip_done) - replaced, set(refit)),
        *_changed(changed, replaced),
        *(Concern(subject, "suspected") for subject in sorted(set(suspects), key=_by_name)),
    )


def _damaged_net(net: TouchedNet) -> Concern:
    counts = [(net.pads, "pad"), (net.vias, "via"), (net.tracks, "track")]
    parts = ", ".join(f"{n} {word}{'' if n == 1 else 's'}" for n, word in counts if n)
    does = f"{net.does}: " if net.does else ""
    return Concern(
        net_subject(net.net), "damaged", f"{does}{grade(net.severity)} damage on {parts or 'its copper'}"
    )


def _removed(off: set[str], refit: set[str]) -> list[Concern]:
    return [
        Concern(
            part_subject(refdes),
            "removed",
            "came off and goes back or comes new"
            if refdes in refit
            else "came off and nothing takes its place",
        )
        for refdes in sorted(off, key=natural_key)
    ]


def _changed(changed: Mapping[str, frozenset[Subject]], replaced: set[str]) -> list[Concern]:
    return [
        Concern(subject, "changed", title)
        for title, subjects in changed.items()
        for subject in sorted(subjects, key=_by_name)
        if not (subject.kind == "part" and subject.name in replaced)
    ]


def _by_name(subject: Subject) -> tuple[object, ...]:
    return subject.kind, natural_key(subject.name)
