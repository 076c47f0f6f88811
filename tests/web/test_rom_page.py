"""The page of program images: looking, comparing, voting, without a job and with one."""

import re
from base64 import b64encode

import numpy as np
import pytest

from coppermend.errors import InputError
from coppermend.job.reference import add_known, known_image
from coppermend.job.validate import check_body
from coppermend.rom.compare import compare
from coppermend.rom.formats import parse_image
from coppermend.web.rom_drawing import hex_rows, lines_svg, map_svg, named_lines

IMAGE = bytes(range(256)) * 16
STUCK = bytes(byte | 0x08 for byte in IMAGE)
HEX = b":10010000214601360121470136007EFE09D2190140\n:00000001FF\n"


def send(bench, *files, **data):
    return bench.client.post(
        "/rom", data=data, files=[("images", file) for file in files], follow_redirects=False
    )


def test_empty_page(bench):
    """The page stands alone, and the head of every page leads to it."""
    answer = bench.client.get("/rom")

    assert answer.status_code == 200 and 'name="images"' in answer.text
    assert 'href="/rom"' in bench.client.get("/").text


def test_one_image_is_looked_over(bench):
    """Sums, devices and the hex view of one image; nothing is kept."""
    answer = send(bench, ("u3.bin", IMAGE))

    assert "fills a 2532 or a 2732" in answer.text and "<caption>Sums</caption>" in answer.text
    assert '<pre class="hex"' in answer.text and "Kept" not in answer.text


def test_intel_hex_keeps_its_address(bench):
    """An image from Intel HEX is shown at its own address."""
    assert "<b>0100</b>  21 46 01 36" in send(bench, ("u3.hex", HEX)).text


def test_two_images_are_compared(bench):
    """The stuck line is named first, drawn as such, and differing bytes are marked."""
    answer = send(bench, ("good.bin", IMAGE), ("dump.bin", STUCK))

    assert "data line D3 stuck high" in answer.text
    assert re.search(r'<g class="named"><text x="0" y="\d+">D3 !</text>', answer.text)
    assert answer.text.count("<mark>") == 2048 and "rom-map" in answer.text


def test_dumps_vote(bench):
    """Three dumps: the unstable byte is told, with the majority's bytes."""
    odd = IMAGE[:5] + b"\xff" + IMAGE[6:]
    answer = send(bench, ("a.bin", IMAGE), ("b.bin", IMAGE), ("c.bin", odd))

    assert "1 bytes will not stay" in answer.text and "<mark>05</mark>" in answer.text


def test_equal_images(bench):
    """Equal images are said to be equal."""
    assert "Equal, byte for byte" in send(bench, ("a.bin", IMAGE), ("b.bin", IMAGE)).text


@pytest.mark.parametrize(
    ("files", "told"),
    [
        ([], "0 images"),
        ([("empty.bin", b"")], "an empty file"),
        ([("u2.hex", HEX.replace(b"40\n", b"41\n"))], "u2.hex:1: checksum 41"),
        ([("a.bin", IMAGE), ("b.bin", IMAGE), ("c.bin", IMAGE[:7])], "dumps of"),
        ([("far.hex", b":0100000041BE\n:02000004FFFFFC\n:0100000042BD\n:00000001FF\n")], "without wide gaps"),
        ([("<script>.bin", b"")], "&lt;script&gt;.bin"),
    ],
)
def test_what_cannot_be_read_is_told(bench, files, told):
    """A wrong file is told by name and line in words, with status 400, and its name is harmless."""
    answer = send(bench, *files, refdes="U3")

    assert answer.status_code == 400 and told in answer.text and 'value="U3"' in answer.text


def test_damaged_files_are_read_when_asked(bench):
    """Tolerantly the image is shown with its defects."""
    answer = send(bench, ("u2.hex", HEX.replace(b"40\n", b"41\n")), tolerant="1")

    assert answer.status_code == 200 and "u2.hex, line 1: checksum 41" in answer.text


def test_images_are_kept_by_hash_in_a_job(at_work):
    """With a job, each image is an attachment named by its hash, and an entry that the state shows."""
    answer = send(
        at_work, ("u3.bin", IMAGE), job=at_work.number, keep="1", refdes="U3", device="2732", what="burn"
    )
    state = at_work.job.state
    line = state.images[0]

    assert "Kept</strong> in job" in answer.text
    assert (line.name, line.what, line.refdes, line.device, line.verified) == (
        "u3.bin",
        "burn",
        "U3",
        "2732",
        None,
    )
    assert at_work.desk.store.attachment(line.sha256) == IMAGE
    assert "burn u3.bin for U3" in at_work.get("/record").text
    assert "(1 kept)" in at_work.get("/refit").text


