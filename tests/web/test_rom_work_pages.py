"""Merging, splitting, burning and the shop's list on their pages: results, hand-over between them, wrong input."""

import re
from base64 import b64decode, b64encode

import pytest

from coppermend.job.reference import reference_rows
from coppermend.rom.merge import Piece, merge

U2 = bytes(range(256)) * 16
U3 = U2[:-6] + bytes.fromhex("00F000F000E0")


def post(bench, path, files=(), **data):
    return bench.client.post(path, data=data, files=[(f"file-{n}", file) for n, file in enumerate(files)])


def merged(bench, **more):
    data = {"device": "2764", "cpu": "6502", "at-0": "E000", "at-1": "$F000", **more}
    return post(bench, "/rom/merge", [("u2.bin", U2), ("u3.bin", U3)], **data)


def held(answer) -> bytes:
    """The image that the first hand-out of a page holds."""
    found = re.search(r'data-again.*?name="held-0" value="([^"]+)"', answer.text, re.S)
    assert found is not None
    return b64decode(found[1])


def test_images_are_merged_and_handed_out(bench):
    """The result is that of the library, with places, vectors and what drives each address line."""
    answer = merged(bench)
    want = merge([Piece("u2.bin", 0xE000, U2), Piece("u3.bin", 0xF000, U3)], 8192)

    assert answer.status_code == 200 and held(answer) == want.data
    assert '<th scope="row">A12</th><td class="num">pin 2</td><td>A12 of the CPU</td>' in answer.text
    assert '<th scope="row">IRQ</th><td><code>E000</code></td><td>in these images</td>' in answer.text
    assert list(bench.desk.store.files.names()) == []


def test_mirrors_gaps_and_fill_are_shown(bench):
    """A larger device repeats the window; with the box ticked the rest is fill; gaps are listed and filled."""
    repeated = merged(bench, device="27128")
    once = merged(bench, device="27128", once="1", fill="00")
    gap = merged(bench, device="27128", **{"at-0": "C000"})

    assert "repeated 2 times" in repeated.text and held(repeated) == (U2 + U3) * 2
    assert held(once) == U2 + U3 + bytes(8192) and "tie low: the upper part is empty" in once.text
    assert "gap, filled" in gap.text and held(gap)[0x1000:0x3000] == b"\xff" * 0x2000


def test_checksum_bytes_change_on_request_alone(bench):
    """Only the named byte changes, and the page says from what to what."""
    answer = merged(bench, fix="sum8", target="00", fix_at="F010")
    data, plain = held(answer), held(merged(bench))

    assert sum(data) % 256 == 0
    assert [n for n in range(8192) if data[n] != plain[n]] == [0x1010]
    assert (
        "Changed on your request" in answer.text and f"CPU F010 from 10 to {data[0x1010]:02X}" in answer.text
    )


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"device": ""}, "no device"), ({"at-1": ""}, "u3.bin has no CPU address"), ({"at-1": "E800"}, "overlap"),
        ({"device": "2732"}, "window of 8,192"), ({"at-0": "zz"}, "CPU address of u2.bin &#39;zz&#39;"),
        ({"fill": "100"}, "0 to FF"), ({"at-1": "F800"}, "bytes within 0000 to FFFF"), ({"cpu": "4004"}, "CPU"),
        ({"fix": "sum8"}, "a sum to be fixed"), ({"fix": "sum8", "target": "0", "fix_at": "1000"}, "E000 to FFFF"),
        ({"fix": "sum8", "target": "0", "fix_at": "F0 x"}, "checksum byte"),
        ({"fix": "sum16", "target": "FFFF", "fix_at": "F000"}, "cannot bring sum16"),
        ({"device": "27128", "fix": "sum8", "target": "0", "fix_at": "F000"}, "repeated or partly filled"),
        ({"held-2": "AA==", "held-2-name": "c.hex", "at-2": "0", "read_as": "ihex"}, "u2.bin:1"),
    ],
)  # fmt: skip
def test_what_cannot_be_merged_is_told_and_stays(bench, more, told):
    """One clear message; images and addresses are still there."""
    answer = merged(bench, **more)

    assert answer.status_code == 400 and told in answer.text and answer.text.count('role="alert"') == 1
    assert 'name="held-0-name" value="u2.bin"' in answer.text and 'value="2764"' in answer.text


def test_no_image_to_merge(bench):
    """Without images the page asks for one."""
    assert "no image to merge" in post(bench, "/rom/merge", device="2764").text
    assert bench.client.get("/rom/merge").status_code == bench.client.get("/rom/split").status_code == 200


