"""Long work behind a page: told as it goes, stopped on request with nothing kept, and what came of it at the end."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from threading import Event
from types import SimpleNamespace

import pytest
from fastapi.testclient import TestClient

from coppermend.demo.board_data import demo_board_files
from coppermend.errors import Cancelled, UnknownName
from coppermend.job import backup
from coppermend.job.archive import board_archive
from coppermend.job.shop import set_shop
from coppermend.job.store import Store, now
from coppermend.underway import heard_by, tell
from coppermend.web import boards
from coppermend.web.app import create_app
from coppermend.web.backups import room_bytes
from coppermend.web.errands import Errand, Errands


def hurried(bench):
    """The bench, with every piece of long work shown as such."""
    bench.desk.errands.patience_s = 0.0
    return bench


def ended(bench, answer) -> tuple[str, Errand]:
    """Address and errand that a request was led to, once it has come to its end."""
    assert answer.status_code == 303, answer.text[:500]
    address = answer.headers["location"]
    errand = bench.errand(address)
    assert errand.ended(120)
    return address, errand


def sent(path: str = "/boards/import") -> dict[str, object]:
    return {"url": path, "files": {"files": ("board.zip", board_archive(demo_board_files()), "application/zip")}, "follow_redirects": False}  # fmt: skip


def test_work_stops_at_its_next_step():
    """What was told before the cancel is known, the step after it does not begin, and nothing comes of it."""
    begun, go_on, later = Event(), Event(), []

    def work() -> str:
        tell(0, 2, "first")
        begun.set()
        go_on.wait(60)
        tell(1, 2, "second")
        later.append("second")
        return "made"

    errand = Errands().start(Errand("Try", "/", print), work)
    assert begun.wait(60)
    errand.cancel()
    go_on.set()

    assert errand.ended(60) and errand.state == "cancelled" and later == []
    assert (errand.done, errand.total, errand.words) == (0, 2, "first")
    with pytest.raises(Cancelled):
        errand.outcome()


def test_what_ended_long_ago_is_let_go(monkeypatch):
    """Only the last twenty that ended are held; one that still runs is, however many came after."""
    errands, go_on = Errands(), Event()
    running = errands.start(Errand("Runs", "/", print), lambda: go_on.wait(60))
    first = errands.start(Errand("First", "/", print), lambda: 1)
    first.ended(60)
    for _ in range(25):
        errands.start(Errand("More", "/", print), lambda: 1).ended(60)

    assert errands.get(running.id) is running
    with pytest.raises(UnknownName):
        errands.get(first.id)
    go_on.set()


def test_a_backup_is_told_and_then_saved(at_work):
    """The page of the work loads itself anew without scripts; events end with done; then the file can be saved, twice."""
    bench = hurried(at_work)
    address, _ = ended(bench, bench.client.post("/backups", follow_redirects=False))

    page = bench.client.get(address)
    events = bench.client.get(f"{address}/events").text
    files = [bench.client.get(f"{address}/outcome") for _ in range(2)]

    assert "Save the file" in page.text
    assert json.loads(events.removeprefix("data: "))["state"] == "done"
    assert all("manifest.json" in zipfile.ZipFile(io.BytesIO(f.content)).namelist() for f in files)


def test_a_page_of_running_work_has_one_way_out(bench, monkeypatch):
    """While it runs: how far it is, one form to stop it, and a reload for browsers without scripts; stopped, nothing is kept."""
    go_on, archive_files = Event(), boards.archive_files

    def slowly(*given: object) -> object:
        tell(3, 8, "Reading the files")
        go_on.wait(60)
        return archive_files(*given)

    monkeypatch.setattr(boards, "archive_files", slowly)
    answer = hurried(bench).client.post(**sent())
    address = answer.headers["location"]
    errand = bench.errand(address)
    while errand.total != 8:
        assert not errand.ended(0.01)

    page = bench.client.get(address).text
    errand.cancel()
    go_on.set()
    assert errand.ended(60)
    left = bench.client.post(f"{address}/cancel", follow_redirects=False)

    assert f'action="{address}/cancel"' in page and '<meta http-equiv="refresh"' in page
    assert 'max="8" value="3"' in page and "Reading the files" in page
    assert left.headers["location"] == "/boards#import"
    assert bench.client.get(address, follow_redirects=False).headers["location"] == "/boards#import"
    assert bench.client.get(f"{address}/outcome", follow_redirects=False).headers["location"] == address
    assert bench.desk.store.boards() == ()


def test_what_was_kept_before_it_could_be_stopped_is_shown(bench):
    """A cancel that comes too late leads to what is in the library now, not back as if nothing were."""
    address, errand = ended(bench, hurried(bench).client.post(**sent()))

    left = bench.client.post(f"{address}/cancel", follow_redirects=False)

    assert left.headers["location"] == f"{address}/outcome" and len(bench.desk.store.boards()) == 1
    assert errand.outcome()[0] in bench.client.get(f"{address}/outcome").text


def test_what_went_wrong_is_said_on_the_page_of_the_work(bench):
    """A refusal that comes late is told with the way back."""
    broken = {"files": ("board.zip", b"PK\x03\x04 broken", "application/zip")}
    answer = hurried(bench).client.post("/boards/import", files=broken, follow_redirects=False)
    address, errand = ended(bench, answer)

    page = bench.client.get(address)

    assert errand.state == "failed" and "board.zip" in page.text and 'href="/boards#import"' in page.text


def test_a_fault_of_the_program_is_no_words_for_people(bench):
    """An error that is none of ours becomes the page for such, and its text is not sent to the browser."""
    errand = bench.desk.errands.start(Errand("Try", "/", print), lambda: 1 / 0)
    errand.ended(60)

    told = json.loads(bench.client.get(f"/work/{errand.id}/events").text.removeprefix("data: "))

    assert told["state"] == "failed" and "mistake" in told["error"] and "zero" not in told["error"]


def test_a_stage_of_a_large_board_is_worked_out_and_then_shown(damaged, monkeypatch):
    """The way there leads over the page of the work to the stage's own address, which does not work it out again."""
    bench = hurried(damaged)
    monkeypatch.setattr(bench.desk, "is_large", lambda number: True)
    bench.desk._assessed.cache_clear()
    path = f"/jobs/{bench.number}/isolate"
    address, errand = ended(bench, bench.client.get(path, follow_redirects=False))

    led = bench.client.get(f"{address}/outcome", follow_redirects=False).headers["location"]
    shown = bench.client.get(led)

    assert led == f"{path}?worked={errand.id}" and errand.total > 0
    assert shown.status_code == 200 and 'id="measure"' in shown.text
    assert bench.client.get(f"{path}?worked=unknown", follow_redirects=False).status_code == 303


