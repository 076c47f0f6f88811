"""Adapters: planned from what nets do, verified at every address; wrong wiring is caught."""

import random
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from coppermend.errors import InputError
from coppermend.rom.adapt import plan_adapter
from coppermend.rom.adapter import (
    adapter_image,
    apply_adapter,
    replace_wires,
    verify_adapter,
    wires_with_nets,
)
from coppermend.rom.devices import get_device
from coppermend.rom.readmap import NOT_DRIVEN, NOT_KNOWN, read_all, socket_of
from coppermend.rom.timing import access_margin, available_ns

TARGETS = ("2764", "27128", "27256", "27512", "28C64", "28C256")


@pytest.fixture(scope="module")
def adapter(demo, library, sockets):
    """The demo board's two memories in one 2764."""
    return plan_adapter(demo, library, sockets, get_device("2764"))


def test_reads_of_the_demo_board(demo, library, sockets, contents):
    """As the memory map of the demo board says: U2 at E000 to EFFF, U3 at F000 to FFFF, silence elsewhere."""
    wanted = np.full(65536, NOT_DRIVEN, np.int16)
    wanted[0xE000:0xF000] = list(contents["U2"])
    wanted[0xF000:] = list(contents["U3"])

    assert np.array_equal(read_all(demo, library, sockets, contents), wanted)


@pytest.mark.parametrize("name", TARGETS)
def test_demo_adapters_are_right_at_every_address(demo, library, sockets, contents, name):
    """Two 24-pin sockets into one 28-pin device: all 65,536 addresses read as before, and no write is disturbed."""
    planned = plan_adapter(demo, library, sockets, get_device(name))

    found = verify_adapter(demo, library, planned, contents)

    assert (found.intended, found.right, found.wrong, found.driven_on_write) == (8192, 8192, 0, 0)
    assert found.passed


def test_demo_wiring_worked_by_hand(adapter):
    """For the 2764: A12 from the CPU, /CE from the decoder's E000 block, /OE as before, Vpp and /PGM to +5 V."""
    wires = {wire.name: (wire.net, wire.how) for wire in adapter.wires}

    assert wires["A12"] == ("A12", "lead") and wires["/CE"] == ("ROMBLK_N", "lead")
    assert wires["/OE"] == ("WR", "straight") and wires["A11"] == ("A11", "straight")
    assert (
        wires["VPP"] == ("+5V", "tie")
        and wires["/PGM"] == ("+5V", "tie")
        and wires["VCC"] == ("+5V", "moved")
    )
    assert [(s.refdes, s.offset, s.cpu_first) for s in adapter.slots] == [
        ("U2", 0, 0xE000),
        ("U3", 0x1000, 0xF000),
    ]


def test_image_of_the_adapter(adapter, contents):
    """Independently of the simulation: the image is U2 then U3."""
    assert adapter_image(adapter, contents) == contents["U2"] + contents["U3"]


def test_every_swap_of_two_signal_wires_is_caught(demo, library, adapter, contents):
    """Thirty wirings with two wires exchanged are all caught."""
    wires = [w for w in adapter.wires if w.net not in ("", "+5V", "GND")]
    pairs = random.Random(1).sample(list(combinations(wires, 2)), 30)

    caught = 0
    for a, b in pairs:
        swapped = wires_with_nets(adapter, {a.pin: b.net, b.pin: a.net})
        caught += not verify_adapter(demo, library, replace_wires(adapter, swapped), contents).passed

    # /CE and /OE may be exchanged: both must be low.
    harmless = sum({a.name, b.name} == {"/CE", "/OE"} for a, b in pairs)
    assert caught == len(pairs) - harmless


def test_every_missing_wire_is_caught(demo, library, adapter, contents):
    """With any one wire left off, the verification fails."""
    for wire in adapter.wires:
        if wire.net:
            broken = replace_wires(adapter, wires_with_nets(adapter, {wire.pin: ""}))
            assert not verify_adapter(demo, library, broken, contents).passed, wire.name


