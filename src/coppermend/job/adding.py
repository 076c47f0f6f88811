"""Adding one entry inside a transaction that is open already: the job held, what it names checked, all that is derived.

Knows no files and no clock, and repeats nothing: that is the store's affair.
"""

from __future__ import annotations

from sqlalchemy import Connection, RowMapping, bindparam, func, insert, select

from coppermend.errors import InputError, RecordError, UnknownName
from coppermend.job import cards, comebacks, learnt, tables
from coppermend.job.entry import Entry
from coppermend.job.voiding import voided

# Asked by every page of a job: put together once, since that takes as long as to ask it.
_LAST_SEQ = select(func.max(tables.entry.c.seq)).where(tables.entry.c.job == bindparam("of"))


def no_job(number: str) -> UnknownName:
    """The error that says that there is no job of this number."""
    return UnknownName("job", number, "the record", "list them with: coppermend job list")


def last_seq(connection: Connection, number: str) -> int:
    """The number of the job's last entry.

    Raises:
        UnknownName: If there is no such job.
    """
    last = connection.scalar(_LAST_SEQ, {"of": number})
    if last is None:
        raise no_job(number)
    return int(last)


def hold_job(connection: Connection, number: str) -> int:
    """Let one writer of a job at a time past this point (SQLite has but one writer at all); the job's key.

    Raises:
        UnknownName: If there is no such job.
    """
    job = tables.job.c
    query = select(job.year, job.counter).where(job.number == number).with_for_update()
    row = connection.execute(query).one_or_none()
    if row is None:
        raise no_job(number)
    return cards.job_key(row.year, row.counter)


def add_entry(connection: Connection, key: int, new: Entry) -> None:
    """Write an entry, what is derived from it, and the link to an earlier job when it tells of one."""
    _insert_entry(connection, new)
    cards.add_to_card(connection, key, new)
    comebacks.keep_in_step(connection, new)
    learnt.keep_in_step(connection, new)
    if link := comebacks.link_for(connection, new):
        add_entry(connection, key, link)


def _insert_entry(connection: Connection, new: Entry) -> None:
    connection.execute(
        insert(tables.entry).values(
            job=new.job, seq=new.seq, at=new.at, who=new.who, stage=new.stage, kind=new.kind,
            body=dict(new.body),
        )
    )  # fmt: skip


def attachment_row(connection: Connection, sha256: str) -> RowMapping | None:
    """What is noted of the attachment called ``sha256``; None when it is not kept."""
    query = select(tables.attachment).where(tables.attachment.c.sha256 == sha256)
    return connection.execute(query).mappings().first()


def check_references(connection: Connection, new: Entry, last: int) -> None:
    """An entry may name only attachments and jobs that are kept, and void only what counts.

    Raises:
        UnknownName: If it names an attachment or an earlier job that is not kept.
        InputError: If it says that a job came back from itself.
        RecordError: If it voids what is not there, opens the job, or is void already.
    """
    sha256 = new.body.get("sha256")
    if isinstance(sha256, str) and attachment_row(connection, sha256) is None:
        raise UnknownName("attachment", sha256, "the record", "attach it before the entry that names it")
    if new.kind == "comeback":
        _check_earlier(connection, new)
    if new.kind != "void":
        return
    target = new.body["seq"]
    if target > last:
        raise RecordError(f"job {new.job} has no entry {target} to void; its last is {last}")
    if target == 1:
        raise RecordError(
            f"entry 1 opens job {new.job} and cannot be voided; correct it with a new job entry"
        )
    query = select(tables.entry.c.seq, tables.entry.c.body).where(
        tables.entry.c.job == new.job, tables.entry.c.kind == "void"
    )
    if target in voided({seq: body["seq"] for seq, body in connection.execute(query)}):
        raise RecordError(f"entry {target} of job {new.job} is void already")


def _check_earlier(connection: Connection, new: Entry) -> None:
    """A board comes back from another job of this record."""
    earlier = new.body["job"]
    if earlier == new.job:
        raise InputError(f"job {new.job} cannot come back from itself", expected="an earlier job")
    if connection.scalar(select(tables.job.c.number).where(tables.job.c.number == earlier)) is None:
        raise no_job(earlier)
