"""Remedies carried out on the graph: what changes, what is caught, and what removing one jumper says."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pytest

from coppermend.board.atrisk import Touch
from coppermend.board.check import check_board
from coppermend.board.folder import parse_board_folder
from coppermend.board.importing import Source, import_board
from coppermend.board.model import Board, Part, PinRef, Rail, Track, Via
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.errors import InputError
from coppermend.rework.apply import apply_remedies, apply_remedy, next_refdes, point_on
from coppermend.rework.records import KitLine, Remedy
from coppermend.rework.remedies import remedies
from coppermend.rework.verify import check_remedy, conflicts


@lru_cache
def demo():
    board, library = parse_board_folder(demo_board_files()), standard_library()
    return board, library, {r.id: r for r in remedies(board, library, Touch()) if not r.note_only}


DEMO_IDS = (
    "supercapacitor-BT1",
    "coin-cell-BT1",
    "remote-pack-BT1",
    "reset-supervisor",
    "supply-capacitors",
    "header-pins",
    "connector-contacts",
)
WIRED = [
    *(("coin-cell-BT1", n) for n in range(4)),
    *(("remote-pack-BT1", n) for n in range(2)),
    *(("reset-supervisor", n) for n in range(3)),
]


def errors(board, library):
    return [f for f in check_board(board, library) if f.severity == "error"]


def test_the_demo_board_offers_these_remedies():
    """What the following tests run over."""
    assert tuple(demo()[2]) == DEMO_IDS


@pytest.mark.parametrize("name", DEMO_IDS)
def test_each_remedy_on_the_demo_board_passes_its_check(name):
    """Applied to the graph, the board is free of errors and has just the connections that are meant."""
    board, library, offered = demo()
    after = apply_remedy(board, library, offered[name])

    assert errors(after, library) == []
    assert check_remedy(board, library, offered[name]) == ()
    assert all(
        refdes not in after.index.parts
        for refdes in set(offered[name].parts_off) - {"BT1", "C3", "C7", "C8", "J1", "J4", "J5"}
    )


@pytest.mark.parametrize(("name", "number"), WIRED)
def test_removing_one_jumper_names_the_missing_connection(name, number):
    """Whichever wire is left out, the check fails and says which connection is missing."""
    board, library, offered = demo()
    remedy = offered[name]
    cut = replace(remedy, jumpers=remedy.jumpers[:number] + remedy.jumpers[number + 1 :])

    found = [f for f in check_remedy(board, library, cut) if f.code == "missing-connection"]

    assert len(found) == 1
    assert found[0].subjects in remedy.connections
    assert found[0].subjects[0] in remedy.jumpers[number]
    assert "that connection is missing" in found[0].message


@pytest.mark.parametrize(("name", "number"), WIRED)
def test_a_jumper_to_a_wrong_net_is_caught(name, number):
    """A wire that ends on a data line is neither the connection meant nor without harm."""
    board, library, offered = demo()
    remedy = offered[name]
    wrong = tuple((a, "U1.33") if n == number else (a, b) for n, (a, b) in enumerate(remedy.jumpers))

    found = check_remedy(board, library, replace(remedy, jumpers=wrong))

    assert any(f.code == "missing-connection" for f in found)


def test_remedies_combine():
    """Supercapacitor, supervisor and fresh capacitors together leave a sound board."""
    board, library, offered = demo()
    chosen = [offered[n] for n in ("supercapacitor-BT1", "reset-supervisor", "supply-capacitors")]

    after = apply_remedies(board, library, chosen)

    assert errors(after, library) == []
    assert after.index.parts["BT1"].type == "supercapacitor"
    assert after.index.net_of_pin[PinRef("U27", "2")] == "RES_N"


def test_a_resistor_that_holds_a_memory_off_stays():
    """R10 keeps the enable of U4 and U5 low on a dead rail; the supervisor's output is sure from 1 V only."""
    remedy = demo()[2]["reset-supervisor"]

    assert "R10" not in remedy.parts_off
    assert any(step.startswith("Leave R10 on") for step in remedy.steps)


def test_the_coin_cell_sees_no_charge_current():
    """The edited netlist has no way from the rail into the cell, and the check says so."""
    board, library, offered = demo()
    remedy = offered["coin-cell-BT1"]
    found = next(c for c in remedy.checks if c.name == "no charge path to the cell")

    assert (found.ok, found.value) == (True, "none")
    assert {"R9", "D3"} <= set(remedy.parts_off)
    assert apply_remedy(board, library, remedy).index.parts["BT2"].type == "battery-coin"


def test_holes_of_parts_off_still_join_the_layers():
    """A plated hole of a removed part becomes a via of its net, so that copper stays whole."""
    board, library, offered = demo()
    after = apply_remedy(board, library, offered["reset-supervisor"])

    assert len(after.vias) > len(board.vias)
    assert not any(f.code == "copper-incomplete" for f in check_board(after, library))


