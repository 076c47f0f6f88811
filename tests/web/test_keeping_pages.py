"""The queue, search with typing errors, and backups from a page."""

from __future__ import annotations

from pathlib import Path

from fastapi.testclient import TestClient

from coppermend.job import backup as keeping
from coppermend.job.store import Store
from coppermend.web.app import create_app


def bench(folder: Path) -> TestClient:
    """A bench over the record in ``folder``; it answers without a page that tells of long work, however busy the machine."""
    app = create_app(folder)
    app.state.desk.errands.patience_s = 120.0
    return TestClient(app, base_url="http://127.0.0.1")


def test_queue_page_runs_by_promise(tmp_path: Path):
    """The queue shows what is overdue first and what waits for parts last."""
    with Store.open(tmp_path) as store:
        late = store.new_job({"customer": "Late", "promised": "2020-01-31"}, who="Bo")
        waits = store.new_job({"customer": "Waits"}, who="Bo")
        store.append(waits, "waiting", "plan", {"parts": "C5"}, who="Bo")

    text = bench(tmp_path).get("/queue").text

    assert "promised for 2020-01-31, overdue" in text
    assert text.index(late) < text.index("Waits for parts") < text.index(waits)


def test_search_says_how_it_read_a_slip(tmp_path: Path):
    """A word with a typing error finds its job, and the page says what it was read as."""
    with Store.open(tmp_path) as store:
        job = store.new_job({"customer": "O. Penhallow"}, who="Bo")

    text = bench(tmp_path).get("/", params={"find": "penhalow"}).text

    assert job in text
    assert "it was read as penhallow" in text


def test_backup_is_saved_from_its_page(tmp_path: Path):
    """The bench reminds, the page gives one sound file, and then the reminder is gone."""
    with Store.open(tmp_path / "data") as store:
        store.new_job({"customer": "Ana"}, who="Bo")
        digest = keeping.record_digest(store).digest
    client = bench(tmp_path / "data")
    assert "/backups" in client.get("/").text

    saved = client.post("/backups", headers={"Origin": "http://127.0.0.1"})

    (tmp_path / "x.zip").write_bytes(saved.content)
    assert keeping.check_backup(tmp_path / "x.zip").digest == digest
    assert "The last backup is missing or old" not in client.get("/").text
    assert "The last backup was made on" in client.get("/backups").text


def test_damage_is_named_on_the_page(tmp_path: Path):
    """Reading the record back names a damaged attachment, and says so when all is well."""
    with Store.open(tmp_path) as store:
        sha256 = store.attach(b"picture", "front.jpg")
    client = bench(tmp_path)
    headers = {"Origin": "http://127.0.0.1"}
    assert "Read back whole" in client.post("/backups/verify", headers=headers).text

    store.files.path(sha256).write_bytes(b"x")

    assert sha256 in client.post("/backups/verify", headers=headers).text
