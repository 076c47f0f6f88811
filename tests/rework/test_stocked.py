"""The kit against a shelf: what is taken, what could serve instead, what is to order."""

from __future__ import annotations

import json

import pytest

from coppermend.errors import InputError
from coppermend.rework.options import usual_prices
from coppermend.rework.records import KitLine
from coppermend.rework.stocked import Stock, parse_stock, supply_kit

RESISTOR = KitLine("resistor", "10 kΩ", "AXIAL-10.16", 3, ("R1", "R2", "R3"))
USUAL = usual_prices().parts


def supply(line, *shelf):
    return supply_kit([line], shelf)[0]


def test_an_empty_shelf_leaves_everything_to_order():
    """At usual prices."""
    found = supply(RESISTOR)

    assert (found.from_shelf, found.to_order, found.alternatives) == (0, 3, ())
    assert found.price == pytest.approx(3 * USUAL["resistor"])


def test_what_the_shelf_has_is_taken_first_and_at_its_own_price():
    """Two of three pieces lie in drawer A3, at 0.02 each; the third is ordered."""
    found = supply(RESISTOR, Stock("resistor", "10k", "AXIAL-10.16", 2, 0.02, "A3"))

    assert (found.from_shelf, found.to_order, found.places) == (2, 1, ("A3",))
    assert found.price == pytest.approx(0.04 + USUAL["resistor"])


@pytest.mark.parametrize(
    ("type_name", "wanted", "stocked"),
    [
        ("capacitor", "100n", "0.1uF"), ("capacitor", "0,1 µF", "104"), ("electrolytic", "470u", "470 uF/16V"),
        ("resistor", "4k7", "4.7 kΩ 5%"), ("diode", "1N4148", "1n4148"),
    ],
)  # fmt: skip
def test_equal_values_are_equal_however_they_are_written(type_name, wanted, stocked):
    """As quantities where the type has one, else as words."""
    line = KitLine(type_name, wanted, "", 1, ("X1",))

    assert supply(line, Stock(type_name, stocked, "ANY", 1)).from_shelf == 1


def test_a_piece_is_taken_once():
    """Two lines that want the same value share what there is."""
    lines = [KitLine("resistor", "1k", "", 1, ("R1",)), KitLine("resistor", "1k", "", 1, ("R2",))]

    found = supply_kit(lines, [Stock("resistor", "1k", "", 1)])

    assert [s.from_shelf for s in found] == [1, 0]


def test_another_package_is_an_alternative_and_said_so():
    """It is not taken unasked."""
    found = supply(RESISTOR, Stock("resistor", "10k", "AXIAL-7.62", 9))

    assert found.from_shelf == 0
    assert found.alternatives[0].words == "package AXIAL-7.62, wanted AXIAL-10.16"


def test_a_substitute_that_meets_every_rating_is_named():
    """A 1N4007 for a 1N4001, ratings of their data sheets (from memory); not the other way round."""
    line = KitLine("rectifier", "1N4001", "", 1, ("D1",))

    assert supply(line, Stock("rectifier", "1N4007", "", 1)).alternatives[0].words == "meets every rating"
    back = KitLine("rectifier", "1N4007", "", 1, ("D1",))
    assert supply(back, Stock("rectifier", "1N4001", "", 1)).alternatives == ()


def test_a_substitute_with_other_leads_says_what_to_do():
    """A 2732A is as large as a 2532 and faster, but its pins lie otherwise (collectors' archive)."""
    found = supply(KitLine("2532", "2532", "", 1, ("U2",)), Stock("2732A", "2732A", "", 1))

    assert found.alternatives[0].words.startswith("meets every rating; leads: 2732A has 24 pin, 2732")


def test_two_resistors_make_a_third():
    """2.2 kΩ beside 4.7 kΩ make 1.5 kΩ, one per thousand off; capacitors are not joined."""
    stock = (
        Stock("resistor", "2k2", "", 5),
        Stock("resistor", "4k7", "", 5),
        Stock("capacitor", "100n", "", 5),
    )
    found = supply(KitLine("resistor", "1.5k", "", 1, ("R1",)), *stock)

    assert found.alternatives[0].words.startswith("2.2 kΩ in parallel with 4.7 kΩ, -0.1 %")
    assert supply(KitLine("capacitor", "200n", "", 1, ("C1",)), *stock).alternatives == ()


def test_two_of_one_value_need_two_pieces():
    """Twice 1 kΩ make 2 kΩ only while there are two of them."""
    line = KitLine("resistor", "2k", "", 1, ("R1",))

    assert supply(line, Stock("resistor", "1k", "", 2)).alternatives
    assert supply(line, Stock("resistor", "1k", "", 1)).alternatives == ()


def test_the_document_is_plain():
    """Kit line, sources, price and alternatives."""
    found = supply(RESISTOR, Stock("resistor", "10k", "AXIAL-7.62", 9, 0.1, "B1")).to_json()

    assert json.loads(json.dumps(found))["alternatives"][0]["place"] == "B1"
    assert (found["quantity"], found["to_order"]) == (3, 3)


def test_a_shelf_is_read_from_a_spreadsheet():
    """Price and place may be left out; a semicolon file with decimal commas is one too."""
    plain = parse_stock(
        b"type,value,quantity,package,price,place\nresistor,10k,50,AXIAL-10.16,0.02,A3\ndiode,1N4148,7,,,\n"
    )

    assert plain == (
        Stock("resistor", "10k", "AXIAL-10.16", 50, 0.02, "A3"), Stock("diode", "1N4148", "", 7, None, ""),
    )  # fmt: skip
    whole = b"type,value,package,quantity,price,place,minimum,supplier,alternates,note\r\ndiode,'-x,DO-35,1,,'=A1,5,us,,\r\n"
    assert parse_stock(whole) == (Stock("diode", "-x", "DO-35", 1, None, "=A1"),)
    assert parse_stock(b"type;value;quantity;price\nfuse;1 A;2;0,5\n")[0].price == 0.5


@pytest.mark.parametrize(
    ("rows", "found", "line"),
    [
        ("type,value\n", "no column 'quantity'", 1), ("type,value,quantity\nfuse,1A,1.5\n", "quantity is '1.5'", 2),
        ("type,value,quantity\nfuse,1A,-1\n", "quantity is '-1'", 2), ("type,value,quantity\n,1A,1\n", "type is blank", 2),
        ("type,value,quantity,price\nfuse,1A,1,dear\n", "price is 'dear'", 2),
    ],
)  # fmt: skip
def test_a_shelf_that_cannot_be_is_refused(rows, found, line):
    """With file, line and what was expected."""
    with pytest.raises(InputError) as error:
        parse_stock(rows.encode(), "shelf.csv")

    assert error.value.found == found
    assert (error.value.where, error.value.line) == ("shelf.csv", line)
