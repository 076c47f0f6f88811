"""How long the bench needs for each page of the sample job: ``python tools/measure_pages.py [REPEATS] [--only TEXT]
[--language de]``.

Every page that a GET opens, on two jobs of one record: the sample job carried to its end, and one in the middle of
its copper stage with observations. Each page is asked REPEATS times (30) in two ways: ``again``, nothing having
changed since; ``after``, the record having grown by a reading of a value never read before, and by its voiding, in
turn (pages of a job only), on a bench that has got ready as ``serve`` lets it. Server time alone, from the request's
arrival at the application to the end of its answer, in milliseconds of wall clock and of processor; the slowest page first.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import io
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

from coppermend.demo.board_data import demo_board_files
from coppermend.demo.job import run_sample
from coppermend.demo.story import HEADER, WHO, damage_area
from coppermend.job.entry import STAGES
from coppermend.rework.figures.catalog import FIGURES
from coppermend.web.app import _ROUTERS, create_app
from coppermend.web.desk import Desk

GOAL_MS = 60.0
ENDLESS = "/jobs/{number}/live"
# A page that answers a question is asked one.
QUERIES = {
    "/jobs/{number}/copper/expect": "?a=U1.1&b=U1.2",
    "/boards/{sha256}/expect": "?a=U1.1&b=U1.2",
    "/jobs/{number}/prove/one": "?proof={proof}",
    "/prove/holdup": "?board={board}",
    "/prove/matrix": "?board={board}",
    "/prove/drive": "?board={board}",
    "/rom/devices": "?a=2332&b=2732",
}


class Timed:
    """An ASGI application that notes how long each request took it: wall clock and processor [ms]."""

    def __init__(self, app: FastAPI) -> None:
        self.app, self.last = app, (0.0, 0.0)

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        wall, cpu = time.perf_counter(), time.process_time()
        await self.app(scope, receive, send)
        self.last = ((time.perf_counter() - wall) * 1e3, (time.process_time() - cpu) * 1e3)


def main() -> int:
    """Print a line for each page; 1 when one of them misses the goal."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("repeats", nargs="?", type=int, default=30)
    asked.add_argument("--only", default="", help="pages whose address has this text")
    asked.add_argument("--language", default="en", help="what the browser asks for, such as de")
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        with contextlib.redirect_stdout(io.StringIO()):
            done = run_sample(Path(folder), lambda *_: None).number
        app = create_app(Path(folder) / "record")
        timed = Timed(app)
        with TestClient(timed, headers={"Accept-Language": options.language}) as client:
            desk: Desk = app.state.desk
            halfway = half_done(desk)
            # As ``serve`` does once a bench is open.
            desk.get_ready()
            gc.collect()
            gc.freeze()
            lines = []
            for path in pages(desk, (done, halfway)):
                if options.only in path:
                    lines += measured(client, timed, desk, path, options.repeats)
    lines.sort(key=lambda line: -line[1][1])
    print(f"{'wall p50':>9}{'p95':>8}{'cpu p50':>9}{'p95':>8}  page ({options.repeats} times each, ms)")
    for name, figures in lines:
        print("{:9.1f}{:8.1f}{:9.1f}{:8.1f}  ".format(*figures) + name)
    late = [name for name, figures in lines if figures[1] >= GOAL_MS]
    late_cpu = [name for name, figures in lines if figures[3] >= GOAL_MS]
    print(f"{len(lines)} lines; p95 of {GOAL_MS:g} ms or more: wall {len(late)}, processor {len(late_cpu)}")
    return int(bool(late))


def half_done(desk: Desk) -> str:
    """The sample job in the middle: part of its copper proven, one net open, a few things observed."""
    store = desk.store
    sha256 = store.boards()[0].sha256 if store.boards() else store.add_board(demo_board_files())
    number = store.new_job(HEADER, who=WHO)
    name = store.board(sha256).name
    store.append(number, "board", "receive", {"name": name, "sha256": sha256}, who=WHO)
    store.append(number, "damage", "inspect", {"area": damage_area()}, who=WHO)
    store.append(number, "remedy", "plan", {"id": "reset-supervisor", "chosen": True}, who=WHO)
    seen = {"point": "U1.40", "kind": "logic", "value": "stuck low", "condition": ""}
    store.append(number, "observation", "isolate", seen, who=WHO)
    found = desk.job(number).found
    assert found is not None
    for place, probe in enumerate(found.copper.probes[:10]):
        ohms = "OL" if place == 0 or probe.expect_ohms is None else probe.expect_ohms
        store.append(number, "reading", "copper", {"a": probe.a, "b": probe.b, "ohms": ohms}, who=WHO)
    store.append(number, "stage", "copper", {"stage": "copper"}, who=WHO)
    return number


