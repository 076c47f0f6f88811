"""The page of the self-test firmware: memories from a board, images and listing out, wrong input told."""

import re
from base64 import b64decode

import pytest

from coppermend.rom.selftest import self_test
from coppermend.rom.selftestplan import Area, SelfTestPlan

GIVEN = {
    "roms": "F000+1000", "rams": "0000+80 0800+100", "result": "0200", "setup": "0201=FF", "walks": "1800",
    "lamp": "1001", "lamp_on": "38", "lamp_off": "30",
}  # fmt: skip
PLAN = SelfTestPlan(
    (Area(0xF000, 0x1000),), (Area(0, 0x80), Area(0x800, 0x100)), 0x200, ((0x201, 0xFF),), (0x1800,),
    lamp=(0x1001, 0x38, 0x30),
)  # fmt: skip


def test_a_board_fills_its_memories_in(at_work):
    """The sample board's memory map gives both program memories and both RAMs."""
    page = at_work.client.get("/rom/selftest", params={"board": at_work.board}).text

    assert 'value="E000+1000 F000+1000"' in page and 'value="0000+80 0800+100"' in page


def test_image_codes_and_listing_are_those_of_the_library(at_work):
    """The image handed out, each code with its meaning, and the listing as a file."""
    made = self_test(PLAN)
    page = at_work.client.post("/rom/selftest", data={"board": at_work.board, **GIVEN}).text
    listing = at_work.client.post("/rom/selftest/listing", data=GIVEN)
    held = re.search(r'data-again.*?name="held-0" value="([^"]+)"', page, re.S)

    assert held is not None and b64decode(held[1]) == made.images[0]
    assert all(words in page for _, words in made.codes) and "books and settings are lost" in page
    assert listing.text.splitlines() == [str(line) for line in made.listing]
    assert listing.headers["content-disposition"].startswith("attachment")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"result": ""}, "no port that shows codes"), ({"roms": ""}, "the last program memory"),
        ({"roms": "F000"}, "FIRST+BYTES"), ({"rams": "x+1"}, "RAM &#39;x&#39;"), ({"rams": "0+"}, "RAM is empty"),
        ({"setup": "0201"}, "ADDRESS=VALUE"), ({"setup": "0201=100"}, "0 to FF"), ({"lamp_on": ""}, "lamp is not whole"),
        ({"mask": "0"}, "01 to FF"), ({"walks": "zz"}, "port to walk over"), ({"result": "A000"}, "in no region"),
        ({"rams": "0+8000", "walks": "", "lamp": "", "lamp_on": "", "lamp_off": ""}, "lies in the memory"),
    ],
)  # fmt: skip
def test_what_cannot_be_made_is_told(at_work, change, told):
    """One clear message; what was typed stays."""
    for path in ("/rom/selftest", "/rom/selftest/listing"):
        answer = at_work.client.post(path, data={"board": at_work.board, **GIVEN, **change})

        assert answer.status_code == 400 and told in answer.text and answer.text.count('role="alert"') == 1
        assert 'value="0201=FF"' in answer.text or "setup" in change


def test_a_board_that_is_not_there_is_told(bench):
    """An unknown board is told, and the form still works without one."""
    assert bench.client.get("/rom/selftest", params={"board": "0" * 64}).status_code == 404
    assert (
        "Image for F000 to FFFF"
        in bench.client.post("/rom/selftest", data={**GIVEN, "lamp": "", "lamp_on": "", "lamp_off": ""}).text
    )
