"""The record at the size of a busy shop: search, the job page, learning, appending. The largest size: tools/measure_record.py."""

from __future__ import annotations

import importlib.util
import random
from pathlib import Path
from types import ModuleType

import pytest
from fastapi.testclient import TestClient

from coppermend.job.lessons import lessons
from coppermend.job.store import Store
from coppermend.web.app import create_app

JOBS, ENTRIES = 4_000, 80_000


def measuring() -> ModuleType:
    """The program that fills and measures records (tools are no package)."""
    path = Path(__file__).resolve().parents[2] / "tools" / "measure_record.py"
    spec = importlib.util.spec_from_file_location("measure_record", path)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a record of 4,000 jobs and 80,000 entries, nine jobs in ten returned."""
    folder = tmp_path_factory.mktemp("record")
    with Store.open(folder, "") as store:
        measuring().fill(store, JOBS, ENTRIES)
    return folder


@pytest.mark.parametrize("sort", ["common word", "three words", "serial", "typing error"])
@pytest.mark.benchmark(group="search among 4,000 jobs")
def test_bench_search(benchmark, filled: Path, sort: str):
    """The newest fifty of what a search finds."""
    ask, rng = measuring()._SEARCHES[sort], random.Random(3)
    with Store.open(filled, "") as store:
        benchmark(lambda: store.search(ask(rng), 50))


@pytest.mark.benchmark(group="learn from 4,000 jobs")
def test_bench_learn(benchmark, filled: Path):
    """Comebacks, times and estimates of the whole shop."""
    with Store.open(filled, "") as store:
        assert benchmark(lessons, store).comebacks["all"][0].of > 3_000


@pytest.mark.benchmark(group="append among 4,000 jobs")
def test_bench_append(benchmark, filled: Path):
    """One acknowledged note, on the disk."""
    with Store.open(filled, "") as store:
        number = store.jobs(1)[0].number
        benchmark(lambda: store.append(number, "note", "copper", {"text": "battery cleaned"}, who="Bo"))


@pytest.mark.benchmark(group="job page among 4,000 jobs")
def test_bench_job_page(benchmark, filled: Path):
    """The page of one job of the shop, through the web application."""
    with TestClient(create_app(filled), base_url="http://127.0.0.1") as client:
        number = client.app.state.desk.store.jobs(1)[0].number
        benchmark(lambda: client.get(f"/jobs/{number}/receive").raise_for_status())
