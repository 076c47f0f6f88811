"""``job new``, ``list``, ``show``, ``log``, ``tag``, ``report``."""

from __future__ import annotations

import getpass
import json
import os
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

WHO = ("--who", "Bo")


def _entries(call: Any, job: str) -> list[dict[str, Any]]:
    return list(call("job", "log", job, "--json").document["entries"])


def _files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file() and "record.sqlite" not in path.name)


def test_a_board_comes_in_and_is_found_again(small: Path, call: Any) -> None:
    """A new job is listed, found by its words, and known when the same serial comes back."""
    first = call("job", "new", "--customer", "Ana", "--serial", "PR-1", "--board", small, "--json").document
    second = call("job", "new", "--customer", "Ana", "--serial", "PR-1")

    assert first["earlier"] == []
    assert f"next: coppermend job log {first['number']}" not in second.out
    assert first["number"] in second.out and "same serial" in second.out
    assert [job["number"] for job in call("job", "list", "--find", "nobody", "--json").document["jobs"]] == []
    assert len(call("job", "list", "--find", "pr-1", "--json").document["jobs"]) == 2


def test_an_empty_record_says_how_to_begin(call: Any) -> None:
    """No dead end: no jobs, no match and no board each say what comes next."""
    assert "coppermend job new --customer" in call("job", "list").out
    number = call("job", "new", "--customer", "Ana", "--json").document["number"]

    assert "coppermend job list" in call("job", "list", "--find", "nobody").out
    assert f"coppermend job log {number} board --board DIR" in call("job", "show", number).out
    assert call("job", "show", number, "--json").document["assessment"] is None


def test_show_tells_progress_gate_and_next_step(job: str, call: Any) -> None:
    """All nine stages, the gate and the next step are there in words and in JSON."""
    text, document = call("job", "show", job).out, call("job", "show", job, "--json").document

    assert [p["stage"] for p in document["assessment"]["progress"]][:2] == ["receive", "inspect"]
    assert "gate: not passed" in text and f"next: {document['assessment']['next_step']}" in " ".join(
        text.split()
    )


def test_show_of_a_job_without_damage_does_not_boast(small: Path, call: Any) -> None:
    """A gate with nothing to prove is not called passed."""
    number = call("job", "new", "--customer", "Ana", "--board", small, "--json").document["number"]

    assert "gate: nothing is recorded as touched yet" in call("job", "show", number).out


