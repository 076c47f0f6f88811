"""The examples in docs/commands.md, run as they stand: what the document shows is what the program says."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path
from typing import Any

import pytest

from coppermend.cli.app import run

DOCUMENT = Path(__file__).resolve().parents[2] / "docs" / "commands.md"
TUTORIAL = DOCUMENT.with_name("tutorial.md")
IN_THE_DOCUMENT = "26-0001-B"  # the first job of the year in which the document was written


def _examples(document: Path = DOCUMENT) -> list[tuple[str, list[str]]]:
    """Command lines in the order of the document, each with the lines shown below it."""
    found: list[tuple[str, list[str]]] = []
    for block in re.findall(r"^```console\n(.*?)^```", document.read_text(encoding="utf-8"), re.M | re.S):
        for line in block.splitlines():
            if line.startswith("$ "):
                found.append((line[2:], []))
            else:
                found[-1][1].append(line)
    return found


def _shown(expected: list[str], said: list[str]) -> bool:
    """Whether the lines appear in order; "..." stands for any number of lines."""
    pattern = "".join(
        r"(?:.*\n)*?" if line == "..." else re.escape(line.rstrip()) + r"\n" for line in expected
    )
    return re.fullmatch(pattern, "".join(f"{line.rstrip()}\n" for line in said)) is not None


def test_the_shown_lines_are_compared_strictly() -> None:
    """The comparison itself: order, completeness and the dots count."""
    assert _shown(["a", "...", "d"], ["a  ", "b", "c", "d"]) and _shown(["a", "...", "d"], ["a", "d"])
    assert (
        not _shown(["a", "d"], ["a", "b", "d"])
        and not _shown(["a"], ["a", "b"])
        and not _shown(["b", "a"], ["a", "b"])
    )


def test_every_example_in_the_document_is_what_the_program_says(
    tmp_path: Path, demo_folder: Path, demo_area: Path, monkeypatch: pytest.MonkeyPatch, call: Any,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    """Run in one folder in the order of the document, each command says just the lines that are shown."""
    shutil.copytree(demo_folder, tmp_path / "work" / "board")
    monkeypatch.chdir(tmp_path / "work")
    Path("leak.geojson").write_bytes(demo_area.read_bytes())
    Path("readings.csv").write_text("a,b,ohms\nJ3.3,R23.1,OL\nJ3.8,R28.1,0.3\n")
    Path("observed.csv").write_text(
        "point,kind,value\n,symptom,no boot\n+5V,volts,5.02\n+5V,ripple,20m\nU1.40,logic,low\n"
    )
    Path("results.csv").write_text("proof,passed,note\ndischarge,yes,0.2 V left\n")
    Path("seen.csv").write_text(
        "closed,reported\nSTROBE0:RETURN0,STROBE0:RETURN0\nSTROBE1:RETURN2,\nSTROBE1:RETURN0,STROBE1:RETURN0\n"
    )
    Path("u2.bin").write_bytes(bytes(range(256)) * 2)
    Path("noisy.bin").write_bytes(bytes(byte | 8 for byte in bytes(range(256)) * 2))
    number = call("job", "new", "--customer", "x", "--data", "elsewhere", "--json").document["number"]
    examples = _examples()
    assert len(examples) > 20

    _run_all(examples, number, capsys)


def test_the_tutorial_can_be_followed_word_for_word(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    """From an empty folder, each command in its order says just the lines that are shown."""
    monkeypatch.chdir(tmp_path)
    number = call("job", "new", "--customer", "x", "--data", "elsewhere", "--json").document["number"]
    examples = _examples(TUTORIAL)
    assert len(examples) > 8

    _run_all(examples, number, capsys)


def _run_all(examples: list[tuple[str, list[str]]], number: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Run each command and compare what it says; ``number`` stands for the job number of the document."""
    for command, expected in examples:
        words = shlex.split(command.replace(IN_THE_DOCUMENT, number))
        assert words[0] == "coppermend"
        run(words[1:])
        captured = capsys.readouterr()
        said = (captured.out + captured.err).splitlines()
        wanted = [line.replace(IN_THE_DOCUMENT, number) for line in expected]
        assert _shown(wanted, said), f"{command} says:\n" + "\n".join(said)


def test_json_keys_in_the_document_are_those_of_the_answer(
    tmp_path: Path, demo_folder: Path, demo_area: Path, monkeypatch: pytest.MonkeyPatch, call: Any
) -> None:
    """For the stateless commands, every key of the document is named in its section."""
    area = ["--area", demo_area]
    asked: dict[str, list[Any]] = {
        "board check": [demo_folder], "board show": [demo_folder], "damage touch": [demo_folder, *area],
        "board draw": [demo_folder, "-o", tmp_path / "x.svg"], "strip": [demo_folder, *area],
        "refit": [demo_folder, *area], "copper plan": [demo_folder, *area],
        "prove plan": [demo_folder, *area], "prove gate": [demo_folder, *area],
        "prove matrix": [demo_folder], "job new": ["--customer", "Ana"], "job list": [],
    }  # fmt: skip
    sections = dict(
        re.findall(
            r"^### coppermend ([a-z ]+)\n(.*?)(?=^##|\Z)", DOCUMENT.read_text(encoding="utf-8"), re.M | re.S
        )
    )

    for words, rest in asked.items():
        told = sections[words].partition("JSON:")[2]
        keys = call(*words.split(), *rest, "--json").document
        assert [key for key in keys if f"`{key}`" not in told] == [], words
