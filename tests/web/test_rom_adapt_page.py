"""The adapter page: from a board of the library to a verified wiring, or to why there is none."""

import pytest

from coppermend.board.model import Board, Part, PinRef


def test_from_board_to_wiring(at_work):
    """The sample board's two memories in a 2764: verified, with margin, wires and offsets."""
    chosen = at_work.client.get("/rom/adapt", params={"board": at_work.board}).text
    answer = at_work.client.get(
        "/rom/adapt", params={"board": at_work.board, "socket": ["U2", "U3"], "device": "2764"}
    )

    assert 'value="U2"' in chosen and 'value="U3"' in chosen and "2364" not in chosen
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

    assert answer.status_code == status and told in answer.text and 'value="U3"' in answer.text


def test_no_margin_without_a_clock(at_work):
    """A board that declares no clock is verified, and the page says why no margin is given."""
    from dataclasses import replace

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
