"""A bench that is open to the network: who gets in, what a stranger sees, and how guessing is slowed down."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from fastapi.testclient import TestClient

from coppermend.job.store import now
from coppermend.web.access import COOKIE, Patience
from coppermend.web.app import create_app

NAME, PHRASE = "R. Tansy", "marsh kettle ninety lamps"


@pytest.fixture
def shop(tmp_path):
    """A bench on the network with one person and one job; ``client`` has not signed in."""
    app = create_app(tmp_path, shop="Fen Lane Board Works", named=True)
    with TestClient(app, follow_redirects=False) as client:
        app.state.desk.people.add(NAME, PHRASE, now())
        number = app.state.desk.store.new_job({"customer": "O. Penhallow", "serial": "SR-00231"}, who=NAME)
        yield SimpleNamespace(client=client, desk=app.state.desk, number=number, app=app)


def sign_in(client: TestClient, phrase: str = PHRASE, **more: str):
    return client.post("/sign-in", data={"name": NAME, "phrase": phrase, **more})


@pytest.mark.parametrize(
    "path", ["/", "/boards", "/figures", "/jobs/new", "/rom", "/jobs/{}/record", "/jobs/{}/live?seen=0"]
)
def test_a_stranger_is_sent_to_the_door_and_back(shop, path):
    """Every page asks; after signing in one is where one wanted to go."""
    path = path.format(shop.number)
    answer = shop.client.get(path)
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/sign-in?back={path.partition('?')[0]}"
    assert sign_in(shop.client, back=path).headers["location"] == path
    assert shop.client.get("/boards").status_code == 200


@pytest.mark.parametrize("path", ["/api/jobs", "/api/jobs/26-0001-B", "/openapi.json"])
def test_scripts_are_told_in_their_own_tongue(shop, path):
    """401 and JSON, not a page."""
    answer = shop.client.get(path)
    assert (answer.status_code, answer.json()) == (401, {"error": "sign in first"})


def test_a_strangers_posts_change_nothing(shop):
    """Neither by a form nor by the API."""
    before = shop.desk.store.last_seq(shop.number)
    assert shop.client.post(f"/jobs/{shop.number}/note", data={"text": "hi", "who": NAME}).status_code == 303
    sent = {"kind": "note", "stage": "prove", "who": NAME, "body": {"text": "hi"}}
    assert shop.client.post(f"/api/jobs/{shop.number}/entries", json=sent).status_code == 401
    assert shop.desk.store.last_seq(shop.number) == before


def test_the_tags_link_shows_a_stranger_the_number_and_the_shop_only(shop):
    """No customer, no serial; and the same page whether there is such a job or not."""
    answer = shop.client.get(f"/jobs/{shop.number}")
    assert answer.status_code == 200 and shop.number in answer.text and "Fen Lane Board Works" in answer.text
    assert "Penhallow" not in answer.text and "SR-00231" not in answer.text
    other = shop.client.get("/jobs/25-0001-6")
    assert other.text.replace("25-0001-6", shop.number) == answer.text
    assert shop.client.get("/jobs/25-0001-8").status_code == 303  # no number at all

    sign_in(shop.client)
    assert "Penhallow" in shop.client.get(f"/jobs/{shop.number}").text


def test_entries_carry_the_name_that_signed_in(shop):
    """Whatever the form or the remembered name says."""
    sign_in(shop.client)
    shop.client.cookies.set("who", "Somebody%20else")
    shop.client.post(f"/jobs/{shop.number}/note", data={"text": "hi", "who": "Third", "stage": "prove"})
    assert shop.desk.store.entries(shop.number)[-1].who == NAME
    sent = {"kind": "note", "stage": "prove", "who": "Third", "body": {"text": "hi"}}
    answer = shop.client.post(f"/api/jobs/{shop.number}/entries", json=sent)
    assert answer.status_code == 400 and "the name that signed in, 'R. Tansy'" in answer.json()["error"]


def test_signing_out_ends_it(shop):
    """The token is worth nothing afterwards, even to who kept it."""
    sign_in(shop.client)
    token = shop.client.cookies[COOKIE]
    shop.client.post("/sign-out")
    shop.client.cookies.set(COOKIE, token)
    assert shop.client.get("/").status_code == 303


def test_the_cookie_is_out_of_reach_of_scripts_and_of_other_sites(shop):
    """HttpOnly and SameSite=Strict (RFC 6265bis); Secure as soon as the bench speaks https."""
    set_cookie = sign_in(shop.client).headers["set-cookie"].lower()
    assert "httponly" in set_cookie and "samesite=strict" in set_cookie and "secure" not in set_cookie
    sealed = TestClient(shop.app, base_url="https://bench.local", follow_redirects=False)
    assert "; secure" in sign_in(sealed).headers["set-cookie"].lower()


def test_one_is_not_sent_on_to_another_site(shop):
    """A link to the door must not lead away from the bench."""
    for back in ("https://elsewhere.example/", "//elsewhere.example/", "/\\elsewhere.example/"):
        assert sign_in(shop.client, back=back).headers["location"] == "/"


def test_guessing_is_slowed_down_and_says_for_how_long(shop):
    """Five tries, then waiting; the right phrase waits too, and comes through afterwards."""
    seconds = 0.0
    shop.app.state.patience.clock = lambda: seconds
    for _ in range(5):
        answer = sign_in(shop.client, "wrong phrase, long enough")
        assert answer.status_code == 403 and "do not belong together" in answer.text
    answer = sign_in(shop.client)
    assert answer.status_code == 429 and "Try again in 30 seconds" in answer.text
    seconds = 31.0
    assert sign_in(shop.client).status_code == 303


def test_the_wait_doubles_up_to_a_quarter_of_an_hour():
    """30 s, 60 s, 120 s, ... 900 s; one right phrase and it is forgotten."""
    patience = Patience(clock=lambda: 0.0)
    waits = []
    for _ in range(12):
        patience.was_wrong("name x")
        waits.append(patience.wait_s("name x"))
    assert waits == [0, 0, 0, 0, 30, 60, 120, 240, 480, 900, 900, 900]
    patience.was_right("name x")
    assert patience.wait_s("name x") == 0


def test_a_stranger_cannot_ask_without_end(shop):
    """Sixty at once and then two a second; people who have signed in are not counted."""
    seconds = 0.0
    shop.app.state.patience.clock = lambda: seconds
    codes = [shop.client.get("/sign-in").status_code for _ in range(61)]
    assert codes == [200] * 60 + [429]
    seconds = 1.0
    assert [shop.client.get("/sign-in").status_code for _ in range(3)] == [200, 200, 429]
    seconds = 10.0
    sign_in(shop.client)
    assert {shop.client.get("/boards").status_code for _ in range(80)} == {200}


def test_what_is_remembered_of_addresses_does_not_grow_without_end():
    """Ten thousand of them, oldest forgotten first."""
    patience = Patience(clock=lambda: 0.0)
    for i in range(10_050):
        patience.allows(str(i))
    assert len(patience._left) == 10_000


def test_a_bench_for_this_computer_alone_is_not_called_by_another_name(tmp_path):
    """DNS rebinding: a foreign name that points to this computer gets nothing (RFC 9110, 15.5.20)."""
    with TestClient(create_app(tmp_path, hosts=("127.0.0.1", "localhost", "::1"))) as client:
        for host, status in {
            "localhost:8390": 200, "127.0.0.1": 200, "[::1]:8390": 200,
            "elsewhere.example": 421, "127.0.0.1.elsewhere.example": 421, "[": 421, "": 421,
        }.items():  # fmt: skip
            assert client.get("/", headers={"host": host}).status_code == status, host
