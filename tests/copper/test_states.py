"""The states of nets that are remembered: after any readings and jumpers the plan is that of a board never seen before."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import standard_library
from coppermend.copper import states
from coppermend.copper.plan import plan_probes
from coppermend.copper.readings import FittedJumper, Reading
from coppermend.damage.area import parse_area
from coppermend.damage.touch import touch
from coppermend.demo.board_data import demo_board_files

AREA = b"POLYGON((8 16,44 16,62 26,64 46,50 51,12 50,6 36,8 16))"


@pytest.fixture(scope="module")
def at_risk():
    """The sample board with what a square of damage touches."""
    board, library = with_package_pads(parse_board_folder(demo_board_files())), standard_library()
    return board, library, touch(board, library, parse_area(AREA, board, "area"))


@pytest.mark.parametrize("seed", range(5))
def test_a_plan_that_rests_on_what_is_remembered_is_one_made_anew(at_risk, seed):
    """Readings good and open, corrected and withdrawn, jumpers fitted between: nothing of an earlier plan is left over."""
    board, library, touched = at_risk
    chance = random.Random(seed)
    readings: list[Reading] = []
    jumpers: list[FittedJumper] = []
    for _ in range(12):
        plan = plan_probes(board, library, touched, readings, jumpers)
        what = chance.random()
        if plan.jumpers and what < 0.4:
            wire = plan.jumpers[0]
            jumpers.append(FittedJumper(wire.a, wire.b, wire.net, wire.side, len(readings)))
        elif readings and what < 0.55:
            again = readings.pop(chance.randrange(len(readings)))
            readings.append(Reading(again.a, again.b, chance.choice([None, 0.4])))
        elif readings and what < 0.65:
            del readings[chance.randrange(len(readings))]
        elif plan.probes:
            probe = chance.choice(plan.probes)
            readings.append(Reading(probe.a, probe.b, chance.choice([None, probe.expect_ohms])))

    remembered = plan_probes(board, library, touched, readings, jumpers)

    assert remembered == plan_probes(replace(board), library, replace(touched), readings, jumpers)
    assert readings and jumpers


def test_a_reading_makes_a_new_state_of_its_own_net_only(at_risk):
    """However many readings came before it on other nets, a net that none of them tells of stays as it was."""
    board, library, touched = at_risk
    probe, *_, other = [p for p in plan_probes(board, library, touched).probes if p.purpose == "continuity"]
    assert probe.net != other.net
    first = [Reading(other.a, other.b, 0.3)]
    plan_probes(board, library, touched, first)
    before = states._state.cache_info().misses

    plan_probes(board, library, touched, [Reading(probe.a, probe.b, 0.3), *first])

    assert states._state.cache_info().misses == before + 1


def test_readings_of_a_net_are_numbered_among_themselves():
    """A jumper stands between the same readings of its net as before: from 9 on they were made with it."""
    readings = [(n, Reading("R1.1", f"R{n}.1", 0.1)) for n in (3, 8, 9, 20)]
    jumpers = [FittedJumper("R1.1", "R2.1", after=after) for after in (None, 0, 9, 21)]

    own, fitted = states.in_own_order(readings, jumpers)

    assert [number for number, _ in own] == [0, 1, 2, 3]
    assert [reading for _, reading in own] == [reading for _, reading in readings]
    assert [jumper.after for jumper in fitted] == [None, 0, 2, 4]