def pages(desk: Desk, numbers: tuple[str, ...]) -> Iterator[str]:
    """The address of every page, with names of this record in it."""
    board = desk.store.boards()[0].sha256
    found = desk.job(numbers[0]).found
    assert found is not None
    figures = list(FIGURES)
    photos = [p.sha256 for p in desk.job(numbers[0]).state.photos][:1]
    papers = [p.sha256 for p in desk.job(numbers[0]).state.papers][:1]
    for path in routes():
        if path == ENDLESS:
            continue
        query = QUERIES.get(path, "").format(board=board, proof=found.proofs[0].id)
        for number in numbers if "{number}" in path else ("",):
            for filled in _filled(path, number, board, figures, photos, papers):
                yield filled + query


def _filled(  # noqa: PLR0917  (what one record has to fill in)
    path: str, number: str, board: str, figures: list[str], photos: list[str], papers: list[str]
) -> Iterator[str]:
    """A route with its names filled in; once for each stage or figure, never when the record lacks what it shows."""
    path = path.replace("{number}", number)
    if "/photo/" in path or path.startswith("/attachments"):
        yield from (
            path.replace("{sha256}", one)
            for one in (photos if "/photo/" in path or "small" in path else papers)
        )
        return
    path = path.replace("{sha256}", board).replace("{file}", "top")
    for key, values in (("{stage}", STAGES), ("{name}", figures)):
        if key in path:
            yield from (path.replace(key, value) for value in values)
            return
    yield path


def routes() -> list[str]:
    """Every path that answers a GET."""
    found: list[str] = []
    waiting = [module.router for module in _ROUTERS]
    while waiting:
        router = waiting.pop(0)
        for route in router.routes:
            if isinstance(route, APIRoute):
                found += [route.path] if "GET" in (route.methods or ()) else []
            else:
                waiting.append(route.original_router)  # type: ignore[attr-defined]
    return found


def measured(
    client: TestClient, timed: Timed, desk: Desk, path: str, repeats: int
) -> list[tuple[str, tuple[float, float, float, float]]]:
    """Lines of one page: its name, and wall and processor time at the median and at p95 [ms]."""
    answer = client.get(path)
    if answer.status_code not in (200, 303):
        print(f"left out: {path} answered {answer.status_code}", file=sys.stderr)
        return []
    lines = [(f"again  {_short(path)}", _figures_of(client, timed, path, repeats, lambda _: None))]
    if path.startswith("/jobs/") and path.split("/")[2] != "new":
        change = changer(desk, path.split("/")[2])
        lines.append((f"after  {_short(path)}", _figures_of(client, timed, path, repeats, change)))
    return lines


def _figures_of(
    client: TestClient, timed: Timed, path: str, repeats: int, before: Callable[[int], None]
) -> tuple[float, float, float, float]:
    walls, cpus = [], []
    for turn in range(repeats):
        before(turn)
        client.get(path)
        walls.append(timed.last[0])
        cpus.append(timed.last[1])
    return (*_share(walls), *_share(cpus))


def _share(values: list[float]) -> tuple[float, float]:
    """Median, and the least value that 95 of 100 do not exceed."""
    ordered = sorted(values)
    return ordered[len(ordered) // 2], ordered[min(len(ordered) - 1, -(-95 * len(ordered) // 100) - 1)]


def changer(desk: Desk, number: str) -> Callable[[int], None]:
    """Lets the record grow: a reading of the next probe, or of the first one made, then void in the next turn.

    Each reading differs a little from those before, so that nothing that was worked out for it is there yet.
    """
    job = desk.job(number)
    assert job.found is not None
    probes = job.found.copper.probes
    a, b, ohms = (
        (probes[0].a, probes[0].b, probes[0].expect_ohms)
        if probes
        else (job.state.readings[0].a, job.state.readings[0].b, job.state.readings[0].ohms)
    )
    kept: list[int] = []
    values = count(0.0 if ohms is None else ohms, 0.0001)

    def change(_: int) -> None:
        if kept:
            desk.store.append(number, "void", "copper", {"seq": kept.pop()}, who=WHO)
            return
        body = {"a": a, "b": b, "ohms": round(next(values), 4)}
        kept.append(desk.store.append(number, "reading", "copper", body, who=WHO).seq)

    return change


def _short(path: str) -> str:
    return path if len(path) < 90 else path[:40] + "..." + path[-40:]


if __name__ == "__main__":
    sys.exit(main())
