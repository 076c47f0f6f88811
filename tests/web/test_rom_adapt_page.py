"""The adapter page: from a board of the library to a verified wiring, or to why there is none."""

from base64 import b64encode
from dataclasses import replace

import pytest

from coppermend.board.model import Board, Part, PinRef


def test_from_board_to_wiring(at_work):
    """The sample board's two memories in a 2764: verified, with margin, wires and offsets."""
    chosen = at_work.client.get("/rom/adapt", params={"board": at_work.board}).text
    answer = at_work.client.get(
        "/rom/adapt", params={"board": at_work.board, "socket": ["U2", "U3"], "device": "2764"}
    )

    assert 'name="socket-U2"' in chosen and 'name="socket-U3"' in chosen and "2364" not in chosen
    assert answer.status_code == 200 and "<strong>Verified.</strong>" in answer.text
    assert (
        "8,192 of 8,192 bytes right" in answer.text
        and "284 ns left" in answer.text
        and "ROMBLK_N" in answer.text
    )


def test_page_without_a_board(bench):
    """Without boards the page asks for one; the page of images leads here."""
    assert bench.client.get("/rom/adapt").status_code == 200
    assert 'href="/rom/adapt"' in bench.client.get("/rom").text


@pytest.mark.parametrize(
    ("params", "status", "told"),
    [
        ({"socket": ["U2", "U3"], "device": "2732"}, 400, "at least 8,192"),
        ({"socket": ["U2"], "device": "4711"}, 404, "4711"),
        ({"socket": ["U99"]}, 404, "U99"),
    ],
)
def test_what_cannot_be_adapted_is_told(at_work, params, status, told):
    """Too small a device, an unknown one, a part that is not there: told in words, the choices stay."""
    answer = at_work.client.get("/rom/adapt", params={"board": at_work.board, **params})

    assert answer.status_code == status and told in answer.text and 'name="socket-U3"' in answer.text


def test_no_margin_without_a_clock(at_work):
    """A board that declares no clock is verified, and the page says why no margin is given."""
    board = replace(at_work.desk.board(at_work.board), clocks=(), name="Clockless")
    sha256 = at_work.desk.store.add_board(board)
    answer = at_work.client.get(
        "/rom/adapt", params={"board": sha256, "socket": ["U2", "U3"], "device": "2764"}
    )

    assert "Verified" in answer.text and "clock is not declared" in answer.text


def test_a_board_without_memories(bench):
    """A board without program memories is said to have none."""
    board = Board("Bare", 50, 50, parts=(Part("R1", "resistor"),), nets={"N": (PinRef("R1", "1"),)})
    sha256 = bench.desk.store.add_board(board)

    assert "no program memory" in bench.client.get("/rom/adapt", params={"board": sha256}).text


CONTENTS = {"U2": bytes(range(256)) * 16, "U3": bytes(range(255, -1, -1)) * 16}


def plan(bench, files=(), **data):
    base = {"board": bench.board, "socket-U2": "1", "socket-U3": "1", "device": "2764"}
    return bench.client.post("/rom/adapt", data={**base, **data}, files=files)


def contents(*names: str):
    return [(f"file-{n}", (f"{name}.bin", CONTENTS[name])) for n, name in enumerate(names)]


def test_contents_give_the_image_to_burn(at_work):
    """With the old contents the image is handed out, in the order that the wiring asks for."""
    answer = plan(at_work, contents("U2", "U3"))
    burnt = b64encode(CONTENTS["U2"] + CONTENTS["U3"]).decode()

    assert "with the contents given: 8,192 of 8,192 bytes right" in answer.text
    assert burnt in answer.text and 'value="U3-2764.bin"' in answer.text


def test_a_wiring_as_soldered_is_verified(at_work):
    """The planned wiring sent back is right; with two address lines crossed it is not, and addresses are shown."""
    query = {"board": at_work.board, "socket": ["U2", "U3"], "device": "2764"}
    text = at_work.client.get("/rom/adapt/wiring.csv", params=query).text
    crossed = text.replace("\r\n10,A0,A0,", "\r\n10,A0,A1,").replace("\r\n9,A1,A1,", "\r\n9,A1,A0,")
    assert crossed != text

    right = plan(at_work, [("wiring", ("w.csv", text.encode()))]).text
    wrong = plan(at_work, [*contents("U2", "U3"), ("wiring", ("w.csv", crossed.encode()))]).text

    assert "wired as sent" in right and "<strong>Verified.</strong>" in right
    assert "Not verified: do not fit it like this" in wrong and "<th>Before</th>" in wrong
    assert "Image to burn" not in wrong


@pytest.mark.parametrize(
    ("files", "data", "told"),
    [
        (contents("U2"), {}, "no image for U3"),
        ([*contents("U2"), ("file-1", ("u3.bin", b"x"))], {}, "expected 4,096, all of a 2732"),
        ([("wiring", ("w.csv", b"a,b\n"))], {}, "w.csv:1"), ([("wiring", ("w.csv", b"pin,net\n99,X\n"))], {}, "w.csv:2"),
        ([("wiring", ("w.csv", b"pin,net\n1\r2,X\n"))], {}, "is no CSV"),
        ((), {"clock": "fast"}, "fast"), ((), {"host": "U99"}, "U99"), ((), {"level-U2.20": "up"}, "low or high"),
    ],
)  # fmt: skip
def test_wrong_contents_or_wiring_are_told(at_work, files, data, told):
    """One clear message; what was chosen stays."""
    answer = plan(at_work, files, **data)

    assert answer.status_code == 400 and told in answer.text and 'name="socket-U3"' in answer.text


def test_levels_of_mask_roms_are_asked_for(at_work):
    """With mask ROMs the page asks at which level each of their selects selects, and takes the answer."""
    board = at_work.desk.board(at_work.board)
    parts = tuple(
        replace(p, type="2332", value="2332") if p.refdes in ("U2", "U3") else p for p in board.parts
    )
    sha256 = at_work.desk.store.add_board(replace(board, parts=parts, name="Masked"))
    page = plan(at_work, board=sha256).text

    assert 'name="level-U2.20"' in page and 'name="level-U3.21"' in page
    assert '<option selected value="low">low' in plan(at_work, board=sha256, **{"level-U2.20": "low"}).text
