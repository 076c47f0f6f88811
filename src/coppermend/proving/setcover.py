"""Least-cost set cover with rigs that are paid once: reductions, then a constraint solver for what is left.

Knows columns (what can be chosen), rows (what must be covered) and costs, no proof and no board.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

_SOLVER_SECONDS = 5.0


@dataclass(frozen=True, slots=True)
class Column:
    """Something that can be chosen: the rows it covers, its own cost, and the rigs it needs (costs are whole numbers)."""

    rows: frozenset[int]
    cost: int
    rigs: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Cover:
    """Chosen columns, their whole cost with rigs, and whether no cheaper choice exists."""

    columns: tuple[int, ...]
    cost: int
    optimal: bool


def cost_of(
    columns: Sequence[Column], chosen: Collection[int], rigs: Mapping[str, int], free: Collection[str] = ()
) -> int:
    """Cost of a choice: each column, and each rig once unless it is free."""
    needed = frozenset[str]().union(*(columns[n].rigs for n in chosen)) - set(free)
    return sum(columns[n].cost for n in chosen) + sum(rigs[name] for name in needed)


def least_cover_of(
    columns: Sequence[Column],
    rigs: Mapping[str, int],
    *,
    free: Collection[str] = (),
    hint: Sequence[int] = (),
) -> Cover:
    """The cheapest columns that together cover every row that any of them covers.

    Args:
        columns: What can be chosen.
        rigs: Cost of each rig.
        free: Rigs that are set up already.
        hint: A valid choice; the answer is never dearer than it.

    Returns:
        Columns in ascending order. ``optimal`` is False only when the solver ran out of time.
    """
    forced, left, rows = _reduced(columns, set(free))
    chosen, optimal = set(forced), True
    if rows:
        paid = set(free).union(*(columns[n].rigs for n in forced))
        more, optimal = _solved(columns, left, rows, rigs, paid)
        chosen |= more
    found = cost_of(columns, chosen, rigs, free)
    if hint and cost_of(columns, hint, rigs, free) < found:
        chosen, found = set(hint), cost_of(columns, hint, rigs, free)
    return Cover(tuple(sorted(chosen)), found, optimal)


def _reduced(columns: Sequence[Column], free: set[str]) -> tuple[set[int], set[int], set[int]]:
    """(columns that must be chosen, columns still in question, rows still open), by the usual reductions.

    A row with a single column forces it; a row whose columns include all of another's need not be looked at;
    a column that covers no more than a cheaper one with no further rigs is dropped.
    """
    forced: set[int] = set()
    left = {n for n, column in enumerate(columns) if column.rows}
    rows = set().union(*(columns[n].rows for n in left)) if left else set()
    changed = True
    while changed and rows:
        paid = free.union(*(columns[n].rigs for n in forced))
        dropped = _dominated_columns(columns, left, rows, paid)
        left -= dropped
        by_row = {row: frozenset(n for n in left if row in columns[n].rows) for row in rows}
        single = {next(iter(found)) for found in by_row.values() if len(found) == 1}
        forced |= single
        left -= single
        covered = set().union(*(columns[n].rows for n in single)) if single else set()
        implied = _implied_rows({row: found for row, found in by_row.items() if row not in covered})
        changed = bool(dropped or single or implied)
        rows -= covered | implied
    return forced, left, rows


def _dominated_columns(
    columns: Sequence[Column], left: Collection[int], rows: Collection[int], paid: Collection[str]
) -> set[int]:
    open_rows = {n: columns[n].rows & frozenset(rows) for n in left}
    dropped: set[int] = set()
    for n in sorted(left):
        mine = columns[n]
        for other in sorted(left - dropped if isinstance(left, set) else set(left) - dropped):
            theirs = columns[other]
            if other == n or not open_rows[n] <= open_rows[other] or theirs.cost > mine.cost:
                continue
            if not theirs.rigs - set(paid) <= mine.rigs:
                continue
            same = (
                open_rows[n] == open_rows[other] and theirs.cost == mine.cost
                and theirs.rigs - set(paid) == mine.rigs - set(paid)
            )  # fmt: skip
            if not same or other < n:
                dropped.add(n)
                break
    return dropped


def _implied_rows(by_row: Mapping[int, frozenset[int]]) -> set[int]:
    """Rows that are covered whenever some other row is."""
    smallest: dict[frozenset[int], int] = {}
    for row, found in sorted(by_row.items()):
        smallest.setdefault(found, row)
    implied = {row for row, found in by_row.items() if smallest[found] != row}
    sets = sorted(smallest, key=len)
    for number, found in enumerate(sets):
        if any(smaller < found for smaller in sets[:number]):
            implied.add(smallest[found])
    return implied


def _solved(
    columns: Sequence[Column], left: Collection[int], rows: Collection[int], rigs: Mapping[str, int],
    paid: Collection[str],
) -> tuple[set[int], bool]:  # fmt: skip
    """The cheapest columns of ``left`` that cover ``rows``, and whether that is proven."""
    # Imported here: loading the solver takes longer than most commands.
    from ortools.sat.python import cp_model  # noqa: PLC0415

    model = cp_model.CpModel()
    taken = {n: model.new_bool_var(f"c{n}") for n in sorted(left)}
    names = sorted(frozenset[str]().union(*(columns[n].rigs for n in left)) - set(paid))
    used = {name: model.new_bool_var(f"rig {name}") for name in names}
    for row in sorted(rows):
        model.add_bool_or([taken[n] for n in sorted(left) if row in columns[n].rows])
    for n, variable in taken.items():
        for name in sorted(columns[n].rigs & used.keys()):
            model.add_implication(variable, used[name])
    model.minimize(
        sum(columns[n].cost * variable for n, variable in taken.items())
        + sum(rigs[name] * variable for name, variable in used.items())
    )
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1  # the same answer every time
    solver.parameters.random_seed = 1
    solver.parameters.max_time_in_seconds = _SOLVER_SECONDS
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return _greedy(columns, left, rows), False
    return {n for n, variable in taken.items() if solver.value(variable)}, status == cp_model.OPTIMAL


def _greedy(columns: Sequence[Column], left: Collection[int], rows: Collection[int]) -> set[int]:
    """A valid choice: whichever column covers most per cost, until all rows are covered."""
    open_rows, chosen = set(rows), set[int]()
    while open_rows:
        best = max(
            sorted(set(left) - chosen), key=lambda n: len(columns[n].rows & open_rows) / (columns[n].cost + 1)
        )
        chosen.add(best)
        open_rows -= columns[best].rows
    return chosen
