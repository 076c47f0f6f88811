"""What nets are for: roles and words from part types, the board's tables, connectors and what a net leads to."""

from __future__ import annotations

import pytest

from coppermend.board.import_sources import Source
from coppermend.board.importing import import_board
from coppermend.board.model import Board, Clock, Connector, Matrix, Part, PinRef, Rail, Section
from coppermend.board.parttypes import standard_library
from coppermend.board.roles import net_roles, supply_nets

LIBRARY = standard_library()


def make(parts: dict[str, str], nets: dict[str, str], **more) -> Board:
    """A board from ``{"U1": "6502"}`` and ``{"A5": "U1.14 U2.3"}``."""
    made = tuple(part if isinstance(part, Part) else Part(ref, part) for ref, part in parts.items())
    pins = {net: tuple(PinRef.parse(pin) for pin in text.split()) for net, text in nets.items()}
    return Board("bench", 100, 100, parts=made, nets=pins, **more)


def said(board: Board, net: str = "N1") -> tuple[str, str]:
    role = net_roles(board, LIBRARY)[net]
    return role.role, role.does


@pytest.mark.parametrize(
    "pin, role, does",
    [
        ("U1.14", "address", "address line 5 of the CPU"),
        ("U1.30", "data", "data line 3 of the CPU"),
        ("U1.40", "reset", "reset of the CPU"),
        ("U1.37", "clock", "clock PHI0 of the CPU"),
        ("U1.4", "interrupt", "interrupt /IRQ of the CPU"),
        ("U1.34", "control", "control line R/W of the CPU"),
        ("U1.8", "rail", "supply of U1 (6502)"),
        ("U1.21", "ground", "ground"),
        ("U1.5", "signal", "only reaches U1 (6502)"),
        ("U2.2", "signal", "port line PA0 of U2 (6821)"),
        ("U2.23", "select", "chip select /CS2 of U2 (6821)"),
        ("U2.36", "address", "register select RS0 of U2 (6821)"),
        ("U2.38", "interrupt", "interrupt /IRQA of U2 (6821)"),
        ("U2.34", "reset", "reset of U2 (6821)"),
        ("U3.8", "address", "address line 0 of U3 (2716)"),
        ("U3.9", "data", "data line 0 of U3 (2716)"),
        ("U3.20", "control", "control line /OE of U3 (2716)"),
        ("U4.9", "data", "data line DI1 of U4 (5101)"),
        ("U5.1", "reset", "reset from U5 (supervisor-open-drain)"),
        ("X1.1", "clock", "clock at X1 (crystal)"),
        ("X2.8", "clock", "clock at X2 (oscillator)"),
        ("U6.3", "rail", "rail made by U6 (7805)"),
        ("U7.3", "signal", "output 1Y of U7 (7400)"),
        ("U8.1", "reset", "reset, by its name"),
        ("SW1.3", "option", "option switch 3 of SW1"),
        ("SW2.1", "switch", "switch SW2"),
        ("DS1.1", "lamp", "lamp DS1"),
    ],
)
def test_pin_of_a_known_part_gives_the_role(pin, role, does):
    """A net takes its role and words from the one known pin on it."""
    types = {
        "U1": "6502", "U2": "6821", "U3": "2716", "U4": "5101", "U5": "supervisor-open-drain", "U6": "7805",
        "U7": "7400", "U8": "no-such-type", "X1": "crystal", "X2": "oscillator", "SW1": "dip-switch-8",
        "SW2": "pushbutton", "DS1": "lamp",
    }  # fmt: skip
    net = "RESET" if pin == "U8.1" else "N1"

    assert said(make(types, {net: pin}), net) == (role, does)


def test_cpu_wins_over_everything_else_on_its_bus():
    """An address net that also meets ROM, decoder and a bus connector is the CPU's address line."""
    board = make(
        {"U1": "6502", "U3": "2716", "U4": "74138", "J1": "header"},
        {"N1": "J1.1 U4.1 U3.7 U1.10"},
        connectors=(Connector("J1", "expansion", "bus", {"1": "A1"}),),
    )

    assert said(board) == ("address", "address line 1 of the CPU")


