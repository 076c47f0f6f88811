"""What an image tells about itself: sums and devices, doubts, vectors, likely CPU, text, first instructions."""

import random

import pytest

from coppermend.errors import InputError
from coppermend.rom.devices import get_device
from coppermend.rom.info import blank_runs, entropy_bits, read_doubts, repeat_size, rom_info
from coppermend.rom.opcodes import INSTRUCTIONS_6502, STEPS
from coppermend.rom.program import default_start, disassemble_6502, guess_cpu, vectors, visible_text
from coppermend.rom.reference import parse_known

# Bodies of short subroutines, hand-assembled; {call} stands for a call of another subroutine.
_SOURCES = {
    "6502": ("60", "20", False, ["A200BD0003", "CAD0F8", "A90085{z}", "8D0002", "1869018501", "C9{z}F002", "E8", "4848"]),
    "6800": ("39", "BD", True, ["86{z}97{z}", "CE0100", "A600", "B70200", "8C01002702", "5C", "3636", "4F5F"]),
    "6809": ("39", "BD", True, ["3406", "8E0100", "A680", "3506", "10830010", "108E0200", "1F89", "304B", "ECC4", "171234"]),
    "Z80": ("C9", "CD", False, ["21{z}40", "3E{z}", "7723", "0610", "10FC", "DD7E05", "EDB0", "F5C5", "FE{z}2802", "AF"]),
}  # fmt: skip


def program_of(family: str, seed: int, size: int = 4096) -> bytes:
    """A program of short subroutines that call each other, with vectors where the family has them."""
    rng = random.Random(seed)
    ends, call, big, bodies = _SOURCES[family]
    base = default_start(size, family)
    entries = [base + 0x100 + 48 * n for n in range((size - 0x300) // 48)]
    order = "big" if big else "little"
    made = bytearray(rng.randbytes(size) if seed % 2 else bytes(size))
    start = bytes.fromhex(call) + entries[0].to_bytes(2, order)
    made[0 : len(start)] = start
    for at in entries:
        body = "".join(
            rng.choice(bodies).format(z=f"{rng.randrange(256):02X}") for _ in range(rng.randint(2, 7))
        )
        code = bytes.fromhex(body)[:36] + bytes.fromhex(call) + rng.choice(entries).to_bytes(2, order)
        offset = at - base
        made[offset : offset + 48] = (code + bytes.fromhex(ends)).ljust(48, bytes.fromhex(ends))
    if family != "Z80":
        made[-16:] = entries[1].to_bytes(2, order) * 8
    return bytes(made)


@pytest.mark.parametrize("family", list(_SOURCES))
def test_cpu_is_guessed(family):
    """Programs of each family are taken for what they are, twelve of twelve."""
    guesses = [guess_cpu(program_of(family, seed))[0] for seed in range(12)]

    assert [guess.family for guess in guesses] == [family] * 12


@pytest.mark.parametrize("seed", range(4))
def test_noise_and_blank_are_no_program(seed):
    """Random bytes and blank memory are not taken for a program."""
    assert guess_cpu(random.Random(seed).randbytes(4096))[0].family == "none"
    assert guess_cpu(bytes([seed * 85]) * 2048)[0].family == "none"


def test_shares_add_up():
    """Confidences are shares of all families and of none."""
    assert sum(guess.confidence for guess in guess_cpu(program_of("6502", 1))) == pytest.approx(1)


@pytest.mark.parametrize(
    ("family", "tail", "names"),
    [
        ("6502", "00F0 00F1 00F2", {"NMI": 0xF000, "reset": 0xF100, "IRQ": 0xF200}),
        ("6800", "F000 F100 F200 F300", {"IRQ": 0xF000, "SWI": 0xF100, "NMI": 0xF200, "reset": 0xF300}),
        ("6809", "F000 F100 F200 F300 F400 F500 F600", {"SWI3": 0xF000, "reset": 0xF600, "FIRQ": 0xF200}),
        ("Z80", "0000", {}),
    ],
)
def test_vectors_by_family(family, tail, names):
    """Vectors are where the makers' data sheets say, low or high byte first."""
    raw = bytes.fromhex(tail)
    found = {v.name: v for v in vectors(bytes(4096 - len(raw)) + raw, 0xF000, family)}

    assert {name: found[name].target for name in names} == names
    assert all(found[name].inside for name in names) and (family != "Z80" or not found)


def test_vectors_into_a_mirror():
    """A vector that lies in the image when A15 is ignored is told from one that lies outside."""
    data = bytes(4090) + bytes.fromhex("0070 3412 00F0")

    assert [(v.inside, v.mirror) for v in vectors(data, 0xF000, "6502")] == [
        (False, True),
        (False, False),
        (True, False),
    ]


def test_disassembly():
    """Instructions of every length, an undocumented opcode, and a branch back, as the programming manual writes them."""
    code = bytes.fromhex("A9FF 8D0002 9500 B10A 6CFCFF 02 D0F6 0A 60 4C")
    text = [line for _, _, line in disassemble_6502(code, 0xF000, 0xF000)]

    assert text == [
        "LDA #$FF", "STA $0200", "STA $00,X", "LDA ($0A),Y", "JMP ($FFFC)", ".byte $02", "BNE $F005", "ASL A", "RTS",
    ]  # fmt: skip


def test_the_6502_has_151_documented_instructions():
    """The programming manual documents 151 opcodes and 56 mnemonics."""
    names = [name for name, _ in INSTRUCTIONS_6502 if name]

    assert (len(INSTRUCTIONS_6502), len(names), len(set(names))) == (256, 151, 56)


@pytest.mark.parametrize(("family", "legal"), [("6800", 197), ("6809", 223)])
def test_counts_of_legal_opcodes(family, legal):
    """The 6800 has 197 valid opcodes (its programming manual); the 6809's first page is counted without prefixes."""
    codes = [c for c in range(256) if family == "6800" or c not in (0x10, 0x11)]

    counted = sum(STEPS[family](0, lambda at, c=code: c if at == 0 else 0x80).legal for code in codes)

    assert counted == legal - (2 if family == "6809" else 0)


def test_every_opcode_steps_on():
    """Every byte of every family, before whatever follows, gives a step of one to five bytes."""
    for family, step in STEPS.items():
        for code in range(256):
            for more in (0x00, 0x21, 0xCB, 0xE9, 0x8E, 0x7E, 0x45, 0xFF):
                made = step(0x1000, lambda at, c=code, m=more: c if at == 0x1000 else m)
                assert 1 <= made.length <= 5, (family, code, more)


def test_visible_text():
    """Words are found, with bit 7 set too; code that happens to be printable is not."""
    data = b"\x00\x01GAME OVER\x00" + bytes(b | 0x80 for b in b"PLAYER ONE") + b"\x00'pPw%h``)\x00"

    assert visible_text(data) == ((2, "GAME OVER"), (12, "PLAYER ONE"))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"\xff" * 2048, "every byte is FF (what an erased"),
        (b"\x12" * 2048, "every byte is 12"),
        (bytes(b | 0x08 for b in random.Random(1).randbytes(2048)), "D3 is always high"),
        (bytes(b & 0xFE for b in random.Random(1).randbytes(2048)), "D0 is always low"),
        (random.Random(1).randbytes(1024) * 2, "A10 makes no difference"),
        (random.Random(1).randbytes(3000), "no power of two"),
    ],
)
def test_doubtful_reads(data, words):
    """Reads to question are questioned: one value, a bit that never changes, a line without effect, an odd size."""
    assert any(doubt.startswith(words) or words in doubt for doubt in read_doubts(data))


