"""Looks that take in many things at once: outputs watched together, joints gone over with a magnifier."""

from __future__ import annotations

import numpy as np
import pytest

from coppermend.board.model import PinRef
from coppermend.errors import InputError
from coppermend.isolate.afterrepair import still_holds
from coppermend.isolate.isolation import Isolation
from coppermend.isolate.observations import observation
from coppermend.isolate.pairs import suspect_pairs
from coppermend.isolate.planting import Workshop
from coppermend.isolate.stopping import MOST_MADE
from coppermend.isolate.trial import Search, Step

from .conftest import board_of, chain


def _mass(search: Isolation) -> dict[tuple[str, str], float]:
    return {(s.kind, s.name): s.probability for s in search.suspects()}


def _leds(count: int = 4) -> Isolation:
    """One inverter for each of several LEDs, with a resistor between."""
    gates = ("1 2", "3 4", "5 6", "9 8")[:count]
    nets = {"+5V": "U1.14 J1.1", "GND": "U1.7 J1.2 " + " ".join(f"D{k}.2" for k in range(1, count + 1))}
    for k, gate in enumerate(gates, 1):
        reads, drives = gate.split()
        nets |= {f"I{k}": f"J1.{k + 2} U1.{reads}", f"O{k}": f"U1.{drives} R{k}.1", f"L{k}": f"R{k}.2 D{k}.1"}
    parts = {"U1": "7404", "J1": "header"}
    parts |= {
        f"{letter}{k}": kind
        for k in range(1, count + 1)
        for letter, kind in (("R", "resistor"), ("D", "led"))
    }
    return Isolation(board_of(nets, parts))


LEDS = _leds()


def test_what_can_be_watched_is_what_lights_and_what_the_machine_shows(demo_search: Isolation) -> None:
    """LEDs by their refdes, outputs at connectors by their net; neither rails nor inputs."""
    assert [end.name for end in LEDS.effects.outputs.ends] == ["D1", "D2", "D3", "D4"]

    names = {end.name for end in demo_search.effects.outputs.ends}
    assert {"LAMP3", "COIL5", "LED1"} <= names and not names & {"+5V", "GND", "RW", "D0"}


def test_one_dark_lamp_accuses_its_own_driver_and_all_dark_what_they_share() -> None:
    """Of four LEDs on one chip: one dark is its resistor, its LED or its gate; all dark is the chip or the rail."""
    one, every = LEDS.after_nothing(), LEDS.after_nothing()
    one.record("board", "watch", "D2")
    every.record("board", "watch", "all")

    assert {s.name for s in one.suspects(3)} <= {"D2", "R2", "U1", "J1"}
    assert {s.name for s in every.suspects(2)} == {"U1", "+5V"}
    mass = {s.name: s.probability for s in one.suspects()}
    assert mass["D2"] > 20 * mass["D3"]


def test_watching_is_the_first_thing_when_outputs_are_wrong(demo: Isolation) -> None:
    """It tells more than any probe, and says what it may show at most; it is asked once."""
    demo.record("", "symptom", "boots")
    demo.record("", "symptom", "solenoid wrong")

    first, *others = demo.propose(4)

    assert (first.point, first.kind) == ("board", "watch") and first.outcome_bits > first.gain_bits
    assert all(first.gain_bits > other.gain_bits for other in others)
    assert "solenoid" in {caution.code for caution in first.cautions} and "sets of outputs" in first.why
    demo.record("board", "watch", "COIL5")
    assert "watch" not in {m.kind for m in demo.propose(20)}


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        (("board", "watch", "D9"), "no 'D9'"),
        (("U1", "watch", "none"), "watch at 'U1'"),
        (("board", "watch", "U1"), "U1 cannot be seen or heard"),
        (("O1", "joints", "sound"), "joints at 'O1'"),
        (("U1", "joints", "U1.99"), "no 'U1.99'"),
    ],
)
def test_what_cannot_be_looked_at_is_refused(row: tuple[str, str, str], expected: str) -> None:
    """Outputs that are none, places without joints and unknown pins give one clear error, and nothing changes."""
    search = LEDS.after_nothing()

    with pytest.raises(InputError) as caught:
        search.record(*row)

    assert expected in str(caught.value) and search.seen == ()


def test_a_board_without_outputs_is_not_watched() -> None:
    """A row of inverters shows nothing by itself: watching is neither proposed nor accepted."""
    search = Isolation(chain(4))

    assert "watch" not in {m.kind for m in search.propose(30)}
    with pytest.raises(InputError, match="no outputs"):
        search.record("board", "watch", "none")


