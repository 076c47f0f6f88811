"""``job due`` and ``scan``: personal data past its period, and tags read from photos."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from coppermend.job.home import default_data
from coppermend.job.store import Store
from coppermend.papers.tag import TagContent, tag_png


def test_due_data_is_listed_and_erased_when_told(call: Any) -> None:
    """Nothing without a period; with one the old job alone, and after --erase nothing is left to do."""
    with Store.open(default_data()) as store:
        at = datetime(2015, 3, 4, tzinfo=UTC)
        old = store.new_job({"customer": "O. Penhallow"}, who="Bo", at=at)
        store.append(old, "shipping", "return", {"direction": "out"}, who="Bo", at=at)
        store.new_job({"customer": "Ana"}, who="Bo")

    assert call("job", "due", "--json").document == {"years": None, "due": [], "erased": []}
    call("shop", "set", "keep_years=10", "--who", "Bo")
    assert [job["number"] for job in call("job", "due", "--json").document["due"]] == [old]
    assert "Penhallow" in call("job", "due").out
    assert call("job", "due", "--erase", "--who", "Bo", "--json").document["erased"][0]["job"] == old
    assert call("job", "due", "--json").document["due"] == []
    assert "Penhallow" not in call("job", "log", old).out


def test_tag_in_a_photo_names_its_job(call: Any, tmp_path: Path) -> None:
    """A number of this record, one of another, and a picture without a code."""
    number = call("job", "new", "--customer", "Ana", "--json").document["number"]
    for known in (number, "24-0001-1"):
        tag = TagContent(known, "Board", "2026-11-28", "Bo", (), "v")
        (tmp_path / "tag.png").write_bytes(tag_png(tag))
        answer = call("scan", tmp_path / "tag.png", "--json")
        assert (answer.status, answer.document["number"]) == (0, known)
        assert answer.document["known"] is (known == number)
    assert "coppermend job new" in call("scan", tmp_path / "tag.png").out

    (tmp_path / "text.png").write_bytes(b"no picture")
    assert call("scan", tmp_path / "text.png").status == 2