def test_cancelled_work_is_not_remembered_as_what_is_wrong(damaged):
    """An assessment that was stopped is made at the next call, and does not count as a job that cannot be worked out."""
    damaged.desk._assessed.cache_clear()

    def stop(*_: object) -> None:
        raise Cancelled

    with pytest.raises(Cancelled), heard_by(stop):
        damaged.desk.job(damaged.number)

    assert damaged.job.found is not None and damaged.job.trouble == ""


def test_learning_is_told_too(bench):
    """What the history says comes by the same way."""
    address, _ = ended(bench, hurried(bench).client.get("/learn", follow_redirects=False))

    assert "worked=" in bench.client.get(address).url.query.decode()


def test_a_record_comes_back_on_the_page_of_an_empty_bench(at_work, tmp_path: Path, new_record):
    """An export saved by one bench is brought back by another; where there is a record it is refused."""
    export = at_work.client.post("/backups/export")
    names = zipfile.ZipFile(io.BytesIO(export.content)).namelist()
    assert f"jobs/{at_work.number}.json" in names and "tables/entry.csv" in names
    files = {"backup": ("backup.zip", at_work.client.post("/backups").content, "application/zip")}
    again = {"backup": ("export.zip", export.content, "application/zip")}

    assert at_work.client.post("/backups/restore", files=files).status_code == 409
    for number, sent_files in enumerate((files, again)):
        with Store.open(new_record(tmp_path / f"other-{number}"), "") as store:
            kept, at_work.desk.store = at_work.desk.store, store
            back = at_work.client.post("/backups/restore", files=sent_files)
            assert "The record is back." in back.text and store.last_seq(at_work.number) == 2
            at_work.desk.store = kept


