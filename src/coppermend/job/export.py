"""A job's record in open forms: one JSON document, and a log to read. Changes nothing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Engine, RowMapping, select

from coppermend.job import tables
from coppermend.job.entry import Entry
from coppermend.job.plain import to_json_text
from coppermend.job.voiding import voided, voids_among

FORMAT, FORMAT_VERSION = "coppermend job record", 1
_LOG_TEXT = 100


@dataclass(frozen=True, slots=True)
class AttachmentInfo:
    """What is known of an attachment besides its content; ``size`` in bytes."""

    sha256: str
    name: str
    media_type: str
    size: int

    def to_json(self) -> dict[str, Any]:
        """Keys sha256, name, media_type, size."""
        return {
            "sha256": self.sha256, "name": self.name, "media_type": self.media_type, "size": self.size,
        }  # fmt: skip


def attachment_info(row: RowMapping) -> AttachmentInfo:
    """From a row of the attachment table."""
    return AttachmentInfo(row["sha256"], row["name"], row["media_type"], row["size"])


def entry_to_json(entry: Entry) -> dict[str, Any]:
    """Keys seq, at (ISO 8601, UTC), who, stage, kind, body; the job's number is left to the document."""
    return {
        "seq": entry.seq, "at": entry.at.isoformat(), "who": entry.who, "stage": entry.stage,
        "kind": entry.kind, "body": dict(entry.body),
    }  # fmt: skip


def export_job(engine: Engine, entries: Sequence[Entry]) -> dict[str, Any]:
    """The document for one job: format, version, number, entries, attachments (without their content)."""
    named = {e.body["sha256"] for e in entries if isinstance(e.body.get("sha256"), str)}
    table = tables.attachment
    query = select(table).where(table.c.sha256.in_(sorted(named))).order_by(table.c.sha256)
    with tables.reading(engine) as connection:
        kept = [attachment_info(row).to_json() for row in connection.execute(query).mappings()]
    return {
        "format": FORMAT, "version": FORMAT_VERSION, "number": entries[0].job,
        "entries": [entry_to_json(entry) for entry in entries], "attachments": kept,
    }  # fmt: skip


def format_log(entries: Iterable[Entry]) -> str:
    """The record to read, one entry a line, oldest first; what no longer counts is marked with ``x``.

    Control characters in texts are shown as spaces, long texts are cut.
    """
    listed = tuple(entries)
    gone = voided(voids_among(listed))
    return "".join(f"{_log_line(entry, entry.seq in gone)}\n" for entry in listed)


def _log_line(entry: Entry, void: bool) -> str:
    at = f"{entry.at:%Y-%m-%d %H:%M}"
    words = _printable(" ".join(f"{key}={_word(value)}" for key, value in entry.body.items()))
    cut = words if len(words) <= _LOG_TEXT else f"{words[: _LOG_TEXT - 1]}…"
    return (
        f"{'x' if void else ' '}{entry.seq:>4}  {at}  {entry.stage:<7}  {entry.kind:<8}  "
        f"{_printable(entry.who)}: {cut}"
    )


def _word(value: object) -> str:
    text = value if isinstance(value, str) else to_json_text(value)
    return f'"{text}"' if " " in text or not text else text


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text)
