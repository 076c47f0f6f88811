"""Which pairs of nets come within reach in the damage, and what is measured and concluded about them."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely

from coppermend.board.atrisk import Touch, TouchedNet, TouchedTrack
from coppermend.board.model import Board, Pad, Part, PinRef, Track
from coppermend.board.parttypes import standard_library
from coppermend.copper.nearby import near_pairs
from coppermend.copper.plan import plan_probes
from coppermend.copper.readings import FittedJumper, Reading

LIBRARY = standard_library()


def lanes(*y_mm: float, width_mm: float = 0.3, parts=(), more_pins=()) -> Board:
    """Parallel tracks 40 mm long, one net A, B, C, ... each, with a pad at either end."""
    nets, pads, tracks = {}, [], []
    for name, y in zip("ABCDEFGH", y_mm, strict=False):
        ends = [PinRef(f"P{name}", "1"), PinRef(f"P{name}", "2")]
        nets[name] = (*ends, *(pin for net, pin in more_pins if net == name))
        pads += [Pad(pin.refdes, pin.pin, 5.0 + 40.0 * i, y, 0.2, 0.3) for i, pin in enumerate(ends)]
        tracks.append(Track(name, "top", 5.0, y, 45.0, y, width_mm))
    return Board("b", 50.0, 50.0, nets=nets, pads=tuple(pads), tracks=tuple(tracks), parts=tuple(parts))


def touched(board: Board, severity: float = 0.75, area: str = "") -> Touch:
    return Touch(
        tracks=tuple(TouchedTrack(i, t.net, t.layer, severity, 1.0) for i, t in enumerate(board.tracks, 1)),
        nets=tuple(TouchedNet(net, "signal", "signal", (), severity, 0, 0, 1) for net in board.nets),
        areas=(("heavy", area),) if area else (),
    )


def found(board: Board, **options) -> list[tuple[tuple[str, str], float]]:
    return [(pair.nets, pair.gap_mm) for pair in near_pairs(board, touched(board, **options))]


def test_neighbours_within_reach_are_paired():
    """0.2 mm and 0.3 mm between edges are within reach, 0.35 mm and the lane beyond are not; nearest first."""
    assert found(lanes(10.0, 10.5, 11.1, 11.75)) == [(("A", "B"), 0.2), (("B", "C"), pytest.approx(0.3))]


def test_only_what_is_near_inside_the_damage_counts():
    """Two lanes that come together outside the damage only are no pair."""
    board = lanes(10.0, 12.0)
    bent = replace(board, tracks=(*board.tracks, Track("B", "top", 40.0, 12.0, 40.0, 10.5, 0.3)))
    inside = shapely.box(35, 5, 45, 15).wkt

    assert found(bent, area=shapely.box(5, 5, 20, 15).wkt) == []
    assert found(bent, area=inside) == [(("A", "B"), 0.2)]


def test_other_layers_and_other_copper_do_not_count():
    """A lane on the other layer, one net's own copper, and copper that touches already."""
    board = lanes(10.0, 10.5)
    below = replace(board, tracks=(board.tracks[0], replace(board.tracks[1], layer="bottom")))
    crossing = replace(board, tracks=(*board.tracks, Track("B", "top", 20.0, 10.0, 20.0, 10.5, 0.3)))
    below = replace(below, pads=())

    assert found(below) == []
    assert found(crossing) == [(("A", "B"), 0.2)]


def test_severity_and_spacing_make_the_risk():
    """The same spacing under worse damage comes first."""
    board = lanes(10.0, 10.5, 20.0, 20.5)
    base = touched(board, 0.3)
    worse = replace(base, tracks=(*base.tracks[:2], *(replace(t, severity=0.9) for t in base.tracks[2:])))

    assert [pair.nets for pair in near_pairs(board, worse)] == [("C", "D"), ("A", "B")]


def test_nothing_touched_is_nothing_near():
    """No copper at risk, no pair."""
    assert near_pairs(lanes(10.0, 10.5), Touch()) == ()


def isolations(board: Board, readings=(), **options):
    plan = plan_probes(board, LIBRARY, touched(board), readings, **options)
    return [p for p in plan.probes if p.purpose == "isolation"], plan


def test_the_likeliest_pair_is_measured_where_it_is_near():
    """One of two pairs for three pads too many; OL is expected, and both points are on their nets."""
    (probe,), plan = isolations(lanes(10.0, 10.5, 11.1))

    assert {probe.a[:2], probe.b[:2]} == {"PA", "PB"} and probe.expect_ohms is None
    assert any("2 pairs of nets come within reach" in note for note in plan.notes)
    assert plan.to_json()["counts"]["probes"] == len(plan.probes) == 4


@pytest.mark.parametrize(("scope", "count"), [("all", 2), ("likely", 1), ("none", 0)])
def test_the_scope_is_chosen(scope, count):
    """All pairs, the likely ones, none."""
    assert len(isolations(lanes(10.0, 10.5, 11.1), isolation=scope)[0]) == count


