"""Gates and decoders over many states, three-valued; and how nets get their levels on a board."""

from itertools import product

import numpy as np
import pytest

from coppermend.rom.buslogic import ADDRESSES, BusLogic
from coppermend.rom.levels import Level, decoder_outputs, gate_output
from coppermend.rom.timing import gate_delay_ns

VALUES = (False, True, None)


def _level(values):
    return Level(np.array([v is not True for v in values]), np.array([v is not False for v in values]))


def _told(level):
    return [None if a and b else bool(b) for a, b in zip(level.low, level.high, strict=True)]


@pytest.mark.parametrize("gate", ["and", "nand", "or", "nor", "xor"])
def test_gates_for_all_values(gate):
    """Every gate gives, for low, high and either, exactly what its truth table allows."""
    pairs = list(product(VALUES, repeat=2))
    made = gate_output(gate, [_level([a for a, _ in pairs]), _level([b for _, b in pairs])])
    rule = {"and": lambda a, b: a and b, "or": lambda a, b: a or b, "xor": lambda a, b: a != b,
            "nand": lambda a, b: not (a and b), "nor": lambda a, b: not (a or b)}[gate]  # fmt: skip

    for (a, b), told in zip(pairs, _told(made), strict=True):
        could = {
            rule(x, y)
            for x in ([a] if a is not None else VALUES[:2])
            for y in ([b] if b is not None else VALUES[:2])
        }
        assert told == (could.pop() if len(could) == 1 else None)


def test_inverter_and_buffer():
    """An inverter exchanges low and high, a buffer keeps them, and neither invents a level."""
    level = _level(VALUES)

    assert _told(gate_output("not", [level])) == [True, False, None]
    assert _told(gate_output("buffer", [level])) == [False, True, None]
    assert not level.is_known


def test_decoder_selects_one_output():
    """A 74138 pulls the one output low that its inputs name, and none while an enable is off."""
    states = list(product((False, True), repeat=4))
    inputs = [(name, _level([s[n] for s in states])) for n, name in enumerate(("A", "B", "C", "G1"))]
    outputs = decoder_outputs([*inputs, ("/G2A", _level([False] * 16))], 8)

    for at, (a, b, c, enabled) in enumerate(states):
        low = [n for n, level in enumerate(outputs) if _told(level)[at] is False]
        assert low == ([a + 2 * b + 4 * c] if enabled else [])


def _bus(small, parts, pins, cycle="read"):
    from coppermend.board.parttypes import standard_library

    nets = {}
    for pin, net in pins.items():
        nets.setdefault(net, []).append(pin)
    return BusLogic(small(parts, nets), standard_library(), cycle)


def test_pull_ups_series_resistors_and_open_collectors(small):
    """A pull-up makes high, a series resistor passes on, open collectors on one net are wired AND."""
    bus = _bus(
        small, {"R1": "resistor", "R2": "resistor", "U5": "7405", "R3": "resistor"},
        {"R1.1": "+5V", "R1.2": "UP", "R2.1": "A3", "R2.2": "BEHIND", "U5.1": "A0", "U5.3": "A1", "U5.2": "WIRED",
         "U5.4": "WIRED", "R3.1": "+5V", "R3.2": "WIRED"},
    )  # fmt: skip
    at = np.arange(ADDRESSES)

    assert bus.of("UP").is_high.all()
    assert np.array_equal(bus.of("BEHIND").is_high, (at >> 3) & 1 == 1)
    assert np.array_equal(bus.of("WIRED").is_high, at & 3 == 0)


def test_what_is_not_known_stays_unknown(small):
    """A latch's output, a loop of gates, two plain outputs on one net, a net of nothing: none has a level."""
    bus = _bus(
        small, {"U5": "7400", "U6": "74273", "U7": "7404"},
        {"U6.2": "LATCH", "U5.1": "A0", "U5.2": "Q", "U5.3": "P", "U5.4": "P", "U5.5": "A1", "U5.6": "Q",
         "U7.1": "A0", "U7.2": "TWO", "U7.3": "A1", "U7.4": "TWO"},
    )  # fmt: skip

    assert [bus.of(net).is_known for net in ("LATCH", "TWO", "NOTHING", "P")] == [False] * 4


def test_write_cycles_differ_in_rw(small):
    """R/W is high in a read, low in a write; addresses are the same."""
    read, write = (_bus(small, {"R1": "resistor"}, {}, cycle) for cycle in ("read", "write"))

    assert read.of("RW").is_high.all() and write.of("RW").is_low.all()
    assert np.array_equal(read.of("A7").high, write.of("A7").high)


@pytest.mark.parametrize(
    ("fitted", "generic", "ns"),
    [
        ("74LS138", "74138", 41),
        ("7404", "7404", 22),
        ("SN74S00", "7400", 7),
        ("74HCT139", "74139", 45),
        ("CD4011", "4011", 250),
    ],
)
def test_delays_by_family(fitted, generic, ns):
    """The family in a part's name chooses its delay (data books, from memory)."""
    assert gate_delay_ns(fitted, generic) == ns