@pytest.mark.parametrize(
    ("words", "kind", "stage", "body"),
    [
        (["note", "text=a=b, really"], "note", "receive", {"text": "a=b, really"}),
        (["note", "text=42"], "note", "receive", {"text": "42"}),
        (["reading", "a=R1.2", "b=R2.1", "ohms=0.3"], "reading", "copper", {"a": "R1.2", "b": "R2.1", "ohms": 0.3}),
        (["reading", "a=R1.2", "b=R2.1", "ohms=4k7"], "reading", "copper", {"a": "R1.2", "b": "R2.1", "ohms": 4700}),
        (["reading", "a=R1.2", "b=V1", "ohms=ol"], "reading", "copper", {"a": "R1.2", "b": "V1", "ohms": "OL"}),
        (["reading", "--body", '{"a":"R1.2","b":"R2.1","ohms":0.3}'], "reading", "copper",
         {"a": "R1.2", "b": "R2.1", "ohms": 0.3}),
        (["jumper", "net=N1", "a=R1.2", "b=R2.1"], "jumper", "copper", {"net": "N1", "a": "R1.2", "b": "R2.1"}),
        (["strip", "refdes=R1", "done=yes", "fate=test"], "strip", "strip", {"refdes": "R1", "done": True, "fate": "test"}),
        (["refit", "refdes=R1", "done=no"], "refit", "refit", {"refdes": "R1", "done": False}),
        (["evidence", "proof=discharge", "passed=yes", "volts=0.2"], "evidence", "prove",
         {"proof": "discharge", "passed": True, "volts": "0.2"}),
        (["stage", "stage=copper"], "stage", "copper", {"stage": "copper"}),
        (["void", "seq=3", "why=slip"], "void", "receive", {"seq": 3, "why": "slip"}),
        (["job", "contact=a@example.org"], "job", "receive", {"contact": "a@example.org"}),
        (["note", "--stage", "prove", "text=x"], "note", "prove", {"text": "x"}),
    ],
)  # fmt: skip
def test_log_takes_words_and_json(
    words: list[str], kind: str, stage: str, body: dict[str, Any], job: str, call: Any
) -> None:
    """Each value becomes what its key takes, and the entry lands at the stage it belongs to."""
    answer = call("job", "log", job, *words, *WHO, "--json")

    assert answer.status == 0, answer.err
    last = _entries(call, job)[-1]
    assert (last["kind"], last["stage"], last["body"], last["who"]) == (kind, stage, body, "Bo")
    assert answer.document == {"job": job, "seq": last["seq"]}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["lunch", "text=x"], "unknown kind of entry 'lunch'; expected one of job, board"),
        (["note", "hello"], "'hello' is no KEY=VALUE; expected for kind note: text"),
        (["note", "=x"], "is no KEY=VALUE"),
        (["note"], "note entry lacks 'text'"),
        (["note", "--body", "{"], "--body:1: broken JSON"),
        (["note", "--body", "[1]"], "--body: no JSON object"),
        (["note", "--body", "[" * 99999], "--body: JSON that no entry needs"),
        (["note", "--body", '{"text": ' + "9" * 9999 + "}"], "--body: JSON that no entry needs"),
        (["note", "--body", '{"text": NaN}'], "note entry"),
        (["note", "text=x", "--stage", "lunch"], "unknown stage 'lunch'"),
        (["note", "text=x", "--who", ""], "author ''"),
        (["reading", "a=R1.2", "b=U9.9", "ohms=1"], "no point 'U9.9'"),
        (["reading", "a=R1.2", "b=R1.2", "ohms=1"], "from R1.2 to itself"),
        (["reading", "a=R1.2", "b=R2.1", "ohms=much"], "expected a resistance in ohms"),
        (["jumper", "net=N2", "a=R1.2", "b=R2.1"], "are not both on net N2"),
        (["strip", "refdes=Q9", "done=yes"], "no part 'Q9' in Small"),
        (["strip", "refdes=R1", "done=perhaps"], "expected true or false"),
        (["remedy", "id=gold", "chosen=yes"], "no remedy 'gold'"),
        (["evidence", "proof=luck", "passed=yes"], "no proof 'luck'; known are "),
        (["void", "seq=99"], "has no entry 99 to void"),
        (["stage", "stage=lunch"], "unknown stage 'lunch'"),
        (["note", "text=x", "--board", "x"], "--board goes with kind board, not note"),
        (["--area", "x"], "--area needs a kind of entry"),
        (["--body", "{}"], "--body needs a kind of entry"),
    ],
)
def test_log_refuses_what_cannot_count(
    words: list[str], told: str, job: str, tmp_path: Path, call: Any
) -> None:
    """A slip is refused with what was expected, and nothing is added to record or attachments."""
    before, files = _entries(call, job), _files(tmp_path / "own-record")

    answer = call("job", "log", job, *words, "--json")

    assert answer.status == 2 and told in answer.err
    assert (_entries(call, job), _files(tmp_path / "own-record")) == (before, files)


def test_log_prints_the_record(job: str, call: Any) -> None:
    """Without a kind the record is printed, taken-back entries marked."""
    call("job", "log", job, "void", "seq=3", *WHO)

    lines = call("job", "log", job).out.splitlines()

    assert lines[0].split()[:1] == ["1"] and any(line.startswith("x   3 ") for line in lines)
    assert all(len(line) <= 110 for line in lines)


def test_a_picture_is_kept_with_its_type(job: str, tmp_path: Path, call: Any) -> None:
    """A photo becomes an attachment; a file that is none by its name is refused."""
    picture = tmp_path / "front.png"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n")

    kept = call("job", "log", job, "photo", "--file", picture, "caption=front", *WHO)
    refused = call("job", "log", job, "photo", "--file", tmp_path / "leak.wkt", *WHO)

    assert kept.status == 0 and _entries(call, job)[-1]["body"]["media_type"] == "image/png"
    assert refused.status == 2 and "is no picture by its name" in refused.err


def test_a_board_given_later_counts(small: Path, call: Any) -> None:
    """A job opened without a board gets one, kept in the record's own library."""
    number = call("job", "new", "--customer", "Ana", "--json").document["number"]

    answer = call("job", "log", number, "board", "--board", small)

    assert answer.status == 0
    assert call("job", "show", number, "--json").document["job"]["board"]["name"] == "Small"


def test_damage_needs_a_board(small_area: Path, call: Any) -> None:
    """An area cannot be laid on a board that the job does not have; nor a paper be made."""
    number = call("job", "new", "--customer", "Ana", "--json").document["number"]

    area = call("job", "log", number, "damage", "--area", small_area)
    tag = call("job", "tag", number, "-o", small_area.with_suffix(".pdf"))

    assert area.status == 2 and f"{small_area}: job {number} has no board" in area.err
    assert tag.status == 2 and "coppermend job log" in tag.err


@pytest.mark.parametrize(("what", "name", "start"), [
    ("tag", "tag.pdf", b"%PDF-"), ("tag", "tag.png", b"\x89PNG"), ("report", "report.pdf", b"%PDF-"),
])  # fmt: skip
def test_papers_are_written_and_kept(
    what: str, name: str, start: bytes, job: str, tmp_path: Path, call: Any
) -> None:
    """The paper lies where it was asked for, the record names it, and an open gate is said aloud."""
    out = tmp_path / name

    answer = call("job", what, job, "-o", out, "--shop", "Fen Lane", *WHO)

    assert answer.status == 0 and out.read_bytes().startswith(start)
    assert "the gate has not passed" in answer.out and f"{what} written to {out}" in answer.out
    assert _entries(call, job)[-1]["body"]["name"] == name


