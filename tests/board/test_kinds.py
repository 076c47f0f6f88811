"""What a part is, from its type, else its package and the letters of its refdes."""

from __future__ import annotations

import pytest

from coppermend.board.kinds import is_ic, kind_of, natural_key, pin_spec
from coppermend.board.model import Part
from coppermend.board.parttypes import PartLibrary, parse_part_types

LIBRARY = PartLibrary(
    parse_part_types(
        """
        ["7404"]
        description = "inverter"
        kind = "logic"
        pins = ["1 1A in", "2 1Y out"]
        ["cap"]
        description = "capacitor"
        kind = "capacitor"
        pins = ["1 1 passive", "2 2 passive"]
        """
    )
)


@pytest.mark.parametrize(
    ("part", "kind"),
    [
        (Part("Q9", "7404"), "logic"),  # the type goes before the letter
        (Part("R1"), "resistor"),  # letters: ASME Y14.44 (from memory)
        (Part("BT1"), "battery"),
        (Part("X1", package="HC-49"), "crystal"),
        (Part("X1", package="Oscillator_DIP-14"), "oscillator"),
        (Part("C1", "cap", "100n"), "capacitor"),
        (Part("C1", "cap", "1 F"), "supercapacitor"),
        (Part("C1", "", "22000u"), "capacitor"),  # 0.022 F is still a supply capacitor
        (Part("C1", "", "10u", package="RADIAL-POL-5.08"), "electrolytic"),
        (Part("C1", "", "?"), "capacitor"),
        (Part("E1"), None),
        (Part("7"), None),
    ],
)
def test_kind_of_a_part(part, kind):
    """Each clue in its turn."""
    assert kind_of(part, LIBRARY) == kind


def test_display_counts_as_chip_only_in_a_chip_package():
    """A glass display is no chip that static would harm in the same way."""
    library = PartLibrary(parse_part_types('["d"]\ndescription = "display"\nkind = "display"\npins = []'))

    assert is_ic(Part("DS1", "d", package="DIP-14"), library)
    assert not is_ic(Part("DS1", "d", package="PANEL"), library)


def test_pin_of_an_unknown_type_says_nothing():
    """None rather than a guess."""
    assert pin_spec(Part("U1"), "1", LIBRARY) is None
    assert pin_spec(Part("U1", "7404"), "2", LIBRARY).name == "1Y"


def test_names_sort_as_people_count():
    """R2 before R10."""
    assert sorted(["U3.10", "U3.9", "R1"], key=natural_key) == ["R1", "U3.9", "U3.10"]
