"""Search with typing errors, the queue, and boards that come back; the same on SQLite and PostgreSQL."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from coppermend.job import cards, tables
from coppermend.job.history import earlier_work
from coppermend.job.state import fold
from coppermend.job.store import Store
from coppermend.job.words import nearest, slips, words_of

AT = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
BOTH = True


@pytest.fixture
def three(store: Store) -> list[str]:
    """Three jobs, oldest first."""
    return [
        store.new_job({"customer": name, "serial": f"SR-{n}"}, who="R. Tansy", at=AT)
        for n, name in enumerate(("O. Penhallow", "Ana Lindqvist", "G. Brandstetter"))
    ]


def numbers(store: Store, text: str) -> list[str]:
    """What a search finds."""
    return [job.number for job in store.find(text)]


def test_every_text_of_the_record_is_searched(store: Store, three: list[str]):
    """Notes, parts, instruments, nested texts and authors are found, void or not."""
    store.append(three[0], "note", "copper", {"text": "Dry joint at RN1"}, who="Zelda")
    store.append(
        three[1], "reading", "copper", {"a": "U3.9", "b": "V17", "ohms": 1, "instrument": "Wavetek"}, who="Bo"
    )
    store.append(three[2], "waiver", "return", {"reason": "hurry", "items": ["net RES_N"]}, who="Bo")
    store.append(three[0], "void", "copper", {"seq": 2}, who="Bo")

    assert numbers(store, "rn1 penhallow") == [three[0]]
    assert numbers(store, "zelda") == [three[0]]
    assert numbers(store, "u3.9") == numbers(store, "wavetek") == [three[1]]
    assert numbers(store, "res_n") == [three[2]]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("penhalow", "penhallow"),
        ("pehnallow", "penhallow"),
        ("brandstater", "brandstetter"),
        ("indqvist", "lindqvist"),
    ],
)
def test_typing_errors_are_forgiven_and_told(store: Store, three: list[str], typed: str, meant: str):
    """A word that no job has is read as the nearest ones, and the answer says so."""
    found = store.search(typed)

    assert found.read_as == ((typed, (meant,)),)
    assert len(found.jobs) == 1


def test_exact_words_need_no_guess(store: Store, three: list[str]):
    """What is found as typed is not widened, and a stranger word finds nothing."""
    assert store.search("tansy").read_as == ()
    assert [len(store.search("tansy", n).jobs) for n in (2, 3)] == [2, 3]
    assert [store.search("tansy", n).more for n in (2, 3)] == [True, False]
    assert store.search("xylophone").jobs == store.search("--").jobs == ()


@pytest.mark.parametrize("text", ["' OR 1=1", '"', "a* NEAR b", "&|!", "\\", "(", "words:x", "%", "-"])
def test_hostile_words_are_only_words(store: Store, three: list[str], text: str):
    """Nothing in a search is taken for the language of the database."""
    assert numbers(store, text) == []


def test_queue_runs_by_promise_and_parts(store: Store, three: list[str]):
    """Due first, then without promise, then what waits for parts; what has left is not in it."""
    first, second, third = three
    gone = store.new_job({"customer": "Cy", "promised": "2026-01-01"}, who="Bo", at=AT)
    store.append(gone, "shipping", "return", {"direction": "out", "carrier": "by hand"}, who="Bo")
    store.append(first, "job", "receive", {"promised": "2026-03-20"}, who="Bo")
    store.append(third, "job", "receive", {"promised": "2026-03-10"}, who="Bo")
    assert [job.number for job in store.queue()] == [third, first, second]

    store.append(third, "waiting", "plan", {"parts": "C5"}, who="Bo")
    assert [(job.number, job.waiting) for job in store.queue()] == [(first, 0), (second, 0), (third, 1)]

    store.append(third, "waiting", "plan", {"parts": "C5", "arrived": True}, who="Bo")
    assert [job.number for job in store.queue()] == [third, first, second]


def test_comeback_is_found_by_codes_on_parts(store: Store, three: list[str]):
    """A board without serial is known by the date codes of its parts, though one part was replaced."""
    codes = {"U1": "8142", "U2": "8139", "U5": "8201", "U9": "7936", "U7": "8150"}
    store.append(three[0], "fingerprint", "receive", {"codes": codes}, who="Bo")
    store.append(
        three[1], "fingerprint", "receive", {"codes": {**codes, "U1": "1", "U2": "2", "U5": "3"}}, who="Bo"
    )
    again = store.new_job({"customer": "New Owner"}, who="Bo")
    store.append(again, "fingerprint", "receive", {"codes": {**codes, "U9": "0512"}}, who="Bo")

    there = earlier_work(store, customer="New Owner", besides=again)
    back = earlier_work(store, serial="SR-0", customer="O. Penhallow", besides=three[0])

    assert [(e.job.number, e.why) for e in there] == [(three[0], ("same codes on its parts",))]
    assert [(e.job.number, e.why) for e in back] == [(again, ("same codes on its parts",))]


def test_later_job_is_found_from_the_earlier(store: Store, three: list[str]):
    """A job whose board carries this job's tag is shown beside it, though it was opened later."""
    again = store.new_job({"customer": "New Owner", "marks": f"tag {three[1]}"}, who="Bo")

    (found,) = earlier_work(store, serial="SR-1", besides=three[1])

    assert (found.job.number, found.why, found.same_board) == (again, ("it carries this job's tag",), True)