@pytest.mark.shared
def test_each_remedy_on_a_shared_board_passes(shared_boards):
    """A real board, read from its fabrication files: what is offered applies cleanly."""
    folder, library = shared_boards / "trainer-computer", standard_library()
    board, _ = import_board(
        name=folder.name,
        ipc356=Source("board.d356", (folder / "board.d356").read_bytes()),
        gerber=[Source(f.name, f.read_bytes()) for f in sorted((folder / "gerber").iterdir())],
        parts=Source("parts.csv", (folder / "parts.csv").read_bytes()),
        library=library,
    )
    offered = [r for r in remedies(board, library, Touch()) if not r.note_only]

    assert offered
    assert all(check_remedy(board, library, remedy) == () for remedy in offered)


SMALL = Board(
    "small", 50, 50,
    parts=(Part("R1", "resistor"), Part("C1", "capacitor"), Part("U1", "7404")),
    nets={
        "A": (PinRef("R1", "1"), PinRef("U1", "1")),
        "B": (PinRef("R1", "2"), PinRef("C1", "1")),
        "GND": (PinRef("C1", "2"), PinRef("U1", "7")),
        "+5V": (PinRef("U1", "14"),),
        "Y": (PinRef("U1", "2"), PinRef("U1", "3")),
    },
    vias=(Via("V1", "A", 1, 1, 0.8),),
    tracks=(Track("A", "top", 0, 0, 1, 1, 0.5), Track("B", "top", 5, 5, 6, 6, 0.5)),
    rails=(Rail("+5V", 5.0), Rail("B", 5.0)),
)  # fmt: skip


def remedy(**change):
    return Remedy("test", "test", "test", **change)


def test_a_jumper_between_two_nets_makes_one(library):
    """Pins, tracks and rails follow; the second point's net keeps its name."""
    after = apply_remedy(SMALL, library, remedy(jumpers=(("R1.2", "V1"),)))

    assert set(map(str, after.nets["A"])) == {"R1.1", "R1.2", "C1.1", "U1.1"}
    assert "B" not in after.nets
    assert [t.net for t in after.tracks] == ["A", "A"]
    assert after.index.rails["A"].volts == 5.0 if "A" in after.index.rails else True


def test_a_jumper_between_two_free_pins_makes_a_wire(library):
    """Two new parts joined by a wire of their own."""
    on = (KitLine("resistor", "1k", "", 2, ("R2", "R3")),)
    after = apply_remedy(SMALL, library, remedy(parts_on=on, jumpers=(("R2.1", "R3.1"),)))

    assert (
        after.index.net_of_pin[PinRef("R2", "1")] == after.index.net_of_pin[PinRef("R3", "1")] == "WIRE_R2_1"
    )


def test_nets_that_lose_their_last_pin_go_with_their_copper(library):
    """Nothing leads there any more."""
    after = apply_remedy(SMALL, library, remedy(parts_off=("R1", "C1")))

    assert "B" not in after.nets
    assert [t.net for t in after.tracks] == ["A"]
    assert "B" not in after.index.rails


def test_an_input_without_driver_and_a_lonely_pin_are_findings(library):
    """Taking R1 away leaves U1.1 alone; taking U1's driver away leaves its reader floating."""
    found = check_remedy(SMALL, library, remedy(parts_off=("R1",)))

    assert {f.code for f in found} == {"single-pin-net"}
    assert {f.subjects[0] for f in found} == {"A", "B"}


def test_a_net_that_loses_its_driver_floats(library):
    """Two inverters in a row, the first taken off: the second has nothing to read."""
    board = replace(
        SMALL,
        parts=(Part("U1", "7404"), Part("U2", "7404"), Part("U3", "7404")),
        nets={"N": (PinRef("U1", "2"), PinRef("U2", "1"), PinRef("U3", "1"))},
        vias=(), tracks=(), rails=(),
    )  # fmt: skip

    found = check_remedy(board, library, remedy(parts_off=("U1",)))

    assert [f.code for f in found] == ["floating-input"]


def test_two_outputs_on_one_net_are_caught(library):
    """A new gate's output on a net that another drives: a conflict that the board did not have."""
    on = (KitLine("7404", "", "", 1, ("U2",)),)
    jumpers = (("U2.2", "U1.2"), ("U2.7", "U1.7"), ("U2.14", "U1.14"), ("U2.1", "U1.1"))
    connections = tuple((a, SMALL.index.net_of_pin[PinRef.parse(b)]) for a, b in jumpers)

    found = check_remedy(SMALL, library, remedy(parts_on=on, jumpers=jumpers, connections=connections))

    assert [f.code for f in found] == ["outputs-tied"]


