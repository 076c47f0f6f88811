"""Which elements the fitted parts become, and what they make of a reading between two nets."""

from __future__ import annotations

import pytest

from coppermend.board.model import Board, Pad, Part, PinRef, Rail
from coppermend.board.parttypes import standard_library
from coppermend.copper.circuit import BASE, GERMANIUM, LED, RECTIFIER, SCHOTTKY, SILICON, circuit_of
from coppermend.copper.expect import expect
from coppermend.copper.readings import FittedJumper

LIBRARY = standard_library()


def board_with(parts: dict[str, tuple[str, str]], nets: dict[str, str], **more) -> Board:
    """Parts as refdes -> (type, value); nets as name -> "R1.1 R2.2"; pads in a row, 10 mm apart."""
    pins = {net: tuple(PinRef.parse(pin) for pin in text.split()) for net, text in nets.items()}
    flat = [pin for group in pins.values() for pin in group]
    pads = tuple(Pad(pin.refdes, pin.pin, 10.0 * i, 5.0, 0.8, 1.6) for i, pin in enumerate(flat))
    made = tuple(Part(refdes, kind, value) for refdes, (kind, value) in parts.items())
    return Board("b", 1000.0, 100.0, parts=made, nets=pins, pads=pads, **more)


def ohms_of(parts, nets) -> list[float]:
    return [element.value for element in circuit_of(board_with(parts, nets), LIBRARY).resistors]


@pytest.mark.parametrize(
    ("part", "nets", "expected"),
    [
        (("resistor", "4k7"), {"A": "X1.1", "B": "X1.2"}, [4700.0]),
        (("resistor", "470 5%"), {"A": "X1.1", "B": "X1.2"}, [470.0]),
        (("resistor", "0"), {"A": "X1.1", "B": "X1.2"}, [1e-3]),
        (("inductor", "10uH"), {"A": "X1.1", "B": "X1.2"}, [1.0]),
        (("ferrite-bead", ""), {"A": "X1.1", "B": "X1.2"}, [0.05]),
        (("potentiometer", "10k"), {"A": "X1.1", "B": "X1.2", "C": "X1.3"}, [5000.0, 5000.0]),
        (("relay", "12 V"), {"A": "X1.11", "B": "X1.12", "C": "X1.14"}, [0.05]),
        (("resistor-network-bussed-6", "1k"), {"A": "X1.1 X1.2 X1.3 X1.4 X1.5 X1.6"}, [1000.0] * 5),
        (("resistor-network-isolated-6", "1k"), {"A": "X1.1 X1.2 X1.3 X1.4 X1.5 X1.6"}, [1000.0] * 3),
    ],
)
def test_what_parts_become(part, nets, expected):
    """Value in ohms by kind; a trimmer stands in its middle, a relay is at rest."""
    assert ohms_of({"X1": part}, nets) == expected


def test_a_part_without_a_value_is_named():
    """It is left out, and said so."""
    made = circuit_of(board_with({"R1": ("resistor", "see list")}, {"A": "R1.1", "B": "R1.2"}), LIBRARY)

    assert (made.resistors, made.unknown) == ((), ("R1",))


def test_parts_that_are_off_do_not_count():
    """Their refdes is in ``removed``."""
    board = board_with({"R1": ("resistor", "1k")}, {"A": "R1.1", "B": "R1.2"})

    assert circuit_of(board, LIBRARY, {"R1"}).resistors == ()


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        ("diode", [("2", "1", SILICON)]),
        ("rectifier", [("2", "1", RECTIFIER)]),
        ("schottky", [("2", "1", SCHOTTKY)]),
        ("diode-germanium", [("2", "1", GERMANIUM)]),
        ("led", [("2", "1", LED)]),
        ("npn", [("2", "1", BASE), ("2", "3", BASE)]),
        ("pnp", [("1", "2", BASE), ("3", "2", BASE)]),
        ("n-mosfet", [("3", "2", BASE)]),
        ("p-mosfet", [("2", "3", BASE)]),
        ("npn-darlington", []),
        ("thyristor", []),
    ],
)
def test_junctions(kind, expected):
    """Anode, cathode and kind of every junction; body diodes of field-effect transistors run from source to drain."""
    board = board_with({"Q1": (kind, "")}, {"A": "Q1.1", "B": "Q1.2", "C": "Q1.3"})

    found = circuit_of(board, LIBRARY).diodes

    assert [(d.anode.pin, d.cathode.pin, d.kind) for d in found] == expected


def test_a_clamp_diode_runs_from_ground_to_each_signal_pin():
    """As TTL, NMOS and CMOS have it; not to the supply pin."""
    board = board_with({"U1": ("7400", "")}, {"GND": "U1.7", "A": "U1.1", "Y": "U1.3", "VCC": "U1.14"})

    found = circuit_of(board, LIBRARY).diodes

    assert [(d.anode.pin, d.cathode.pin) for d in found] == [("7", "1"), ("7", "3")]