def test_a_short_is_found_and_its_neighbours_are_asked_for():
    """0.4 Ω between A and B is a short: neither is proven, and B against C is measured next."""
    readings = [Reading("PA.1", "PB.1", 0.4), Reading("PA.1", "PA.2", 0.2), Reading("PB.1", "PB.2", 0.2)]

    (probe,), plan = isolations(lanes(10.0, 10.5, 11.1), readings)

    assert [(s.nets, s.ohms) for s in plan.shorts] == [(("A", "B"), 0.4)]
    assert {probe.a[:2], probe.b[:2]} == {"PB", "PC"} and "A" not in plan.proven and "B" not in plan.proven


def test_a_cleared_short_is_gone():
    """The last reading of the pair counts, and no pair is asked for twice."""
    readings = [Reading("PA.1", "PB.1", 0.4), Reading("PB.1", "PA.1", None)]

    probes, plan = isolations(lanes(10.0, 10.5), readings)

    assert probes == [] and plan.shorts == ()


def resistor(value: str) -> Board:
    pins = [("A", PinRef("R1", "1")), ("B", PinRef("R1", "2"))]
    return lanes(10.0, 10.5, parts=[Part("R1", "resistor", value)], more_pins=pins)


def test_a_resistor_between_the_nets_is_expected():
    """4.7 kΩ and the leads; that reading is no short, a solder bridge beside it is."""
    (probe,), _ = isolations(resistor("4k7"))
    sound, bridged = (
        isolations(resistor("4k7"), [Reading("PA.1", "PB.1", ohms)])[1] for ohms in (4690.0, 0.6)
    )

    assert probe.expect_ohms == pytest.approx(4700.2)
    assert sound.shorts == () and len(bridged.shorts) == 1


def test_where_parts_read_as_low_as_a_short_nothing_is_asked():
    """1 Ω between the nets hides a short: no probe, no false alarm, and the part to lift is named."""
    probes, plan = isolations(resistor("1"), [Reading("PA.2", "PB.2", 0.9)])

    assert probes == [] and plan.shorts == ()
    assert [(item.nets, item.by, item.ohms) for item in plan.masked] == [(("A", "B"), ("R1",), 1.2)]
    assert plan.to_json()["masked"] == [{"nets": ["A", "B"], "by": ["R1"], "ohms": 1.2}]
    assert any("cannot be told from R1 (1.2 Ω) in circuit: lift one end of it" in note for note in plan.notes)


def test_once_the_part_is_lifted_the_pair_is_measured():
    """With R1 off nothing joins the nets, and OL is expected."""
    (probe,), plan = isolations(resistor("1"), removed=["R1"])

    assert probe.expect_ohms is None and plan.masked == ()


def test_every_part_that_must_be_lifted_is_named():
    """Two resistors side by side: both are named, the way over a third and a fourth of 100 Ω is not."""
    parts = [Part(f"R{i}", "resistor", value) for i, value in enumerate(("1", "2", "100"), 1)]
    pins = [pin for i in (1, 2, 3) for pin in (("A", PinRef(f"R{i}", "1")), ("B", PinRef(f"R{i}", "2")))]

    _, plan = isolations(lanes(10.0, 10.5, parts=parts, more_pins=pins))

    assert [set(item.by) for item in plan.masked] == [{"R1", "R2"}]
    assert "R1 and R2" in plan.masked[0].words or "R2 and R1" in plan.masked[0].words


@pytest.mark.parametrize(("ohms", "shorts"), [(9.9, 0), (5.2, 0), (0.7, 1)])
def test_a_short_beside_ten_ohms_is_told(ohms, shorts):
    """10 Ω between the nets: half of it and less is a short."""
    assert len(isolations(resistor("10"), [Reading("PA.1", "PB.1", ohms)])[1].shorts) == shorts


def test_a_pair_is_measured_again_when_a_jumper_has_joined_more_copper():
    """What hung loose when A and B read apart was not covered; other points are taken, and it ends."""
    readings = [Reading("PA.1", "PB.1", None), Reading("PA.1", "PA.2", None), Reading("PB.1", "PB.2", 0.2)]
    wire = [FittedJumper("PA.1", "PA.2", "A", after=3)]

    first, _ = isolations(lanes(10.0, 10.5), readings)
    (again,), _ = isolations(lanes(10.0, 10.5), readings, jumpers=wire)
    after, plan = isolations(
        lanes(10.0, 10.5),
        [*readings, Reading("PA.1", "PA.2", 0.2), Reading(again.a, again.b, 0.5)],
        jumpers=wire,
    )

    assert first == after == [] and {again.a, again.b} != {"PA.1", "PB.1"}
    assert len(plan.shorts) == 1


def test_a_pair_that_no_probe_can_reach_is_told():
    """A lane whose pads are bare holes has no point: its pair is left to the eye."""
    board = lanes(10.0, 10.5)
    bare = [replace(pad, hole_mm=pad.size_mm) if pad.refdes == "PA" else pad for pad in board.pads]

    probes, plan = isolations(replace(board, pads=tuple(bare)))

    assert probes == [] and any("no probe can reach both of A and B" in note for note in plan.notes)


def test_a_short_to_copper_of_no_net_is_told():
    """A reading to a pad on no net that is as low as copper."""
    board = lanes(10.0, 10.5)
    loose = replace(board, pads=(*board.pads, Pad("X", "1", 30.0, 30.0, 0.2, 0.4)))

    _, plan = isolations(loose, [Reading("X.1", "PA.1", 0.3)])

    assert [short.nets for short in plan.shorts] == [("", "A")]
