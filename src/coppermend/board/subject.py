"""What a job's story is told about: a part, a net or a point of the board, named in one way everywhere."""

from __future__ import annotations

from typing import Literal, NamedTuple

SubjectKind = Literal["part", "net", "point"]


class Subject(NamedTuple):
    """A thing that can be damaged, removed, changed, suspected or proven."""

    kind: SubjectKind
    name: str

    def __str__(self) -> str:
        return f"{self.kind} {self.name}"


def part_subject(refdes: str) -> Subject:
    """The part called ``refdes``."""
    return Subject("part", refdes)


def net_subject(net: str) -> Subject:
    """The net called ``net``: all of its copper."""
    return Subject("net", net)