def test_an_image_is_split(bench):
    """Every part comes out with its sums, to be saved at its address: the inverse of merging."""
    parts = {
        "name-0": "U2",
        "at-0": "E000",
        "size-0": "1000",
        "name-1": "U3",
        "at-1": "F000",
        "size-1": "1000",
    }
    answer = post(bench, "/rom/split", [("both.bin", U2 + U3)], base="E000", **parts)

    assert answer.status_code == 200 and held(answer) == U2
    assert (
        b64encode(U3).decode() in answer.text and "CPU <code>F000</code> to <code>FFFF</code>" in answer.text
    )


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ({}, "nothing to split off"), ({"name-0": "U2"}, "image 1 is not whole"),
        ({"name-0": "U2", "at-0": "F000", "size-0": "2000"}, "bytes within E000 to FFFF"),
        ({"name-0": "a", "at-0": "E000", "size-0": "1", "name-1": "a", "at-1": "E001", "size-1": "1"}, "comes twice"),
        ({"base": "q"}, "CPU address of the first byte"),
    ],
)  # fmt: skip
def test_what_cannot_be_split_is_told(bench, data, told):
    """One clear message, and the image stays."""
    answer = post(bench, "/rom/split", [("both.bin", U2 + U3)], **{"base": "E000", **data})

    assert answer.status_code == 400 and told in answer.text and "both.bin" in answer.text
    assert "no image to split" in post(bench, "/rom/split").text


def burnt(bench, files, **data):
    return post(
        bench,
        "/rom/burn",
        files,
        **{"device": "2732", "place": "U3", "start": "F000", "version": "2", **data},
    )


def test_what_to_burn_and_what_came_back(bench):
    """Voltage, sums and label; then the verdict on what was read back. Nothing is kept without a job."""
    label = burnt(bench, [("program C.bin", U3)]).text
    good = burnt(bench, [("program C.bin", U3), ("read.bin", U3)]).text
    bad = burnt(bench, [("program C.bin", U3), ("read.bin", b"\xff" * 4096)]).text

    assert "U3 2732\nprogram C 2\nF000-FFFF\nsum16 " in label and "<strong>25 V</strong>" in label
    assert "<strong>Verified.</strong>" in good and "<strong>Not verified.</strong>" in bad
    assert list(bench.desk.store.files.names()) == []


def test_the_burn_list_of_a_job(at_work):
    """Kept images are listed with their verdict, which a read-back changes; the list goes out as CSV."""
    page = f"/rom/burn?job={at_work.number}"
    assert "Nothing to burn" in at_work.client.get(page).text

    burnt(at_work, [("program C.bin", U3)], job=at_work.number, keep="1")
    line = at_work.job.state.images[0]
    before = at_work.client.get(page).text
    form = at_work.client.get(f"{page}&image={line.seq}").text
    read = {"kept-0": str(line.seq), "job": at_work.number, "keep": "1", "name": "program C"}
    files = [("file-1", ("read.bin", U3))]
    data = {"device": "2732", "place": "U3", "start": "F000", "version": "2", **read}
    after = at_work.client.post("/rom/burn", data=data, files=files).text

    assert "not read back" in before and f'value="{line.seq}" selected' in form and 'value="F000"' in form
    assert "verified, entry" in after and [i.what for i in at_work.job.state.images] == ["burn", "read-back"]
    rows = at_work.client.get(f"/rom/burn-list.csv?job={at_work.number}").text.splitlines()
    assert rows[0].startswith("place,device,image") and rows[1].startswith("U3,2732,program C.bin,2,25,")
    assert rows[1].endswith(",verified")


def test_a_kept_image_of_no_known_device_is_listed(at_work):
    """The list says what is wrong with an image that cannot be burnt as it stands."""
    sha256 = at_work.desk.store.attach(U3, "x.bin")
    body = {"sha256": sha256, "name": "x.bin", "what": "burn"}
    at_work.desk.store.append(at_work.number, "image", "refit", body, who="R. Tansy")

    assert "which device is not known" in at_work.client.get(f"/rom/burn?job={at_work.number}").text
    assert "not read back" in at_work.client.get(f"/rom/burn-list.csv?job={at_work.number}").text


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ({"device": "", "keep": "1"}, "nothing to burn"), ({"device": "2764"}, "expected 8,192 bytes"), ({"start": "F800"}, "FFFF"),
        ({"keep": "1"}, "no job to keep it in"), ({"job": "26-9999-9"}, "26-9999-9"),
        ({"keep": "1", "job": "26-9999-9"}, "26-9999-9"),
    ],
)  # fmt: skip
def test_what_cannot_be_burnt_is_told(bench, data, told):
    """One clear message, and the image stays."""
    answer = burnt(bench, [("u3.bin", U3)], **data)

    assert answer.status_code in (400, 404) and told in answer.text and answer.text.count('role="alert"') == 1
    assert 'name="held-0-name" value="u3.bin"' in answer.text