def test_a_device_that_answers_writes_is_caught(demo, library, adapter, contents):
    """/OE tied low makes the device fight the CPU during writes, though every read is right."""
    oe = next(wire.pin for wire in adapter.wires if wire.name == "/OE")
    wrong = replace_wires(adapter, wires_with_nets(adapter, {oe: "GND"}))

    found = verify_adapter(demo, library, wrong, contents)

    assert (found.wrong, found.driven_on_write, found.passed) == (0, 8192, False)


def test_unused_lines_are_tied_and_the_image_repeated(demo, library, sockets, contents):
    """In a 27256 the two upper lines are tied low, and lifting both does no harm to what is burnt."""
    planned = plan_adapter(demo, library, sockets, get_device("27256"))
    image = adapter_image(planned, contents)

    assert image == image[:8192] * 4
    assert {w.name: w.net for w in planned.wires if w.name in ("A13", "A14")} == {"A13": "GND", "A14": "GND"}
    assert "repeated" in planned.notes[0]


def test_wiring_in_json(adapter):
    """Every pin is in the JSON, in order, with where it comes from."""
    document = adapter.to_json()

    assert [wire["pin"] for wire in document["wires"]] == [str(n) for n in range(1, 29)]
    assert document["sockets"] == ["U2", "U3"] and document["gates"] == []


# Boards without a net that selects both -----------------------------------------------------------

_138 = {"U9.1": "A13", "U9.2": "A14", "U9.3": "A15", "U9.4": "GND", "U9.5": "GND", "U9.6": "+5V"}


def _nets(pins):
    made = {}
    for pin, net in pins.items():
        made.setdefault(net, []).append(pin)
    return made


def test_a_gate_makes_the_select(small, library):
    """Two 2764 in blocks C000 and E000 without a common select: an AND on the adapter, and a 27128 answers for both."""
    board = small(
        {"U2": "2764", "U3": "2764", "U9": "74138", "U5": "7404"},
        _nets({**_138, "U9.9": "S6", "U9.7": "S7", "U2.20": "S6", "U3.20": "S7", "U5.1": "RW", "U5.2": "WR",
               "U2.22": "WR", "U3.22": "WR", "U2.1": "+5V", "U3.1": "+5V", "U2.27": "+5V", "U3.27": "+5V"}),
    )  # fmt: skip
    old = [socket_of(board, library, refdes) for refdes in ("U2", "U3")]
    images = {refdes: random.Random(refdes).randbytes(8192) for refdes in ("U2", "U3")}

    planned = plan_adapter(board, library, old, get_device("27128"))

    assert planned.to_json()["gates"][0]["inputs"] == ["S6", "S7"]
    assert [gate.type for gate in planned.gates] == ["74LS08"] and "74LS08" in planned.notes[0]
    assert verify_adapter(board, library, planned, images).passed


def _mask_rom(small, library, more=()):
    """A 2332 selected by A15 high and RW high, and the inverted RW on the board."""
    board = small(
        {"U2": "2332", "U5": "7404"},
        _nets({"U2.20": "A15", "U2.21": "RW", "U5.1": "RW", "U5.2": "WR", **dict(more)}),
    )
    return board, socket_of(board, library, "U2", {"U2.20": True, "U2.21": True})


def test_an_inverter_makes_the_select(small, library):
    """A mask ROM selected high by A15 needs an inverter for an EPROM's select; a 2732 then answers just so."""
    board, old = _mask_rom(small, library)
    planned = plan_adapter(board, library, [old], get_device("2732"))

    assert [gate.type for gate in planned.gates] == ["74LS04"]
    assert verify_adapter(board, library, planned, {"U2": random.Random(1).randbytes(4096)}).passed
    assert {w.name: w.net for w in planned.wires}["A11"] == "A11"


def test_mask_polarity_must_be_known(small, library):
    """Without a word on the level that selects, and without a memory map, a mask ROM is not adapted on a guess."""
    board, _ = _mask_rom(small, library)

    with pytest.raises(InputError, match=r"U2\.20=low"):
        socket_of(board, library, "U2")


