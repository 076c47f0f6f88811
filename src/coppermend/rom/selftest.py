"""Firmware that tests a 6502 board from its own socket: program memories, RAM, output ports, codes on one port.

It uses no RAM and no subroutine before RAM is proven, and none afterwards: state is in A, X, Y and the stack
pointer, so that a board with dead RAM still says so. Once started it runs for ever; a fault stops it and shows.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from coppermend.errors import InputError
from coppermend.rom.assemble import Assembly, Line
from coppermend.rom.checksums import byte_sum
from coppermend.rom.selftestplan import PAGE, Area, SelfTestPlan

STARTED, PASSED = 0x01, 0x7F
ROM_CODE, RAM_CODE, WALK_CODE, BAD = 0x10, 0x20, 0x30, 0x80
BACKGROUNDS = (
    0x00,
    0x55,
    0x33,
    0x0F,
)  # log2(8) + 1 data backgrounds show coupling within a byte (van de Goor)
SUM = 0xA55A  # what every program memory adds up to, modulo 65536


@dataclass(frozen=True)
class SelfTest:
    """The firmware: an image for each program memory, listing, and what each code on the result port means."""

    plan: SelfTestPlan
    images: tuple[bytes, ...]
    listing: tuple[Line, ...]
    codes: tuple[tuple[int, str], ...]

    def to_json(self) -> dict[str, Any]:
        """Keys ``roms`` and ``rams`` [{start, bytes}], ``result``, ``walks``, ``program_bytes``, ``codes`` [{code, words}], ``listing``."""
        return {
            "roms": [{"start": a.start, "bytes": a.bytes} for a in self.plan.roms],
            "rams": [{"start": a.start, "bytes": a.bytes} for a in self.plan.rams],
            "result": self.plan.result, "walks": list(self.plan.walks),
            "program_bytes": sum(len(line.data) for line in self.listing),
            "codes": [{"code": code, "words": words} for code, words in self.codes],
            "listing": [str(line) for line in self.listing],
        }  # fmt: skip


def self_test(plan: SelfTestPlan) -> SelfTest:
    """Make the firmware.

    Raises:
        InputError: If the program does not fit the last program memory.
    """
    home, program = plan.roms[-1], _program(plan)
    if program.size > home.bytes - 6:
        raise InputError(
            f"a self test of {program.size:,} bytes",
            expected=f"at most {home.bytes - 6:,}: fewer RAM pages, or a larger memory",
        )
    code, listing = program.assemble()
    images = [filler(area) for area in plan.roms]
    vectors = home.start.to_bytes(2, "little") * 3
    images[-1] = code + images[-1][len(code) : home.bytes - 6] + vectors
    made = [_summed(image, number, code, plan) for number, image in enumerate(images)]
    return SelfTest(plan, tuple(made), listing, _codes(plan))


def filler(area: Area) -> bytes:
    """Bytes that differ from address to address, so that a faulty line changes the sum; the same for each call."""
    made, state = bytearray(), (area.start << 8 | 0x5B) & 0xFFFFFFFF
    for _ in range(area.bytes):  # a linear congruential generator, constants of Numerical Recipes
        state = (state * 1664525 + 1013904223) & 0xFFFFFFFF
        made.append(state >> 24)
    return bytes(made)


def _summed(image: bytes, number: int, code: bytes, plan: SelfTestPlan) -> bytes:
    """Raise filler bytes from the end on until the 16-bit sum of the whole memory is ``SUM``.

    The program compares with this one constant, so no sum depends on another.
    """
    home = number == len(plan.roms) - 1
    made = bytearray(image)
    short = (SUM - byte_sum(image)) % 0x10000
    for at in range(len(image) - (7 if home else 1), len(code) - 1 if home else -1, -1):
        step = min(short, 0xFF - made[at])
        made[at] += step
        short -= step
    if short:
        raise InputError(
            f"only {len(image) - len(code):,} bytes to bring the sum right",
            expected="a larger program memory",
        )
    return bytes(made)


def _program(plan: SelfTestPlan) -> Assembly:
    asm = Assembly(plan.roms[-1].start)
    asm.label("start")
    asm.op("SEI", comment="no interrupts")
    asm.op("CLD")
    for address, value in plan.setup:
        _put(asm, address, value, "set up a port")
    if plan.lamp:
        _put(asm, plan.lamp[0], plan.lamp[2], "lamp off")
    _put(asm, plan.result, STARTED, "the CPU runs, the port works")
    _pause(asm, plan, "started")
    for number, area in enumerate(plan.roms):
        _rom(asm, plan, number, area)
    asm.label("again")
    for number, area in enumerate(plan.rams):
        _ram(asm, plan, number, area)
    for number, port in enumerate(plan.walks):
        _walk(asm, plan, number, port)
    _put(asm, plan.result, PASSED, "all passed")
    if plan.lamp:
        _put(asm, plan.lamp[0], plan.lamp[1], "lamp on")
    _pause(asm, plan, "passed")
    asm.op("JMP", "ab", "again")
    for number in range(len(plan.roms)):
        _stop(asm, plan, f"rom{number}bad", BAD | ROM_CODE | number, 1 + number)
    for number in range(len(plan.rams)):
        _stop(asm, plan, f"ram{number}bad", BAD | RAM_CODE | number, 1 + len(plan.roms) + number)
    return asm


def _put(asm: Assembly, address: int, value: int, comment: str) -> None:
    asm.op("LDA", "#", value, comment)
    asm.op("STA", "ab", address)


def _pause(asm: Assembly, plan: SelfTestPlan, name: str) -> None:
    asm.op("LDY", "#", plan.delay, "pause, with X and Y alone")
    asm.op("LDX", "#", 0)
    asm.label(f"p_{name}")
    asm.op("DEX")
    asm.op("BNE", "r", f"p_{name}")
    asm.op("DEY")
    asm.op("BNE", "r", f"p_{name}")


def _rom(asm: Assembly, plan: SelfTestPlan, number: int, area: Area) -> None:
    """Sum of all bytes modulo 65536: low byte in A, high byte in Y."""
    _put(asm, plan.result, ROM_CODE | number, f"program memory {area}")
    asm.op("LDA", "#", 0, "sum: low byte in A, high byte in Y")
    asm.op("TAY")
    asm.op("TAX")
    for page in range(area.bytes // PAGE):
        asm.label(f"r{number}_{page}")
        asm.op("CLC")
        asm.op("ADC", "ax", area.start + page * PAGE)
        asm.op("BCC", "r", f"r{number}_{page}n")
        asm.op("INY")
        asm.label(f"r{number}_{page}n")
        asm.op("INX")
        asm.op("BNE", "r", f"r{number}_{page}")
    for name, value in (("CMP", SUM & 0xFF), ("CPY", SUM >> 8)):
        asm.op(name, "#", value, f"{'low' if name == 'CMP' else 'high'} byte of the sum {SUM:04X}")
        _unless_equal(asm, f"rom{number}bad", f"r{number}{name}")
    _pause(asm, plan, f"rom{number}")


def _unless_equal(asm: Assembly, bad: str, name: str) -> None:
    # A branch reaches 127 bytes, the routines at the end are further off.
    asm.op("BEQ", "r", name)
    asm.op("JMP", "ab", bad)
    asm.label(name)


# March C-: {any(w0); up(r0,w1); up(r1,w0); down(r0,w1); down(r1,w0); any(r0)}, where 0 is the background.
# Reference: van de Goor, Testing Semiconductor Memories; elements as in makers' IEC 60730 library pages.
_MARCH: tuple[tuple[bool, int | None, int | None], ...] = (
    (True, None, 0), (True, 0, 1), (True, 1, 0), (False, 0, 1), (False, 1, 0), (True, 0, None),
)  # fmt: skip


def _ram(asm: Assembly, plan: SelfTestPlan, number: int, area: Area) -> None:
    """March C- over a RAM, once for each background, which is in Y."""
    _put(asm, plan.result, RAM_CODE | number, f"RAM {area}, March C-")
    asm.op("LDY", "#", BACKGROUNDS[0], "background")
    asm.label(f"m{number}")
    pages = [
        (at, min(PAGE, area.start + area.bytes - at))
        for at in range(area.start, area.start + area.bytes, PAGE)
    ]
    for element, (up, read, write) in enumerate(_MARCH):
        for at, size in pages if up else pages[::-1]:
            _element(asm, plan, number, (f"m{number}_{element}_{at:04X}", at, size), (up, read, write))
    for now, following in pairwise(BACKGROUNDS):
        asm.op("CPY", "#", now, "next background")
        asm.op("BNE", "r", f"m{number}b{following:02X}")
        asm.op("LDY", "#", following)
        asm.op("JMP", "ab", f"m{number}")
        asm.label(f"m{number}b{following:02X}")
    _pause(asm, plan, f"ram{number}")


def _element(
    asm: Assembly, plan: SelfTestPlan, number: int, place: tuple[str, int, int], element: tuple[bool, int | None, int | None]
) -> None:  # fmt: skip
    (name, at, size), (up, read, write) = place, element
    words = f"{'up' if up else 'down'} {'' if read is None else f'r{read}'} {'' if write is None else f'w{write}'}"
    asm.op("LDX", "#", 0 if up else size - 1, " ".join(words.split()))
    asm.label(name)
    if read is not None:
        asm.op("TYA")
        if read:
            asm.op("EOR", "#", 0xFF)
        asm.op("EOR", "ax", at)
        if plan.mask != 0xFF:
            asm.op("AND", "#", plan.mask)
        _unless_equal(asm, f"ram{number}bad", f"{name}r")
    if write is not None:
        asm.op("TYA")
        if write:
            asm.op("EOR", "#", 0xFF)
        asm.op("STA", "ax", at)
    asm.op("INX" if up else "DEX")
    if not (up and size == PAGE):
        asm.op("CPX", "#", size if up else 0xFF)
    asm.op("BNE", "r", name)


def _walk(asm: Assembly, plan: SelfTestPlan, number: int, port: int) -> None:
    """A single one from bit 0 to bit 7, then all off; its place is in the stack pointer during the pause."""
    _put(asm, plan.result, WALK_CODE | number, f"walk over port {port:04X}")
    asm.op("LDX", "#", 1)
    asm.label(f"w{number}")
    asm.op("TXA")
    asm.op("STA", "ab", port)
    asm.op("TXS", comment="keep the bit without RAM")
    _pause(asm, plan, f"walk{number}")
    asm.op("TSX")
    asm.op("TXA")
    asm.op("ASL", "a")
    asm.op("TAX")
    asm.op("BNE", "r", f"w{number}")
    asm.op("STX", "ab", port, "all off")


def _stop(asm: Assembly, plan: SelfTestPlan, name: str, code: int, flashes: int) -> None:
    """Show a code and the bits that were wrong in turn, for ever; a lamp counts the fault out."""
    asm.label(name)
    asm.op("TAX", comment="A: bits that are wrong")
    asm.op("TXS")
    asm.label(f"{name}_on")
    _put(asm, plan.result, code, "the fault")
    _pause(asm, plan, f"{name}1")
    asm.op("TSX")
    asm.op("STX", "ab", plan.result, "its bits")
    _pause(asm, plan, f"{name}2")
    for flash, lamp in ((n, plan.lamp) for n in range(flashes) if plan.lamp):
        for state in (1, 2):
            _put(asm, lamp[0], lamp[state], f"flash {flash + 1} {'on' if state == 1 else 'off'}")
            _pause(asm, plan, f"{name}f{flash}_{state}")
    asm.op("JMP", "ab", f"{name}_on")


def _codes(plan: SelfTestPlan) -> tuple[tuple[int, str], ...]:
    made = [(STARTED, "started: the CPU runs, reads its program and writes to the port")]
    made += [(ROM_CODE | n, f"testing program memory {area}") for n, area in enumerate(plan.roms)]
    made += [(RAM_CODE | n, f"testing RAM {area}") for n, area in enumerate(plan.rams)]
    made += [(WALK_CODE | n, f"walking a one over port {port:04X}") for n, port in enumerate(plan.walks)]
    made += [(PASSED, "all passed; RAM and ports are tested again")]
    for n, area in enumerate(plan.roms):
        made.append((BAD | ROM_CODE | n, f"program memory {area} has another sum{_flashes(plan, 1 + n)}"))
    for n, area in enumerate(plan.rams):
        words = f"RAM {area} is faulty; in turn with the bits that were wrong"
        made.append((BAD | RAM_CODE | n, words + _flashes(plan, 1 + len(plan.roms) + n)))
    return tuple(made)


def _flashes(plan: SelfTestPlan, count: int) -> str:
    return f"; the lamp flashes {count} time{'s' if count > 1 else ''}" if plan.lamp else ""