def test_a_pin_on_a_net_that_is_not_meant_is_caught(library):
    """Three wires, two of them meant."""
    on = (KitLine("resistor", "1k", "", 1, ("R2",)),)
    found = check_remedy(
        SMALL, library,
        remedy(parts_on=on, jumpers=(("R2.1", "R1.1"), ("R2.2", "C1.2")), connections=(("R2.1", "A"),)),
    )  # fmt: skip

    assert [f.code for f in found] == ["unmeant-connection"]


def test_pins_follow_their_names_where_numbers_differ(library):
    """An electrolytic in place of one with plus on the other pin keeps plus on its net."""
    turned = replace(library.types["electrolytic"], name="turned", pins=tuple(
        replace(p, number={"1": "2", "2": "1"}[p.number]) for p in library.types["electrolytic"].pins))  # fmt: skip
    more = library.extended([turned])
    board = replace(
        SMALL, parts=(Part("C1", "electrolytic"), Part("R1", "resistor")),
        nets={"P": (PinRef("C1", "1"), PinRef("R1", "1")), "M": (PinRef("C1", "2"), PinRef("R1", "2"))},
        vias=(), tracks=(), rails=(),
    )  # fmt: skip

    after = apply_remedy(board, more, remedy(parts_on=(KitLine("turned", "", "", 1, ("C1",)),)))

    assert after.index.net_of_pin[PinRef("C1", "2")] == "P"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"parts_off": ("U99",)}, "takes off U99"),
        ({"jumpers": (("U99.1", "R1.1"),)}, "has a jumper to U99.1"),
    ],
)
def test_remedies_of_another_board_are_refused(library, change, says):
    """The part that is not there is named."""
    with pytest.raises(InputError) as caught:
        apply_remedy(SMALL, library, remedy(**change))

    assert says in caught.value.found


def test_names_and_points_for_new_parts():
    """The next free refdes, and a point that stays; none when nothing stays."""
    assert next_refdes(SMALL, "R", ["R2"]) == "R3"
    assert point_on(SMALL, "B", {"R1"}) == "C1.1"
    assert point_on(SMALL, "B", {"R1", "C1"}) == ""


def test_a_coin_cell_needs_a_circuit_it_can_join(keep_board, library, touch_of):
    """On the small board the charge resistor comes off and the cell feeds the memory through its own diode."""
    board = keep_board()
    offered = {r.id: r for r in remedies(board, library, touch_of())}

    assert "coin-cell-BT1" in offered
    assert offered["coin-cell-BT1"].parts_off == ("BT1", "R1")
    assert "nonvolatile" not in " ".join(offered)


def two(first, second):
    return conflicts([replace(first, id="a"), replace(second, id="b")])


@pytest.mark.parametrize(
    ("first", "second", "says"),
    [
        ({"excludes": ("b",)}, {}, "a and b exclude each other"),
        ({"parts_off": ("R1",)}, {"parts_off": ("R1", "R2")}, "a and b both take off R1"),
        (
            {"parts_on": (KitLine("resistor", "", "", 1, ("R9",)),)},
            {"parts_on": (KitLine("diode", "", "", 1, ("R9",)),)},
            "a and b both bring R9",
        ),
        (
            {"parts_off": ("R1",)},
            {"jumpers": (("U9.1", "R1.2"),)},
            "b solders a wire to R1.2, which a takes off",
        ),
    ],
)
def test_remedies_that_do_not_go_together_say_why(first, second, says):
    """Each kind of clash in one sentence."""
    assert two(remedy(**first), remedy(**second)) == (says,)


def test_remedies_of_the_demo_board_that_go_together_have_no_conflict():
    """All but those that share the battery's place."""
    offered = demo()[2]
    together = [r for r in offered.values() if not r.id.startswith(("coin", "remote"))]

    assert conflicts(together) == ()
    assert "coin-cell-BT1 and supercapacitor-BT1 exclude each other" in conflicts(list(offered.values()))


def test_a_net_that_was_renamed_by_a_jumper_is_still_the_one_that_was_meant(library):
    """R2 is meant for net B, which a second wire joins to A: the connection holds, the merge is no error of it."""
    on = (KitLine("resistor", "1k", "", 1, ("R2",)),)
    found = check_remedy(
        SMALL, library,
        remedy(parts_on=on, jumpers=(("R2.1", "C1.1"), ("R2.2", "C1.2"), ("R1.2", "R1.1")),
               connections=(("R2.1", "B"), ("R2.2", "GND"))),
    )  # fmt: skip

    assert "missing-connection" not in {f.code for f in found}


def test_a_part_that_the_board_lacks_speaks_for_nothing(library):
    """A pin of a part that is not listed neither drives nor passes a signal on."""
    board = replace(
        SMALL, nets={**SMALL.nets, "N": (PinRef("U1", "1"), PinRef("X9", "1"), PinRef("R1", "1"))}
    )

    found = check_remedy(board, library, remedy(parts_off=("R1",)))

    assert ("floating-input", "N") in {(f.code, f.subjects[0]) for f in found}
