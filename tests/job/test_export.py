"""The record in open forms."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest

from coppermend.errors import UnknownName
from coppermend.job.entry import Entry
from coppermend.job.export import format_log
from coppermend.job.store import Store

AT = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)


def test_export_holds_the_whole_record(store: Store, job: str):
    """The document gives every entry as it was stored and describes the attachments it names."""
    sha256 = store.attach(b"picture", "front.jpg", "image/jpeg")
    store.attach(b"of another job", "other.jpg", "image/jpeg")
    store.append(job, "photo", "inspect", {"sha256": sha256, "name": "front.jpg"}, who="Bo", at=AT)

    document = json.loads(json.dumps(store.export_job(job.lower())))

    assert (document["format"], document["version"], document["number"]) == ("coppermend job record", 1, job)
    assert document["entries"][1] == {
        "seq": 2, "at": "2026-03-04T09:30:00+00:00", "who": "Bo", "stage": "inspect", "kind": "photo",
        "body": {"sha256": sha256, "name": "front.jpg"},
    }  # fmt: skip
    assert document["attachments"] == [
        {"sha256": sha256, "name": "front.jpg", "media_type": "image/jpeg", "size": 7}
    ]


def test_export_of_unknown_job(store: Store):
    """A job that does not exist cannot be exported."""
    with pytest.raises(UnknownName) as caught:
        store.export_job("26-0042-U")

    assert caught.value.name == "26-0042-U"


def test_log_is_one_line_an_entry(store: Store, job: str):
    """The log shows number, time, stage, kind, author and body; void entries are marked."""
    store.append(job, "reading", "copper", {"a": "U3.9", "b": "V17", "ohms": "OL"}, who="Bo", at=AT)
    store.append(job, "note", "copper", {"text": "two words", "more": [1], "none": ""}, who="Eve", at=AT)
    store.append(job, "void", "copper", {"seq": 2}, who="Bo", at=AT)

    lines = format_log(store.entries(job)).splitlines()

    assert lines[1:] == [
        "x   2  2026-03-04 09:30  copper   reading   Bo: a=U3.9 b=V17 ohms=OL",
        '    3  2026-03-04 09:30  copper   note      Eve: text="two words" more=[1] none=""',
        "    4  2026-03-04 09:30  copper   void      Bo: seq=2",
    ]


def test_log_is_safe_to_print():
    """Control characters and long texts cannot break the lines or the terminal."""
    body = {"text": "a\nb\x1b[31mred " + "x" * 500}

    log = format_log([Entry("26-0042-U", 1, AT, "Bo", "copper", "note", body)])

    assert log.count("\n") == 1
    assert "\x1b" not in log
    assert len(log) < 170
    assert log.endswith("…\n")


def test_empty_log():
    """No entries give no lines."""
    assert format_log(()) == ""