def test_two_cpus_are_told_apart():
    """With two CPUs a line says whose it is."""
    board = make({"U1": "6502", "U2": "6802"}, {"N1": "U1.9", "N2": "U2.9"})

    assert said(board, "N2") == ("address", "address line 0 of U2 (6802)")


def test_8085_shares_its_lines():
    """Lines that carry address and data in turn say so."""
    assert said(make({"U1": "8085"}, {"N1": "U1.12"})) == ("data", "address and data line 0 of the CPU")


def test_declared_tables_come_first():
    """Rails, clocks, strobes and returns of board.toml win over pins."""
    board = make(
        {"U1": "6502", "U2": "6821"},
        {"R5": "U1.8", "M": "U1.21", "PH": "U1.37", "ST2": "U2.2", "RT": "U2.10", "Z": "U2.3"},
        rails=(Rail("R5", 5.0), Rail("M", 0.0), Rail("Z", -12.5)),
        clocks=(Clock("PH", 894_886.0),),
        matrix=Matrix(("ST1", "ST2"), ("RT",)),
    )

    roles = net_roles(board, LIBRARY)

    assert {net: (r.role, r.does) for net, r in roles.items()} == {
        "R5": ("rail", "+5 V rail"), "M": ("ground", "ground"), "PH": ("clock", "894.9 kHz clock"),
        "ST2": ("strobe", "strobe 2 of the switch matrix"), "RT": ("return", "return 1 of the switch matrix"),
        "Z": ("rail", "-12.5 V rail"),
    }  # fmt: skip


def test_matrix_numbers_follow_the_nets_own_names():
    """A board that counts its returns from 0 is not renumbered."""
    board = make({"U2": "6821"}, {"RET0": "U2.2", "RET7": "U2.9"}, matrix=Matrix((), ("RET0", "RET7")))

    assert said(board, "RET7")[1] == "return 7 of the switch matrix"


@pytest.mark.parametrize(
    "net, role",
    [
        ("GND", "ground"), ("/power/AGND", "ground"), ("0V", "ground"), ("+12V", "rail"), ("-5V", "rail"), ("VCC", "rail"),
        ("VBAT", "rail"), ("A11", "address"), ("DB3", "data"), ("~{RES}", "reset"), ("R/W", "control"), ("R~{W}", "control"),
        ("PHI2", "clock"), ("/IRQ", "interrupt"), ("~{RAM_CS}", "select"), ("Net-(R1-Pad1)", "signal"), ("/", "signal"),
    ],
)  # fmt: skip
def test_name_speaks_when_parts_are_unknown(net, role):
    """On a board whose part types are unknown the usual names of nets are believed."""
    assert said(make({"U1": "", "U2": ""}, {net: "U1.1 U2.1"}), net)[0] == role


def test_net_without_listed_parts_is_still_named():
    """A net with no pins, or pins of parts that the parts list lacks, has role signal."""
    board = make({}, {"N1": "", "N2": "U9.1"})

    assert said(board) == said(board, "N2") == ("signal", "reaches no part that the board lists")


@pytest.mark.parametrize(
    "kind, label, role, does",
    [
        ("lamp", "left lane", "lamp", "lamp left lane at J1.3"),
        ("lamp", "Lamp 7", "lamp", "Lamp 7 at J1.3"),
        ("solenoid", "", "solenoid", "solenoid at J1.3"),
        ("display", "digit 1", "display", "display digit 1 at J1.3"),
        ("sound", "bell", "sound", "sound bell at J1.3"),
        ("sound", "sound strobe", "sound", "sound strobe at J1.3"),
        ("switch", "door", "switch", "switch door at J1.3"),
        ("sound", "Coin switch", "switch", "Coin switch at J1.3"),
        ("option", "", "option", "option switch at J1.3"),
        ("supply", "18 V AC", "rail", "supply 18 V AC at J1.3"),
        ("", "spare", "signal", "spare at J1.3"),
        ("", "tilt switch", "switch", "tilt switch at J1.3"),
    ],
)
def test_connector_gives_role_and_label(kind, label, role, does):
    """What a connector serves is the role; the label of its pin is in the words."""
    connector = Connector("J1", "", kind, {"3": label} if label else {})

    assert said(make({"J1": "header"}, {"N1": "J1.3"}, connectors=(connector,))) == (role, does)


