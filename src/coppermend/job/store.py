"""The job record on disk: jobs, append-only entries, attachments, the board library. The only room with a clock.

Whatever a method returns is durable: a kill or a power cut right afterwards loses nothing of it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, bindparam, func, insert, select
from sqlalchemy.exc import IntegrityError

from coppermend.board.model import Board
from coppermend.errors import InputError, RecordError, UnknownName
from coppermend.job import adding, cards, export, integrity, search, tables
from coppermend.job import boards as board_library
from coppermend.job.atomic import clear_disk_errors
from coppermend.job.attachments import AttachmentFiles
from coppermend.job.database import open_engine
from coppermend.job.entry import Entry
from coppermend.job.home import default_database
from coppermend.job.migrate import bring_up_to_date, wait_for_turn
from coppermend.job.number import check_number, next_number
from coppermend.job.validate import LONGEST_WORD, check_body, check_header, check_kind, check_stage, check_who

DATABASE, ATTACHMENTS = "record.sqlite", "attachments"
_TRIES = 50
_STALE_S = 24 * 3600.0
_BOARDS_IN_MEMORY = 16
_PATH = re.compile(r"[\\/]")
# Put together once, since that takes about as long as to ask it.
_ENTRIES = (
    select(tables.entry)
    .where(tables.entry.c.job == bindparam("of"), tables.entry.c.seq > bindparam("after"))
    .order_by(tables.entry.c.seq)
)
T = TypeVar("T")


class Store:
    """One record: its database, and ``attachments/`` in its folder. Safe for threads and processes."""

    def __init__(self, engine: Engine, attachments: AttachmentFiles) -> None:
        self.engine, self.files = engine, attachments
        self._board = lru_cache(maxsize=_BOARDS_IN_MEMORY)(self._read_board)

    @classmethod
    def open(cls, folder: Path, database: str | None = None) -> Store:
        """Open the record in ``folder``, creating it when there is none.

        ``database`` is the URL of a PostgreSQL database that keeps the entries, "" for SQLite in the folder, None
        for what COPPERMEND_DATABASE says. Attachments are files in the folder either way.

        Raises:
            InputError: If the URL is malformed or of another kind of database.
            RecordError: If the folder cannot be used, or the record is damaged or of a newer version.
        """
        files = AttachmentFiles(folder / ATTACHMENTS)
        with clear_disk_errors(f"open the record in {folder}"):
            files.folder.mkdir(parents=True, exist_ok=True)
        address = default_database() if database is None else database
        engine = open_engine(address or folder / DATABASE)
        bring_up_to_date(engine)
        files.sweep(_STALE_S, now().timestamp())
        return cls(engine, files)

    def close(self) -> None:
        """Let go of the database; the store is not used afterwards."""
        self.engine.dispose()

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # jobs and entries

    def new_job(self, header: Mapping[str, Any], *, who: str, at: datetime | None = None) -> str:
        """Open a job and return its number; ``header`` is the body of its first entry (customer, machine, ...).

        Raises:
            InputError: If the header names no customer or is malformed.
        """
        body, who, at = check_header(header), check_who(who), moment(at)

        def insert_job(connection: Connection) -> str:
            wait_for_turn(connection)
            year = at.year
            latest = connection.scalar(
                select(func.max(tables.job.c.counter)).where(tables.job.c.year == year)
            )
            counter, number = next_number(year, latest or 0)
            connection.execute(
                insert(tables.job).values(number=number, year=year, counter=counter, created=at)
            )
            first = Entry(number, 1, at, who, "receive", "job", body)
            adding.add_entry(connection, cards.job_key(year, counter), first)
            return number

        return self._write_once_free(insert_job)

    def append(
        self, job: str, kind: str, stage: str, body: Mapping[str, Any], *, who: str,
        at: datetime | None = None, expect_seq: int | None = None,
    ) -> Entry:  # fmt: skip
        """Add an entry to a job's record and return it once it is durable.

        Several writers at once are all kept, one after the other. ``expect_seq`` is the number of the last
        entry the writer has seen: if others have written since, nothing is added.

        Raises:
            InputError: If the number, kind, stage, body or author is malformed, or the kind is written by erasing only.
            UnknownName: If there is no such job, or the body names an attachment that is not kept.
            RecordError: If ``expect_seq`` is no longer the last, or a void entry cannot void what it names.
        """
        number, checked_kind, checked_stage = check_number(job), check_kind(kind), check_stage(stage)
        checked, who, at = check_body(checked_kind, body), check_who(who), moment(at)
        if checked_kind == "erased":  # it says that something is gone, and adding a line takes nothing away
            raise InputError("erased entries are written by erasing alone", expected="coppermend job erase")

        def insert_next(connection: Connection) -> Entry:
            key = adding.hold_job(connection, number)
            last = adding.last_seq(connection, number)
            if expect_seq is not None and expect_seq != last:
                raise RecordError(
                    f"job {number} has been continued up to entry {last} by someone else; "
                    f"entry {expect_seq} was expected to be the last: look again, then repeat"
                )
            new = Entry(number, last + 1, at, who, checked_stage, checked_kind, checked)
            adding.check_references(connection, new, last)
            adding.add_entry(connection, key, new)
            return new

        return self._write_once_free(insert_next)

    def entries(self, job: str, after: int = 0) -> tuple[Entry, ...]:
        """The whole record of a job, oldest first; with ``after`` only the entries after that number.

        Raises:
            InputError: If the number is malformed.
            UnknownName: If there is no such job.
        """
        number = check_number(job)
        with tables.reading(self.engine) as connection:
            rows = connection.execute(_ENTRIES, {"of": number, "after": after}).mappings()
            found = tuple(tables.entry_from_row(row) for row in rows)
        if not found and not after:
            raise adding.no_job(number)
        return found

    def last_seq(self, job: str) -> int:
        """The number of the job's last entry.

        Raises:
            InputError: If the number is malformed.
            UnknownName: If there is no such job.
        """
        with tables.reading(self.engine) as connection:
            return adding.last_seq(connection, check_number(job))

    def jobs(self, limit: int | None = None) -> tuple[search.JobSummary, ...]:
        """Every job in short, newest first; at most ``limit`` of them."""
        with tables.reading(self.engine) as connection:
            return search.summaries(connection, limit)

    def queue(self, limit: int | None = None) -> tuple[search.JobSummary, ...]:
        """What is in the shop, in the order in which it is due; jobs that wait for parts come last."""
        with tables.reading(self.engine) as connection:
            return search.queue(connection, limit)

    def find(self, text: str) -> tuple[search.JobSummary, ...]:
        """Jobs that have every word of ``text`` anywhere in their record, newest first; see ``search``."""
        return self.search(text).jobs

    def search(self, text: str, limit: int | None = None) -> search.Found:
        """As ``find``, at most ``limit`` jobs, and how words with typing errors were read."""
        with tables.reading(self.engine) as connection:
            return search.find(connection, text, limit)

    def export_job(self, job: str) -> dict[str, Any]:
        """One job's whole record as plain JSON: entries as they are, and the attachments they name.

        Raises:
            UnknownName: If there is no such job.
        """
        return export.export_job(self.engine, self.entries(job))

    # attachments

    def attach(self, data: bytes, name: str, media_type: str = "application/octet-stream") -> str:
        """Keep ``data`` and return its SHA-256; the same data is kept once, under its first name.

        Raises:
            InputError: If the name or media type is empty or longer than 200 characters.
            RecordError: If the disk refuses.
        """
        name = _PATH.split(name)[-1]  # browsers may send a whole path
        for what, text in (("name", name), ("media type", media_type)):
            if not text.strip() or len(text) > LONGEST_WORD or not text.isprintable():
                raise InputError(
                    f"attachment has the {what} {text[:40]!r}",
                    expected=f"1 to {LONGEST_WORD} printable characters",
                )
        sha256 = self.files.put(data)  # first the file, then the row that names it
        row = {"sha256": sha256, "size": len(data), "media_type": media_type, "name": name, "added": now()}

        def insert_row(connection: Connection) -> str:
            if adding.attachment_row(connection, sha256) is None:
                connection.execute(insert(tables.attachment).values(row))
            return sha256

        return self._write_once_free(insert_row)

    def attachment(self, sha256: str) -> bytes:
        """The attachment called ``sha256``.

        Raises:
            UnknownName: If it is not kept.
            RecordError: If it is damaged on disk.
        """
        self.attachment_info(sha256)
        return self.files.get(sha256)

    def attachment_info(self, sha256: str) -> export.AttachmentInfo:
        """Name, media type and size [bytes] of an attachment.

        Raises:
            UnknownName: If it is not kept.
        """
        with tables.reading(self.engine) as connection:
            row = adding.attachment_row(connection, sha256)
        if row is None:
            raise UnknownName("attachment", sha256, "the record")
        return export.attachment_info(row)

    def verify(self) -> tuple[integrity.Trouble, ...]:
        """Read everything back and report what is wrong; empty when the record is whole."""
        return integrity.verify(self.engine, self.files)

    # board library

    def add_board(self, board: Board | Mapping[str, bytes]) -> str:
        """Keep a board, or a board folder's files, and return the SHA-256 of its archive.

        The newest board of a name is the one that ``boards`` lists; earlier ones stay.

        Raises:
            InputError: If the files are no board folder.
        """
        name, archive = board_library.packed(board)
        sha256 = self.attach(archive, board_library.file_name(name), board_library.MEDIA_TYPE)
        self._write_once_free(lambda connection: board_library.register(connection, name, sha256, now()))
        return sha256

    def boards(self) -> tuple[board_library.BoardRecord, ...]:
        """The newest board of every name, by name."""
        with tables.reading(self.engine) as connection:
            return board_library.newest(connection)

    def board_history(self, name: str) -> tuple[board_library.BoardRecord, ...]:
        """Every version of the board called ``name``, newest first."""
        with tables.reading(self.engine) as connection:
            return board_library.history(connection, name)

    def board(self, sha256: str) -> Board:
        """The board whose archive is ``sha256``; the last 16 are kept in memory.

        Raises:
            UnknownName: If it is not kept.
        """
        return self._board(sha256)

    def _read_board(self, sha256: str) -> Board:
        return board_library.unpacked(self.attachment(sha256), sha256)

    def _write_once_free(self, write: Callable[[Connection], T]) -> T:
        """Run ``write`` in a transaction, again when another writer took the number it had chosen."""
        for _ in range(_TRIES):
            try:
                with tables.writing(self.engine) as connection:
                    return write(connection)
            except (IntegrityError, tables.BusyRecord):
                continue
        raise RecordError(f"the record is too busy: {_TRIES} attempts met other writers; try again")


def now() -> datetime:
    """The present moment in UTC."""
    return datetime.now(UTC)


def moment(at: datetime | None) -> datetime:
    """``at`` in UTC, or the present moment.

    Raises:
        InputError: If ``at`` has no time zone.
    """
    if at is None:
        return now()
    if at.tzinfo is None:
        raise InputError(f"moment {at.isoformat()} has no time zone", expected="a time with its zone")
    return at.astimezone(UTC)