def test_kept_images_are_handed_out_only_to_be_saved(at_work):
    """An image is never shown in the browser as if it were a picture or page, and is not in the customer's report."""
    send(at_work, ("u3.html", b"<html>" + IMAGE), job=at_work.number, keep="1", read_as="binary")
    answer = at_work.client.get(f"/attachments/{at_work.job.state.images[0].sha256}")

    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["content-disposition"].startswith("attachment")


@pytest.mark.parametrize(
    ("data", "status"),
    [({"job": "26-9999-9"}, (400, 404)), ({"what": "x"}, (400,)), ({"device": "4711"}, (400,))],
)
def test_nothing_is_kept_of_a_wrong_form(at_work, data, status):
    """A wrong job, purpose or device keeps nothing."""
    answer = send(at_work, ("u3.bin", IMAGE), **{"job": at_work.number, "keep": "1", **data})

    assert answer.status_code in status and at_work.job.state.images == ()


@pytest.mark.parametrize(
    "more", [{"cpu_first": 70000}, {"cpu_first": True}, {"verified": "yes"}, {"what": "x"}]
)
def test_image_entries_are_checked(more):
    """An image entry carries a hash, a name, a purpose; an address is one, a verdict is true or false."""
    body = {"sha256": "0" * 64, "name": "u3.bin", "what": "dump", "cpu_first": 0xF000, "verified": True}

    assert check_body("image", body) == body
    with pytest.raises(InputError):
        check_body("image", {**body, **more})


def test_large_images_show_rows_that_differ():
    """Of a large image only rows with marks are shown; of a larger one the first, with how many are left out."""
    data = bytes(64 * 1024)

    rows, left = hex_rows(data, {0x1234, 0xFFFF})
    assert [str(row)[:11] for row in rows] == ["<b>1230</b>", "<b>FFF0</b>"] and left == 0
    assert hex_rows(data, ())[1] == 4096 - 1024


def test_drawings_without_differences():
    """Equal images draw an empty map and bars of no length; no line is named."""
    found = compare(IMAGE, IMAGE)

    assert named_lines(found.causes) == frozenset()
    assert 'class="g1"' not in map_svg(found.blocks, 16, "bytes differ")
    assert "named" not in lines_svg(found)


def test_an_order_of_lines_marks_none():
    """Lines in another order are said in words; no single line is to blame."""
    order = (np.unpackbits(np.frombuffer(IMAGE, np.uint8)).reshape(-1, 8)[:, ::-1]).copy()
    found = compare(IMAGE, np.packbits(order).tobytes())

    assert found.causes[0].faults[0].kind == "data-order" and named_lines(found.causes) == frozenset()


def test_known_content_is_named(bench):
    """What is in the shop's list is named on every kind of page; the rest is unknown, not bad."""
    add_known(bench.desk.store, [known_image("program C", IMAGE)], who="R. Tansy")

    assert "Known as program C" in send(bench, ("u3.bin", IMAGE)).text
    assert "good.bin: known as program C" in send(bench, ("good.bin", IMAGE), ("bad.bin", STUCK)).text
    assert "bad.bin: unknown" in send(bench, ("good.bin", IMAGE), ("bad.bin", STUCK)).text
    assert "known as program C" in send(bench, *[("a.bin", IMAGE)] * 3).text


def test_device_address_and_cpu_are_taken(bench):
    """The size is judged against the device, the vectors at the address and for the CPU that were given."""
    told = send(bench, ("u3.bin", IMAGE), device="2764", start="F000", cpu="6502").text

    assert "It leaves 4,096 bytes of a 2764 empty" in told
    assert "Vectors of a 6502, image at F000" in told and "bit a byte" in told


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ({"device": "4711"}, "device"), ({"start": "x"}, "CPU address"), ({"start": "12345"}, "0 to FFFF"),
        ({"cpu": "4004"}, "one of 6502"), ({"read_as": "elf"}, "image format"), ({"read_as": "ihex"}, "u3.bin:1"),
        ({"use-0": "1", "held-0": "%%"}, "held in place 1 is damaged"), ({"job": "26-9999-9"}, "26-9999-9"),
        ({"keep": "1"}, "no job to keep it in"),
    ],
)  # fmt: skip
def test_wrong_choices_are_told_and_the_image_stays(bench, data, told):
    """One clear message; what was sent is still there to be sent again."""
    answer = send(bench, ("u3.bin", IMAGE), **data)

    assert answer.status_code in (400, 404) and told in answer.text
    assert answer.text.count('role="alert"') == 1
    assert 'name="held-0-name" value="u3.bin"' in answer.text or "held" in told or "job" in data


