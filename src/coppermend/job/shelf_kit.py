"""The kit of a job on the shelf: reserved for it, and taken off for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coppermend.job.number import check_number
from coppermend.job.shelf import Move, Shelf, Shelved, add_moves, fold_shelf_on, names_of, part_key, stock
from coppermend.job.store import Store
from coppermend.rework.records import KitLine
from coppermend.rework.stocked import supply_kit


def reserve_kit(store: Store, job: str, kit: Sequence[KitLine], *, who: str) -> dict[str, Shelved]:
    """Reserve what the shelf has of a job's kit; what the job held before is let go first. The shelf afterwards.

    Raises:
        InputError: If the number is malformed.
        UnknownName: If there is no such job.
    """
    number = check_number(job)
    store.last_seq(number)

    def moves(shelf: Shelf) -> list[Move]:
        held = [(p, -p.reserved[number]) for p in shelf.values() if number in p.reserved]
        wanted = [(p, count) for p, count in _taken(shelf, number, kit)]
        return [
            ("reserved", {**names_of(p), "job": number, "quantity": count}) for p, count in (*held, *wanted)
        ]

    return add_moves(store, who, moves)


def use_kit(store: Store, job: str, kit: Sequence[KitLine], *, who: str) -> dict[str, Shelved]:
    """Take a kit off the shelf for a job, as far as the shelf has it; what is left of its reservation is let go.

    Raises:
        InputError, UnknownName: As ``reserve_kit``.
    """
    number = check_number(job)
    store.last_seq(number)

    def moves(shelf: Shelf) -> list[Move]:
        used = [
            ("used", {**names_of(p), "job": number, "quantity": n}) for p, n in _taken(shelf, number, kit)
        ]
        after = fold_shelf_on(shelf, used)
        rest = [("reserved", {**names_of(p), "job": number, "quantity": -p.reserved[number]}) for p in after.values() if number in p.reserved]  # fmt: skip
        return [*used, *rest]

    return add_moves(store, who, moves)


def _taken(shelf: Shelf, job: str, kit: Sequence[KitLine]) -> list[tuple[Shelved, int]]:
    """Which parts of the shelf a kit takes, and how many of each."""
    before = stock(shelf, job)
    taken: dict[str, int] = {}
    left = list(before)
    for line in kit:
        needed = line.quantity
        for number, one in enumerate(left):
            if (
                needed
                and one.quantity
                and supply_kit((replace(line, quantity=1),), (replace(one, quantity=1),))[0].from_shelf
            ):
                count = min(needed, one.quantity)
                key = part_key(one.type, one.value, one.package)
                taken[key] = taken.get(key, 0) + count
                left[number] = replace(one, quantity=one.quantity - count)
                needed -= count
    return [(shelf[key], count) for key, count in taken.items()]
