"""The real program: how it ends when its output, its input or its surroundings fail it, and what it loads."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from coppermend.cli import app as application
from coppermend.job.store import Store

PROGRAM = [sys.executable, "-m", "coppermend"]


def _run(*words: object, **settings: Any) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [*PROGRAM, *map(str, words)], capture_output=True, timeout=60, check=False, **settings
    )  # fmt: skip


def _loaded(*words: object) -> set[str]:
    """Top-level modules in memory after a command."""
    code = "import sys; from coppermend.cli.app import run; run(sys.argv[1:]); print(*sys.modules, file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", code, *map(str, words)], capture_output=True, timeout=60, check=True
    )  # fmt: skip
    return {name.split(".")[0] for name in done.stderr.decode().split()}


def test_the_installed_program_answers() -> None:
    """The entry point that installation makes runs and says its version."""
    program = Path(sys.executable).with_name("coppermend")

    done = subprocess.run([program, "--version"], capture_output=True, timeout=60, check=True)

    assert done.stdout.startswith(b"coppermend ")


def test_bad_input_is_one_line_and_status_two(tmp_path: Path) -> None:
    """As a script sees it: status 2, empty stdout, one line on stderr."""
    done = _run("board", "show", tmp_path / "none", "--json")

    assert (done.returncode, done.stdout, done.stderr.count(b"\n")) == (2, b"", 1)


def test_showing_a_board_loads_no_server_store_or_typesetter(small: Path) -> None:
    """A quick command pays for its own imports only."""
    heavy = {"uvicorn", "fastapi", "sqlalchemy", "typst", "segno", "cv2"}

    assert not _loaded("board", "show", small) & heavy
    assert not _loaded("--help") & {*heavy, "numpy", "shapely"}


def test_a_reader_that_leaves_ends_the_program_quietly(demo_folder: Path) -> None:
    """``coppermend board show | head`` neither complains nor fails."""
    with subprocess.Popen(
        [*PROGRAM, "board", "show", demo_folder, "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as running:
        assert running.stdout and running.stderr
        running.stdout.read(1)
        running.stdout.close()
        said = running.stderr.read()

    assert (running.wait(60), said) == (0, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_an_answer_that_cannot_be_written_is_told(small: Path) -> None:
    """A full disk behind a redirection is one line and status 2."""
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [*PROGRAM, "board", "show", small], stdout=full, stderr=subprocess.PIPE, timeout=60, check=False
        )

    assert done.returncode == 2
    assert done.stderr == b"coppermend: cannot write the answer: no space left on device\n"


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "utf-8"])
def test_a_terminal_without_omega_still_gets_an_answer(encoding: str, small: Path, small_area: Path) -> None:
    """Text shows what the terminal can; JSON is valid in every encoding (RFC 8259)."""
    environment = {**os.environ, "PYTHONIOENCODING": encoding}
    words = ("copper", "plan", small, "--area", small_area)

    text, document = _run(*words, env=environment), _run(*words, "--json", env=environment)

    assert (text.returncode, document.returncode) == (0, 0)
    assert json.loads(document.stdout.decode(encoding))["probes"]


def test_a_file_name_that_is_no_text_is_shown_somehow(tmp_path: Path) -> None:
    """Names are bytes on some systems: such a name ends in an answer, not in a traceback."""
    done = _run("board", "show", os.fsdecode(os.fsencode(tmp_path) + b"/board\xff"))

    assert done.returncode == 2 and b"no such board folder" in done.stderr


def test_serve_opens_the_bench_and_stops_on_interrupt(tmp_path: Path) -> None:
    """The bench answers at the port that was said, and Ctrl-C ends it."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = ["serve", "--data", str(tmp_path / "record"), "--port", str(port)]
    with subprocess.Popen([*PROGRAM, *words], stderr=subprocess.PIPE) as running:
        assert running.stderr
        try:
            said = running.stderr.readline()
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=30) as page:
                assert page.status == 200
        finally:
            running.send_signal(signal.SIGINT)
            running.wait(30)

    assert f"http://127.0.0.1:{port}/".encode() in said
    assert running.returncode in (0, 130)


