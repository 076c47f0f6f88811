"""Small boards made of gates, and searches on them and on the demo board."""

from __future__ import annotations

import numpy as np
import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Board, Clock, Part, PinRef, Rail
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.isolate.isolation import Isolation

GATES = (("1", "2", "3"), ("4", "5", "6"), ("9", "10", "8"), ("12", "13", "11"))


def board_of(nets: dict[str, str], parts: dict[str, str], **more: object) -> Board:
    """A board from net -> "U1.3 U2.1" and refdes -> type."""
    return Board(
        "Small", 100.0, 80.0,
        parts=tuple(Part(refdes, kind, section="logic") for refdes, kind in parts.items()),
        nets={net: tuple(PinRef.parse(pin) for pin in pins.split()) for net, pins in nets.items()},
        rails=(Rail("+5V", 5.0, 0.05), Rail("GND", 0.0, 0.0)), **more,  # type: ignore[arg-type]
    )  # fmt: skip


def chain(length: int) -> Board:
    """Inverters in a row, each its own part: IN -> N1 -> N2 -> ... to a connector."""
    nets = {"IN": "J1.1 U1.1"}
    for k in range(1, length + 1):
        nets[f"N{k}"] = f"U{k}.2 " + (f"U{k + 1}.1" if k < length else "J1.2")
    nets["+5V"] = " ".join(f"U{k}.14" for k in range(1, length + 1)) + " J1.3"
    nets["GND"] = " ".join(f"U{k}.7" for k in range(1, length + 1)) + " J1.4"
    return board_of(nets, {**{f"U{k}": "7404" for k in range(1, length + 1)}, "J1": "header"})


def random_board(seed: int, chips: int = 3) -> Board:
    """Quad NAND gates wired at random, without loops, from two inputs to a connector."""
    rng = np.random.default_rng(seed)
    nets: dict[str, list[str]] = {"IN1": ["J1.1"], "IN2": ["J1.2"], "+5V": ["J1.9"], "GND": ["J1.10"]}
    for chip in range(1, chips + 1):
        nets["+5V"].append(f"U{chip}.14")
        nets["GND"].append(f"U{chip}.7")
        for a, b, y in GATES:
            sources = [net for net in nets if net not in ("+5V", "GND")]
            for pin in (a, b):
                nets[sources[int(rng.integers(len(sources)))]].append(f"U{chip}.{pin}")
            nets[f"U{chip}Y{y}"] = [f"U{chip}.{y}"]
    ends = [net for net, pins in nets.items() if len(pins) == 1]
    for number, net in enumerate(ends, 11):
        nets[net].append(f"J1.{number}")
    return board_of(
        {net: " ".join(pins) for net, pins in nets.items()},
        {**{f"U{k}": "7400" for k in range(1, chips + 1)}, "J1": "header"},
    )


def divider() -> Board:
    """An oscillator that two flip-flops halve: declared clocks."""
    return board_of(
        {
            "CLK": "X1.8 U1.3", "HALF": "U1.5 U1.11", "FB1": "U1.6 U1.2", "FB2": "U1.8 U1.12",
            "QUARTER": "U1.9 J1.1", "+5V": "X1.14 U1.14 U1.1 U1.4 U1.10 U1.13 J1.2", "GND": "X1.7 U1.7 J1.3",
        },
        {"X1": "oscillator", "U1": "7474", "J1": "header"},
        clocks=(Clock("CLK", 4e6), Clock("QUARTER", 1e6)),
    )  # fmt: skip


@pytest.fixture(scope="session")
def demo_search() -> Isolation:
    """A search on the demo board that has seen nothing; ask it for ``after_nothing()``."""
    return Isolation(parse_board_folder(demo_board_files()), standard_library())


@pytest.fixture
def demo(demo_search: Isolation) -> Isolation:
    """A fresh search on the demo board."""
    return demo_search.after_nothing()
