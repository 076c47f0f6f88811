"""Hostile words in every field, query and path of every page: never a fault of the program, never run as markup."""

from __future__ import annotations

import re
from itertools import product
from pathlib import Path

import pytest
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

import coppermend.web
from coppermend.demo.story import WHO

HOSTILE = (
    "<script>alert(1)</script>", "../../etc/passwd\x00", "=HYPERLINK(1)", "'; DROP TABLE entry; --", "{{7*7}}", "-1", "9" * 400,
    "\u202e\ud83d", "",
)  # fmt: skip
EACH = 2
ENDLESS = re.compile(r"/live$")  # answers for as long as one listens
SOURCES = Path(coppermend.web.__file__).parent
# Names that pages read: whatever stands in form.text("..."), form.number("...") and the like, and in name="...".
FIELDS = sorted(
    {name for path in SOURCES.glob("*.py") for name in re.findall(r'form\.\w+\(\s*"([\w-]+)"', path.read_text("utf-8"))}
    | {name for path in SOURCES.rglob("*.html") for name in re.findall(r'name="([\w-]+)"', path.read_text("utf-8"))}
)  # fmt: skip


@pytest.fixture(scope="module")
def bench(one_job):
    """The bench behind a client, and what leads to its job and board."""
    app, names = one_job
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as client:
        client.cookies.set("who", "R.%20Tansy")
        yield client, {**names, "stage": "receive"}


def routes(client: TestClient) -> list[tuple[str, str]]:
    """Method and path of everything that the bench answers."""
    known: list[APIRoute] = []
    waiting = list(client.app.routes)
    while waiting:
        route = waiting.pop()
        waiting += getattr(getattr(route, "original_router", route), "routes", [])
        if isinstance(route, APIRoute) and not ENDLESS.search(route.path):
            known.append(route)
    return sorted((method, route.path) for route in known for method in route.methods)


def test_no_page_answers_hostile_words_by_a_fault(bench):
    """Each route with two of the words in all fields and queries, on a real job and on one of that name.

    With EACH = len(HOSTILE) every route meets every word: 25 s.
    """
    client, real = bench
    found, asked = [], 0
    assert len(FIELDS) > 120 and len(routes(client)) > 120
    for (i, (method, path)), n in product(enumerate(routes(client)), range(EACH)):
        word = HOSTILE[(EACH * i + n) % len(HOSTILE)]
        holes = re.findall(r"{(\w+)(?::path)?}", path)
        fill = {hole: real.get(hole, word) if n % 2 else word for hole in holes}
        sent = {name: word.encode("utf-8", "replace").decode() for name in FIELDS} | {"who": WHO}
        place = re.sub(r"{(\w+)(?::path)?}", lambda hole, f=fill: client_path(f[hole[1]]), path)
        where = {"data": sent} if method == "POST" else {"params": dict(list(sent.items())[:40])}
        answer = client.request(method, place, follow_redirects=False, **where)
        asked += 1
        if answer.status_code >= 500 or "<script>alert" in answer.text:
            found.append(
                (method, path, word, answer.status_code, re.sub(r"<[^>]+>|\s+", " ", answer.text)[-200:])
            )
    assert found == [] and asked > 240


def client_path(word: str) -> str:
    """A word as one step of an address."""
    return "".join(f"%{byte:02X}" for byte in word.encode("utf-8", "replace")) or "%20"
