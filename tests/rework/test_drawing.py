"""The drawing of a change: what is in it, and that a page may show it as it is."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from functools import lru_cache

import pytest

from coppermend.board.atrisk import Touch
from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Part
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.rework.drawing import remedy_svg
from coppermend.rework.records import KitLine, Remedy
from coppermend.rework.remedies import remedies

LIBRARY = standard_library()


@lru_cache
def demo():
    board = parse_board_folder(demo_board_files())
    return board, {r.id: r for r in remedies(board, LIBRARY, Touch())}


def drawn(name):
    board, offered = demo()
    return remedy_svg(board, LIBRARY, offered[name])


def words(svg):
    return [t.strip() for e in ET.fromstring(svg).iter() for t in e.itertext() if t.strip()]


def test_cell_resistor_and_diode_are_one_row_from_ground_to_the_memory():
    """In the order of the wires, with refdes, value and net at both ends."""
    texts = [e for e in ET.fromstring(drawn("coin-cell-BT1")).iter() if e.tag.endswith("text")]
    at = {word.strip(): float(e.attrib["x"]) for e in texts for word in e.itertext()}
    order = [at[word] for word in ("GND", "BT2", "R39", "D29", "VRAM")]

    assert order == sorted(order)
    assert {"CR2032, 3 V", "1N4148"} <= set(at)


def test_a_chip_is_a_box_with_its_pins_and_where_they_lead():
    """Pin names of the library, nets and points of the board."""
    found = " ".join(words(drawn("reset-supervisor")))

    for word in ("U27", "VCC", "/RESET", "RES_N", "R10.1", "+5V"):
        assert word in found


def test_what_only_takes_an_old_place_is_drawn_between_its_nets():
    """Three capacitors, three rows."""
    found = words(drawn("supply-capacitors"))

    assert {"C3", "C7", "C8", "VRAM", "+12V"} <= set(found)


@pytest.mark.parametrize("name", ["header-pins", "connector-contacts"])
def test_where_no_circuit_changes_nothing_is_drawn(name):
    """New pins at the same places."""
    assert drawn(name) == ""


def test_a_page_may_show_it():
    """No inline style, no prologue, a title, and the ink of its surroundings."""
    svg = drawn("coin-cell-BT1")

    assert svg.startswith("<svg") and svg.rstrip().endswith("</svg>")
    assert "style=" not in svg and "<?xml" not in svg
    assert "currentColor" in svg
    assert ET.fromstring(svg).find("{http://www.w3.org/2000/svg}title") is not None


def test_words_of_a_board_cannot_break_the_drawing(board_of):
    """A net or value with < and & stays text."""
    board = board_of(
        [Part("R1", "resistor", "1<2&3"), Part("U1", "7404")], {"A<B>": "R1.1 U1.1", "C&D": "R1.2 U1.2"}
    )
    made = Remedy(
        "x", "a < b & c", "w", parts_off=("R1",), parts_on=(KitLine("resistor", "<b>&", "", 1, ("R1",)),)
    )

    svg = remedy_svg(board, LIBRARY, made)

    assert {"A<B>", "C&D", "<b>&"} <= set(words(svg))


def test_a_part_across_one_net_is_left_out(board_of):
    """Both ends joined: there is nothing to draw."""
    board = board_of([Part("R1", "resistor", "1k")], {"A": "R1.1 R1.2"})
    made = Remedy("x", "x", "w", parts_off=("R1",), parts_on=(KitLine("resistor", "1k", "", 1, ("R1",)),))

    assert remedy_svg(board, LIBRARY, made) == ""