def test_a_bad_joint_accuses_the_copper_at_it_and_a_bridge_the_short(demo: Isolation) -> None:
    """One pin named is an open there; two neighbours named touch."""
    demo.record("", "symptom", "no boot")
    bridged = demo.after_nothing()
    bridged.record("", "symptom", "no boot")
    before = _mass(demo)
    demo.record("memory", "joints", "U3.20")
    bridged.record("U3", "joints", "U3.9 + U3.10")

    net = ("net", demo.board.index.net_of_pin[PinRef("U3", "20")])
    assert _mass(demo)[net] > 15 * before[net]
    short = {f"{demo.board.index.net_of_pin[PinRef('U3', n)]}" for n in ("9", "10")}
    grown = [u for u, p in _mass(bridged).items() if u[0] == "short" and p > 50 * before[u]]
    assert [set(name.split(" + ")) for _, name in grown] == [short]


def test_sound_joints_clear_what_a_magnifier_would_have_shown() -> None:
    """Joints of the part lose four fifths of their weight against everything else, those of other parts nothing."""
    search = LEDS.after_nothing()
    before = search.posterior.copy()
    search.record("U1", "joints", "sound")

    ratio = search.posterior / before
    there = search.effects.joints.at("U1")
    others = np.setdiff1d(search.effects.joints.at("board"), there)
    assert ratio[there] / ratio[others].mean() == pytest.approx(0.2 / 0.98)
    assert search.effects.joints.at("logic").tolist() == search.effects.joints.at("board").tolist()


def test_joints_are_proposed_where_their_suspicion_is_and_not_twice() -> None:
    """Once other parts have cured nothing, going over the joints tells most; what was looked over is not asked again."""
    search = LEDS.after_nothing()
    assert search.effects.joints.suspected(search.posterior, 0.9) == []
    for part in search.board.parts:
        search.record(part.refdes, "swap", "same")
    search.record("+5V", "volts", "5")

    looks = [m for m in search.propose(60) if m.kind == "joints"]
    search.record(looks[0].point, "joints", "sound")

    assert {"logic", "board"} <= {m.point for m in looks} and all("joints apart" in m.why for m in looks)
    assert looks[0].point not in {m.point for m in search.propose(60) if m.kind == "joints"}


def test_after_a_repair_only_what_was_sound_holds() -> None:
    """Good outputs and sound joints stay good; what was wrong may have been the repaired fault's doing."""
    rows = {
        ("watch", "none"): True,
        ("watch", "D1"): False,
        ("joints", "sound"): True,
        ("joints", "U1.1"): False,
    }

    for (kind, value), holds in rows.items():
        assert still_holds(LEDS.effects, observation(LEDS.board, "board", kind, value), set()) is holds


def test_two_dark_lamps_may_be_two_faults() -> None:
    """Two LEDs dark of four: a pair of faults explains it as one shared fault cannot."""
    search = LEDS.after_nothing()
    search.record("board", "watch", "D1+D4")

    pairs = suspect_pairs(search.effects, search.effects.prior, search.counting, search.posterior, 3)

    assert {name[-1] for name in pairs[0].names} == {"1", "4"}


def test_the_simulated_board_shows_its_outputs_and_most_of_its_bad_joints() -> None:
    """Only outputs that differ are named; about four bad joints in five are seen, the same each time."""
    shop = Workshop(LEDS.board, LEDS.library)
    dark = next(c for c in shop.cases if c.defect.unit == ("part", "R3"))
    opens = [c for c in shop.cases if c.defect.unit[0] == "net"]
    seen = [shop.answer(c, "joints", "board", "running") for c in opens]

    assert shop.answer(dark, "watch", "board", "running") == "D3" and shop.joints(dark, "board") == "sound"
    assert seen == [shop.joints(c, "board") for c in opens] and set(seen) - {"sound"}
    assert all(name == "sound" or name in c.defect.what for c, name in zip(opens, seen, strict=True))


def test_a_look_of_many_outcomes_counts_for_what_it_may_tell() -> None:
    """Beside the yes-no bound a look of 2.5 bit stands for 2.5 measurements, a probe of less than one bit for one."""
    steps = (Step("board", "watch", "running", 2.5), Step("U1.2", "logic", "running", 0.8))

    assert Search(("part", "U1"), "dead", 2, 1, "isolated", steps).yes_no == 3.5


def test_measuring_ends_when_it_leads_nowhere() -> None:
    """After thirty measurements the search says that a comparison with a sound board is quicker."""
    search = Isolation(chain(7))
    best = search.propose(1)[0]
    assert search.worth_it(best)

    for k in range(MOST_MADE):
        search.record(f"N{1 + k % 7}", "logic", "good" if k % 2 else "wrong")

    assert not search.worth_it(best)