def test_the_shops_logo_stands_on_the_report(call: Any, job: str, tmp_path: Path) -> None:
    """A logo all of one blue is in the pixels of the first page, and gone once it was taken away."""
    logo = tmp_path / "logo.svg"
    logo.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 1"><rect width="4" height="1" fill="#00f"/></svg>'
    )

    def blue(name: str) -> int:
        assert call("job", "report", job, "--out", tmp_path / name, "--who", "Bo").status == 0
        page = pypdfium2.PdfDocument(tmp_path / name)[0].render(scale=1).to_numpy()[..., :3]  # BGR
        return int(((page[..., 0] > 200) & (page[..., 1:].max(axis=2) < 60)).sum())

    assert call("shop", "logo", logo, "--who", "Bo").status == 0
    assert blue("with.pdf") > 500
    assert call("shop", "logo", "--remove", "--who", "Bo").status == 0
    assert blue("without.pdf") == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["tag", "-o", "DIR/none/tag.pdf"], "there is no folder"),
        (["tag", "-o", "DIR/folder.pdf"], "is a folder"),
        (["tag", "-o", "DIR/tag.svg"], "expected a name in .pdf or .png"),
        (["report", "-o", "DIR/report.png"], "expected a name in .pdf"),
        (["report", "-o", "DIR/r.pdf", "--paper", "a5"], "expected a4 or us-letter"),
    ],
)
def test_a_paper_that_cannot_be_written_is_not_in_the_record(
    words: list[str], told: str, job: str, tmp_path: Path, call: Any
) -> None:
    """What nobody has is not told of in the record."""
    (tmp_path / "folder.pdf").mkdir()
    before = _entries(call, job)

    answer = call("job", words[0], job, *(word.replace("DIR", str(tmp_path)) for word in words[1:]))

    assert answer.status == 2 and told in answer.err
    assert _entries(call, job) == before


@pytest.mark.parametrize("words", [["show"], ["log"], ["log", "note", "text=x"], ["tag", "-o", "t.pdf"]])
@pytest.mark.parametrize(
    ("number", "told"),
    [
        ("26-0001-C", "wrong digit or check character"),
        ("99-0042-4", "coppermend job list"),
        ("", "is no job number"),
        ("../../etc", "is no job number"),
        ("x" * 500, "is no job number"),
    ],
)
def test_an_unknown_job_number_is_told(
    words: list[str],
    number: str,
    told: str,
    job: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    call: Any,
) -> None:
    """A number with a wrong check character, of no job, or that is none, is refused by every job command."""
    monkeypatch.chdir(tmp_path)

    answer = call("job", words[0], number, *words[1:], "--json")

    assert answer.status == 2 and told in answer.err
    assert not Path("t.pdf").exists()


@pytest.mark.parametrize("make", [
    lambda p: p.write_text("x"), lambda p: (p.mkdir(), (p / "record.sqlite").write_bytes(b"no database at all" * 99)),
    lambda p: (p.mkdir(), (p / "record.sqlite").mkdir()),
])  # fmt: skip
def test_a_place_that_is_no_record_is_told(make: Any, tmp_path: Path, call: Any) -> None:
    """A file, or garbage in the database's place, is named in one line."""
    place = tmp_path / "place"
    make(place)

    answer = call("job", "list", "--data", place)

    assert answer.status == 2 and str(place) in answer.err


def test_the_author_has_a_name_where_there_is_no_account(
    job: str, monkeypatch: pytest.MonkeyPatch, call: Any
) -> None:
    """In a container without accounts the entry is by a technician, not an error."""

    def no_account() -> str:
        raise KeyError("uid not found")

    monkeypatch.setattr(getpass, "getuser", no_account)

    assert call("job", "log", job, "note", "text=x").status == 0
    assert _entries(call, job)[-1]["who"] == "technician"


def test_the_record_lies_where_the_environment_says(tmp_path: Path, call: Any) -> None:
    """COPPERMEND_DATA names the record; --data goes before it."""
    call("job", "new", "--customer", "Ana")
    call("job", "new", "--customer", "Bea", "--data", tmp_path / "other")

    own = json.dumps(call("job", "list", "--json").document)
    other = json.dumps(call("job", "list", "--data", tmp_path / "other", "--json").document)
    assert os.environ["COPPERMEND_DATA"] == str(tmp_path / "own-record")
    assert ("Ana" in own, "Bea" in own, "Ana" in other, "Bea" in other) == (True, False, False, True)
