"""A manifest promises every member of a backup; one that is none, is newer, or was changed is refused in one line."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest

from coppermend.errors import InputError
from coppermend.job.manifest import Kept, digest_of, manifest_of, parse_manifest

SUMS = {"tables/job.jsonl": "a" * 64, "attachments/bb/b": "b" * 64}
KEPT = Kept(digest_of(SUMS), 1, 2, 1)
WHOLE = manifest_of(KEPT, SUMS, datetime(2026, 3, 4, tzinfo=UTC))


def test_a_manifest_reads_back():
    """What was promised is what is read, and the order of members does not matter."""
    assert parse_manifest(WHOLE, "x.zip") == (KEPT, SUMS)
    assert digest_of(dict(reversed(SUMS.items()))) == KEPT.digest


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"format": "shopping list"}, "not that of a record"),
        ({"jobs": "1"}, "not that of a record"),
        ({"sha256": []}, "not that of a record"),
        ({"version": 2}, "newer version"),
        ({"schema": "9999"}, "newer version"),
        ({"sha256": {**SUMS, "tables/job.jsonl": "c" * 64}}, "do not fit its digest"),
    ],
)
def test_a_changed_manifest_is_refused(change: dict[str, object], words: str):
    """Each change is told in its words, with the file named."""
    data = json.dumps(json.loads(WHOLE) | change).encode()

    with pytest.raises(InputError, match=words) as refusal:
        parse_manifest(data, "x.zip")

    assert refusal.value.where == "x.zip"


@pytest.mark.parametrize("data", [b"", b"\xff", b"[]", b"{}", WHOLE[:-9]])
def test_what_is_no_manifest_is_refused(data: bytes):
    """Nothing, other bytes, other JSON, a piece of one."""
    with pytest.raises(InputError, match="cannot be read"):
        parse_manifest(data, "x.zip")
