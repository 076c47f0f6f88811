"""What people read: progress on a terminal, results in words, next steps. JSON is tested with each command."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from coppermend.cli import sample, serving
from coppermend.cli.output import counted, say_next

NETLIST = (
    "P  UNITS CUST 1\n"
    "317N1               R1    -1    D0800PA00X+005000Y+005000X1600Y0000R000 S0\n"
    "317N1               R2    -1    D0800PA00X+015000Y+005000X1600Y0000R000 S0\n999\n"
)


def test_counts_agree_with_their_nouns() -> None:
    """One probe, no probes, thousands with a comma, and plurals that are irregular."""
    assert [counted(n, "probe") for n in (0, 1, 2000)] == ["0 probes", "1 probe", "2,000 probes"]
    assert counted(2, "entry", "entries") == "2 entries"


def test_import_tells_counts_notes_and_next_step(tmp_path: Path, call: Any) -> None:
    """A new board is told with its counts, what was found on the way, and how to check it."""
    (tmp_path / "n.d356").write_text(NETLIST)
    out = tmp_path / "board"

    said = call("board", "import", "--ipc356", tmp_path / "n.d356", "-o", out).out

    assert said.startswith("board: 2 parts, 2 pins, 1 net, 2 pads")
    assert "note: no outline" in said and said.endswith(
        f"written to {out}\nnext: coppermend board check {out}\n"
    )


def test_parts_of_unknown_type_are_named(small: Path, call: Any) -> None:
    """A part whose type the library lacks is told, so that its type can be added."""
    parts = small / "parts.csv"
    parts.write_text(parts.read_text().replace("7400,74LS00", "mystery,XYZ"))

    assert "note: no part type is known for U1" in call("board", "show", small).out


def test_an_open_is_told_with_its_jumper(small: Path, small_area: Path, tmp_path: Path, call: Any) -> None:
    """After all probes read open, the opens and the jumpers to fit are listed, and what to do with them."""
    base = ["copper", "plan", small, "--area", small_area]
    readings, rows = tmp_path / "r.csv", ["a,b,ohms"]
    readings.write_text(rows[0])
    while probes := call(*base, "--readings", readings, "--json").document["probes"]:
        rows += [f"{p['a']},{p['b']},OL" for p in probes]
        readings.write_text("\n".join(rows))

    said = call(*base, "--readings", readings).out

    assert "opens\n" in said and "jumpers to fit\n" in said
    assert "next: fit the jumpers, add a row a,b,jumper" in said


def test_a_short_is_told(small: Path, small_area: Path, tmp_path: Path, call: Any) -> None:
    """Two nets that read as one are listed, and the end does not call the copper done."""
    base = ["copper", "plan", small, "--area", small_area]
    rows = [f"{p['a']},{p['b']},0.3" for p in call(*base, "--json").document["probes"]]
    readings = tmp_path / "r.csv"
    readings.write_text("\n".join([*rows, "R1.2,U1.7,0.2"]))

    said = call(*base, "--readings", readings).out

    assert "shorts\n" in said and "1 short;" in said and "next: clear what is open or shorted" in said


def test_a_finished_gate_is_told_with_the_complaint(small: Path, call: Any) -> None:
    """Once what was taken off is back on and proven, the job says that its gate has passed."""
    words = ["--customer", "Ana", "--complaint", "no start", "--board", small]
    number = call("job", "new", *words, "--json").document["number"]
    for body in (["strip", "refdes=R1", "done=yes"], ["refit", "refdes=R1", "done=yes"]):
        call("job", "log", number, *body)
    document = call("job", "show", number, "--json").document["assessment"]
    for proof in {name for item in document["gate"]["unproven"] for name in item["proofs_that_would_cover"]}:
        call("job", "log", number, "evidence", f"proof={proof}", "passed=yes")

    said = call("job", "show", number).out

    assert "complaint: no start" in said and "gate: passed, nothing touched is left unproven" in said


def test_a_terminal_sees_the_progress_of_the_sample_job(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: Any
) -> None:
    """On a terminal the sample job shows a bar instead of a line for each entry."""
    screen = io.StringIO()
    monkeypatch.setattr(sample, "console", Console(file=screen, force_terminal=True, width=80))

    answer = call("demo", "--out", tmp_path / "demo")

    assert answer.status == 0 and "entry   1" not in answer.out
    assert "done" in screen.getvalue()


def test_the_sample_job_is_served_where_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: Any
) -> None:
    """--serve opens the bench on the sample's own record."""
    served: list[Path] = []
    monkeypatch.setattr(serving, "serve", lambda *, data: served.append(data) or 0)

    call("demo", "--out", tmp_path / "demo", "--serve")

    assert served == [tmp_path / "demo" / "record"]


def test_the_next_command_is_one_that_the_shell_finds(monkeypatch, tmp_path, capsys):
    """By its name where that is known, else by the path it was started with, seen from here."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.argv", [str(tmp_path / ".venv" / "bin" / "coppermend"), "demo"])
    for known, shown in (("/usr/bin/coppermend", "coppermend"), (None, ".venv/bin/coppermend")):
        monkeypatch.setattr("shutil.which", lambda _, known=known: known)
        say_next("serve", "--data", "a folder")
        assert capsys.readouterr().out == f"next: {shown} serve --data 'a folder'\n"