def test_mask_polarity_from_the_memory_map_and_ties(small, library):
    """A select is high where the memory map has the part, another is tied low: both levels follow."""
    nets = _nets({"U2.20": "A15", "U2.21": "GND"})
    board = small({"U2": "2332"}, nets, [(0x8000, 0xFFFF, ("U2",))])

    assert socket_of(board, library, "U2").selects == {"20": True, "21": False}
    board = small({"U2": "2332"}, nets, [(0x0000, 0x7FFF, ("U2",))])
    assert socket_of(board, library, "U2").selects == {"20": False, "21": False}


def test_mixed_sizes(small, library):
    """A 2716 and a 2732 in one 2764: the smaller image is repeated in its slot, and every address reads as before."""
    pins = {**_138, "U9.9": "S6", "U9.7": "S7", "U2.18": "S6", "U3.18": "S7", "U5.1": "RW", "U5.2": "WR",
            "U2.20": "WR", "U3.20": "WR", "U2.21": "+5V"}  # fmt: skip
    board = small({"U2": "2716", "U3": "2732", "U9": "74138", "U5": "7404"}, _nets(pins))
    old = [socket_of(board, library, refdes) for refdes in ("U2", "U3")]
    images = {"U2": random.Random(2).randbytes(2048), "U3": random.Random(3).randbytes(4096)}

    planned = plan_adapter(board, library, old, get_device("2764"))

    assert adapter_image(planned, images)[:4096] == images["U2"] * 2
    assert verify_adapter(board, library, planned, images).passed


@pytest.mark.parametrize(
    ("device", "host", "chosen", "words"),
    [
        ("2732", "", ("U2", "U3"), "at least 8,192"),
        ("2364", "", ("U2",), "active-low selects"),
        ("2764", "U9", ("U2",), "host socket U9"),
        ("2764", "", (), "sockets to adapt"),
        ("2764", "", ("U2", "U2"), "sockets to adapt"),
    ],
)
def test_what_cannot_be_planned(demo, library, device, host, chosen, words):
    """Too small, a mask ROM, a host that is no socket, no sockets, one twice: each refused in words."""
    old = [socket_of(demo, library, refdes) for refdes in chosen]

    with pytest.raises(InputError, match=words):
        plan_adapter(demo, library, old, get_device(device), host)


def test_selects_that_are_not_known_are_refused(small, library):
    """A select that hangs on a latch is not taken as known."""
    board = small({"U2": "2732", "U9": "74273"}, _nets({"U2.18": "X", "U9.2": "X", "U2.20": "GND"}))
    old = socket_of(board, library, "U2")

    assert (read_all(board, library, [old], {"U2": bytes(4096)}) == NOT_KNOWN).all()
    with pytest.raises(InputError, match="not known for every address"):
        plan_adapter(board, library, [old], get_device("2764"))


@pytest.mark.parametrize(
    ("pins", "words"),
    [
        ({"U2.18": "+5V", "U2.20": "GND"}, "never selected"),
        ({"U2.18": "GND", "U2.20": "GND", "U2.9": "ELSEWHERE"}, "do not all reach"),
    ],
)
def test_memories_that_do_not_serve_the_cpu(small, library, pins, words):
    """A memory never selected, or with a data pin off the bus, is refused."""
    board = small({"U2": "2732"}, _nets(pins))

    with pytest.raises(InputError, match=words):
        plan_adapter(board, library, [socket_of(board, library, "U2")], get_device("2764"))


def test_a_memory_that_always_answered_writes(small, library):
    """Where the old device drove during writes too, the new one may: no gate is asked for that the board never had."""
    board = small(
        {"U2": "2732", "U5": "7404"}, _nets({"U5.1": "A15", "U5.2": "S", "U2.18": "S", "U2.20": "GND"})
    )
    old = socket_of(board, library, "U2")

    planned = plan_adapter(board, library, [old], get_device("2764"))

    assert planned.gates == ()
    assert verify_adapter(board, library, planned, {"U2": random.Random(4).randbytes(4096)}).passed


