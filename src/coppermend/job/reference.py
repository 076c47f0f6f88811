"""The shop's reference list of known-good program images, kept beside the jobs; holds sums, never contents."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from coppermend.errors import UnknownName
from coppermend.job import tables
from coppermend.job.store import Store, now
from coppermend.job.validate import check_who
from coppermend.rom.checksums import sums
from coppermend.rom.reference import SUM_DIGITS, KnownImage, parse_known


@dataclass(frozen=True, slots=True)
class ReferenceRow:
    """One line of the list: its number, what it says, who added it and when."""

    id: int
    image: KnownImage
    who: str
    added: datetime

    def to_json(self) -> dict[str, Any]:
        """Keys ``id``, ``name``, ``sums``, ``note``, ``who``, ``added`` (ISO 8601, UTC)."""
        return {
            "id": self.id, "name": self.image.name, "sums": dict(self.image.sums), "note": self.image.note,
            "who": self.who, "added": self.added.isoformat(),
        }  # fmt: skip


def reference_rows(store: Store) -> tuple[ReferenceRow, ...]:
    """The whole list, by name, then in the order in which lines were added."""
    table = tables.reference_image
    with tables.reading(store.engine) as connection:
        found = connection.execute(select(table).order_by(table.c.name, table.c.id)).mappings()
        return tuple(
            ReferenceRow(r["id"], KnownImage(r["name"], r["sums"], r["note"]), r["who"], r["added"])
            for r in found
        )


def known_images(store: Store) -> tuple[KnownImage, ...]:
    """What the list knows, for ``identify``."""
    return tuple(row.image for row in reference_rows(store))


def known_image(name: str, data: bytes, note: str = "") -> KnownImage:
    """A line for contents that are at hand.

    Raises:
        InputError: If the name is empty or too long.
    """
    counted = sums(data)
    row = {"name": name, "note": note, **{key: counted[key] for key in SUM_DIGITS}}
    return parse_known([row], "the reference list")[0]


def add_known(store: Store, images: Sequence[KnownImage], *, who: str) -> int:
    """Add lines to the list, all or none; how many were new (a name with the same sums is kept once).

    Raises:
        InputError: If ``who`` is empty.
        RecordError: If the record cannot be written.
    """
    author = check_who(who)
    with tables.writing(store.engine) as connection:
        have = _have(connection)
        new = [image for image in dict.fromkeys(map(_key, images)) if image not in have]
        notes = {_key(image): image.note for image in images}
        for name, pairs in new:
            connection.execute(
                insert(tables.reference_image).values(
                    name=name, sums=dict(pairs), note=notes[name, pairs], who=author, added=now()
                )
            )
    return len(new)


_Key = tuple[str, tuple[tuple[str, str], ...]]


def _key(image: KnownImage) -> _Key:
    return image.name, tuple(sorted(image.sums.items()))


def _have(connection: Connection) -> set[_Key]:
    table = tables.reference_image
    found = connection.execute(select(table.c.name, table.c.sums)).all()
    return {(name, tuple(sorted(pairs.items()))) for name, pairs in found}


def drop_known(store: Store, number: int) -> None:
    """Take a line off the list.

    Raises:
        UnknownName: If there is no such line.
        RecordError: If the record cannot be written.
    """
    table = tables.reference_image
    with tables.writing(store.engine) as connection:
        if not connection.execute(delete(table).where(table.c.id == number)).rowcount:
            raise UnknownName("line", str(number), "the reference list")