def test_a_good_read_raises_no_doubt():
    """Random contents of a whole device raise no doubt."""
    assert read_doubts(random.Random(3).randbytes(4096)) == ()


@pytest.mark.parametrize(
    ("size", "device", "words"),
    [
        (4096, "2732", "fits a 2732 exactly"),
        (2048, "2732", "leaves 2,048 bytes of a 2732 empty"),
        (8192, "2732", "too large for a 2732 by 4,096 bytes"),
    ],
)
def test_size_against_a_device(size, device, words):
    """An image fits, leaves room, or is too large."""
    found = rom_info(random.Random(1).randbytes(size), device=get_device(device))

    assert found.device_words == words


def test_repeats_against_a_device():
    """A repeated image that fills a device is told, and one that is larger only by repeating."""
    data = random.Random(1).randbytes(2048) * 2

    assert "repeating 2,048 bytes 2 times" in rom_info(data, device=get_device("2732")).device_words
    assert "only repeats 2,048" in rom_info(data, device=get_device("2716")).device_words
    assert repeat_size(data) == 2048


def test_known_and_unknown():
    """An image of the reference list is named; any other is not."""
    data = program_of("6502", 3)
    row = {"name": "program C", "sha1": rom_info(data).sums["sha1"]}

    assert [k.name for k in rom_info(data, known=parse_known([row])).known] == ["program C"]
    assert rom_info(data[::-1], known=parse_known([row])).known == ()


def test_whole_information():
    """A 6502 program: family, place, vectors, first instructions, blank tail, JSON."""
    found = rom_info(program_of("6502", 2))
    document = found.to_json()

    assert (found.family, found.start, len(found.vectors)) == ("6502", 0xF000, 3)
    assert found.code[0][0] == found.vectors[1].target and document["code"][0]["address"] == found.code[0][0]
    assert document["fits"] == ["2532", "2732", "2732A", "2732B", "2332"]


def test_entropy_and_blanks():
    """Entropy is 0 for one value and 8 for all values alike (Shannon); only long runs of 00 and FF are blank."""
    assert entropy_bits(bytes(100)) == 0 and entropy_bits(bytes(range(256))) == pytest.approx(8)
    assert blank_runs(b"\x01" + b"\xff" * 20 + b"\x02" * 30 + bytes(15)) == ((1, 20, 255),)


@pytest.mark.parametrize(
    ("data", "options", "words"), [(b"", {}, "0 bytes"), (b"ab", {"start": 70000}, "0 to 0xffff")]
)
def test_what_cannot_be_looked_over(data, options, words):
    """An empty image, or one at no CPU address, is refused."""
    with pytest.raises(InputError, match=words):
        rom_info(data, **options)


@pytest.mark.parametrize("size", [1, 2, 3, 5])
def test_tiny_images(size):
    """Images of a few bytes are looked over without an error."""
    assert rom_info(b"\x20" * size).size == size