def test_a_job_that_does_not_exist_is_told(bench):
    """Each page says so once, with status 400 or 404, and still works."""
    for page in ("/rom", "/rom/merge", "/rom/split", "/rom/burn"):
        answer = bench.client.get(f"{page}?job=26-9999-9")
        assert answer.status_code in (400, 404) and answer.text.count('role="alert"') == 1


def test_the_shops_list_grows_and_shrinks(bench):
    """An image's sums, then a CSV; both go out again; a line is taken off."""
    empty = bench.client.get("/rom/known").text
    one = post(bench, "/rom/known", [("u2.bin", U2)], name="program C, low half", note="two boards").text
    many = bench.client.post(
        "/rom/known", files=[("list", ("good.csv", b"name,crc32\nother,00000000\n"))]
    ).text
    text = bench.client.get("/rom/known.csv").text
    line = reference_rows(bench.desk.store)[0]
    bench.client.post("/rom/known/drop", data={"line": str(line.id)})

    assert (
        "The list is empty" in empty and "one line added" in one and "two boards" in one and "other" in many
    )
    assert text.splitlines()[0] == "name,sha256,sha1,crc32,note" and len(text.splitlines()) == 3
    assert line.who == "R. Tansy" and len(reference_rows(bench.desk.store)) == 1
    again = bench.client.post("/rom/known", files=[("list", ("good.csv", text.encode()))]).text
    assert "one line added" in again and len(reference_rows(bench.desk.store)) == 2


@pytest.mark.parametrize(
    ("files", "data", "told"),
    [
        ([], {}, "nothing to add"), ([("file-0", ("u2.bin", U2))], {}, "without name"),
        ([("file-0", ("u2.bin", b""))], {"name": "x"}, "empty file"),
        ([("list", ("good.csv", b"name,crc32\nx,12\n"))], {}, "good.csv:2: crc32"),
        ([("list", ("good.csv", U2))], {}, "NUL"),
    ],
)  # fmt: skip
def test_what_cannot_be_added_is_told(bench, files, data, told):
    """One clear message, and nothing is added."""
    answer = bench.client.post("/rom/known", files=files, data=data)

    assert answer.status_code == 400 and told in answer.text and reference_rows(bench.desk.store) == ()
    assert bench.client.post("/rom/known/drop", data={"line": "99"}).status_code == 404


def test_nobody_adds_nothing(bench):
    """Without a name the list stays as it is, and the image is not lost."""
    bench.client.cookies.clear()
    answer = post(bench, "/rom/known", [("u2.bin", U2)], name="x")

    assert answer.status_code == 400 and "who keeps this" in answer.text and "u2.bin" in answer.text


def test_devices_are_shown_and_held_side_by_side(bench):
    """All devices; one with its pins around the package; two with the pins at which they differ."""
    every = bench.client.get("/rom/devices").text
    one = bench.client.get("/rom/devices", params={"b": "2364"}).text
    two = bench.client.get("/rom/devices", params={"a": "2332", "b": "2732"}).text

    assert ">27256</a>" in every and "Pins, seen from above" not in every
    assert "<td>A7</td><th>1</th><th>24</th><td>VCC</td>" in one
    # a 2332 has A11 on 18, a 2732 on 21 (public byte-wide pin chart)
    assert "3 pins differ" in two and '<th scope="row">18</th><td>A11</td><td>/CE</td>' in two


def test_an_unknown_device_is_told(bench):
    """One clear message, and the table stays."""
    answer = bench.client.get("/rom/devices", params={"a": "4711"})

    assert answer.status_code == 404 and "4711" in answer.text and ">27256</a>" in answer.text


def test_an_image_handed_over_asks_for_its_device(bench):
    """Coming from another page with an image, the page asks for the device instead of complaining."""
    answer = burnt(bench, [("u3.bin", U3)], device="")

    assert answer.status_code == 200 and "Say into which device it goes" in answer.text
    assert 'name="held-0-name" value="u3.bin"' in answer.text


def test_the_boards_nets_are_named_on_the_address_lines(at_work):
    """With a board each line of the device names the net and the CPU's pin that drives it."""
    assert "A12 of the CPU, net A12 (U1.22)" in merged(at_work, board=at_work.board).text