def test_an_open_page_that_waits_for_news_does_not_hold_up_the_end(tmp_path: Path) -> None:
    """Ctrl-C lets go of the page first; otherwise the program would wait for it for ever."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with Store.open(tmp_path) as store:
        number = store.new_job({"customer": "O. Penhallow"}, who="R. Tansy")
    words = ["serve", "--data", str(tmp_path), "--port", str(port)]
    with subprocess.Popen([*PROGRAM, *words], stderr=subprocess.PIPE) as running:
        assert running.stderr
        running.stderr.readline()
        page = urllib.request.urlopen(f"http://127.0.0.1:{port}/jobs/{number}/live?seen=0", timeout=30)
        assert page.readline() == b"event: entry\n"
        running.send_signal(signal.SIGINT)
        running.wait(20)
        page.close()

    assert running.returncode in (0, 130)


def test_serve_tells_of_a_port_that_is_taken(tmp_path: Path, call: Any) -> None:
    """Another program on the port gives one line and status 2."""
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        answer = call("serve", "--data", tmp_path / "record", "--port", port)

    assert answer.status == 2 and f"cannot listen on 127.0.0.1, port {port}" in answer.err


def test_serve_tells_of_an_unusable_record(tmp_path: Path, call: Any) -> None:
    """A file in the record's place is told before anything listens."""
    (tmp_path / "file").write_text("x")

    answer = call("serve", "--data", tmp_path / "file")

    assert answer.status == 2 and str(tmp_path / "file") in answer.err


def test_demo_in_the_place_of_a_file_is_told(tmp_path: Path, call: Any) -> None:
    """The sample job needs a folder."""
    (tmp_path / "file").write_text("x")

    assert str(tmp_path / "file") in call("demo", "--out", tmp_path / "file", "--json").err


@pytest.mark.slow
def test_demo_prints_one_document(tmp_path: Path, call: Any) -> None:
    """With --json the whole sample job is one document, whose files exist."""
    started = time.monotonic()

    document = call("demo", "--out", tmp_path / "demo", "--json").document

    assert document["open"] == 0 and document["seconds"] <= time.monotonic() - started + 0.01
    assert all(Path(path).exists() for path in document["files"].values())


@pytest.mark.slow
def test_demo_tells_each_entry_and_what_to_open(tmp_path: Path, call: Any) -> None:
    """Without a terminal each acknowledged entry is a line, and the end says what to open."""
    out = call("demo", "--out", tmp_path / "demo").out

    assert "receive  entry   1" in out and "return " in out
    assert f"next: coppermend serve --data {tmp_path / 'demo' / 'record'}" in out


def test_a_fault_of_ours_is_told_as_ours(
    small: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An error that nobody foresaw is one line and status 3, and is raised where a developer asks for it."""

    def broken(*_: object) -> int:
        raise ZeroDivisionError("nobody foresaw\nthis")

    monkeypatch.setattr(application, "app", lambda *_, **__: broken())

    assert application.run(["board", "show", str(small)]) == 3
    assert (
        "a fault of the program, not of your input: ZeroDivisionError: nobody foresaw this"
        in capsys.readouterr().err
    )
    monkeypatch.setenv("COPPERMEND_TRACE", "1")
    with pytest.raises(ZeroDivisionError, match="nobody foresaw"):
        application.run(["board", "show", str(small)])


def test_an_interrupt_says_that_everything_is_kept(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ctrl-C ends with 130 and one line."""

    def interrupted(*_: object, **__: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(application, "app", interrupted)

    assert application.run([]) == 130
    assert capsys.readouterr().err == "coppermend: stopped; everything acknowledged so far is kept\n"