def solenoid_board(**nets: str) -> Board:
    """A port line that drives a solenoid through a buffer, a base resistor and a Darlington."""
    return make(
        {"U2": "6821", "U7": "7407", "R1": "resistor", "R2": "resistor", "Q1": "npn-darlington", "D1": "rectifier",
         "J2": "header"},
        {"PORT": "U2.10 U7.1", "BUF": "U7.2 R1.1 R2.1", "BASE": "R1.2 Q1.1", "COIL": "Q1.2 D1.2 J2.1",
         "GND": "Q1.3 U2.1 U7.7", "+5V": "R2.2 U2.20 U7.14", "+24V": "D1.1", **nets},
        connectors=(Connector("J2", "coils", "solenoid", {"1": "ball lift"}),),
    )  # fmt: skip


def test_nets_before_a_solenoid_drive_it():
    """Base, resistor and buffer of a driver say what they drive; pull-up and clamp diode do not carry it to rails."""
    roles = net_roles(solenoid_board(), LIBRARY)

    chain = {net: (roles[net].role, roles[net].does) for net in ("PORT", "BUF", "BASE")}

    assert set(chain.values()) == {("solenoid", "drives solenoid ball lift at J2.1")}
    assert roles["+24V"].role == roles["+5V"].role == "rail"


def test_net_that_drives_several_names_the_first():
    """A net in front of several outputs names one and counts the rest."""
    board = make(
        {"U2": "6821", "U8": "75451", "J3": "header"},
        {"N1": "U2.2 U8.1 U8.6", "L1": "U8.3 J3.1", "L2": "U8.5 J3.2", "EN": "U8.2"},
        connectors=(Connector("J3", "", "lamp", {"1": "lamp 1", "2": "lamp 2"}),),
    )

    assert said(board) == ("lamp", "drives lamp 1 at J3.1 and 1 more")
    assert said(board, "EN") == ("lamp", "drives lamp 1 at J3.1")


def test_net_behind_a_return_carries_it_on():
    """A return's series resistor and inverter lead to nets that say whose level they carry."""
    board = make(
        {"R1": "resistor", "U4": "7414", "U2": "6821"},
        {"RET3": "R1.1", "FILT": "R1.2 U4.1", "IN": "U4.2 U2.10"},
        matrix=Matrix((), ("RET3",)),
    )

    assert said(board, "FILT") == ("return", "leads to return 3 of the switch matrix")
    assert said(board, "IN") == ("return", "carries return 3 of the switch matrix")


def test_logic_in_front_of_a_lamp_serves_it():
    """Data, clock and gate of a latch in front of lamps drive them; a clock that is one by its name stays a clock."""
    board = make(
        {"U1": "7408", "U2": "74273", "J3": "header"},
        {
            "DATA": "U2.3",
            "LATCH": "U2.11 U1.3",
            "SELECT": "U1.1",
            "PHI2": "U1.2",
            "L1": "U2.2 J3.1",
            "L2": "U2.5 J3.2",
        },
        connectors=(Connector("J3", "", "lamp", {"1": "lamp 1", "2": "lamp 2"}),),
    )

    assert said(board, "DATA") == ("lamp", "drives lamp 1 at J3.1")
    assert said(board, "LATCH") == said(board, "SELECT") == ("lamp", "drives lamp 1 at J3.1 and 1 more")
    assert said(board, "PHI2") == ("clock", "clock, by its name")