def test_cards_made_anew_are_the_same(store: Store, three: list[str]):
    """What was derived step by step equals what is derived from the whole record."""
    for i, job in enumerate(three):
        store.append(job, "note", "copper", {"text": f"note {i}"}, who="Bo", at=AT + timedelta(hours=i))
        store.append(job, "stage", "copper", {"stage": "refit"}, who="Bo", at=AT)
    before = store.jobs()

    with tables.writing(store.engine) as connection:
        cards.rebuild(connection)

    assert store.jobs() == before
    assert [job.entries for job in before] == [3, 3, 3]
    assert numbers(store, "note 1 refit") == [three[1]]


def test_time_counts_only_what_is_honest(store: Store, three: list[str]):
    """Runs are counted for their stage; pauses are not, and a forgotten timer counts nothing until told."""

    def timer(does: str, minute: float, stage: str = "copper", who: str = "Bo", **more: object) -> None:
        store.append(
            three[0], "timer", stage, {"does": does, **more}, who=who, at=AT + timedelta(minutes=minute)
        )

    timer("start", 0)
    timer("pause", 20, why="telephone")
    timer("start", 50)
    timer("start", 60, "refit")
    timer("start", 61, "prove", who="Eve")
    timer("stop", 90)
    timer("start", 100)
    timer("stop", 100 + 13 * 60)
    timer("add", 2000, minutes=15)
    time = fold(store.entries(three[0])).time

    assert dict(time.seconds) == {"copper": (20 + 10 + 15) * 60.0, "refit": 30 * 60.0}
    assert [(line.who, line.stage) for line in time.running] == [("Eve", "prove")]
    assert time.unclosed == (8,)


def test_words_and_slips():
    """Words lose case, accents and punctuation; a swap of neighbours is one slip."""
    assert list(words_of("Gérard's PR-0117")) == ["gerard", "s", "gerards", "pr", "0117", "pr0117"]
    assert (slips("ab", "ba"), slips("", "abc"), slips("kitten", "sitting")) == (1, 3, 3)
    assert nearest("bord", ["board", "bound", "card"]) == ("board",)


def test_whole_words_go_before_beginnings_where_there_are_too_many(store: Store):
    """Of many jobs those with the very word, newest first; where they fit the list, beginnings are there too."""
    for name in ("battery", "battery", "batterypack", "battery", "batterypack"):
        store.new_job({"customer": "x", "complaint": name}, who="Bo", at=AT)

    few, many = store.search("battery", 2), store.search("battery", 3)

    assert [job.complaint for job in few.jobs] == ["battery", "battery"] and few.more
    assert [job.complaint for job in many.jobs] == ["batterypack", "battery", "batterypack"] and many.more
    assert len(store.search("battery", 5).jobs) == len(store.find("battery")) == 5


def test_serial_one_digit_off_is_not_another_boards(store: Store):
    """Codes are found by their beginning, and never read as a neighbour."""
    for n in range(3):
        store.new_job({"customer": "x", "serial": f"SR-00{n}31"}, who="Bo", at=AT)

    assert len(store.search("sr-00").jobs) == 3
    assert store.search("sr-00231").read_as == () and len(store.search("sr-00231").jobs) == 1
    assert store.search("sr-00232").jobs == ()
