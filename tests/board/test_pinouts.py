"""Pinouts of the part-type library beside Debian's schematic symbols and beside pin charts written out by hand."""

from __future__ import annotations

import csv
import re
from pathlib import Path
from typing import NamedTuple

import pytest

from coppermend.board.parttypes import PartType, PinSpec, standard_library

SYMBOLS = Path("/usr/share/kicad/symbols")
REFERENCES = Path(__file__).parent.parent / "references"
needs_symbols = pytest.mark.skipif(
    not SYMBOLS.is_dir(), reason="outside check skipped: Debian's kicad-symbols is not installed"
)
DIRECTIONS = {
    "input": "in", "output": "out", "tri_state": "out", "open_emitter": "out", "power_out": "out",
    "bidirectional": "bidi", "passive": "passive", "power_in": "power", "open_collector": "open-collector",
    "no_connect": "nc", "free": "nc",
}  # fmt: skip
LOW_SHAPES = {"inverted", "inverted_clock", "input_low", "output_low", "clock_low"}
TOKEN = re.compile(r'"((?:[^"\\]|\\.)*)"|([()])|([^\s()"]+)')


class Theirs(NamedTuple):
    """A pin of a symbol: its unit (0 when the symbol has one), bare name, polarity and electrical type."""

    unit: int
    name: str
    low: bool
    kind: str


class Difference(NamedTuple):
    type: str
    pin: str
    aspect: str
    ours: str
    theirs: str


