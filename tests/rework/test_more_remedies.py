"""Straps, pull-ups, regulators, flyback diodes, connectors, remote pack: found on the graph, computed, carried out."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pytest

from coppermend.board.atrisk import Touch
from coppermend.board.check import check_board
from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Connector, Part, PinRef, Rail
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.rework.apply import NewNames, apply_remedies, apply_remedy
from coppermend.rework.figures.catalog import figure_called
from coppermend.rework.loads import rail_load_a
from coppermend.rework.placing import free_spot_mm
from coppermend.rework.remedies import remedies
from coppermend.rework.straps import family_of
from coppermend.rework.verify import check_remedy, conflicts

LIBRARY = standard_library()


def without(board, *refdes):
    """The board with some parts left out."""
    nets = {n: tuple(p for p in pins if p.refdes not in refdes) for n, pins in board.nets.items()}
    return replace(
        board,
        parts=tuple(p for p in board.parts if p.refdes not in refdes),
        nets={n: pins for n, pins in nets.items() if pins},
        pads=tuple(p for p in board.pads if p.refdes not in refdes),
    )


@lru_cache
def demo():
    return with_package_pads(parse_board_folder(demo_board_files()))


@lru_cache
def bare_coil():
    """The demo board as if the diode of coil 0 had never been fitted."""
    return without(demo(), "D21")


@lru_cache
def card_out():
    """The demo board as if its pull-ups RN4 stood on the card at J8, and the card were out."""
    return without(demo(), "RN4")


@lru_cache
def regulated():
    """The demo board as if a 7805 made its 5 V from the 12 V of the machine."""
    board = demo()
    nets = dict(board.nets)
    nets["+5V"] = (*(p for p in nets["+5V"] if p.refdes != "J1"), PinRef("U30", "3"))
    nets["+12V"] = (*nets["+12V"], PinRef("U30", "1"))
    nets["GND"] = (*nets["GND"], PinRef("U30", "2"))
    return replace(board, nets=nets, parts=(*board.parts, Part("U30", "78xx", "7805", package="TO-220")))


BOARDS = {
    "flyback-diodes": bare_coil,
    "pull-up-relocation": card_out,
    "regulators": regulated,
    "input-straps": card_out,
}


@lru_cache
def offered(name):
    board = BOARDS[name]()
    return board, {r.id: r for r in remedies(board, LIBRARY, Touch())}[name]


def check(remedy, start):
    return next(c for c in remedy.checks if c.name.startswith(start))


def errors(board):
    return {(f.code, f.subjects) for f in check_board(board, LIBRARY) if f.severity == "error"}


def test_the_demo_board_as_it_is_needs_none_of_them():
    """Every coil has its diode, every input its level, and the 5 V come from outside."""
    found = {r.id for r in remedies(demo(), LIBRARY, Touch())}

    assert not found & set(BOARDS)


@pytest.mark.parametrize("name", BOARDS)
def test_each_is_carried_out_soundly(name):
    """The edited graph has just the connections that are meant, and no error that was not there before."""
    board, remedy = offered(name)

    assert remedy.ok
    assert check_remedy(board, LIBRARY, remedy) == ()
    assert errors(apply_remedy(board, LIBRARY, remedy)) <= errors(board)


@pytest.mark.parametrize(
    ("name", "number"),
    [
        ("flyback-diodes", 0),
        ("flyback-diodes", 1),
        *((name, n) for name in ("pull-up-relocation", "input-straps") for n in range(6)),
    ],
)
def test_each_wire_left_out_is_named(name, number):
    """Without one of its wires the check says which connection is missing."""
    board, remedy = offered(name)
    cut = replace(remedy, jumpers=remedy.jumpers[:number] + remedy.jumpers[number + 1 :])

    found = [f for f in check_remedy(board, LIBRARY, cut) if f.code == "missing-connection"]

    assert [f.subjects[0] for f in found] == [remedy.jumpers[number][0]]


def test_a_bare_coil_gets_a_diode_to_its_supply():
    """Cathode to the 32 V of the coil, anode to the collector; the rail plus one drop stays below the TIP122's 100 V."""
    board, remedy = offered("flyback-diodes")
    after = apply_remedy(board, LIBRARY, remedy)

    diode = remedy.parts_on[0].refdes[0]

    assert after.index.net_of_pin[PinRef(diode, "1")] == "VSOL"
    assert after.index.net_of_pin[PinRef(diode, "2")] == "COIL0"
    assert check(remedy, "COIL0: voltage at the transistor").value == "39.2 V"
    assert "TIP122 data sheet" in check(remedy, "COIL0: voltage at the transistor").source