def test_sockets_that_cannot_be_told_apart(small, library):
    """Two memories selected at the same addresses cannot share a device."""
    pins = {f"{refdes}.{pin}": net for refdes in ("U2", "U3") for pin, net in (("18", "A15"), ("20", "GND"))}
    board = small({"U2": "2732", "U3": "2732"}, _nets(pins))
    old = [socket_of(board, library, refdes) for refdes in ("U2", "U3")]

    with pytest.raises(InputError, match="no nets tell U2 and U3 apart"):
        plan_adapter(board, library, old, get_device("2764"))


def test_address_lines_that_differ_between_sockets(small, library):
    """Two memories whose A0 pins are on different address lines have no common A0."""
    pins = {**_138, "U9.9": "S6", "U9.7": "S7", "U2.18": "S6", "U3.18": "S7", "U2.20": "GND", "U3.20": "GND",
            "U3.8": "A1", "U3.7": "A0"}  # fmt: skip
    board = small({"U2": "2732", "U3": "2732", "U9": "74138"}, _nets(pins))
    old = [socket_of(board, library, refdes) for refdes in ("U2", "U3")]

    with pytest.raises(InputError, match="no net carries address line A0"):
        plan_adapter(board, library, old, get_device("2764"))


def test_crossed_data_lines_are_followed(small, library):
    """Two data pins crossed on the board: the CPU reads the bits exchanged, before and after."""
    pins = {"U2.18": "A15", "U2.20": "GND", "U2.9": "D1", "U2.10": "D0"}
    board = small({"U2": "2732"}, _nets(pins))
    old = socket_of(board, library, "U2")

    assert read_all(board, library, [old], {"U2": b"\x01" * 4096})[0] == 2


def test_a_wrong_size_of_image_is_refused(demo, library, sockets, adapter):
    """Contents must fill their devices."""
    with pytest.raises(InputError, match="4,096 bytes, all of a 2732"):
        read_all(demo, library, sockets, {"U2": b"", "U3": b""})
    with pytest.raises(InputError, match="for U2"):
        adapter_image(adapter, {})


@pytest.mark.parametrize("change", ["none", "two", "8085"])
def test_boards_without_one_known_cpu(demo, library, sockets, change):
    """No CPU, two, or one whose cycles are not known: refused with what was found."""
    cpu = demo.index.part("U1")
    others = tuple(part for part in demo.parts if part.refdes != "U1")
    parts = {
        "none": others,
        "two": (*demo.parts, replace(cpu, refdes="U99")),
        "8085": (*others, replace(cpu, type="8085")),
    }
    board = replace(demo, parts=parts[change])

    with pytest.raises(InputError, match="CPU"):
        plan_adapter(board, library, sockets, get_device("2764"))


# Access time --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cpu", "hertz", "published"), [("6502", 1e6, 575), ("6800", 1e6, 605), ("6809", 1e6, 695)]
)
def test_published_access_times(cpu, hertz, published):
    """Read access times at 1 MHz as the makers' data sheets give them (from memory)."""
    assert available_ns(cpu, hertz)[0] == published


def test_access_of_the_demo_board(demo, library):
    """U3 as fitted: two decoders of 41 ns before a 450 ns select leave 575 - 532 = 43 ns; worked by hand."""
    found = access_margin(demo, library, "U3", get_device("2732"))

    assert found.margin_ns == 43
    assert {path.name: path.through for path in found.paths}["/CE"] == ("U9", "U10")
    assert found.to_json()["paths"][1]["total_ns"] == 532


def test_a_faster_clock_may_leave_no_time(demo, library, adapter):
    """At 2 MHz the same 2764 is too slow, and the margin says by how much."""
    found = access_margin(apply_adapter(demo, library, adapter), library, "U3", get_device("2764"), 2e6)

    assert found.margin_ns == 500 - 425 - 291


def test_a_clock_must_be_known(small, library):
    """Without a declared clock the margin is not made up."""
    board = small({"U2": "2732"}, {})

    with pytest.raises(InputError, match="clock is not declared"):
        access_margin(board, library, "U2", get_device("2732"))
    with pytest.raises(InputError, match="access time of a 8085"):
        available_ns("8085", 1e6)
