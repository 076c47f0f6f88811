"""Looking a netlist over: each rule finds its fault, and only its fault."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from coppermend.board.check import Finding, check_board
from coppermend.board.finding import listed
from coppermend.board.model import (
    Board,
    Clock,
    Connector,
    Matrix,
    MatrixPosition,
    MemoryRegion,
    Pad,
    Part,
    PinRef,
    Rail,
    Section,
    Via,
)  # fmt: skip
from coppermend.board.parttypes import PartLibrary, parse_part_types

LIBRARY = PartLibrary(
    parse_part_types("""
["gate"]
description = "two gates"
kind = "logic"
pins = ["1 A in", "2 Y out", "3 Z out", "4 GND ground", "5 VCC power"]

["buffer"]
description = "buffer that can be switched off"
kind = "logic"
three_state = true
pins = ["1 A in", "2 Y out"]

["processor"]
description = "processor"
kind = "cpu"
pins = ["1 A0 out address", "2 SYNC out"]

["regulator"]
description = "regulator"
kind = "regulator"
pins = ["1 IN passive", "2 OUT out"]

["pull-down"]
description = "open-collector output"
kind = "driver"
pins = ["1 A in", "2 Y open-collector"]

["resistor"]
description = "resistor"
kind = "resistor"
pins = ["1 1 passive", "2 2 passive"]
""")
)
R = [Part(f"R{i}", "resistor") for i in range(1, 6)]


def board(parts, nets, **more) -> Board:
    """A board from parts and ``{"NET": "R1.1 R2.2"}``."""
    wired = {net: tuple(PinRef.parse(pin) for pin in pins.split()) for net, pins in nets.items()}
    return Board("B", 50, 50, parts=tuple(parts), nets=wired, **more)


def found(looked_at: Board, *, besides=("no-pads", "no-copper", "single-pin-net")) -> dict[str, Finding]:
    """Findings by code, without those that every small board has."""
    return {f.code: f for f in check_board(looked_at, LIBRARY) if f.code not in besides}


def test_a_clean_board():
    """A board on which everything agrees has nothing but notes about what is not there."""
    clean = board(R[:2], {"A": "R1.1 R2.1", "B": "R1.2 R2.2"})

    assert [f.code for f in check_board(clean, LIBRARY)] == ["no-pads", "no-copper"]


def test_order():
    """Errors come before warnings, warnings before notes."""
    mixed = board([*R[:1], *R[:1], Part("X1")], {"A": "R1.1", "B": "R1.1 X1.1"})

    assert [f.severity for f in check_board(mixed, LIBRARY)] == ["error"] * 2 + ["warning"] + ["note"] * 3


@pytest.mark.parametrize(("nets", "severity"), [({"A": "R1.1 R2.1"}, "error"), ({"A": "R2.1 R2.2"}, "note")])
def test_duplicate_refdes(nets, severity):
    """A refdes used twice is an error, or a note when none of the parts is wired (mounting holes)."""
    finding = found(board([R[0], R[0], R[1]], nets))["duplicate-refdes"]

    assert (finding.severity, finding.subjects) == (severity, ("R1",))


def test_pin_on_two_nets():
    """A pin on two nets is named with both."""
    finding = found(board(R[:2], {"A": "R1.1 R2.1", "B": "R1.1 R2.2"}))["pin-on-two-nets"]

    assert (finding.severity, finding.subjects) == ("error", ("R1.1", "A", "B"))


def test_pin_listed_twice():
    """A pin listed twice on one net is a warning, and no pin on two nets."""
    findings = found(board(R[:2], {"A": "R1.1 R2.1 R1.1"}))

    assert findings["pin-listed-twice"].subjects == ("R1.1", "A") and len(findings) == 1


def test_pin_not_in_type():
    """A pin that the part type lacks is named; parts of unknown type have any pin."""
    findings = found(board([R[0], Part("X1", "mystery")], {"A": "R1.1 X1.99", "B": "R1.3 X1.1"}))

    assert findings["pin-not-in-type"].subjects == ("R1.3",)
    assert findings["pin-not-in-type"].message == "R1 (resistor) has no pin 3; it has 2 pins"


def test_types_with_open_pins():
    """A type that takes any pin number, as connectors do, has no strange pins."""
    plug = PartLibrary(
        parse_part_types('["plug"]\ndescription="p"\nkind="connector"\nopen_pins=true\npins=[]')
    )
    wired = board([Part("J1", "plug")], {"A": "J1.A7 J1.99"})

    assert "pin-not-in-type" not in {f.code for f in check_board(wired, plug)}


def test_unconnected_power():
    """Power and ground pins on no net are errors, one each; a part with no wire at all is only noted."""
    wired = board([Part("U1", "gate"), Part("U2", "gate")], {"A": "U1.1", "+5V": "U1.5"})

    findings = found(wired)

    assert findings["unconnected-power"].message == "U1.4 (GND of gate, ground) is on no net"
    assert findings["part-without-nets"].subjects == ("U2",)


@pytest.mark.parametrize(
    ("kinds", "pins", "severity"),
    [
        (("gate", "gate"), "U1.2 U2.2", "error"),
        (("gate", "processor"), "U1.2 U2.2", "error"),
        (("gate", "gate"), "U1.2 U1.3", "warning"),
        (("gate", "gate"), "U1.2 U2.1", None),
        (("gate", "gate"), "U1.2 U1.2", None),
        (("gate", "buffer"), "U1.2 U2.2", None),
        (("gate", "pull-down"), "U1.2 U2.2", None),
        (("gate", "processor"), "U1.2 U2.1", None),
        (("regulator", "regulator"), "U1.2 U2.2", None),
        (("gate", "mystery"), "U1.2 U2.2", None),
        (("gate", "gate"), "U1.2 U9.2", None),
    ],
)
def test_tied_outputs(kinds, pins, severity):
    """Two outputs that always drive are an error on one net; in one package a warning; others may share."""
    wired = board([Part(f"U{i}", kind) for i, kind in enumerate(kinds, 1)], {"A": pins})

    finding = found(wired).get("outputs-tied")

    assert (finding and finding.severity) == severity


def test_lonely_nets():
    """Nets of one pin and of none are warnings."""
    findings = found(board(R[:1], {"A": "R1.1", "B": ""}), besides=("no-pads", "no-copper"))

    assert findings["single-pin-net"].subjects == ("A", "R1.1")
    assert findings["net-without-pins"].subjects == ("B",)


def test_missing_parts():
    """Parts that only nets or only pads speak of are errors."""
    wired = board(R[:1], {"A": "R1.1 R10.1"}, pads=(Pad("R2", "1", 5, 5, 0, 1), Pad("R1", "1", 9, 9, 0, 1)))

    missing = [f.subjects[0] for f in check_board(wired, LIBRARY) if f.code == "missing-part"]

    assert missing == ["R2", "R10"]


def test_pins_without_pads():
    """With pads given, a pin on a net that has none is a warning; why depends on where pads come from."""
    wired = board(
        [*R[:2], replace(R[2], package="ODD-3")],
        {"A": "R1.1 R1.2 R2.1 R3.1"},
        pads=(Pad("R1", "1", 5, 5, 0, 1),),
    )

    given = [f.message for f in check_board(wired, LIBRARY) if f.code == "pin-without-pad"]
    computed = [
        f.message
        for f in check_board(replace(wired, pads_from_packages=True), LIBRARY)
        if f.code == "pin-without-pad"
    ]

    assert given == ["R1 has pins on nets but no pads for them: R1.2", "R2 has no pads", "R3 has no pads"]
    assert computed[1:] == [
        "R2 has no pads: no package is given",
        "R3 has no pads: package 'ODD-3' is not known",
    ]


def test_unknown_types():
    """Unknown and missing types are notes, one a type, for wired parts only."""
    wired = board([Part("X1", "odd"), Part("X2", "odd"), Part("X3"), Part("H1")], {"A": "X1.1 X2.1 X3.1"})

    notes = [f for f in check_board(wired, LIBRARY) if f.code == "unknown-type"]

    assert [n.subjects for n in notes] == [("X1", "X2"), ("X3",)]
    assert {n.severity for n in notes} == {"note"} and "'odd'" in notes[0].message


def test_an_empty_board():
    """A board that is nothing but its size is clean but for the note that it has no copper."""
    assert [f.code for f in check_board(Board("B", 9, 9), LIBRARY)] == ["no-copper"]


NAMES = [
    ({"rails": (Rail("+9V", 9.0),)}, "unknown-net", ("+9V",)),
    ({"clocks": (Clock("CLK", 1e6),)}, "unknown-net", ("CLK",)),
    ({"matrix": Matrix(strobes=("S0",))}, "unknown-net", ("S0",)),
    ({"matrix": Matrix(returns=("A", "R0"))}, "unknown-net", ("R0",)),
    ({"matrix": Matrix(("A",), ("B",), (MatrixPosition("A", "C", "lane"),))}, "matrix-line", ("C",)),
    ({"matrix": Matrix(("A",), ("B",), (MatrixPosition("B", "B", "lane"),))}, "matrix-line", ("B",)),
    ({"matrix": Matrix(("A",), ("B",), (MatrixPosition("A", "B", "x"), MatrixPosition("A", "B", "y")))}, "matrix-place-twice", ("A", "B")),
    ({"matrix": Matrix(("A",), ("B",), (MatrixPosition("A", "B", "x", "D9"),))}, "unknown-part", ("D9",)),
    ({"connectors": (Connector("J1", signals={"1": "x"}),)}, "unknown-part", ("J1",)),
    ({"connectors": (Connector("R1", signals={"1": "x", "9": "y"}),)}, "unknown-pin", ("R1.9",)),
    ({"memory_map": (MemoryRegion("RAM", 0, 9, ("U4", "R1")),)}, "unknown-part", ("U4",)),
    ({"vias": (Via("V1", "A", 5, 5, 0.4), Via("V1", "A", 9, 9, 0.4))}, "named-twice", ("V1",)),
    ({"rails": (Rail("A", 5.0), Rail("A", 9.0))}, "named-twice", ("A",)),
    ({"connectors": (Connector("R1"), Connector("R1"))}, "named-twice", ("R1",)),
    ({"sections": (Section("reset"), Section("reset"))}, "named-twice", ("reset",)),
]  # fmt: skip


@pytest.mark.parametrize(("more", "code", "subjects"), NAMES)
def test_names_that_do_not_exist(more, code, subjects):
    """Each name in board.toml must name something, and only once."""
    findings = found(board(R[:2], {"A": "R1.1 R2.1", "B": "R1.2 R2.2"}, **more))

    assert {c: f.subjects for c, f in findings.items()} == {code: subjects}


def test_unknown_sections():
    """A section that parts name and the board does not list is a warning with those parts."""
    parts = [
        replace(R[0], section="reset"),
        replace(R[1], section="rest"),
        replace(R[2], section="rest"),
        R[3],
    ]

    finding = found(board(parts, {}, sections=(Section("reset"),)))["unknown-section"]

    assert (finding.severity, finding.subjects) == ("warning", ("rest", "R2", "R3"))


def test_findings_as_json():
    """A finding is four plain JSON values."""
    (finding,) = found(board(R[:2], {"A": "R1.1 R2.1 R1.1"})).values()

    assert finding.to_json() == {
        "code": "pin-listed-twice",
        "severity": "warning",
        "message": "pin R1.1 is listed 2 times on net A",
        "subjects": ["R1.1", "A"],
    }


def test_long_lists_are_cut():
    """A sentence lists six names and counts the rest."""
    assert listed([str(i) for i in range(10)]) == "0, 1, 2, 3, 4, 5 and 4 more"
    assert listed(["A"]) == "A" and listed([]) == ""


def test_every_finding_is_documented():
    """The documentation lists exactly the codes that the rules use, with their severities."""
    root = Path(__file__).parents[2]
    source = "".join(p.read_text("utf-8") for p in (root / "src/coppermend/board").glob("check*.py"))
    page = (root / "docs" / "board-folder.md").read_text("utf-8").partition("## What `board check`")[2]

    used = set(re.findall(r'Finding\(\s*"([a-z-]+)"', source))
    told = {
        code
        for row in re.findall(r"^\| (`.*?) \|", page, re.MULTILINE)
        for code in re.findall("`(.+?)`", row)
    }

    assert used == told and len(used) > 20