def read_table(name: str) -> list[dict[str, str]]:
    with (REFERENCES / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def parse(text: str) -> list:
    """The nested lists of one s-expression."""
    stack: list[list] = [[]]
    for quoted, bracket, word in TOKEN.findall(text):
        if bracket == "(":
            stack.append([])
        elif bracket == ")":
            done = stack.pop()
            stack[-1].append(done)
        else:
            stack[-1].append(word or quoted)
    return stack[0][0]


def symbol(library: str, name: str) -> list:
    """One symbol of a library file, its parent's drawing taken over when it ``extends`` one."""
    text = (SYMBOLS / f"{library}.kicad_sym").read_text("utf-8")
    found = re.search(rf'^  \(symbol "{re.escape(name)}".*?^  \)$', text, re.MULTILINE | re.DOTALL)
    assert found, f"{library} has no symbol {name}"
    tree = parse(found[0])
    parent = [item[1] for item in tree if item[0] == "extends"]
    return symbol(library, parent[0]) if parent else tree


def symbol_pins(library: str, name: str) -> dict[str, Theirs]:
    """Pins by number; units are numbered only when several of them carry signals."""
    pins = []
    for body in symbol(library, name):
        if body[0] == "symbol":
            unit = int(body[1].split("_")[-2])
            for pin in (item for item in body if item[0] == "pin"):
                facts = {item[0]: item[1] for item in pin if isinstance(item, list)}
                label = "" if facts["name"] == "~" else facts["name"]
                low = label.startswith("~{") or pin[2] in LOW_SHAPES
                pins.append((facts["number"], Theirs(unit, label, low, pin[1])))
    units = {pin.unit for _, pin in pins if not pin.kind.startswith("power")} - {0}
    found: dict[str, Theirs] = {}
    for number, pin in pins:
        found.setdefault(number, pin._replace(unit=pin.unit if len(units) > 1 and pin.unit in units else 0))
    return found


def plain(name: str) -> str:
    """A name without marks of polarity and spacing."""
    return re.sub(r"[~{}/ _]", "", name.upper())


def spread(pattern: str) -> list[str]:
    """``Q[0..3]`` -> Q0 Q1 Q2 Q3; ``[A..D]`` counts letters."""
    found = re.search(r"\[(\w+)\.\.(\w+)\]", pattern)
    if not found:
        return [pattern]
    first, last = found[1], found[2]
    steps = (
        map(str, range(int(first), int(last) + 1))
        if first.isdigit()
        else map(chr, range(ord(first), ord(last) + 1))
    )
    return [pattern.replace(found[0], step) for step in steps]


def name_table(text: str) -> dict[str, str]:
    """What the symbol's author calls a pin -> what our data sheets call it."""
    table = {}
    for pair in text.split():
        theirs, ours = pair.split(":")
        left, right = spread(theirs), spread(ours)
        assert len(left) == len(right), pair
        table.update(zip(left, right, strict=True))
    return table


def translated(pin: Theirs, table: dict[str, str]) -> str:
    bare = plain(pin.name)
    name = table.get(f"~{bare}", bare) if pin.name.startswith("~{") else bare
    name = plain(table.get(name, name))
    return f"{pin.unit}{name}" if pin.unit else name


def differences(ours: PartType, pair: dict[str, str]) -> tuple[list[Difference], int]:
    """Where type and symbol disagree, and how many pins were compared."""
    table, theirs = name_table(pair["names"]), symbol_pins(pair["library"], pair["symbol"])
    found, compared = [], 0
    for number in sorted({*theirs, *ours.pin_by_number}):
        mine, other = ours.pin_by_number.get(number), theirs.get(number)
        if mine is None or other is None:
            if mine is None or mine.direction != "nc":
                found.append(Difference(ours.name, number, "pin", mine.name if mine else "", str(other)))
            continue
        compared += 1
        found += [Difference(ours.name, number, *what) for what in pin_differences(mine, other, table)]
    return found, compared


def pin_differences(mine: PinSpec, other: Theirs, table: dict[str, str]) -> list[tuple[str, str, str]]:
    found = []
    direction = "power" if mine.direction == "ground" else mine.direction
    if direction != DIRECTIONS.get(other.kind):
        found.append(("direction", mine.direction, other.kind))
    name = plain(mine.name)
    if other.name and name != translated(other, table):
        found.append(("name", mine.name, translated(other, table)))
    if other.name and mine.name.startswith("/") != other.low:
        found.append(("polarity", mine.name, f"{other.name}{' (inverted)' * other.low}"))
    if not other.name and other.unit and name[0].isdigit() and name[0] != str(other.unit):
        found.append(("unit", mine.name, str(other.unit)))
    return found


def explains(row: dict[str, str], difference: Difference) -> bool:
    return (
        row["type"] == difference.type
        and row["aspect"] == difference.aspect
        and (row["pins"] == "*" or difference.pin in row["pins"].split())
        and row["theirs"] in ("*", difference.theirs)
    )


@needs_symbols
@pytest.mark.debian
def test_pinouts_agree_with_debian_symbols(capsys):
    """Number, name, polarity and direction of every pin agree with Debian's symbols, but for explained rows."""
    library, explained = standard_library(), read_table("pinout_differences.csv")
    pairs = read_table("pinout_pairs.csv")

    results = [differences(library.get(pair["type"]), pair) for pair in pairs]

    all_found = [difference for found, _ in results for difference in found]
    unexplained = [d for d in all_found if not any(explains(row, d) for row in explained)]
    idle = [row for row in explained if not any(explains(row, d) for d in all_found)]
    types, pins = len({pair["type"] for pair in pairs}), sum(count for _, count in results)
    with capsys.disabled():
        print(
            f"\npinouts beside Debian's symbols: {types} types, {pins} pins compared;"
            f" {len(all_found)} differences explained by {len(explained)} rows"
        )
    assert unexplained == []
    assert idle == [], "rows that explain nothing any more"
    assert types >= 80


@pytest.mark.parametrize("row", read_table("pinouts_by_hand.csv"), ids=lambda row: row["type"])
def test_pinout_agrees_with_published_chart(row):
    """Every pin that a chart outside Debian's symbols states is where we have it."""
    ours = standard_library().get(row["type"]).pin_by_number

    stated = dict(pin.split("=") for pin in row["pins"].split())

    assert {number: ours[number].name for number in stated} == stated


@pytest.mark.parametrize("small, large", [("2732", "2764"), ("2716", "27128"), ("6116", "6264")])
def test_24_pin_memory_sits_in_the_lower_pins_of_a_28_pin_one(small, large):
    """Pin n of a byte-wide 24-pin part is pin n+2 of a 28-pin one, for address, data, ground (JEDEC byte-wide)."""
    library = standard_library()
    below = {
        str(int(p.number) + 2): p.name
        for p in library.get(small).pins
        if p.number not in ("18", "20", "21", "24")
    }

    above = library.get(large).pin_by_number

    assert {number: above[number].name for number in below} == below


ORGANISATION = [
    t for t in standard_library().types.values() if t.kind in ("ram", "rom") and t.failure_class != "dram"
]


@pytest.mark.parametrize("kind", ORGANISATION, ids=lambda kind: kind.name)
def test_memory_has_the_address_and_data_lines_of_its_size(kind):
    """A memory of 2^n words of w bits has A0 to An-1 once each, and w ways out."""
    size = re.match(r"(\d+)(K?) x (\d)", kind.description)
    words = int(size[1]) * (1024 if size[2] else 1)

    address = sorted(int(pin.name[1:]) for pin in kind.pins if pin.role == "address")
    ways_out = [pin for pin in kind.pins if pin.role == "data" and pin.direction in ("out", "bidi")]

    assert address == list(range(words.bit_length() - 1))
    assert len(ways_out) == int(size[3])


@pytest.mark.parametrize("name", ["6502", "65C02", "6800", "6802", "6809", "6809E", "Z80", "8080"])
def test_cpu_has_16_address_and_8_data_lines(name):
    """An 8-bit CPU with separate buses has A0 to A15 and D0 to D7 once each, on 40 pins."""
    kind = standard_library().get(name)

    lines = {role: sorted(p.name for p in kind.pins if p.role == role) for role in ("address", "data")}

    assert lines["address"] == sorted(f"A{i}" for i in range(16))
    assert lines["data"] == [f"D{i}" for i in range(8)]
    assert len(kind.pins) == 40


@pytest.mark.shared
def test_pinouts_agree_with_nets_of_a_real_board(shared_boards):
    """On a real 6502-class board the nets a0-a15 and d0-d7 reach just the pins that we call A0-A15 and D0-D7."""
    folder, library = shared_boards / "trainer-computer", standard_library()
    values = {row["refdes"]: row["value"] for row in csv.DictReader((folder / "parts.csv").open())}
    types = {ref: library.find(values[ref]) for ref in ("U5", "U7", "U8", "U9", "U11", "U12")}

    rows = [row for row in csv.DictReader((folder / "nets.csv").open()) if row["refdes"] in types]
    named = [(types[r["refdes"]].pin(r["pin"]).name.lower(), r["net"]) for r in rows]
    bus = [(name, net) for name, net in named if re.fullmatch(r"[ad]\d+", name)]

    assert len(bus) == 16 + 8 + 15 + 8 + 15 + 8 + 3 * 8
    assert [pair for pair in bus if pair[0] != pair[1]] == []