def test_a_driver_with_its_own_diodes_needs_none():
    """A ULN2803 whose common pin is on the coil's supply clamps its coils; one whose pin is elsewhere does not."""
    base = demo()
    connectors = (Connector("J4", kind="solenoid"),)
    board = replace(base, connectors=connectors)
    lifted = {n: tuple(p for p in pins if str(p) != "U20.10") for n, pins in base.nets.items()}

    assert "flyback-diodes" not in {r.id for r in remedies(board, LIBRARY, Touch())}
    found = {r.id: r for r in remedies(replace(board, nets=lifted), LIBRARY, Touch())}["flyback-diodes"]
    assert len(found.parts_on[0].refdes) == 8


def test_a_relay_on_the_board_is_a_coil(board_of):
    """A1 on the rail, A2 on the collector of a transistor, nothing across it."""
    parts = [Part("K1", "relay"), Part("Q1", "npn", "2N3904"), Part("U1", "6502", x_mm=50)]
    board = board_of(parts, {
        "+5V": "K1.A1 U1.8", "COIL": "K1.A2 Q1.3", "BASE": "Q1.2 U1.9", "GND": "Q1.1 U1.1 U1.21",
    })  # fmt: skip
    found = {r.id: r for r in remedies(board, LIBRARY, Touch())}

    assert found["flyback-diodes"].connections == (("D1.2", "COIL"), ("D1.1", "+5V"))


def test_pull_ups_of_a_card_that_is_out_are_moved_onto_the_board():
    """RDY, IRQ and NMI were held high by the card only: one resistor each, within the window of the LS12 data sheet."""
    _board, remedy = offered("pull-up-relocation")
    nets = {net for point, net in remedy.connections if point.endswith(".1")}

    assert nets == {"IRQ_N", "NMI_N", "RDY"}
    assert all(c.figure == "pull-up" for c in remedy.checks)
    assert check(remedy, "RDY: strap").ok


def test_regulator_is_judged_with_this_boards_load():
    """12 V less 15 % leave 2.95 V of headroom over 5.25 V and 2 V of drop-out (MC7805A data sheet); heat at 13.8 V."""
    board, remedy = offered("regulators")
    load = rail_load_a(board, LIBRARY, "+5V")

    assert check(remedy, "headroom of U30").value == "2.950 V"
    assert check(remedy, "heat of U30").value.startswith(f"{8.8 * load:.2f} W")
    assert {"inrush"} <= {c.figure for c in remedy.checks}
    assert remedy.ok


def test_regulator_without_a_declared_input_says_so():
    """What the headroom is, nobody can compute."""
    board = regulated()
    board = replace(board, rails=tuple(r for r in board.rails if r.net != "+12V"))
    found = {r.id: r for r in remedies(board, LIBRARY, Touch())}["regulators"]

    assert "not declared" in check(found, "headroom of U30").value
    assert found.checks[0].must is False


def test_regulator_with_too_low_an_input_fails():
    """7 V less 10 % is below what a three-terminal regulator needs."""
    board = regulated()
    rails = tuple(replace(r, volts=7.0, tolerance=0.1) if r.net == "+12V" else r for r in board.rails)
    found = {r.id: r for r in remedies(replace(board, rails=rails), LIBRARY, Touch())}["regulators"]

    assert check(found, "headroom of U30").value == "-0.950 V"
    assert not found.ok


@pytest.mark.parametrize("farads", [0.1, 1.5])
def test_inrush_check_follows_the_figure(farads):
    """A check that names a figure with inputs says what that figure says of them."""
    for one in offered("regulators")[1].checks:
        if one.figure == "inrush":
            given = {**dict(one.inputs), "capacitance": f"{farads} -20+80%"}
            again = next(c for c in figure_called("inrush").evaluate(given).checks if c.name == one.name)
            assert (again.value, again.ok) == (one.value, one.ok)


def linked():
    every = list(remedies(demo(), LIBRARY, Touch()))
    every += [offered(name)[1] for name in BOARDS]
    return [
        (r.id, c) for r in every for c in r.checks if c.figure and c.name.partition(": ")[2] in ("", c.name)
    ]


def test_every_linked_figure_takes_the_inputs_of_its_check():
    """No link leads to a refusal, and a check that the figure has too gets the same verdict there."""
    found = linked()
    for name, one in found:
        answer = figure_called(one.figure).evaluate(dict(one.inputs))
        same = [c for c in answer.checks if c.name == one.name]
        assert all(c.ok == one.ok for c in same), (name, one.name)

    assert len(found) > 15


