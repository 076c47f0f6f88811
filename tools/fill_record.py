"""Fill a record with as many made-up jobs as measurements need, with the rows that the store itself would write."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

from sqlalchemy import insert

from coppermend.job import cards, comebacks, learnt, tables
from coppermend.job.entry import Entry
from coppermend.job.number import next_number
from coppermend.job.state import fold
from coppermend.job.store import Store
from coppermend.job.words import grams, is_fuzzy, words_of, words_of_body

NAMES = [
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
THINGS = [
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
DOES = [
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
    tables.settle(store.engine)


# What ends the record of a job that went back.
_LAST = (
    ("plan", "remedy", {"id": "remote-pack", "chosen": True}),
    ("copper", "timer", {}),
    ("return", "stage", {"stage": "return"}),
    ("return", "shipping", {"direction": "out", "carrier": "by hand"}),
)


def _entries(rng: random.Random, number: str, n: int, at: datetime, count: int):
    header = {
        "customer": f"{rng.choice('ABCDEFGH')}. {rng.choice(NAMES)}", "machine": f"Machine {n % 400}",
        "serial": f"SR-{n - 7 if n % 20 == 19 else n:06}", "complaint": f"{rng.choice(THINGS)} {rng.choice(DOES)}",
    }  # fmt: skip
    if n % 3:
        header["promised"] = (at + timedelta(days=rng.randrange(10, 60))).date().isoformat()
    yield Entry(number, 1, at, "R. Tansy", "receive", "job", header)
    last = count - len(_LAST) if n % 10 else count  # one job in ten is still in the shop
    for seq in range(last + 1, count + 1):
        stage, kind, body = _LAST[seq - last - 1]
        body = {"does": "add", "minutes": round(rng.lognormvariate(5, 0.5))} if kind == "timer" else body
        yield Entry(number, seq, at + timedelta(minutes=seq), "R. Tansy", stage, kind, body)
    if n % 40 == 0:  # and one in four of those waits for parts
        yield Entry(
            number,
            last,
            at + timedelta(minutes=last),
            "R. Tansy",
            "refit",
            "waiting",
            {"parts": "U5", "arrived": False},
        )
        last -= 1
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
            words = (
                f"{rng.choice(THINGS)} {rng.choice(DOES)} at U{rng.randrange(40)}, lot {rng.randrange(10**5)}"
            )
            yield Entry(number, seq, when, "R. Tansy", "strip", "note", {"text": words})
