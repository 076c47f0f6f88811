"""Instructions of four CPU families as far as a walk through code needs them: length, legality, where it goes on.

Mnemonics are kept for the 6502 only. Sources: the makers' programming manuals of the 6502 (documented
instructions, no undocumented ones), 6800, 6809 and Z80 families.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

Family = Literal["6502", "6800", "6809", "Z80"]
Flow = Literal["next", "stop", "jump", "call", "branch"]
Peek = Callable[[int], int]  # the byte at a CPU address, 0 outside the image


@dataclass(frozen=True, slots=True)
class Step:
    """One instruction: its length [bytes], whether it exists, how the program goes on, and its target if it has one."""

    length: int
    legal: bool = True
    flow: Flow = "next"
    target: int | None = None


# mode: i implied, a accumulator, # immediate, z zp, zx, zy, ab, ax, ay, in (ind), ix (ind,X), iy (ind),Y, r relative
_6502_TEXT = """
BRK.i ORA.ix - - - ORA.z ASL.z - PHP.i ORA.# ASL.a - - ORA.ab ASL.ab -
BPL.r ORA.iy - - - ORA.zx ASL.zx - CLC.i ORA.ay - - - ORA.ax ASL.ax -
JSR.ab AND.ix - - BIT.z AND.z ROL.z - PLP.i AND.# ROL.a - BIT.ab AND.ab ROL.ab -
BMI.r AND.iy - - - AND.zx ROL.zx - SEC.i AND.ay - - - AND.ax ROL.ax -
RTI.i EOR.ix - - - EOR.z LSR.z - PHA.i EOR.# LSR.a - JMP.ab EOR.ab LSR.ab -
BVC.r EOR.iy - - - EOR.zx LSR.zx - CLI.i EOR.ay - - - EOR.ax LSR.ax -
RTS.i ADC.ix - - - ADC.z ROR.z - PLA.i ADC.# ROR.a - JMP.in ADC.ab ROR.ab -
BVS.r ADC.iy - - - ADC.zx ROR.zx - SEI.i ADC.ay - - - ADC.ax ROR.ax -
- STA.ix - - STY.z STA.z STX.z - DEY.i - TXA.i - STY.ab STA.ab STX.ab -
BCC.r STA.iy - - STY.zx STA.zx STX.zy - TYA.i STA.ay TXS.i - - STA.ax - -
LDY.# LDA.ix LDX.# - LDY.z LDA.z LDX.z - TAY.i LDA.# TAX.i - LDY.ab LDA.ab LDX.ab -
BCS.r LDA.iy - - LDY.zx LDA.zx LDX.zy - CLV.i LDA.ay TSX.i - LDY.ax LDA.ax LDX.ay -
CPY.# CMP.ix - - CPY.z CMP.z DEC.z - INY.i CMP.# DEX.i - CPY.ab CMP.ab DEC.ab -
BNE.r CMP.iy - - - CMP.zx DEC.zx - CLD.i CMP.ay - - - CMP.ax DEC.ax -
CPX.# SBC.ix - - CPX.z SBC.z INC.z - INX.i SBC.# NOP.i - CPX.ab SBC.ab INC.ab -
BEQ.r SBC.iy - - - SBC.zx INC.zx - SED.i SBC.ay - - - SBC.ax INC.ax -
"""
INSTRUCTIONS_6502: tuple[tuple[str, str], ...] = tuple(
    (word.split(".")[0], word.split(".")[1]) if word != "-" else ("", "") for word in _6502_TEXT.split()
)
LENGTHS_6502: Mapping[str, int] = {
    "": 1, "i": 1, "a": 1, "#": 2, "z": 2, "zx": 2, "zy": 2, "ix": 2, "iy": 2, "r": 2,
    "ab": 3, "ax": 3, "ay": 3, "in": 3,
}  # fmt: skip


def _relative(at: int, length: int, offset: int, bits: int = 8) -> int:
    half = 1 << (bits - 1)
    return (at + length + (offset ^ half) - half) & 0xFFFF


def _step_6502(at: int, peek: Peek) -> Step:  # noqa: PLR0911  (one return for each form)
    name, mode = INSTRUCTIONS_6502[peek(at)]
    length = LENGTHS_6502[mode]
    word = peek(at + 1) | peek(at + 2) << 8
    match name, mode:
        case "", _:
            return Step(1, False, "stop")
        case (("RTS" | "RTI" | "BRK"), _):
            return Step(1, True, "stop")
        case "JMP", "in":
            return Step(3, True, "stop")
        case "JMP", _:
            return Step(3, True, "jump", word)
        case "JSR", _:
            return Step(3, True, "call", word)
        case _, "r":
            return Step(2, True, "branch", _relative(at, 2, peek(at + 1)))
    return Step(length)


_6800_ILLEGAL = frozenset(
    bytes.fromhex(
        "00 02 03 04 05 12 13 14 15 18 1A 1C 1D 1E 1F 21 38 3A 3C 3D 41 42 45 4B 4E 51 52 55 5B 5E "
        "61 62 65 6B 71 72 75 7B 83 87 8F 93 9D A3 B3 C3 C7 CC CD CF D3 DC DD E3 EC ED F3 FC FD "
    )
)


def _step_6800(at: int, peek: Peek) -> Step:  # noqa: PLR0911  (one return for each form)
    code = peek(at)
    word = peek(at + 1) << 8 | peek(at + 2)
    row = code >> 4
    if code in _6800_ILLEGAL:
        return Step(1, False, "stop")
    if code in (0x39, 0x3B, 0x3E, 0x3F):
        return Step(1, True, "stop")
    if code in (0x6E, 0xAD):
        return Step(2, True, "stop" if code == 0x6E else "next")
    if code in (0x7E, 0xBD):
        return Step(3, True, "jump" if code == 0x7E else "call", word)
    if row == 2 or code == 0x8D:
        flow: Flow = "call" if code == 0x8D else "jump" if code == 0x20 else "branch"
        return Step(2, True, flow, _relative(at, 2, peek(at + 1)))
    if row in (0x7, 0xB, 0xF) or code in (0x8C, 0x8E, 0xCE):
        return Step(3)
    return Step(1 if row < 6 else 2)


_6809_ILLEGAL = frozenset(
    bytes.fromhex(
        "01 02 05 0B 14 15 18 1B 38 3E 41 42 45 4B 4E 51 52 55 5B 5E 61 62 65 6B 71 72 75 7B 87 8F C7 CD CF "
    )
)

_6809_PAGE_2 = frozenset(
    bytes.fromhex(
        "21 22 23 24 25 26 27 28 29 2A 2B 2C 2D 2E 2F 3F 83 8C 8E 93 9C 9E 9F A3 AC AE AF B3 BC BE "
        "BF CE DE DF EE EF FE FF "
    )
)

_6809_PAGE_3 = frozenset([0x3F, 0x83, 0x8C, 0x93, 0x9C, 0xA3, 0xAC, 0xB3, 0xBC])
_INDEXED_EXTRA = {0x8: 1, 0x9: 2, 0xC: 1, 0xD: 2, 0xF: 2}


def _indexed_bytes(post: int) -> int:
    return 1 + (_INDEXED_EXTRA.get(post & 0xF, 0) if post & 0x80 else 0)


def _step_6809(at: int, peek: Peek) -> Step:  # noqa: PLR0911  (one return for each form)
    code = peek(at)
    if code in (0x10, 0x11):
        second = peek(at + 1)
        if second not in (_6809_PAGE_2 if code == 0x10 else _6809_PAGE_3):
            return Step(2, False, "stop")
        if second >> 4 == 2:
            return Step(4, True, "branch", _relative(at, 4, peek(at + 2) << 8 | peek(at + 3), 16))
        return Step(1 + _plain_6809(second, at + 1, peek, wide=True))
    word = peek(at + 1) << 8 | peek(at + 2)
    row = code >> 4
    if code in _6809_ILLEGAL:
        return Step(1, False, "stop")
    if code in (0x39, 0x3B, 0x3F) or (code in (0x35, 0x37) and peek(at + 1) & 0x80):
        return Step(1 if code >= 0x39 else 2, True, "stop")
    if code in (0x6E, 0x0E):
        return Step(1 + (_indexed_bytes(peek(at + 1)) if code == 0x6E else 1), True, "stop")
    if code in (0x7E, 0xBD):
        return Step(3, True, "jump" if code == 0x7E else "call", word)
    if code in (0x16, 0x17):
        return Step(3, True, "jump" if code == 0x16 else "call", _relative(at, 3, word, 16))
    if row == 2 or code == 0x8D:
        flow: Flow = "call" if code == 0x8D else "jump" if code == 0x20 else "branch"
        return Step(2, True, flow, _relative(at, 2, peek(at + 1)))
    return Step(_plain_6809(code, at, peek, wide=False))


def _plain_6809(code: int, at: int, peek: Peek, *, wide: bool) -> int:
    row = code >> 4
    if row in (0x6, 0xA, 0xE) or code in (0x30, 0x31, 0x32, 0x33):
        return 1 + _indexed_bytes(peek(at + 1))
    if row in (0x7, 0xB, 0xF):
        return 3
    if row in (0x8, 0xC):
        return 3 if wide or code in (0x83, 0x8C, 0x8E, 0xC3, 0xCC, 0xCE) else 2
    if row in (0x0, 0x9, 0xD) or code in (0x1A, 0x1C, 0x1E, 0x1F, 0x34, 0x35, 0x36, 0x37, 0x3C):
        return 2
    return 1


_Z80_BYTE = frozenset([*range(0x06, 0x40, 8), *range(0xC6, 0x100, 8), 0xD3, 0xDB])
_Z80_WORD = frozenset([0x01, 0x11, 0x21, 0x31, 0x22, 0x2A, 0x32, 0x3A])
_Z80_ED = frozenset(
    bytes.fromhex(
        "40 41 42 43 44 45 46 47 48 49 4A 4B 4C 4D 4E 4F 50 51 52 53 54 55 56 57 58 59 5A 5B 5C 5D "
        "5E 5F 60 61 62 63 64 65 66 67 68 69 6A 6B 6C 6D 6E 6F 70 71 72 73 74 75 76 77 78 79 7A 7B "
        "A0 A1 A2 A3 A8 A9 AA AB B0 B1 B2 B3 B8 B9 BA BB "
    )
)

_Z80_ED_WORD = frozenset([0x43, 0x4B, 0x53, 0x5B, 0x63, 0x6B, 0x73, 0x7B])


def _step_z80(at: int, peek: Peek) -> Step:  # noqa: PLR0911  (one return for each form)
    code = peek(at)
    if code == 0xED:
        second = peek(at + 1)
        if second in (0x45, 0x4D):
            return Step(2, True, "stop")
        return Step(4 if second in _Z80_ED_WORD else 2, second in _Z80_ED)
    if code in (0xDD, 0xFD):
        return _step_z80_index(at, peek)
    if code == 0xCB:
        return Step(2)
    word = peek(at + 1) | peek(at + 2) << 8
    if code in (0xC9, 0xE9, 0x76):
        return Step(1, True, "stop")
    if code in (0xC3, 0xCD):
        return Step(3, True, "jump" if code == 0xC3 else "call", word)
    if code & 0xC7 in (0xC2, 0xC4):
        return Step(3, True, "branch", word)
    if code in (0x10, 0x18, 0x20, 0x28, 0x30, 0x38):
        return Step(2, True, "jump" if code == 0x18 else "branch", _relative(at, 2, peek(at + 1)))
    return Step(3 if code in _Z80_WORD else 2 if code in _Z80_BYTE else 1)


def _step_z80_index(at: int, peek: Peek) -> Step:
    second = peek(at + 1)
    if second == 0xCB:
        return Step(4)
    if second == 0xE9:
        return Step(2, True, "stop")
    if second in (0x21, 0x22, 0x2A, 0x36):
        return Step(4)
    on_memory = (
        second & 0xC7 == 0x46 or second & 0xF8 == 0x70 or second & 0xC7 == 0x86 or second in (0x34, 0x35)
    )
    plain = second in (0x09, 0x19, 0x29, 0x39, 0x23, 0x2B, 0xE1, 0xE3, 0xE5, 0xF9)
    return Step(3 if on_memory else 2, on_memory or plain)


STEPS: Mapping[Family, Callable[[int, Peek], Step]] = {
    "6502": _step_6502, "6800": _step_6800, "6809": _step_6809, "Z80": _step_z80,
}  # fmt: skip