PULLED = board_with(
    {
        "R1": ("resistor", "10k"),
        "R2": ("resistor", "10k"),
        "C1": ("electrolytic", "10u"),
        "D1": ("diode", ""),
    },
    {"D0": "R1.1 D1.1", "D1": "R2.1 D1.2", "+5V": "R1.2 R2.2 C1.1", "GND": "C1.2"},
    rails=(Rail("+5V", 5.0),),
)


def test_a_pull_up_pair_is_no_short():
    """20 kΩ between two data lines: the two resistors to the supply, said in words."""
    found = expect(PULLED, LIBRARY, "R1.1", "R2.1")

    assert found.ohms == pytest.approx(20000, rel=1e-3) and found.through == ("R1", "R2")
    assert "a pull-up pair, not a short" in found.says and not found.copper


def test_a_diode_reads_in_one_polarity():
    """About 0.6 V with the red tip on the anode, and the 20 kΩ beside it the other way: OL."""
    found = expect(PULLED, LIBRARY, "D1.2", "D1.1")

    assert found.red_on_a_v == pytest.approx(0.6, abs=0.05) and found.red_on_b_v is None
    assert "diode test: 0.61 V with the red tip on D1.2" in found.says


def test_a_capacitor_is_told():
    """10 µF between supply and ground: the reading climbs to OL in 5 s at 100 kΩ."""
    found = expect(PULLED, LIBRARY, "C1.1", "C1.2")

    assert (found.ohms, found.farads) == (None, pytest.approx(1e-5))
    assert "expect OL" in found.says and "10 µF charges" in found.says and "5 s" in found.says


def test_a_capacitor_beside_a_small_resistor_settles_at_once():
    """100 Ω times 10 µF is a millisecond."""
    board = board_with(
        {"R1": ("resistor", "100"), "C1": ("electrolytic", "10u")}, {"A": "R1.1 C1.1", "B": "R1.2 C1.2"}
    )

    assert "wait until the reading stands still" in expect(board, LIBRARY, "R1.1", "R1.2").says


def test_an_inductor_is_as_low_as_a_short():
    """A meter cannot tell a short across it, and that is said."""
    board = board_with({"L1": ("inductor", "100u")}, {"A": "L1.1", "B": "L1.2"})

    assert "a meter cannot tell one here" in expect(board, LIBRARY, "L1.1", "L1.2").says


def test_many_parts_are_counted_not_listed():
    """Six in a row: four by name; another way beside it is told."""
    parts = {f"R{i}": ("resistor", "1k") for i in range(1, 8)}
    nets = {"N0": "R1.1 R7.1", "N6": "R6.2 R7.2"} | {f"N{i}": f"R{i}.2 R{i + 1}.1" for i in range(1, 6)}

    found = expect(board_with(parts, nets), LIBRARY, "R1.1", "R3.2")
    far = expect(board_with(parts, nets), LIBRARY, "R1.1", "R6.2", removed={"R7"})

    assert "with other ways beside it" in found.says
    assert "R4 (1 kΩ) and 2 more parts" in far.says


def test_a_pin_on_no_net_reads_open():
    """Nothing leads there."""
    board = board_with({"R1": ("resistor", "1k"), "R2": ("resistor", "1k")}, {"A": "R1.1", "B": "R1.2 R2.1"})
    loose = Board(
        **{
            **{f: getattr(board, f) for f in ("name", "width_mm", "height_mm", "parts", "pads")},
            "nets": {"A": board.nets["A"]},
        }
    )

    found = expect(loose, LIBRARY, "R1.1", "R1.2")

    assert found.ohms is None and "R1.2 on no net" in found.says


def test_a_battery_and_unread_values_are_noted():
    """No ohms can be read on a live net."""
    parts = {"BT1": ("battery-nicd-3.6v", ""), "R1": ("resistor", "1k"), "R2": ("resistor", "?")}
    board = board_with(parts, {"A": "BT1.1 R1.1 R2.1", "B": "BT1.2 R1.2 R2.2"})

    notes = " ".join(expect(board, LIBRARY, "R1.1", "R1.2").notes)

    assert "take BT1 off" in notes and "R2" in notes


def test_a_fitted_jumper_joins_copper():
    """30 mm of AWG 30 at 338.5 mΩ/m, and the leads."""
    board = board_with(
        {"R1": ("resistor", "1k"), "R2": ("resistor", "1k")}, {"A": "R1.1 R2.1", "B": "R1.2 R2.2"}
    )

    before = expect(board, LIBRARY, "R1.1", "R2.1")
    after = expect(board, LIBRARY, "R1.1", "R2.1", jumpers=[FittedJumper("R1.1", "R2.1")])

    assert before.ohms is None
    assert after.ohms == pytest.approx(0.2 + 0.01 * 0.3385, abs=1e-3) and after.copper
