"""``coppermend people``, and what ``serve`` asks before it lets the network in."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

import pytest

from coppermend.job.people import People
from coppermend.job.store import Store, now

PHRASE = "marsh kettle ninety lamps"


@pytest.fixture
def phrase_file(tmp_path: Path) -> Path:
    path = tmp_path / "phrase.txt"
    path.write_text(f"{PHRASE}\r\nsecond line\n")
    return path


def test_somebody_is_added_listed_renewed_and_removed(tmp_path: Path, phrase_file: Path, call: Any) -> None:
    """The whole life of a name; the first line of the file is the passphrase."""
    data = ("--data", tmp_path / "record")
    assert call("people", "add", "R. Tansy", "--phrase-file", phrase_file, *data).status == 0
    (person,) = call("people", "list", *data, "--json").document["people"]
    assert person["name"] == "R. Tansy"
    with Store.open(tmp_path / "record") as store:
        token = People(store.engine).sign_in("R. Tansy", PHRASE, now())
        assert token is not None
        assert call("people", "phrase", "R. Tansy", "--phrase-file", phrase_file, *data).status == 0
        assert People(store.engine).who(token, now()) is None
    assert call("people", "remove", "R. Tansy", *data).status == 0
    assert call("people", "list", *data).out == "nobody may sign in yet\n"


def test_without_a_terminal_the_phrase_must_come_from_a_file(tmp_path: Path, call: Any) -> None:
    """It never hangs waiting for a script to type."""
    answer = call("people", "add", "R. Tansy", "--data", tmp_path / "record")
    assert answer.status == 2 and "expected a terminal, or --phrase-file FILE" in answer.err


def test_a_phrase_asked_for_twice_must_be_the_same(tmp_path: Path, call: Any, monkeypatch: Any) -> None:
    """A slip of the finger would lock the person out."""
    typed = iter([PHRASE, PHRASE + "x", PHRASE, PHRASE])
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("getpass.getpass", lambda _: next(typed))
    answer = call("people", "add", "R. Tansy", "--data", tmp_path / "record")
    assert answer.status == 2 and "the two passphrases differ" in answer.err
    assert call("people", "add", "R. Tansy", "--data", tmp_path / "record").status == 0


def test_the_network_is_let_in_only_when_somebody_can_sign_in(tmp_path: Path, call: Any) -> None:
    """Otherwise the whole shop's record would lie open, or nobody could use it."""
    answer = call("serve", "--host", "0.0.0.0", "--data", tmp_path / "record")
    assert answer.status == 2
    assert "nobody may sign in yet" in answer.err and "coppermend people add" in answer.err


def test_a_certificate_and_its_key_are_looked_at_before_anything_opens(tmp_path: Path, call: Any) -> None:
    """One without the other, a file that is none, and a key of another certificate are told in one line."""
    pem, key = tmp_path / "bench.pem", tmp_path / "bench.key"
    pem.write_text("no certificate\n")
    key.write_text("no key\n")
    data = ("--data", tmp_path / "record")
    assert "expected both" in call("serve", "--certificate", pem, *data).err
    answer = call("serve", "--certificate", pem, "--key", key, *data)
    assert answer.status == 2 and f"{pem}: certificate and key cannot be used" in answer.err
    missing = call("serve", "--certificate", tmp_path / "none.pem", "--key", key, *data)
    assert missing.status == 2 and "No such file" in missing.err


def test_the_bench_speaks_https_with_the_certificate_it_is_given(tmp_path: Path, call: Any) -> None:
    """A certificate made by openssl is taken; only the port that is taken stops this run."""
    pem, key = tmp_path / "bench.pem", tmp_path / "bench.key"
    made = subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-subj",
         "/CN=bench.local", "-keyout", key, "-out", pem],
        capture_output=True, check=False,
    )  # fmt: skip
    if made.returncode:
        pytest.skip("https check skipped: openssl is absent")
    import socket

    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        answer = call(
            "serve", "--certificate", pem, "--key", key, "--port", port, "--data", tmp_path / "record"
        )
    assert answer.status == 2 and f"cannot listen on 127.0.0.1, port {port}" in answer.err