def test_logic_behind_a_switch_decides_for_itself():
    """A gate behind a switch ends the walk: its output is its own; a comparator's output carries the switch."""
    board = make(
        {"U1": "7400", "U5": "339", "SW1": "pushbutton"},
        {"N1": "SW1.1 U1.1 U5.5", "OUT": "U1.3", "LEVEL": "U5.2", "REF": "U5.4"},
    )

    assert said(board, "OUT") == ("signal", "output 1Y of U1 (7400)")
    assert said(board, "LEVEL") == ("switch", "carries switch SW1")
    assert said(board, "REF")[0] == "signal"


def test_unnamed_net_says_what_it_joins():
    """A net of nothing but passives names its parts, the first of many with a count."""
    parts = {f"R{i}": "resistor" for i in range(1, 5)}

    assert said(make(parts, {"N1": "R1.1 R2.1"}))[1] == "joins R1 (resistor) and R2 (resistor)"
    assert said(make(parts, {"N1": "R1.1 R2.1 R3.1 R4.1"}))[1] == "joins R1 (resistor) and 3 more"


def test_output_says_where_it_goes():
    """A logic output with readers names itself and them."""
    board = make({"U1": Part("U1", "7400", "74LS00"), "U2": "7404"}, {"N1": "U1.3 U2.1"})

    assert said(board) == ("signal", "output 1Y of U1 (74LS00), to U2 (7404)")


def test_switch_with_a_note_is_called_by_it():
    """A switch's value or note names it."""
    board = make({"SW1": Part("SW1", "pushbutton", notes="self-test")}, {"N1": "SW1.1"})

    assert said(board) == ("switch", "switch SW1 (self-test)")


def test_sections_are_those_of_the_parts_in_board_order():
    """Sections come once each, as the board lists them; unlisted ones last; JSON holds them all."""
    board = make(
        {"U1": Part("U1", section="memory"), "U2": Part("U2", section="reset"), "R1": Part("R1", section="attic"),
         "R2": Part("R2")},
        {"N1": "U1.1 U2.1 R1.1 R2.1 U1.2 U9.1"},
        sections=(Section("reset"), Section("memory")),
    )  # fmt: skip

    role = net_roles(board, LIBRARY)["N1"]

    assert role.sections == ("reset", "memory", "attic")
    assert role.to_json()["sections"] == ["reset", "memory", "attic"]
    assert sorted(role.to_json()) == ["does", "net", "role", "sections"]


def test_supply_nets_are_rails_and_grounds():
    """Rails and grounds, declared or found by their parts, are supply; ports are not."""
    assert supply_nets(solenoid_board(), LIBRARY) == {"GND", "+5V", "+24V"}


@pytest.mark.shared
def test_roles_of_a_real_board_follow_its_net_names(shared_boards):
    """On a real 6502-class board every a0-a15 is an address line, d0-d7 data, and reset, clock, supply are right."""
    folder = shared_boards / "trainer-computer"
    netlist = Source("board.d356", (folder / "board.d356").read_bytes())
    parts = Source("parts.csv", (folder / "parts.csv").read_bytes())
    board, _ = import_board(name="trainer", ipc356=netlist, gerber=(), parts=parts, library=LIBRARY)

    found = {net: (role.role, role.does) for net, role in net_roles(board, LIBRARY).items()}

    for i in range(16):
        assert found[f"A{i}"] == ("address", f"address line {i} of the CPU")
    for i in range(8):
        assert found[f"D{i}"] == ("data", f"data line {i} of the CPU")
    assert [found[net][0] for net in ("~{RES}", "CLK", "+5V", "GND", "R~{W}", "~{IRQ}", "~{ROM_CS}")] == [
        "reset", "clock", "rail", "ground", "control", "interrupt", "select",
    ]  # fmt: skip
