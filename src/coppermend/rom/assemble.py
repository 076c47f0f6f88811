"""A two-pass assembler for the 6502, as far as our own self test needs it: instructions and labels from Python.

Opcodes come from the one instruction table of the room, which the disassembler uses too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from coppermend.errors import InputError
from coppermend.rom.opcodes import INSTRUCTIONS_6502, LENGTHS_6502

_OPCODES: Mapping[tuple[str, str], int] = {
    pair: code for code, pair in enumerate(INSTRUCTIONS_6502) if pair[0]
}
_SHOWN: Mapping[str, str] = {
    "i": "", "a": "A", "#": "#{}", "z": "{}", "zx": "{},X", "zy": "{},Y", "ix": "({},X)", "iy": "({}),Y",
    "ab": "{}", "ax": "{},X", "ay": "{},Y", "in": "({})", "r": "{}",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a listing: CPU address, bytes, label ("" for none), instruction, comment."""

    address: int
    data: bytes
    label: str
    text: str
    comment: str

    def __str__(self) -> str:
        raw = self.data.hex(" ").upper()
        label = f"{self.label}:" if self.label else ""
        return f"{self.address:04X}  {raw:8}  {label:12} {self.text:14}{f' ; {self.comment}' if self.comment else ''}".rstrip()


@dataclass(frozen=True, slots=True)
class _Step:
    name: str
    mode: str
    operand: int | str
    comment: str


@dataclass
class Assembly:
    """A program being put together from ``start`` on; ``assemble`` resolves its labels."""

    start: int
    _steps: list[_Step] = field(default_factory=list)
    _labels: dict[str, int] = field(default_factory=dict)

    def label(self, name: str) -> None:
        """Give the next instruction a name.

        Raises:
            ValueError: If the name is taken.
        """
        if name in self._labels:
            raise ValueError(f"label {name} is set twice")
        self._labels[name] = len(self._steps)

    def op(self, name: str, mode: str = "i", operand: int | str = 0, comment: str = "") -> None:
        """Add an instruction; ``mode`` as in the instruction table, ``operand`` a number or a label.

        Raises:
            ValueError: If the CPU has no such instruction.
        """
        if (name, mode) not in _OPCODES:
            raise ValueError(f"the 6502 has no {name} in mode {mode}")
        self._steps.append(_Step(name, mode, operand, comment))

    @property
    def size(self) -> int:
        """How many bytes the program has so far."""
        return sum(LENGTHS_6502[step.mode] for step in self._steps)

    def assemble(self) -> tuple[bytes, tuple[Line, ...]]:
        """The bytes and the listing.

        Raises:
            InputError: If the program ends beyond FFFF.
            ValueError: If a label is not set, or a branch reaches too far.
        """
        at, places = self.start, []
        for step in self._steps:
            places.append(at)
            at += LENGTHS_6502[step.mode]
        if at > 0x10000:
            raise InputError(f"the program ends at {at - 1:#x}", expected="a program up to FFFF")
        places.append(at)
        names = {index: name for name, index in self._labels.items()}
        lines = [
            self._line(step, place, names.get(index, ""), places)
            for index, (step, place) in enumerate(zip(self._steps, places, strict=False))
        ]
        return b"".join(line.data for line in lines), tuple(lines)

    def _line(self, step: _Step, at: int, label: str, places: list[int]) -> Line:
        value, shown = self._value(step, places)
        raw = bytes([_OPCODES[step.name, step.mode]])
        length = LENGTHS_6502[step.mode]
        if step.mode == "r":
            distance = value - at - 2
            if not -128 <= distance <= 127:
                raise ValueError(f"branch from {at:04X} to {value:04X} is too far")
            raw += bytes([distance & 0xFF])
        elif length > 1:
            raw += value.to_bytes(length - 1, "little")
        return Line(at, raw, label, f"{step.name} {_SHOWN[step.mode].format(shown)}".strip(), step.comment)

    def _value(self, step: _Step, places: list[int]) -> tuple[int, str]:
        if isinstance(step.operand, str):
            if step.operand not in self._labels:
                raise ValueError(f"label {step.operand} is not set")
            return places[self._labels[step.operand]], step.operand
        width = 2 * (LENGTHS_6502[step.mode] - 1)
        return step.operand, f"${step.operand:0{width or 2}X}"
