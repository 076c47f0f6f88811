"""The rom commands as a technician and a script meet them."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest

from coppermend.rom.checksums import sums
from coppermend.rom.ihex import format_intel_hex
from coppermend.rom.image import RomImage

VECTORS = bytes.fromhex("00F000F000F0")


@pytest.fixture
def images(tmp_path: Path) -> Path:
    """A folder with u2.bin and u3.bin (4 KiB each, u3 with vectors), and damaged copies of them."""
    for name, tail in (("u2", b""), ("u3", VECTORS)):
        data = random.Random(name).randbytes(4096 - len(tail)) + tail
        (tmp_path / f"{name}.bin").write_bytes(data)
        (tmp_path / f"{name}-stuck.bin").write_bytes(bytes(byte | 0x20 for byte in data))
        (tmp_path / f"{name}-odd.bin").write_bytes(bytes([data[0] ^ 1]) + data[1:])
    return tmp_path


def test_info_in_words_and_json(images: Path, call: Any) -> None:
    """Size, sums, vectors and known content; JSON has the same."""
    data = (images / "u3.bin").read_bytes()
    (images / "known.csv").write_text(f"name;sha256;note\nprogram C;{sums(data)['sha256']};two boards\n")
    words = [
        "rom",
        "info",
        images / "u3.bin",
        "--device",
        "2732",
        "--cpu",
        "6502",
        "--known",
        images / "known.csv",
    ]

    said, document = call(*words).out, call(*words, "--json").document

    assert "fits a 2732 exactly" in said and "known: program C (two boards)" in said and "reset" in said
    assert document["known"] == [{"name": "program C", "note": "two boards"}] and document["start"] == 0xF000


def test_info_of_unknown_blank_and_repeated(images: Path, call: Any) -> None:
    """A blank image is questioned; what is not in the reference list is unknown, not bad."""
    (images / "blank.bin").write_bytes(b"\xff" * 2048)
    (images / "known.csv").write_text(f"name,crc32\nx,{'0' * 8}\n")

    said = call("rom", "info", images / "blank.bin", "--known", images / "known.csv").out

    assert "doubt: every byte is FF" in said and "unknown: not in the reference list" in said
    assert "repeats its first 1 bytes" in said


def test_tolerant_lists_defects(images: Path, call: Any) -> None:
    """A wrong checksum ends strict reading with file and line; tolerantly it is listed and the image read."""
    path = images / "bad.hex"
    path.write_text(":0100000041BF\n:00000001FF\n")

    refused, told = call("rom", "info", path), call("rom", "info", path, "--tolerant")

    assert refused.status == 2 and f"{path}:1: checksum BF; expected BE" in refused.err
    assert told.status == 0 and f"defect: {path}:1: checksum BF" in " ".join(told.out.split())


def test_compare_names_the_cause(images: Path, call: Any) -> None:
    """A stuck line is named; status 1 says that they differ, 0 that they are equal."""
    pair = ["rom", "compare", images / "u2.bin", images / "u2-stuck.bin"]

    differing, equal = call(*pair), call("rom", "compare", images / "u2.bin", images / "u2.bin")

    assert differing.status == 1 and "data line D5 stuck high" in differing.out
    assert equal.status == 0 and "equal, byte for byte" in equal.out
    assert call(*pair, "--json").document["causes"][0]["faults"][0]["lines"] == [5]


def test_compare_tells_what_is_known(images: Path, call: Any) -> None:
    """Of two images, the one in the reference list is named."""
    data = (images / "u2.bin").read_bytes()
    (images / "known.csv").write_text(f"name,sha1\nprogram B,{sums(data)['sha1']}\n")
    known = ["--known", images / "known.csv"]

    said = call("rom", "compare", images / "u2.bin", images / "u2-odd.bin", *known).out

    assert "image 1: known as program B" in said and "image 2: unknown" in said
    assert "known as program B" in call("rom", "compare", *[images / "u2.bin"] * 3, *known).out
    assert "unknown, not in" in call("rom", "compare", *[images / "u3.bin"] * 3, *known).out


def test_dumps_vote(images: Path, call: Any) -> None:
    """Three dumps vote; the majority is written and read again as the good image."""
    out = images / "best.hex"
    dumps = [images / "u2-odd.bin", images / "u2.bin", images / "u2.bin"]

    answer = call("rom", "compare", *dumps, "-o", out)

    assert answer.status == 1 and "1 unstable byte" in answer.out
    assert call("rom", "compare", out, images / "u2.bin").status == 0
    assert call("rom", "compare", *dumps, "--json").document["unstable"][0]["mask"] == 1


def test_two_dumps_vote_when_asked(images: Path, call: Any) -> None:
    """With --vote two images are dumps of one device; the tie is told."""
    said = call("rom", "compare", images / "u2.bin", images / "u2-odd.bin", "--vote").out

    assert "1 bit tied" in said


def test_many_unstable_bytes_are_cut(images: Path, call: Any) -> None:
    """Of many unstable bytes the first are listed, the rest counted."""
    said = call("rom", "compare", *[images / "u2.bin"] * 2, images / "u2-stuck.bin").out

    assert "more" in said and "nearly all on D5" in said


@pytest.mark.parametrize("name", ["out.hex", "out.s19", "out.txt", "out.dump", "out.bin"])
def test_convert_keeps_every_byte(images: Path, call: Any, name: str) -> None:
    """Through every format the image comes back equal."""
    out = images / name
    assert call("rom", "convert", images / "u3.bin", "-o", out, "--start", "F000").status == 0

    back = images / "back.bin"
    assert call("rom", "convert", out, "-o", back, "--to", "binary", "--json").document["bytes"] == 4096

    assert back.read_bytes() == (images / "u3.bin").read_bytes()


def test_merge_and_split(images: Path, call: Any) -> None:
    """Two images make one for a 2764, and come apart again."""
    out, parts = images / "program.bin", images / "parts"
    parts.mkdir()

    said = call(
        "rom", "merge", f"{images / 'u2.bin'}@E000", f"{images / 'u3.bin'}@$F000", "--device", "2764", "--cpu", "6502", "-o", out,
    ).out  # fmt: skip
    split = call("rom", "split", out, "U2=E000+1000", "U3=F000+1000", "--base", "E000", "-o", parts, "--json")

    assert "A12 of the CPU" in said and "reset" in said
    assert (parts / "U3.bin").read_bytes() == (images / "u3.bin").read_bytes()
    assert [piece["name"] for piece in split.document["pieces"]] == ["U2", "U3"]


def test_checksum_is_fixed_only_on_request(images: Path, call: Any) -> None:
    """--fix with --at brings the sum to its value and shows each change; nothing else is touched."""
    words = ["rom", "merge", f"{images / 'u2.bin'}@F000", "--device", "2732"]

    said = call(*words, "--fix", "sum8=00", "--at", "F010")
    document = call(*words, "--fix", "sum8=00", "--at", "F010", "--json").document

    assert "changed: offset 0010" in said.out and document["sums"]["sum8"] == "00"
    assert call(*words, "--json").document["fix"] is None


@pytest.mark.parametrize("passed", [True, False])
def test_burn_and_read_back(images: Path, call: Any, passed: bool) -> None:
    """The burn list has label and voltage; what was read back passes or does not, and the status says so."""
    read = images / ("u3.bin" if passed else "u3-odd.bin")
    words = [
        "rom",
        "burn",
        images / "u3.bin",
        "--device",
        "2732",
        "--place",
        "U3",
        "--start",
        "F000",
        "--read-back",
        read,
    ]

    answer = call(*words)

    assert answer.status == (0 if passed else 1) and "25 V" in answer.out and "F000-FFFF" in answer.out
    assert ("NOT verified" in answer.out) is not passed
    assert call(*words, "--json").document["read_back"]["verified"] is passed


def test_burning_is_kept_in_the_job(images: Path, call: Any) -> None:
    """With --job the image and what was read back are attachments, and the verdict is in the record."""
    number = call("job", "new", "--customer", "Ana", "--json").document["number"]
    words = [
        "rom",
        "burn",
        images / "u3.bin",
        "--device",
        "2732",
        "--place",
        "U3",
        "--start",
        "F000",
        "--job",
        number,
    ]

    said = call(*words, "--read-back", images / "u3.bin", "--who", "Bo").out
    entries = call("job", "log", number, "--json").document["entries"][1:]

    assert f"kept in job {number} as entry 2, entry 3" in said
    assert [(e["kind"], e["who"], e["body"]["what"], e["body"].get("verified")) for e in entries] == [
        ("image", "Bo", "burn", None), ("image", "Bo", "read-back", True),
    ]  # fmt: skip
    assert (
        entries[0]["body"]["sha256"] == entries[1]["body"]["sha256"]
        and entries[0]["body"]["cpu_first"] == 0xF000
    )


def test_devices(call: Any) -> None:
    """All devices, one with its pins, two with their differences."""
    assert "28C256" in call("rom", "devices").out
    assert "/CE" in call("rom", "devices", "2764").out
    assert len(call("rom", "devices", "2332", "2732", "--json").document["differences"]) == 3


def test_adapter_for_the_demo_board(images: Path, demo_folder: Path, call: Any) -> None:
    """With images: verified at every address, and the image to burn equals the merged one."""
    out, merged = images / "burn.bin", images / "merged.bin"
    pair = [f"U2={images / 'u2.bin'}", f"U3={images / 'u3.bin'}"]
    words = [
        "rom",
        "adapt",
        demo_folder,
        "U2,U3",
        "--device",
        "2764",
        "--image",
        pair[0],
        "--image",
        pair[1],
        "-o",
        out,
    ]

    answer = call(*words)
    call(
        "rom",
        "merge",
        f"{images / 'u2.bin'}@E000",
        f"{images / 'u3.bin'}@F000",
        "--device",
        "2764",
        "-o",
        merged,
    )

    assert (
        answer.status == 0
        and "8,192 of 8,192 bytes right" in answer.out
        and answer.out.endswith("verified\n")
    )
    assert out.read_bytes() == merged.read_bytes()


def test_wrong_wiring_is_not_verified(tmp_path: Path, demo_folder: Path, call: Any) -> None:
    """A wiring as soldered, with two lines exchanged, is refused with the first wrong addresses."""
    wiring = tmp_path / "wiring.csv"
    wiring.write_text("pin,net\n2,A11\n23,A12\n")

    answer = call("rom", "adapt", demo_folder, "U2,U3", "--device", "2764", "--wiring", wiring)

    assert answer.status == 1 and "NOT verified" in answer.out and "before" in answer.out


def test_too_slow_is_a_no(demo_folder: Path, call: Any) -> None:
    """At a clock that leaves no time the answer is no, though every byte is right."""
    document = call("rom", "adapt", demo_folder, "U2,U3", "--device", "27256", "--clock", "2MHz", "--json")

    assert document.status == 1 and document.document["verification"]["passed"]
    assert document.document["access"]["margin_ns"] < 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["info", "none.bin"], "no such file"),
        (["info", "u2.bin", "--cpu", "8051"], "expected one of 6502"),
        (["info", "u2.bin", "--start", "12345"], "0000 to FFFF"),
        (["info", "u2.bin", "--device", "4711"], "no memory device '4711'"),
        (["info", "u2.bin", "--format", "word"], "unknown image format"),
        (["info", "empty.hex"], "holds no bytes"),
        (["compare", "u2.bin"], "one image"),
        (["compare", "u2.bin", "u3.bin", "-o", "x.bin"], "--out without a vote"),
        (["compare", "empty.hex", "u3.bin"], "empty.hex: holds no bytes"),
        (["merge", "u2.bin", "--device", "2764"], "no address"),
        (["merge", "u2.bin@E000", "--device", "2764", "--cpu", "x"], "expected one of 6502"),
        (["merge", "u2.bin@E000", "--device", "2764", "--fill", "100"], "byte '100'"),
        (["merge", "u2.bin@E000", "--device", "2732", "--fix", "crc=00", "--at", "E000"], "--fix 'crc=00'"),
        (
            ["merge", "u2.bin@E000", "--device", "2764", "--fix", "sum8=00", "--at", "E000"],
            "repeated or partly",
        ),
        (["split", "u2.bin", "U2", "-o", "."], "NAME=ADDRESS+BYTES"),
        (["split", "u2.bin", "A=0000+10", "A=0010+10", "-o", "."], "a name comes twice"),
        (["split", "u2.bin", "A=0000+10", "-o", "nowhere"], "is no folder"),
        (["burn", "u2.bin", "--device", "2764", "--place", "U2"], "8,192 bytes, all of a 2764"),
        (["devices", "2716", "2732", "2764"], "3 devices"),
        (["convert", "u2.bin", "-o", "nowhere/x.hex"], "there is no folder"),
    ],
)
def test_what_is_refused(
    images: Path, call: Any, monkeypatch: pytest.MonkeyPatch, words: list[str], told: str
) -> None:
    """Each wrong input is one line that says what was expected."""
    monkeypatch.chdir(images)
    Path("empty.hex").write_text(format_intel_hex(RomImage()))

    answer = call("rom", *words)

    assert answer.status == 2 and told in answer.err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--level", "U2.20=up"], "low or high"),
        (["--level", "U2.20"], "POINT=low"),
        (["--image", "U2=u2.bin"], "one for each of U2, U3"),
        (["--image", "U2=u2.bin", "--image", "U3=short.bin"], "short.bin: holds 3 bytes"),
        (["-o", "x.bin"], "--out without images"),
        (["--wiring", "empty.csv"], "empty.csv:1: the header lacks"),
        (["--wiring", "pins.csv"], "pins.csv:2: pin '99'"),
        (["--clock", "fast"], "fast"),
    ],
)
def test_what_adapt_refuses(
    images: Path, demo_folder: Path, call: Any, monkeypatch: pytest.MonkeyPatch, words: list[str], told: str
) -> None:
    """Each wrong option of adapt is one line that says what was expected."""
    monkeypatch.chdir(images)
    Path("short.bin").write_bytes(b"abc")
    Path("empty.csv").write_text("a,b\n")
    Path("pins.csv").write_text("pin,net\n99,A0\n")

    answer = call("rom", "adapt", demo_folder, "U2,U3", "--device", "2764", *words)

    assert answer.status == 2 and told in answer.err


def test_the_shops_reference_list(images: Path, call: Any) -> None:
    """Lines come from images and CSV files, each once; one is taken off again."""
    where = ["--data", images / "data", "--who", "R. Tansy"]
    (images / "more.csv").write_text("name,crc32,note\nprogram B,00000000,from a good board\n")

    added = call(
        "rom", "known", "--image", images / "u2.bin", "--name", "program C", *where, "--json"
    ).document
    again = call("rom", "known", "--image", images / "u2.bin", "--name", "program C", *where).out
    both = call("rom", "known", "--import", images / "more.csv", *where).out
    fewer = call("rom", "known", "--drop", added["known"][0]["id"], *where).out

    assert added["added"] == 1 and "0 lines added" in again
    assert "program B" in both and "program C" in both and "program C" not in fewer
    assert call("rom", "known", "--drop", 99, *where).status == 2
    assert call("rom", "known", "--name", "x", *where).status == 2
    assert "empty" in call("rom", "known", "--data", images / "elsewhere").out


def test_the_burn_list_of_a_job(images: Path, call: Any) -> None:
    """Status 1 until what was burnt has been read back and is right."""
    where = ["--data", images / "data"]
    job = call("job", "new", "--customer", "O. Penhallow", *where, "--json").document["number"]
    burn = ["rom", "burn", images / "u3.bin", "--device", "2732", "--place", "U3", "--job", job, *where]

    assert "nothing to burn" in call("rom", "list", job, *where).out
    call(*burn)
    open_, json = call("rom", "list", job, *where), call("rom", "list", job, *where, "--json").document
    call(*burn, "--read-back", images / "u3.bin")
    done = call("rom", "list", job, *where)

    assert open_.status == 1 and "not read back" in open_.out and "label U3: U3 2732" in open_.out
    assert json["items"][0]["item"]["device"] == "2732"
    assert done.status == 0 and "verified" in done.out


def test_self_test_firmware_is_written(images: Path, call: Any, demo_folder: Path) -> None:
    """With the board's memory map: an image a memory and the listing, which JSON tells too."""
    ports = ["--result", "0200", "--setup", "0201=FF", "--lamp", "1001=38,30"]

    said = call("rom", "selftest", "--board", demo_folder, *ports, "-o", images)
    document = call("rom", "selftest", "--board", demo_folder, *ports, "--json").document
    alone = call(
        "rom", "selftest", "--rom", "F000+1000", "--ram", "0000+80", "--result", "0200", "--walk", "1800"
    )

    data = (images / "selftest-F000.bin").read_bytes()
    assert said.status == 0 and "flashes 4 times" in said.out and sums(data)["sum16"] == "A55A"
    assert (images / "selftest.lst").read_text().splitlines() == document["listing"]
    assert document["sums"][1] == sums(data) and alone.status == 0 and "1800" in alone.out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--rom", "F000", "--result", "0200"], "area 'F000'"),
        (["--result", "0200"], "the last program memory"),
        (["--rom", "F000+1000", "--result", "0200", "--setup", "0201"], "--setup '0201'"),
        (["--rom", "F000+1000", "--result", "0200", "--lamp", "1001"], "--lamp '1001'"),
        (["--rom", "F000+1000", "--result", "0200", "-o", "nowhere"], "is no folder"),
    ],
)
def test_self_tests_that_cannot_be(call: Any, words: list[str], told: str) -> None:
    """Each is told in one line with status 2."""
    answer = call("rom", "selftest", *words)

    assert answer.status == 2 and told in answer.err


def test_merge_names_the_boards_nets(images: Path, call: Any, demo_folder: Path) -> None:
    """With a board each address line names its device pin, the net, and the CPU's pin that drives it."""
    words = ["rom", "merge", f"{images / 'u2.bin'}@E000", f"{images / 'u3.bin'}@F000", "--device", "2764"]

    document = call(*words, "--board", demo_folder, "--json").document

    assert document["lines"][12] == {"line": "A12", "from": "A12 of the CPU, net A12 (U1.22)"}
    assert document["address_pins"][12] == "2"
