"""Which entries no longer count. An entry is undone by a later ``void`` entry, which can itself be undone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from coppermend.job.entry import Entry


def voided(voids: Mapping[int, int]) -> frozenset[int]:
    """The entries that do not count, from every void entry's number to the number it voids.

    A void only reaches back, so one pass from the newest to the oldest settles voids of voids.

    >>> sorted(voided({5: 2})), sorted(voided({5: 2, 6: 5}))
    ([2], [5])
    """
    gone: set[int] = set()
    for seq in sorted(voids, reverse=True):
        if seq not in gone and voids[seq] < seq:
            gone.add(voids[seq])
    return frozenset(gone)


def voids_among(entries: Iterable[Entry]) -> dict[int, int]:
    """Void entries as number -> number voided; malformed ones void nothing."""
    return {
        entry.seq: entry.body["seq"]
        for entry in entries
        if entry.kind == "void" and isinstance(entry.body, Mapping) and type(entry.body.get("seq")) is int
    }
