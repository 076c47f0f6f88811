"""What is PostgreSQL's own: opening by URL, settings, several programs writing at once. The rest: ``BOTH = True``."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import pytest
from sqlalchemy import text

from coppermend.errors import InputError, RecordError
from coppermend.job import tables
from coppermend.job.home import DATABASE_VARIABLE
from coppermend.job.store import Store


@pytest.mark.parametrize("url", ["mysql://bench@localhost/x", "no url", "sqlite:///x"])
def test_other_databases_are_refused(tmp_path: Path, url: str):
    """Only PostgreSQL stands beside SQLite; the error says what a URL looks like."""
    with pytest.raises(InputError) as caught:
        Store.open(tmp_path, url)

    assert caught.value.expected == "postgresql://USER@HOST/DATABASE"


def test_absent_server_is_one_clear_line(tmp_path: Path):
    """A server that does not answer gives one line, without the password of the URL."""
    with pytest.raises(RecordError, match="database refuses") as caught:
        Store.open(tmp_path, f"postgresql://bench:secret@/x?host={tmp_path}")

    assert "\n" not in str(caught.value)
    assert "secret" not in str(caught.value)


@pytest.mark.debian
def test_variable_names_the_database(tmp_path: Path, database: str, monkeypatch: pytest.MonkeyPatch):
    """COPPERMEND_DATABASE sends every command and page to the server; the folder then holds attachments only."""
    monkeypatch.setenv(DATABASE_VARIABLE, database)
    with Store.open(tmp_path / "one") as store:
        job = store.new_job({"customer": "Ana"}, who="Bo")

    with Store.open(tmp_path / "two") as again:
        assert [found.number for found in again.jobs()] == [job]
    assert not (tmp_path / "one" / "record.sqlite").exists()


@pytest.mark.debian
def test_lax_server_is_made_to_wait_for_the_disk(tmp_path: Path, database: str):
    """A database set up to acknowledge early still waits for the disk when it keeps a record."""
    with Store.open(tmp_path, database) as store, store.engine.connect() as connection:
        connection.execute(text("ALTER ROLE bench SET synchronous_commit = off"))
        connection.commit()
    try:
        with Store.open(tmp_path, database) as store, tables.reading(store.engine) as connection:
            assert connection.exec_driver_sql("SHOW synchronous_commit").scalar() == "on"
    finally:
        with Store.open(tmp_path, database) as store, store.engine.connect() as connection:
            connection.execute(text("ALTER ROLE bench RESET synchronous_commit"))
            connection.commit()


@pytest.mark.debian
def test_truncating_is_refused_too(tmp_path: Path, database: str):
    """PostgreSQL's quick way to empty a table is closed as well."""
    with (
        Store.open(tmp_path, database) as store,
        pytest.raises(tables.IntegrityError, match="only ever added"),
        tables.writing(store.engine) as connection,
    ):
        connection.exec_driver_sql("TRUNCATE entry CASCADE")


@pytest.mark.debian
def test_four_programs_write_one_job(tmp_path: Path, database: str, helper):
    """Four programs that open a new database at the same moment and append to one job are all kept, gapless."""
    script = (
        "import sys; from pathlib import Path; from coppermend.job.store import Store\n"
        "with Store.open(Path(sys.argv[1]), sys.argv[2]) as store:\n"
        "    own = store.new_job({'customer': sys.argv[3]}, who=sys.argv[3])\n"
        "    job = store.jobs()[-1].number\n"
        "    for i in range(25):\n"
        "        print(store.append(job, 'note', 'copper', {'text': str(i)}, who=sys.argv[3]).job)\n"
    )
    names = ["Bo", "Eve", "Ida", "Tom"]

    helper("killing").run_together([[sys.executable, "-c", script, tmp_path, database, who] for who in names])

    with Store.open(tmp_path, database) as store:
        found = store.jobs()
        entries = [entry for job in found for entry in store.entries(job.number)]
        assert store.verify() == ()
    assert len(found) == 4
    assert Counter(entry.who for entry in entries if entry.kind == "note") == dict.fromkeys(names, 25)


@pytest.mark.debian
@pytest.mark.slow
def test_killing_writers_loses_nothing_acknowledged(tmp_path: Path, database: str):
    """SIGKILL to four programs that write at once, at 3 random moments: all acknowledged is there, all is whole.

    For 500 moments: python tools/measure_record.py kill --database URL
    """
    import measure_record  # tools/ is on the path of the tests

    found = measure_record.kill(3, tmp_path, database)

    assert (found["lost"], found["troubles"]) == (0, 0)
    assert found["acknowledged"] > 0
