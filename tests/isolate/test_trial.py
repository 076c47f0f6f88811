"""Planted faults on simulated boards: what the simulation shows, and how the search does beside its baselines."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.isolate.defects import defects_of
from coppermend.isolate.doubles import double_trial
from coppermend.isolate.isolation import Isolation
from coppermend.isolate.machine import Defect, Machine
from coppermend.isolate.planting import Case, Workshop
from coppermend.isolate.running import run
from coppermend.isolate.trial import entropy_bound_bits, fresh, trial
from coppermend.job.files import load_board

from .conftest import board_of, chain, divider

LIBRARY = standard_library()


def _case(workshop: Workshop, unit: tuple[str, str], what: str) -> Case:
    return next(c for c in workshop.cases if c.defect.unit == unit and c.defect.what == what)


@pytest.fixture(scope="module")
def row() -> Workshop:
    """Five inverters in a row, every fault planted once."""
    return Workshop(chain(5), LIBRARY)


@pytest.fixture(scope="module")
def demo_shop() -> Workshop:
    """The demo board, every fault planted once."""
    return Workshop(parse_board_folder(demo_board_files()), LIBRARY, 1)


def test_a_sound_board_differs_from_itself_nowhere() -> None:
    """A defect that changes nothing shows on no net of any board."""
    for board in (chain(4), divider(), parse_board_folder(demo_board_files())):
        shown = run(Machine(board, LIBRARY), [(Defect(("part", "-"), "none", 1.0),)])
        assert not shown.differs.any()


def test_a_stuck_output_stops_what_follows_and_nothing_before(row: Workshop) -> None:
    """N1 and N2 stay good, N3 is stuck, N4 and N5 rest at the level that follows from it."""
    case = next(c for c in row.cases if c.defect.what == "U3.2 stuck at 1")

    shown = {net: row.logic(case, net, "running") for net in ("N1", "N2", "N3", "N4", "N5")}

    assert shown == {"N1": "good", "N2": "good", "N3": "stuck high", "N4": "stuck low", "N5": "stuck high"}


def test_an_open_output_floats_and_a_dead_rail_stops_all(row: Workshop) -> None:
    """Nothing drives N2; without +5 V every output rests."""
    floating = next(c for c in row.cases if c.defect.what == "U2.2 stuck at None")
    dead = _case(row, ("rail", "+5V"), "missing")

    assert row.logic(floating, "N2", "running") == "floating"
    assert row.logic(dead, "N5", "running") == "stuck low" and row.volts(dead, "+5V") == "0"


def test_open_copper_is_good_at_the_driver_and_floats_at_the_reader(row: Workshop) -> None:
    """The two ends of a broken track are seen differently, and an ohmmeter finds it."""
    case = _case(row, ("net", "N2"), "open at U3.1")

    assert (row.logic(case, "U2.2", "running"), row.logic(case, "U3.1", "running")) == ("good", "floating")
    assert row.ohms(case, "U2.2:U3.1") == "OL" and row.ohms(case, "U3.2:U4.1") == "0.2"


def test_the_other_tools_show_what_is_there(row: Workshop) -> None:
    """A short reads low between its nets and ground; another part cures only its own fault."""
    shorted = next(c for c in row.cases if c.defect.what == "U3.1 shorted")

    assert (
        row.ohms(shorted, "N2") == "1"
        and row.ohms(shorted, "N4") == "2k"
        and row.ohms(shorted, "N1:N2") == "OL"
    )
    assert row.swap(shorted, "U2+U3") == "cured" and row.swap(shorted, "U4") == "same"


def test_a_stopped_oscillator_stops_the_clocks() -> None:
    """Flip-flops hold while their clock rests, so that a counter shows 0 Hz."""
    shop = Workshop(divider(), LIBRARY)
    case = next(c for c in shop.cases if c.defect.unit == ("part", "X1") and c.defect.what == "dead")

    assert (
        shop.answer(case, "hertz", "CLK", "running")
        == "0"
        == shop.answer(case, "hertz", "QUARTER", "running")
    )


def test_a_broken_base_resistor_leaves_the_base_without_drive() -> None:
    """A series part that is open floats what only it drives."""
    board = board_of(
        {"IN": "J1.1 U1.1", "OUT": "U1.2 R1.1", "BASE": "R1.2 Q1.2", "COL": "Q1.3 J1.2", "GND": "Q1.1 U1.7", "+5V": "U1.14"},
        {"U1": "7404", "R1": "resistor", "Q1": "npn", "J1": "header"},
    )  # fmt: skip
    shop = Workshop(board, LIBRARY)

    assert shop.logic(_case(shop, ("part", "R1"), "open"), "BASE", "running") == "floating"


def test_every_planted_fault_is_of_a_unit_that_the_search_knows(
    demo_shop: Workshop, demo_search: Isolation
) -> None:
    """What the simulation plants and the search suspects have the same names, though not the same tables."""
    known = {(u.kind, frozenset(u.name.split(" + "))) for u in demo_search.effects.units.units}
    planted = {(d.unit[0], frozenset(d.unit[1].split(" + "))) for d in defects_of(demo_shop.machine)}

    assert planted <= known


def test_a_dead_cpu_board_does_not_boot_and_a_lamp_driver_is_a_lamp_fault(demo_shop: Workshop) -> None:
    """Complaints follow from what the simulation shows at the CPU and at the connectors."""
    dead = next(c for c in demo_shop.cases if c.defect.unit == ("part", "Y1"))
    lamp = next(c for c in demo_shop.cases if c.defect.what == "U20.16 stuck at 0")

    assert dead.complaint == (("", "no boot"),) and lamp.complaint == (("", "boots"), ("", "lamp wrong"))


def test_a_forced_cpu_counts_only_while_clock_and_reset_are_right(demo_shop: Workshop) -> None:
    """On a no-operation pattern a data fault leaves the address lines good; a dead clock does not."""
    content = next(c for c in demo_shop.cases if c.defect.what == "wrong content")
    clock = next(c for c in demo_shop.cases if c.defect.unit == ("part", "Y1"))

    assert (
        demo_shop.logic(content, "U1.9", "running") == "wrong"
        and demo_shop.logic(content, "U1.9", "forced") == "good"
    )
    assert demo_shop.logic(clock, "U1.9", "forced").startswith("stuck")


def test_the_bound_is_the_entropy_of_equal_faults() -> None:
    """Boards of equal inverters in a row: the bound is near the logarithm of their number."""
    assert 2.0 < entropy_bound_bits(Workshop(chain(8), LIBRARY)) < 4.2


def test_a_search_starts_from_complaint_and_rails(demo_shop: Workshop, demo_search: Isolation) -> None:
    """Before the first measurement that counts, the complaint is heard and the rails are measured."""
    state = fresh(demo_search, demo_shop, demo_shop.cases[0])

    assert {o.kind for o in state.seen} == {"symptom", "volts", "ripple"} and demo_search.seen == ()


def test_planted_faults_on_the_demo_board_are_found(demo_shop: Workshop, demo_search: Isolation) -> None:
    """Drawn as often as parts fail, faults end among the first three, sooner than by half-splitting in signal order."""
    cases = demo_shop.sample(10, np.random.default_rng(11))

    report = trial(demo_search, demo_shop, cases, 1, baselines=2)

    assert report.top3 >= 0.9 and report.mean <= 1.5 * report.bound_bits and report.yes_no >= report.mean
    assert np.mean([one.measurements for one in report.searches[:2]]) <= 0.8 * report.half_split
    assert report.to_json()["faults"] == 10 and len(report.to_json()["searches"]) == 10


@pytest.mark.shared
@pytest.mark.parametrize(("name", "bound_ratio"), [("trainer-computer", 1.3), ("clock-module", 1.2)])
def test_planted_faults_on_real_boards_are_found(
    shared_boards: Path, tmp_path: Path, name: str, bound_ratio: float
) -> None:
    """On boards that none of us drew, 24 planted faults end among the first three, near the entropy bound."""
    from coppermend.cli.app import run

    folder = shared_boards / name
    assert (
        run(
            [
                "board",
                "import",
                "--gerber",
                str(folder / "gerber"),
                "--parts",
                str(folder / "parts.csv"),
                "-o",
                str(tmp_path / "b"),
            ]
        )
        == 0
    )
    board = load_board(tmp_path / "b")
    shop = Workshop(board, LIBRARY, 1)

    report = trial(Isolation(board, LIBRARY), shop, shop.sample(24, np.random.default_rng(5)), 1, baselines=2)

    assert report.top3 >= 0.95 and report.mean <= bound_ratio * report.bound_bits


def test_two_faults_are_found_one_after_the_other(row: Workshop) -> None:
    """On a row of inverters most boards with two faults are mended by going on after the first repair."""
    searches = double_trial(Isolation(chain(5)), row, 12, 4)

    assert np.mean([one.both for one in searches]) >= 0.6


def test_a_large_board_is_planted_in_part(row: Workshop) -> None:
    """Where there are more faults than are wanted a fixed share of them is planted, the same for the same seed."""
    some = [Workshop(chain(5), LIBRARY, 2, most=10).defects for _ in range(2)]

    assert len(some[0]) == 10 and [d.what for d in some[0]] == [d.what for d in some[1]]
    assert len(row.defects) > 10
