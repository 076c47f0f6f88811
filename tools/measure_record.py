"""Measure the record: kills under concurrent writing, and search and job page with very many jobs.

    python tools/measure_record.py kill --moments 500 [--database URL]
    python tools/measure_record.py size --jobs 100000 --entries 2000000 [--database URL]

``kill`` starts four writers again and again, sends SIGKILL to all at a random moment, and holds what they had
acknowledged against the record. ``size`` fills a record past the store's own append (one transaction per thousand jobs,
the same rows), then measures search and job page through the web application in one process.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import random
import resource
import select
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from sqlalchemy import insert

from coppermend.errors import CoppermendError
from coppermend.job import cards, comebacks, learnt, tables
from coppermend.job.entry import Entry
from coppermend.job.lessons import lessons
from coppermend.job.number import next_number
from coppermend.job.state import fold
from coppermend.job.store import Store
from coppermend.job.words import grams, is_fuzzy, words_of, words_of_body

WRITERS = 4
FIRST_LINES = 16  # acknowledged before the kill can come: by then the writers are at work
WRITER = Path(__file__).resolve().parent.parent / "tests" / "job" / "writer.py"


def kill(moments: int, folder: Path, database: str, seed: int = 9) -> dict[str, object]:
    """Kill four writers at each of ``moments`` random moments; every acknowledged line must be in the record.

    Writers are forked from this program, which holds no database open then, and die by SIGKILL as any other would:
    starting a program anew for each would take ten times as long.
    """
    rng = random.Random(seed)
    writer = _writer()
    acknowledged: list[str] = []
    lost: list[str] = []
    for moment in range(moments):
        writers = [_forked(writer, folder, database, f"{seed}-{moment}-{n}") for n in range(WRITERS)]
        said = _lines_until_killed(writers, rng.uniform(0, 0.4))
        fresh = [line.decode() for lines in said for line in lines.split(b"\n")[:-1]]
        acknowledged += fresh
        with Store.open(folder, database) as store:
            lost += missing(store, fresh)
        if moment % 25 == 24:
            print(f"{moment + 1} kills, {len(acknowledged)} acknowledged, {len(lost)} lost", flush=True)
    with Store.open(folder, database) as store:
        troubles = len(store.verify())
        lost += missing(store, acknowledged)
    kinds = Counter(line.split()[0] for line in acknowledged)
    return {
        "kills": moments, "acknowledged": len(acknowledged), "jobs": kinds["job"], "entries": kinds["entry"],
        "attachments": kinds["attachment"], "lost": len(lost), "troubles": troubles,
    }  # fmt: skip


def _writer() -> Callable[..., None]:
    found = importlib.util.spec_from_file_location("writer", WRITER)
    module = importlib.util.module_from_spec(found)
    found.loader.exec_module(module)
    return module.main


def _forked(writer: Callable[..., None], folder: Path, database: str, name: str) -> tuple[int, int]:
    """A writer of its own process: its id, and the end of a pipe on which it acknowledges."""
    reads, writes = os.pipe()
    child = os.fork()
    if child:
        os.close(writes)
        return child, reads
    os.environ["COPPERMEND_DATABASE"] = database
    sys.stdout = os.fdopen(writes, "w")  # not file 1, which under tests is not where print goes
    try:
        writer(folder, name)
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(1)  # a writer that ends by itself has failed; it must not go on as this program


def _lines_until_killed(writers: list[tuple[int, int]], after_s: float) -> list[bytes]:
    """What each writer had said when all were killed, ``after_s`` [s] after all of them were at work."""
    said = {pipe: b"" for _, pipe in writers}
    until, kill_at = time.monotonic() + 60, float("inf")
    while time.monotonic() < min(until, kill_at):
        for pipe in select.select(list(said), [], [], 0.005)[0]:
            piece = os.read(pipe, 65536)
            if not piece:
                raise RuntimeError("a writer ended by itself")
            said[pipe] += piece
        if kill_at == float("inf") and sum(text.count(b"\n") for text in said.values()) >= FIRST_LINES:
            kill_at = time.monotonic() + after_s
    for child, _ in writers:
        os.kill(child, signal.SIGKILL)
    for child, pipe in writers:
        if os.WTERMSIG(os.waitpid(child, 0)[1]) != signal.SIGKILL:
            raise RuntimeError("a writer had ended by itself")
        while piece := os.read(pipe, 65536):
            said[pipe] += piece
        os.close(pipe)
    return list(said.values())


def missing(store: Store, lines: list[str]) -> list[str]:
    """The acknowledged lines that the record does not bear out; attachments are read back and held against their SHA-256."""
    known: dict[str, dict[int, set[object]]] = {}
    gone = []
    for line in lines:
        words = line.split()
        if words[0] == "attachment":
            if not _is_kept(store, words[1], int(words[2])):
                gone.append(line)
            continue
        number = words[1]
        if number not in known:
            known[number] = {e.seq: {e.body.get("text"), e.body.get("name")} for e in store.entries(number)}
        if words[0] == "entry" and words[3] not in known[number].get(int(words[2]), set()):
            gone.append(line)
    return gone


def _is_kept(store: Store, sha256: str, size: int) -> bool:
    try:
        return len(store.attachment(sha256)) == size
    except CoppermendError as error:  # not there, or not what it is named after
        print(error, flush=True)
        return False


_NAMES = [
    "Penhallow",
    "Lindqvist",
    "Brandstetter",
    "Okafor",
    "Tanaka",
    "Moreau",
    "Kowalski",
    "Haugen",
    "Silva",
    "Petrov",
    "Yilmaz",
    "Costa",
]
_THINGS = [
    "battery",
    "diode",
    "ram",
    "rom",
    "socket",
    "trace",
    "via",
    "connector",
    "capacitor",
    "resistor",
    "latch",
    "driver",
    "lamp",
    "coil",
    "switch",
]
_DOES = [
    "corroded",
    "replaced",
    "cleaned",
    "lifted",
    "open",
    "shorted",
    "resoldered",
    "measured",
    "tested",
    "jumpered",
    "socketed",
    "intermittent",
]


def fill(store: Store, jobs: int, entries: int) -> None:
    """Put ``jobs`` jobs with ``entries`` entries in all into an empty record, with the rows that the store would write."""
    rng = random.Random(17)
    per_job = entries // jobs
    start = datetime(2016, 1, 1, tzinfo=UTC)
    number_of = dict.fromkeys(range(2016, 2027), 0)
    vocabulary: set[str] = set()
    for first in range(0, jobs, 1000):
        rows: dict[str, list[dict[str, object]]] = {
            n: [] for n in ("job", "entry", "card", "words", "word", "gram")
        }
        for n in range(first, min(first + 1000, jobs)):
            at = start + timedelta(days=3900 * n / jobs)
            counter, number = next_number(at.year, number_of[at.year])
            number_of[at.year] = counter
            made = sorted(_entries(rng, number, n, at, per_job), key=lambda e: e.seq)
            state = fold(e for e in made if e.kind in cards.TELLING)
            key = cards.job_key(at.year, counter)
            words = words_of(number)
            for e in made:
                words |= words_of_body(e.body) | words_of(e.who)
            rows["job"].append({"number": number, "year": at.year, "counter": counter, "created": at})
            rows["entry"] += [
                {
                    "job": e.job,
                    "seq": e.seq,
                    "at": e.at,
                    "who": e.who,
                    "stage": e.stage,
                    "kind": e.kind,
                    "body": e.body,
                }
                for e in made
            ]
            rows["card"].append(
                {
                    "key": key,
                    "number": number,
                    "entries": len(made),
                    "changed": made[-1].at,
                    **cards.card_values(state),
                }
            )
            rows["words"].append({"key": key, "words": " ".join(words)})
            for word in words:
                if is_fuzzy(word) and word not in vocabulary:
                    vocabulary.add(word)
                    rows["word"].append({"word": word})
                    rows["gram"] += [{"gram": g, "length": len(word), "word": word} for g in grams(word)]
        with tables.writing(store.engine) as connection:
            for name, table in (
                ("job", tables.job), ("entry", tables.entry), ("card", tables.card), ("words", tables.job_words),
                ("word", tables.word), ("gram", tables.gram),
            ):  # fmt: skip
                if rows[name]:
                    connection.execute(insert(table), rows[name])
        if first % 10_000 == 0:
            print(f"{first} jobs", flush=True)
    with tables.writing(store.engine) as connection:
        comebacks.rebuild(connection)
        learnt.rebuild(connection)
    if tables.is_postgresql(store.engine):
        with store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql("ANALYZE")


# What ends the record of a job that went back.
_LAST = (
    ("plan", "remedy", {"id": "remote-pack", "chosen": True}),
    ("copper", "timer", {}),
    ("return", "stage", {"stage": "return"}),
    ("return", "shipping", {"direction": "out", "carrier": "by hand"}),
)


def _entries(rng: random.Random, number: str, n: int, at: datetime, count: int):
    header = {
        "customer": f"{rng.choice('ABCDEFGH')}. {rng.choice(_NAMES)}", "machine": f"Machine {n % 400}",
        "serial": f"SR-{n - 7 if n % 20 == 19 else n:06}", "complaint": f"{rng.choice(_THINGS)} {rng.choice(_DOES)}",
    }  # fmt: skip
    yield Entry(number, 1, at, "R. Tansy", "receive", "job", header)
    last = count - len(_LAST) if n % 10 else count  # one job in ten is still in the shop
    for seq in range(last + 1, count + 1):
        stage, kind, body = _LAST[seq - last - 1]
        body = {"does": "add", "minutes": round(rng.lognormvariate(5, 0.5))} if kind == "timer" else body
        yield Entry(number, seq, at + timedelta(minutes=seq), "R. Tansy", stage, kind, body)
    for seq in range(2, last + 1):
        when = at + timedelta(minutes=seq)
        if seq % 3:
            body = {
                "a": f"U{rng.randrange(40)}.{rng.randrange(16)}",
                "b": f"V{rng.randrange(90)}",
                "ohms": 0.2,
            }
            if rng.random() < 0.5:
                body["instrument"] = "bench meter"
            yield Entry(number, seq, when, "R. Tansy", "copper", "reading", body)
        else:
            words = f"{rng.choice(_THINGS)} {rng.choice(_DOES)} at U{rng.randrange(40)}, lot {rng.randrange(10**5)}"
            yield Entry(number, seq, when, "R. Tansy", "strip", "note", {"text": words})


def size(jobs: int, entries: int, folder: Path, database: str) -> dict[str, object]:
    """Fill a record, then time searches of every sort and job pages; milliseconds, and peak memory before and after."""
    from fastapi.testclient import TestClient  # noqa: PLC0415

    from coppermend.web.app import create_app  # noqa: PLC0415

    os.environ["COPPERMEND_DATABASE"] = database
    began = time.perf_counter()
    with Store.open(folder, database) as store:
        if not store.jobs(1):
            fill(store, jobs, entries)
    filled_s = time.perf_counter() - began
    rng = random.Random(3)
    with Store.open(folder, database) as store:
        store.search("battery", 50)
        before = _peak_mb()
        search = {
            sort: _times(lambda ask=ask: store.search(ask(rng), 50), 100) for sort, ask in _SEARCHES.items()
        }
        every = [t for times in search.values() for t in times]
        numbers = [job.number for job in store.jobs(2000)]
        appended = _times(
            lambda: store.append(
                rng.choice(numbers), "note", "copper", {"text": "battery cleaned"}, who="Bo"
            ),
            200,
        )
        queue_ms = _times(lambda: store.queue(200), 20)
        learn_ms = _times(lambda: lessons(store), 20)
        searched = _peak_mb()
    client = TestClient(create_app(folder), base_url="http://127.0.0.1")
    client.get("/")
    pages = _times(lambda: client.get(f"/jobs/{rng.choice(numbers)}/receive").raise_for_status(), 200)
    bench_ms = _times(lambda: client.get("/").raise_for_status(), 20)
    return {
        "jobs": jobs, "entries": entries, "fill_s": round(filled_s), "search_p95_ms": _p95(every),
        "search_p95_ms_by_sort": {sort: _p95(times) for sort, times in search.items()}, "append_p95_ms": _p95(appended),
        "queue_p95_ms": _p95(queue_ms), "learn_p95_ms": _p95(learn_ms), "job_page_p95_ms": _p95(pages), "bench_page_p95_ms": _p95(bench_ms),
        "peak_mb": {"before": before, "after searches": searched, "after pages": _peak_mb()},
        "load": os.getloadavg()[0],
    }  # fmt: skip


_SEARCHES = {
    "common word": lambda rng: rng.choice(_THINGS),
    "two words": lambda rng: f"{rng.choice(_THINGS)} {rng.choice(_NAMES)}",
    "three words": lambda rng: f"{rng.choice(_THINGS)} {rng.choice(_DOES)} {rng.choice(_NAMES)}",
    "serial": lambda rng: f"sr-{rng.randrange(100_000):06}",
    "no such serial": lambda rng: f"sr-{rng.randrange(200_000, 300_000):06}",
    "beginning": lambda rng: rng.choice(_THINGS)[:3],
    "typing error": lambda rng: _slip(rng, rng.choice(_NAMES)),
    "nothing": lambda rng: "".join(rng.choices("qxzjk", k=9)),
}


def _slip(rng: random.Random, word: str) -> str:
    at = rng.randrange(1, len(word) - 1)
    return word[:at] + word[at + 1] + word[at] + word[at + 2 :]


def _times(act, count: int) -> list[float]:
    spent = []
    for _ in range(count):
        began = time.perf_counter()
        act()
        spent.append(1000 * (time.perf_counter() - began))
    return spent


def _p95(times: list[float]) -> float:
    return round(float(np.percentile(times, 95)), 1)


def _peak_mb() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def main() -> None:
    """Run what the command line asks for and print the figures as JSON."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=("kill", "size"))
    parser.add_argument("--moments", type=int, default=500)
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--entries", type=int, default=2_000_000)
    parser.add_argument("--database", default="")
    parser.add_argument("--folder", type=Path)
    parser.add_argument(
        "--seed", type=int, default=9, help="of the random moments, when they are measured in parts"
    )
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = asked.folder or Path(scratch)
        if asked.what == "kill":
            found = kill(asked.moments, folder, asked.database, asked.seed)
        else:
            found = size(asked.jobs, asked.entries, folder, asked.database)
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