def test_hold_up_of_the_remedy_is_that_of_its_figure():
    """The supercapacitor's worst case, computed by the remedy, is what the linked page shows, within the ESR's millivolt."""
    remedy = {r.id: r for r in remedies(demo(), LIBRARY, Touch())}["supercapacitor-BT1"]
    one = check(remedy, "hold-up")
    hours = float(one.value.split()[0])

    assert figure_called("retention").evaluate(dict(one.inputs)).out("hold_up_s").low / 3600 == pytest.approx(
        hours, rel=0.02
    )


@pytest.fixture
def strap_board(board_of):
    """A processor whose NMI leads to a connector and nowhere else; J1 may be a card's."""

    def make(kind="", chip="6502", **nets):
        parts = [
            Part("U1", chip, x_mm=20, y_mm=50, package="DIP-40-600"),
            Part("J1", "connector", x_mm=80, y_mm=50, package="HDR-1x4"),
            Part("U2", "7405", x_mm=60, y_mm=60, package="DIP-14"),
        ]
        wired = {
            "+5V": "U1.8 U2.14", "GND": "U1.1 U1.21 U2.7", "NMI": "U1.6 J1.1", "RDY": "U1.2 U2.2", "X": "U2.1 U1.9", **nets,
        }  # fmt: skip
        return board_of(parts, wired, connectors=(Connector("J1", kind=kind),))

    return make


def by_id(board):
    return {r.id: r for r in remedies(board, LIBRARY, Touch())}


def test_an_input_that_only_a_cable_sets_gets_a_strap(strap_board):
    """10 kΩ to the rail: the largest value within the pull-up window."""
    remedy = by_id(strap_board())["input-straps"]

    assert remedy.parts_on[0].value == "10 kΩ"
    assert remedy.connections == (("R1.1", "NMI"), ("R1.2", "+5V"))
    assert remedy.ok


def test_the_same_input_at_a_card_is_a_pull_up_that_moved(strap_board):
    """What the card's connector left open was set on the card."""
    found = by_id(strap_board(kind="bus"))

    assert "pull-up-relocation" in found
    assert "input-straps" not in found


def test_an_open_collector_net_at_a_connector_misses_its_pull_up(strap_board):
    """An output that can only pull down needs something that pulls up."""
    remedy = by_id(strap_board(RDY="U1.2 U2.2 J1.2"))["pull-up-relocation"]

    assert ("R2.1", "RDY") in remedy.connections or ("R1.1", "RDY") in remedy.connections


@pytest.mark.parametrize(
    "nets",
    [{"NMI": "U1.6 J1.1 R9.1"}, {"NMI": "U1.6 J1.1 U2.4"}, {"NMI": "U1.6 J1.1 Z9.1"}],
    ids=["resistor", "output", "unknown part"],
)
def test_what_may_set_the_level_keeps_the_strap_away(strap_board, nets):
    """A resistor, an output, or a part of unknown use on the net: nothing is offered."""
    board = strap_board(**nets)
    extra = (Part("R9", "resistor", "1k"), Part("Z9", "mystery"))

    assert "input-straps" not in by_id(replace(board, parts=(*board.parts, *extra)))


def test_a_rail_too_low_for_a_high_level_gets_no_strap(strap_board):
    """2.4 V of TTL high cannot come from a 2.5 V rail at its lowest."""
    board = replace(strap_board(), rails=(Rail("+5V", 2.5, 0.05),))

    assert "input-straps" not in by_id(board)


def test_hc_input_is_told_of_its_trap(strap_board):
    """HC inputs are not safe behind TTL or NMOS outputs; with a pull-up to the rail they are."""
    remedy = by_id(strap_board(chip="65C02"))["input-straps"]

    assert "not safe behind TTL" in remedy.checks[0].note
    assert dict(remedy.checks[0].inputs)["load"] == "74HC"


@pytest.mark.parametrize(
    ("name", "family"),
    [("74LS00", "74LS"), ("74HCT245", "74HCT"), ("7400", "74"), ("CD4069", "4000"), ("65C02", "74HC"), ("6821", "NMOS")],
)  # fmt: skip
def test_family_of_a_type(name, family):
    """The families of the figure ``levels``."""
    assert family_of(name) == family


