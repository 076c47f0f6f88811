"""Levels of a net over many bus states at once, and what gates make of them. Three-valued: low, high, either.

A level is two boolean arrays: whether the net can be low, and whether it can be high, in each state. So what is
not known stays not known, and never turns into a claim.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Literal

import numpy as np
import numpy.typing as npt

Bools = npt.NDArray[np.bool_]
Gate = Literal["and", "nand", "or", "nor", "xor", "not", "buffer", "decoder"]


@dataclass(frozen=True)
class Level:
    """Boolean arrays of one shape: whether it can be low, whether it can be high."""

    low: Bools
    high: Bools

    @classmethod
    def known(cls, values: Bools) -> Level:
        """A level that is known in every state."""
        return cls(~values, values)

    @classmethod
    def constant(cls, value: bool | None, states: int) -> Level:
        """Low, high or (None) either, in all states."""
        full = np.ones(states, bool)
        return cls(full if value is not True else ~full, full if value is not False else ~full)

    @property
    def is_low(self) -> Bools:
        """Where it is surely low."""
        return self.low & ~self.high

    @property
    def is_high(self) -> Bools:
        """Where it is surely high."""
        return self.high & ~self.low

    @property
    def is_known(self) -> bool:
        """Whether it is one or the other in every state."""
        return not bool((self.low & self.high).any())

    def __invert__(self) -> Level:
        return Level(self.high, self.low)

    def __and__(self, other: Level) -> Level:
        return Level(self.low | other.low, self.high & other.high)

    def __or__(self, other: Level) -> Level:
        return Level(self.low & other.low, self.high | other.high)

    def __xor__(self, other: Level) -> Level:
        return (self & ~other) | (~self & other)


# What the paths of a part type do; types not listed (latches, counters, ...) leave their outputs unknown.
GATES: Mapping[str, Gate] = {
    **dict.fromkeys(("7400", "7410", "7420", "7430", "4011", "4012", "4023", "4068"), "nand"),
    **dict.fromkeys(("7402", "7427", "4001", "4002", "4025"), "nor"),
    **dict.fromkeys(("7408", "7411", "7421", "4081", "4073", "4082"), "and"),
    **dict.fromkeys(("7432", "4071", "4075", "4072"), "or"),
    **dict.fromkeys(("7404", "7405", "7406", "7414", "4049", "4069", "40106", "4584", "74240"), "not"),
    **dict.fromkeys(("7407", "4050", "74241", "74244", "74365", "74367", "74541", "4503"), "buffer"),
    **dict.fromkeys(("7486", "4070", "4030"), "xor"),
    **dict.fromkeys(("7442", "74138", "74139", "74154", "74155"), "decoder"),
}


def gate_output(gate: Gate, inputs: Sequence[Level]) -> Level:
    """The output of a simple gate; a buffer's or inverter's first input is the signal, its enables are taken as on."""
    if gate in ("not", "buffer"):
        return ~inputs[0] if gate == "not" else inputs[0]
    made = reduce(_FOLDS[gate.removeprefix("n")], inputs)
    return ~made if gate in ("nand", "nor") else made


_FOLDS: Mapping[str, Callable[[Level, Level], Level]] = {
    "and": Level.__and__, "or": Level.__or__, "xor": Level.__xor__,
}  # fmt: skip


def decoder_outputs(inputs: Sequence[tuple[str, Level]], outputs: int) -> list[Level]:
    """The active-low outputs Y0, Y1, ... of a decoder.

    Args:
        inputs: (pin name, level): binary inputs are called A to D (a section number before it does not count),
            every other input enables, active low when its name starts with "/".
        outputs: How many outputs there are.
    """
    binary: dict[str, Level] = {}
    enables: list[Level] = []
    for name, level in inputs:
        plain = name.lstrip("0123456789")
        # 1C and /2C of a 74155 enable, though C is a binary input elsewhere.
        if plain in ("A", "B", "C", "D") and not (name[0].isdigit() and plain == "C"):
            binary[plain] = level
        else:
            enables.append(~level if name.startswith("/") else level)
    lines = [binary[name] for name in sorted(binary)]
    made = []
    for number in range(outputs):
        wanted = [line if number >> bit & 1 else ~line for bit, line in enumerate(lines)]
        made.append(~reduce(Level.__and__, [*wanted, *enables]))
    return made
