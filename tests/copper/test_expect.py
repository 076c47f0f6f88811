"""What the meter should read over copper."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coppermend.board.parttypes import PartLibrary
from coppermend.copper.expect import expect
from coppermend.errors import UnknownName

from .meter import board_of

LIBRARY = PartLibrary()
CHAIN = board_of([(10, 10, 20, 10), (20, 10, 30, 10)], [(10, 10), (20, 10), (30, 10)])


def test_copper_and_leads():
    """20 mm of 0.3 mm track at 35 µm has 32.8 mΩ (ρ of 100 % IACS copper), leads and contacts 0.2 Ω."""
    found = expect(CHAIN, LIBRARY, "P.1", "P.3")

    assert found.ohms == pytest.approx(0.2328, abs=1e-3) and found.limit_ohms == pytest.approx(
        1.233, abs=1e-3
    )
    assert (found.tracks, found.nets) == ((1, 2), ("N", "N"))
    assert found.says == "0.23 Ω over 2 tracks of N, leads included"


def test_the_shorter_way_counts():
    """Two ways: the one with less resistance."""
    board = board_of(
        [(10, 10, 10, 50), (10, 50, 30, 50), (30, 50, 30, 10), (10, 10, 30, 10)], [(10, 10), (30, 10)]
    )

    assert expect(board, LIBRARY, "P.1", "P.2").tracks == (4,)


def test_two_nets_are_told():
    """No value, and where each point is."""
    board = replace(CHAIN, nets={"N": CHAIN.nets["N"][:2], "M": CHAIN.nets["N"][2:]})

    found = expect(board, LIBRARY, "P.1", "P.3")

    assert (found.ohms, found.limit_ohms, found.tracks) == (None, None, ())
    assert "P.1 on N and P.3 on M" in found.says


def test_a_net_whose_copper_is_not_shown():
    """No value either."""
    assert "no copper between them" in expect(board_of([], [(1, 1), (9, 9)]), LIBRARY, "P.1", "P.2").says


def test_json_is_plain():
    """Lists instead of tuples."""
    document = expect(CHAIN, LIBRARY, "P.1", "P.2").to_json()

    assert document["nets"] == ["N", "N"] and document["tracks"] == [1] and "P" in document["where_a"]


def test_an_unknown_point_is_refused():
    """By its name."""
    with pytest.raises(UnknownName) as caught:
        expect(CHAIN, LIBRARY, "P.1", "V9")

    assert caught.value.name == "V9"