def test_the_page_says_beforehand_what_stands_in_the_way_of_a_restore(bench):
    """People or settings alone are enough, as for the restore itself: then there is no form, and the page names them."""
    assert 'action="/backups/restore"' in bench.client.get("/backups").text
    assert backup.what_stands(bench.desk.store) == ()
    assert bench.client.post("/backups/restore").status_code == 400

    bench.desk.people.add("R. Tansy", "a long enough passphrase", now())
    assert "In the way here: people who may sign in." in bench.client.get("/backups").text
    set_shop(bench.desk.store, {"name": "Fen Lane Board Works"}, who="R. Tansy")
    text = bench.client.get("/backups").text

    assert (
        'action="/backups/restore"' not in text and "people who may sign in, the shop&#39;s settings" in text
    )
    assert backup.what_stands(bench.desk.store) == ("person", "shop_entry")
    assert room_bytes(bench.desk) == 0


def test_a_backup_larger_than_other_uploads_comes_back_on_the_page(
    at_work, tmp_path: Path, new_record, monkeypatch
):
    """An empty bench takes what its disk has room for, and lays it down there in pieces; where a record stands it takes no more than others."""
    made = at_work.client.post("/backups").content
    pieces = []
    monkeypatch.setattr("coppermend.web.backups._AT_ONCE_BYTES", 1000)
    monkeypatch.setattr(
        "shutil.copyfileobj", lambda a, b, n: pieces.extend(iter(lambda: b.write(a.read(n)), 0))
    )
    sent_files = {"backup": ("backup.zip", made, "application/zip")}
    app = create_app(new_record(tmp_path / "other"), most_bytes=5000)
    with TestClient(app) as client:
        app.state.desk.errands.patience_s = 120.0
        monkeypatch.setattr("shutil.disk_usage", lambda _: SimpleNamespace(free=3 * len(made)))
        assert client.post("/backups/restore", files=sent_files).status_code == 413
        monkeypatch.setattr("shutil.disk_usage", lambda _: SimpleNamespace(free=4 * len(made)))

        back = client.post("/backups/restore", files=sent_files)

        assert "The record is back." in back.text and sum(pieces) == len(made) and max(pieces) == 1000
        assert client.post("/backups/restore", files=sent_files).status_code == 413


@pytest.mark.parametrize("words", ["Bringing photos and papers back", "Bringing the tables back"])
def test_a_restore_that_is_stopped_leaves_an_empty_record(at_work, tmp_path: Path, new_record, words):
    """Neither rows nor files are left, so that it can be begun again."""
    backup.backup(at_work.desk.store, tmp_path / "backup.zip")
    folder = new_record(tmp_path / "other")

    def stop(done: int, total: int, told: str) -> None:
        if told == words:
            raise Cancelled

    with pytest.raises(Cancelled), heard_by(stop):
        backup.restore(tmp_path / "backup.zip", folder, "")

    assert [path for path in (folder / "attachments").rglob("*") if path.is_file()] == []
    assert backup.restore(tmp_path / "backup.zip", folder, "").jobs == 1


def test_an_export_that_is_stopped_leaves_no_folder(at_work, tmp_path: Path):
    """A folder of its own goes again; one that was there stays, empty."""
    (tmp_path / "there").mkdir()

    def stop(done: int, total: int, told: str) -> None:
        if told == "Writing each job":
            raise Cancelled

    for name in ("new", "there"):
        with pytest.raises(Cancelled), heard_by(stop):
            backup.export(at_work.desk.store, tmp_path / name)

    assert not (tmp_path / "new").exists()
    assert list((tmp_path / "there").iterdir()) == []
