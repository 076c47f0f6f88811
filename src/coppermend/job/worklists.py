"""Strip list, refit list and kit as the record has made them: plans, corrected by what was really done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from coppermend.board.atrisk import Touch
from coppermend.board.kinds import natural_key
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.job.state import JobState
from coppermend.rework.records import Fate, KitLine, RefitItem, Remedy, StripItem
from coppermend.rework.refit import kit, refit_list
from coppermend.rework.strip import strip_list


@dataclass(frozen=True)
class WorkLists:
    """The lists of one job.

    ``came_off`` are refdes on the board of parts that have been taken off or replaced; ``off`` of those that are
    off now, sockets included, and hide no copper.
    """

    chosen: tuple[Remedy, ...]
    strip: tuple[StripItem, ...]
    refit: tuple[RefitItem, ...]
    kit: tuple[KitLine, ...]
    came_off: frozenset[str]
    off: frozenset[str]
    notes: tuple[str, ...]


def work_lists(
    board: Board, library: PartLibrary, touched: Touch, offered: Sequence[Remedy], state: JobState
) -> WorkLists:
    """The lists of a job, from what is planned and what is recorded."""
    chosen, remedy_notes = _chosen(offered, state.remedies)
    planned = strip_list(board, library, touched, chosen)
    added = {refdes for remedy in chosen for line in remedy.parts_on for refdes in line.refdes}
    extra, extra_notes = _beyond(board, planned, added, state)
    bad = {i.refdes for i in planned if i.fate == "test" and state.strip.get(i.refdes) == "discard"}
    strip = (*(_with_noted_fate(item, state) for item in planned), *extra)
    refit = refit_list(board, library, strip, chosen, bad)
    done = {item.refdes for item in strip if item.refdes in state.strip or item.refdes in state.refit}
    return WorkLists(
        chosen=chosen,
        strip=strip,
        refit=refit,
        kit=kit(refit),
        came_off=frozenset(item.part for item in strip if item.refdes in done),
        off=parts_off(strip, state),
        notes=(*remedy_notes, *extra_notes),
    )


def _chosen(offered: Sequence[Remedy], ids: Sequence[str]) -> tuple[tuple[Remedy, ...], list[str]]:
    """The chosen remedies that can be carried out; of two that exclude each other the one chosen last."""
    by_id = {remedy.id: remedy for remedy in offered}
    kept: list[Remedy] = []
    notes = []
    for name in reversed(ids):
        remedy = by_id.get(name)
        if remedy is None:
            notes.append(f"remedy {name} was chosen but does not apply to this board and damage")
        elif remedy.note_only:
            notes.append(f"remedy {name} was chosen but is only a note")
        elif clash := next((other for other in kept if _exclude(remedy, other)), None):
            notes.append(f"remedy {name} is left out, since {clash.id} was chosen after it")
        else:
            kept.append(remedy)
    return tuple(remedy for remedy in offered if remedy in kept), notes[::-1]


def _exclude(one: Remedy, other: Remedy) -> bool:
    return other.id in one.excludes or one.id in other.excludes


def _beyond(
    board: Board, planned: Sequence[StripItem], added: set[str], state: JobState
) -> tuple[tuple[StripItem, ...], list[str]]:
    """Parts that the record says came off, or were put back, though no list asked for it."""
    listed = {item.refdes for item in planned} | added
    recorded = sorted({*state.strip, *state.refit} - listed, key=natural_key)
    items: list[StripItem] = []
    notes: list[str] = []
    for refdes in recorded:
        socket = refdes not in board.index.parts
        part = board.index.parts.get(_inner(refdes) if socket else refdes)
        if part is None:
            notes.append(f"{refdes} is in the record, but neither on this board nor on its lists")
            continue
        fate = state.strip.get(refdes, "") or ("discard" if socket else "refit")
        items.append(
            StripItem(
                order=len(planned) + len(items) + 1,
                refdes=refdes,
                part=part.refdes,
                type="socket" if socket else part.type,
                value="" if socket else part.value,
                reasons=(),
                why="Taken off though not on the list.",
                fate=_fate(fate),
                section=part.section,
                socket=socket,
                package=part.package,
            )
        )
    return tuple(items), notes


def _inner(refdes: str) -> str:
    """The part in a socket: XU5 holds U5, XBT1 holds BT1."""
    return refdes.removeprefix("X")


def _fate(text: str) -> Fate:
    return "discard" if text == "discard" else "test" if text == "test" else "refit"


def _with_noted_fate(item: StripItem, state: JobState) -> StripItem:
    """The technician's word on a part goes before the plan's; a failed test is told to the refit list apart."""
    noted = state.strip.get(item.refdes, "")
    if not noted or noted == item.fate or (item.fate == "test" and noted == "discard"):
        return item
    return replace(item, fate=_fate(noted))


def parts_off(strip: Sequence[StripItem], state: JobState) -> frozenset[str]:
    """Refdes on the board where neither the part nor its socket stands now."""
    standing = {i.part for i in strip if i.refdes not in state.strip or i.refdes in state.refit}
    return frozenset({item.part for item in strip} - standing)