def test_headers_that_carry_amperes_are_offered_and_touched_ones_too(touch_of):
    """Supply, lamps and solenoids always; the switch headers when the damage reaches them; never the board's fingers."""
    plain = {r.id: r for r in remedies(demo(), LIBRARY, Touch())}
    hurt = {r.id: r for r in remedies(demo(), LIBRARY, touch_of(pads=[("J3.1", 0.5), ("J8.1", 0.9)]))}

    assert plain["header-pins"].parts_off == ("J1", "J4", "J5")
    assert hurt["header-pins"].parts_off == ("J1", "J3", "J4", "J5")
    assert hurt["connector-contacts"].parts_off == ()
    assert any(
        "P3, position by position: 1 return 0, 2 return 1" in step
        for step in hurt["connector-contacts"].steps
    )


def test_header_pins_fit_their_holes_and_carry_the_load():
    """A 1.14 mm pin is 1.53 mm across its rounded corners; 1.6 mm of hole take it. Two contacts share the 5 V."""
    remedy = {r.id: r for r in remedies(demo(), LIBRARY, Touch())}["header-pins"]

    assert check(remedy, "holes of J1").limit == "more than 1.53 mm"
    assert check(remedy, "pins of J5").value == "12 in the new header"
    assert check(remedy, "current of a contact of J1 for +5V").ok


def test_too_small_a_hole_fails(touch_of):
    """A header with 0.8 mm holes takes no 0.64 mm square pin."""
    board = demo()
    board = replace(board, pads=tuple(replace(p, hole_mm=0.8) if p.refdes == "J4" else p for p in board.pads))

    assert not check({r.id: r for r in remedies(board, LIBRARY, Touch())}["header-pins"], "holes of J4").ok


def test_remote_pack_keeps_the_charge_circuit():
    """Wired to the battery's own nets; the trickle is far below C/20, and the rest of the remedies can be combined."""
    found = {r.id: r for r in remedies(demo(), LIBRARY, Touch())}
    remedy = found["remote-pack-BT1"]

    assert remedy.parts_off == ("BT1",)
    assert set(remedy.excludes) == {"supercapacitor-BT1", "coin-cell-BT1"}
    assert check(remedy, "continuous charge").ok
    chosen = [found[n] for n in ("remote-pack-BT1", "reset-supervisor", "supply-capacitors", "header-pins")]
    assert conflicts(chosen) == ()
    assert errors(apply_remedies(demo(), LIBRARY, chosen)) == set()


def test_remedies_never_bring_the_same_refdes():
    """Whatever is combined, each new part has a name of its own."""
    board = without(demo(), "D21", "RN4")
    names = [r for one in remedies(board, LIBRARY, Touch()) for line in one.parts_on for r in line.refdes]
    new = [name for name in names if name not in board.index.parts]

    assert len(new) == len(set(new)) > 6
    assert NewNames(board).next("R") == "R39"


def test_every_part_that_goes_on_has_a_place():
    """On old pads, in a socket, off the board, or wired at a free spot within the outline."""
    found = {r.id: r for r in remedies(demo(), LIBRARY, Touch())}
    places = [line.place for one in found.values() for line in one.parts_on]

    assert all(places)
    assert found["supercapacitor-BT1"].parts_on[0].place == "BT1 on the pads of the old BT1"
    assert found["coin-cell-BT1"].parts_on[0].place == "BT2 off the board"
    assert "U27 wired, free spot at" in found["reset-supervisor"].parts_on[0].place


def test_a_free_spot_is_clear_of_every_body():
    """Eight millimetres square, nearest to the wires; none on a board that is full."""
    import shapely

    from coppermend.board.packages import body_shape

    remedy = {r.id: r for r in remedies(demo(), LIBRARY, Touch())}["reset-supervisor"]
    x, y = free_spot_mm(demo(), remedy, "U27")
    box = shapely.box(x - 4, y - 4, x + 4, y + 4)

    stay = [p for p in demo().parts if p.refdes not in remedy.parts_off]
    assert not any(body_shape(demo(), p).intersects(box) for p in stay)
    small = replace(demo(), width_mm=5.0, height_mm=5.0)
    assert free_spot_mm(small, remedy, "U27") is None
    assert free_spot_mm(demo(), replace(remedy, jumpers=()), "U27") is None


def test_estimated_load_counts_chips_by_kind(board_of):
    """A processor and a CMOS memory, data sheets' middle (from memory): 110 and 20 mA; nothing else draws."""
    board = board_of(
        [Part("U1", "6502"), Part("U2", "6264"), Part("R1", "resistor")], {"+5V": "U1.8 U2.28 R1.1"}
    )

    assert rail_load_a(board, LIBRARY, "+5V") == pytest.approx(0.13)
    assert rail_load_a(board, LIBRARY, "+12V") == 0.0