def test_what_was_sent_is_held_by_the_page_alone(bench):
    """The next press brings the image back with a second one; nothing of it is on the bench."""
    first = send(bench, ("good.bin", IMAGE)).text
    held = re.search(
        r'name="held-0" value="([^"]+)"><input type="hidden" name="held-0-name" value="good.bin"', first
    )
    assert held is not None

    again = send(bench, ("bad.bin", STUCK), **{"use-0": "1", "held-0": held[1], "held-0-name": "good.bin"})

    assert "data line D3 stuck high" in again.text and "good.bin and bad.bin" in again.text
    assert list(bench.desk.store.files.names()) == []


def test_large_images_are_not_held(bench):
    """Beyond 2 MiB in all the page carries nothing, and says so where the result would be."""
    files = [("a.bin", b"\x01" * 1024 * 1024)] * 3

    assert 'name="held-0"' not in send(bench, *files, vote="1").text.partition('id="look"')[2]


def test_a_jobs_images_are_offered_on_its_page_alone(at_work):
    """Images of a job are chosen by their entries; without the job, or in another, none is listed or taken."""
    send(at_work, ("u3.bin", IMAGE), job=at_work.number, keep="1", refdes="U3")
    line = at_work.job.state.images[0]
    other = at_work.desk.store.new_job({"customer": "x", "complaint": "y"}, who="R. Tansy")

    assert f'name="with-{line.seq}"' in at_work.client.get(f"/rom?job={at_work.number}").text
    for path in ("/rom", f"/rom?job={other}", "/rom/merge", "/rom/burn", "/rom/known", "/"):
        assert (
            "u3.bin" not in at_work.client.get(path).text and line.sha256 not in at_work.client.get(path).text
        )
    assert "fills a 2532" in send(at_work, job=at_work.number, **{f"with-{line.seq}": "1"}).text
    refused = at_work.client.post("/rom/split", data={"job": other, "kept-0": str(line.seq)})
    assert refused.status_code == 400 and "expected an image kept in that job" in refused.text


def test_two_dumps_vote_when_asked(bench):
    """With the box ticked, two images are dumps of one device."""
    assert "bits are tied" in send(bench, ("a.bin", IMAGE), ("b.bin", STUCK), vote="1").text


def held(data: bytes, name: str = "image.bin") -> dict[str, str]:
    return {"held-0": b64encode(data).decode(), "held-0-name": name}


@pytest.mark.parametrize("format", ["binary", "ihex", "srec", "titxt", "hexdump"])
def test_a_result_is_saved_in_any_format(bench, format):
    """What is saved is the image at its address, under a name with the format's extension, never to be shown."""
    answer = bench.client.post("/rom/save", data={**held(IMAGE), "format": format, "at": "F000"})
    read = parse_image(answer.content, start=0xF000)

    assert (read.low, read.dense()) == (0xF000, IMAGE)
    assert answer.headers["content-disposition"].startswith("attachment; filename*=UTF-8''image.")
    assert answer.headers["cache-control"] == "no-store"


@pytest.mark.parametrize(
    ("path", "data", "told"),
    [
        ("/rom/save", {}, "no image to save"), ("/rom/save", {**held(IMAGE), "format": "elf"}, "image format"),
        ("/rom/save", {**held(IMAGE), "at": "123456789"}, "address of the first byte"),
        ("/rom/keep", {}, "no image to keep"), ("/rom/keep", held(IMAGE), "no job to keep it in"),
    ],
)  # fmt: skip
def test_a_result_that_cannot_be_handed_out_is_told(bench, path, data, told):
    """One clear message, and nothing kept."""
    answer = bench.client.post(path, data=data)

    assert answer.status_code == 400 and told in answer.text and list(bench.desk.store.files.names()) == []


def test_a_result_is_kept_in_a_job(at_work):
    """Keeping a result writes an entry with its place, device and address, and leads to the burn list."""
    data = {
        **held(IMAGE),
        "job": at_work.number,
        "what": "burn",
        "refdes": "U3",
        "device": "2732",
        "at": "F000",
    }
    answer = at_work.client.post("/rom/keep", data=data)

    assert answer.url.path == "/rom/burn" and "F000-FFFF" in answer.text
    assert at_work.job.state.images[0].cpu_first == 0xF000


def test_nobody_keeps_nothing(at_work):
    """Without a name in the record nothing is kept."""
    at_work.client.cookies.clear()
    answer = at_work.client.post("/rom/keep", data={**held(IMAGE), "job": at_work.number})

    assert answer.status_code == 400 and "who keeps this" in answer.text and at_work.job.state.images == ()
