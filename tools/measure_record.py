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
import select
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np

from coppermend.errors import CoppermendError
from coppermend.job.lessons import lessons
from coppermend.job.store import Store
from fill_record import DOES, NAMES, THINGS, fill

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


def size(jobs: int, entries: int, folder: Path, database: str, views: int) -> dict[str, object]:
    """Fill a record unless it is filled, then time searches of every sort and pages through the web application.

    Times are the 95th percentile in milliseconds, by the clock and of this program's processor time; memory is what
    this program holds, in MB, before and after ``views`` pages of as many jobs as there are.
    """
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
        search = {
            sort: _spent(lambda ask=ask: store.search(ask(rng), 50), 100) for sort, ask in _SEARCHES.items()
        }
        numbers = [job.number for job in store.jobs(2000)]
        note = {"text": "battery cleaned"}
        times = {
            "search": [times for sort in search.values() for times in sort],
            **{f"search, {sort}": times for sort, times in search.items()},
            "append": _spent(lambda: store.append(rng.choice(numbers), "note", "copper", note, who="Bo"), 200),
            "queue": _spent(lambda: store.queue(200), 50), "learn": _spent(lambda: lessons(store), 20),
        }  # fmt: skip
    client = TestClient(create_app(folder), base_url="http://127.0.0.1")

    def page(path: str) -> None:
        client.get(path).raise_for_status()

    for path in ("/", "/queue", f"/jobs/{numbers[0]}/receive"):
        page(path)
    times |= {
        "bench page": _spent(lambda: page("/"), 20), "queue page": _spent(lambda: page("/queue"), 50),
        "search page": _spent(lambda: page(f"/?find={rng.choice(THINGS)}"), 50),
        "job page": _spent(lambda: page(f"/jobs/{rng.choice(numbers)}/receive"), 200),
    }  # fmt: skip
    held = {"before": _held_mb()}
    for view in range(views):
        page(f"/jobs/{numbers[view % len(numbers)]}/receive")
        if (view + 1) % (views // 4) == 0:
            held[f"after {view + 1} pages"] = _held_mb()
    return {
        "jobs": jobs, "entries": entries, "fill_s": round(filled_s),
        "p95_ms": {what: {"clock": _p95([c for c, _ in t]), "processor": _p95([p for _, p in t])} for what, t in times.items()},
        "held_mb": held, "load": os.getloadavg()[0],
    }  # fmt: skip


_SEARCHES = {
    "common word": lambda rng: rng.choice(THINGS),
    "two words": lambda rng: f"{rng.choice(THINGS)} {rng.choice(NAMES)}",
    "three words": lambda rng: f"{rng.choice(THINGS)} {rng.choice(DOES)} {rng.choice(NAMES)}",
    "serial": lambda rng: f"sr-{rng.randrange(100_000):06}",
    "no such serial": lambda rng: f"sr-{rng.randrange(200_000, 300_000):06}",
    "beginning": lambda rng: rng.choice(THINGS)[:3],
    "typing error": lambda rng: _slip(rng, rng.choice(NAMES)),
    "nothing": lambda rng: "".join(rng.choices("qxzjk", k=9)),
}


def _slip(rng: random.Random, word: str) -> str:
    at = rng.randrange(1, len(word) - 1)
    return word[:at] + word[at + 1] + word[at] + word[at + 2 :]


def _spent(act: Callable[[], object], count: int) -> list[tuple[float, float]]:
    """Milliseconds by the clock and of processor time, for each of ``count`` times."""
    spent = []
    for _ in range(count):
        clock, processor = time.perf_counter(), time.process_time()
        act()
        spent.append((1000 * (time.perf_counter() - clock), 1000 * (time.process_time() - processor)))
    return spent


def _p95(times: list[float]) -> float:
    return round(float(np.percentile(times, 95)), 1)


def _held_mb() -> int:
    """What this program holds of the memory at present."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") // 1_000_000


def main() -> None:
    """Run what the command line asks for and print the figures as JSON."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=("kill", "size"))
    parser.add_argument("--moments", type=int, default=500)
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--entries", type=int, default=2_000_000)
    parser.add_argument("--views", type=int, default=2_000, help="pages between the two looks at memory")
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
            found = size(asked.jobs, asked.entries, folder, asked.database, asked.views)
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
