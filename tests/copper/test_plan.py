"""The copper plan on hand-made boards: what is probed, proven, open and bridged."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from coppermend.board.atrisk import Touch, TouchedNet, TouchedPad, TouchedTrack, TouchedVia
from coppermend.board.model import Board, CopperArea, Pad, Part, PinRef
from coppermend.board.parttypes import PartLibrary
from coppermend.copper.plan import plan_probes
from coppermend.copper.readings import FittedJumper, Reading
from coppermend.errors import UnknownName

from .meter import Meter, board_of, fit_all, walk

LIBRARY = PartLibrary()
CHAIN = board_of(
    [(10, 10, 20, 10), (20, 10, 30, 10), (30, 10, 40, 10)], [(10, 10), (20, 10), (30, 10), (40, 10)]
)
STAR = board_of([(50, 50, 10, 50), (50, 50, 90, 50), (50, 50, 50, 10)], [(10, 50), (90, 50), (50, 10)])


def at_risk(board: Board, tracks=(), points=(), nets=("N",)) -> Touch:
    """A touch of some tracks (numbers) and points, all moderate."""
    return Touch(
        pads=tuple(TouchedPad(p, board.index.place(p).net, "both", 0.5, 1.0) for p in points if "." in p),
        vias=tuple(TouchedVia(p, board.index.place(p).net, 0.5, 1.0) for p in points if "." not in p),
        tracks=tuple(
            TouchedTrack(n, board.tracks[n - 1].net, board.tracks[n - 1].layer, 0.5, 1.0) for n in tracks
        ),
        nets=tuple(TouchedNet(net, "signal", "signal", (), 0.5, 0, 0, 0) for net in nets),
    )


def pairs(plan) -> set[frozenset[str]]:
    return {frozenset((probe.a, probe.b)) for probe in plan.probes}


def test_one_probe_proves_a_chain():
    """Three tracks at risk in a row: end to end, against three probes pad by pad."""
    plan = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1, 2, 3]))

    assert pairs(plan) == {frozenset(("P.1", "P.4"))}
    assert (plan.naive_probes, plan.proven, plan.opens) == (3, (), ())


def test_expected_ohms_are_copper_and_leads():
    """30 mm of 0.3 mm track at 35 µm: 49.26 mΩ, and 0.2 Ω of leads."""
    (probe,) = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1, 2, 3])).probes

    assert probe.expect_ohms == pytest.approx(0.2 + 0.04926, abs=1e-3)
    assert probe.purpose == "continuity" and probe.side == "both" and "P" in probe.where_a


def test_a_good_reading_proves_the_net():
    """Up to an ohm above the expected value."""
    plan = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1, 2, 3]), [Reading("P.4", "P.1", 1.2)])

    assert plan.proven == ("N",) and plan.probes == () and plan.done


def test_a_high_reading_counts_as_open():
    """Parts in circuit conduct too: 1.4 Ω is no copper of 30 mm."""
    plan = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1, 2, 3]), [Reading("P.1", "P.4", 1.4)])

    assert plan.proven == () and len(plan.probes) == 1


def test_an_open_is_halved_pinned_and_bridged():
    """P.2 to P.3 is open: found by halving, named with its track, and a jumper joins its ends."""
    touched = at_risk(CHAIN, [1, 2, 3])

    plan, readings = walk(CHAIN, LIBRARY, touched, Meter(CHAIN, ["N"], broken=[2]))

    (item,) = plan.opens
    assert (set(item.between), item.tracks) == ({"P.2", "P.3"}, (2,))
    (jumper,) = plan.jumpers
    assert ({jumper.a, jumper.b}, jumper.length_mm, jumper.side) == ({"P.2", "P.3"}, 10.0, "bottom")
    assert jumper.cures == (item.between,) and plan.proven == () and len(readings) <= 4


def test_a_fitted_jumper_is_probed_again():
    """The plan asks for it, and once it reads good the net is proven and nothing is open."""
    touched, meter = at_risk(CHAIN, [1, 2, 3]), Meter(CHAIN, ["N"], broken=[2])
    plan, readings = walk(CHAIN, LIBRARY, touched, meter)
    fitted = fit_all(plan, meter, readings)

    again = plan_probes(CHAIN, LIBRARY, touched, readings, fitted)
    healed, _ = walk(CHAIN, LIBRARY, touched, meter, readings=readings, jumpers=fitted)

    assert pairs(again) == {frozenset(("P.2", "P.3"))} and again.jumpers == () and again.proven == ()
    assert (healed.proven, healed.opens, healed.jumpers) == (("N",), (), ())


def test_a_jumper_row_among_the_readings_does_the_same():
    """In the order of the rows: open, jumper, good."""
    rows = [
        Reading("P.1", "P.4", None),
        Reading("P.1", "P.2", 0.2),
        Reading("P.3", "P.4", 0.2),
        Reading("P.2", "P.3", None),
    ]
    jumper = Reading("P.2", "P.3", 0.0, jumper=True)

    before = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1, 2, 3]), rows)
    fitted = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1, 2, 3]), [*rows, jumper])
    proven = plan_probes(
        CHAIN, LIBRARY, at_risk(CHAIN, [1, 2, 3]), [*rows, jumper, Reading("P.2", "P.3", 0.3)]
    )

    assert len(before.jumpers) == 1 and before.probes == ()
    assert len(fitted.probes) == 1 and fitted.jumpers == ()
    assert proven.proven == ("N",)


def test_a_jumper_of_unknown_time_is_taken_after_the_last_open():
    """Without ``after`` the good reading that follows belongs to the jumper."""
    rows = [Reading("P.1", "P.4", None), Reading("P.1", "P.2", 0.2), Reading("P.3", "P.4", 0.2)]
    rows += [Reading("P.2", "P.3", None), Reading("P.2", "P.3", 0.3)]

    plan = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1, 2, 3]), rows, [FittedJumper("P.2", "P.3")])

    assert plan.proven == ("N",)


def test_a_jumper_that_reads_open_is_told():
    """It is listed as an open without tracks, and proposed again."""
    rows = [Reading("P.1", "P.2", None), Reading("P.2", "P.4", 0.2)]
    rows += [Reading("P.1", "P.2", 0.0, jumper=True), Reading("P.1", "P.2", None)]

    plan = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1]), rows)

    assert () in {item.tracks for item in plan.opens}
    assert [{j.a, j.b} for j in plan.jumpers] == [{"P.1", "P.2"}] and plan.probes == ()


def test_a_jumper_between_two_nets_is_no_copper():
    """It is a change to the circuit, not a repair."""
    board = replace(CHAIN, nets={"N": CHAIN.nets["N"][:3], "M": CHAIN.nets["N"][3:]})

    plan = plan_probes(board, LIBRARY, at_risk(board, [1]), [], [FittedJumper("P.1", "P.4")])

    assert pairs(plan) == pairs(plan_probes(board, LIBRARY, at_risk(board, [1])))


def test_three_arms_take_two_probes():
    """ceil(3 / 2), though the junction has no point to touch."""
    plan = plan_probes(STAR, LIBRARY, at_risk(STAR, [1, 2, 3]))

    assert len(plan.probes) == 2


def test_an_open_arm_is_told_from_the_others():
    """The third arm settles which of two is open."""
    plan, _ = walk(STAR, LIBRARY, at_risk(STAR, [1, 2, 3]), Meter(STAR, ["N"], broken=[3]))

    assert [item.tracks for item in plan.opens] == [(3,)]


def test_three_open_arms_are_one_cluster():
    """No probe can tell them apart; two jumpers join all three pads."""
    plan, _ = walk(STAR, LIBRARY, at_risk(STAR, [1, 2, 3]), Meter(STAR, ["N"], broken=[1, 2, 3]))

    assert {item.tracks for item in plan.opens} == {(1, 2, 3)} and len(plan.jumpers) == 2


def test_an_at_risk_pad_is_an_island():
    """Its tracks are safe, yet what lands on it must be proven; a path that passes it does."""
    plan = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [], ["P.2"]))

    assert pairs(plan) == {frozenset(("P.1", "P.4"))} or len(plan.probes) == 1


def test_an_at_risk_pad_at_an_end_is_probed_itself():
    """Nothing passes through it."""
    (probe,) = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [], ["P.1"])).probes

    assert "P.1" in (probe.a, probe.b)


def test_copper_beside_safe_copper_is_not_probed():
    """Two tracks between the same pads, one of them at risk: the net holds by the other."""
    board = board_of(
        [(10, 10, 30, 10), (10, 10, 10, 20), (10, 20, 30, 20), (30, 20, 30, 10)], [(10, 10), (30, 10)]
    )

    plan = plan_probes(board, LIBRARY, at_risk(board, [1]))

    assert plan.probes == () and plan.proven == ("N",)
    assert any("beside safe copper" in note and "track 1 (N)" in note for note in plan.notes)


def test_copper_that_leads_to_no_pad_is_not_probed():
    """A stub with a via at its end carries nothing."""
    board = board_of([(10, 10, 30, 10), (20, 10, 20, 30)], [(10, 10), (30, 10)], [(20, 30)])

    plan = plan_probes(board, LIBRARY, at_risk(board, [2], ["V1"]))

    assert plan.probes == () and plan.proven == ("N",)
    assert any("not probed: track 2 (N), V1 (N)" in note for note in plan.notes)


def test_without_tracks_pads_are_islands():
    """Spanning pairs, one fewer than pads, and the assumption is stated."""
    board = board_of([], [(10, 10), (20, 10), (30, 10), (40, 10)])

    plan = plan_probes(board, LIBRARY, at_risk(board, [], ["P.1"]))

    assert len(plan.probes) == plan.naive_probes == 3
    assert any("pieces that they do not join are taken as islands" in note for note in plan.notes)
    assert plan.probes[0].expect_ohms > 0.2


def test_without_tracks_opens_are_found_and_bridged():
    """Two pads in one piece, two alone: two jumpers join them, and then the net is proven."""
    board = board_of([], [(10, 10), (20, 10), (30, 10), (40, 10)])
    touched, meter = at_risk(board, [], ["P.1"]), Meter(board, ["N"])
    meter.join("P.2", "P.4")

    plan, readings = walk(board, LIBRARY, touched, meter)
    fitted = fit_all(plan, meter, readings)
    healed, _ = walk(board, LIBRARY, touched, meter, readings=readings, jumpers=fitted)

    assert len(plan.jumpers) == len(plan.opens) == 2 and plan.proven == ()
    assert all(item.tracks == () for item in plan.opens)
    assert healed.proven == ("N",) and healed.opens == ()


def test_copper_in_pieces_is_probed_between_them():
    """A track is shown for one half of the net only."""
    board = board_of([(10, 10, 20, 10)], [(10, 10), (20, 10), (60, 60)])

    plan, _ = walk(board, LIBRARY, at_risk(board, [1]), Meter(board, ["N"], broken=[1]))

    tracks = {frozenset(item.between): item.tracks for item in plan.opens}
    assert len(tracks) == 2 and tracks[frozenset(("P.1", "P.2"))] == (1,)
    assert () in tracks.values()
    assert len(plan.jumpers) == 2


def test_filled_copper_is_one_island():
    """Two at-risk pads in a ground area are each probed against it; the note says that it is taken as whole."""
    board = replace(
        board_of([], [(10, 10), (20, 10), (80, 80)]),
        areas=(CopperArea("N", "bottom", "POLYGON((0 0,99 0,99 99,0 99,0 0))"),),
    )

    plan = plan_probes(board, LIBRARY, at_risk(board, [], ["P.1", "P.2"]))

    assert len(plan.probes) == 1  # both pads are ends: from one to the other through the area
    assert "filled copper is taken as whole: N" in plan.notes


def test_a_pad_that_cannot_be_reached_is_noted():
    """A surface pad under a fitted body leaves its net unproven, until the part is off."""
    board = board_of([(10, 10, 40, 10)], [(40, 10)])
    board = replace(
        board,
        parts=(Part("U1", x_mm=8, y_mm=20, package="DIP-14"),),
        pads=(*board.pads, Pad("C1", "1", 10, 10, 0, 1.0, "top")),
        nets={"N": (PinRef("P", "1"), PinRef("C1", "1"))},
    )
    touched = at_risk(board, [1])

    fitted, bare = plan_probes(board, LIBRARY, touched), plan_probes(board, LIBRARY, touched, removed={"U1"})

    assert fitted.probes == () and fitted.proven == ()
    assert "no probe can reach C1.1 with the parts now fitted" in fitted.notes
    assert len(bare.probes) == 1 and bare.probes[0].side == "top"


def test_pins_without_pads_are_noted():
    """They cannot be probed."""
    board = replace(CHAIN, nets={"N": (*CHAIN.nets["N"], PinRef("X1", "1"))})

    assert (
        "1 pins of N have no pad in the files and cannot be probed"
        in plan_probes(board, LIBRARY, at_risk(board, [1])).notes
    )


def test_a_net_of_one_pad_has_nothing_to_prove():
    """It counts as proven."""
    board = board_of([(10, 10, 20, 10)], [(10, 10)])

    plan = plan_probes(board, LIBRARY, at_risk(board, [1], ["P.1"]))

    assert plan.proven == ("N",) and plan.probes == ()


def test_contradicting_readings_are_not_proven():
    """All pieces read good, the whole reads open: a crack that comes and goes; a jumper and a note."""
    rows = [Reading("P.1", "P.2", 0.2), Reading("P.2", "P.4", 0.2), Reading("P.1", "P.4", None)]

    plan = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1, 2, 3]), rows)

    assert plan.proven == () and plan.probes == ()
    assert [(set(item.between), item.tracks) for item in plan.opens] == [({"P.1", "P.4"}, (1, 2, 3))]
    assert [set(jumper.cures) for jumper in plan.jumpers] == [{plan.opens[0].between}]
    assert any("measure again" in note for note in plan.notes)


def test_an_open_in_untouched_copper_is_told():
    """Copper taken as sound reads open: it is listed all the same."""
    plan = plan_probes(
        CHAIN, LIBRARY, at_risk(CHAIN, [1]), [Reading("P.2", "P.4", None), Reading("P.1", "P.2", 0.2)]
    )

    assert [item.tracks for item in plan.opens] == [(2, 3)] and plan.proven == ()


def test_a_good_reading_across_a_pinned_open_is_told():
    """Something else conducts: measure again."""
    rows = [Reading("P.1", "P.2", None), Reading("P.1", "P.4", 0.2)]

    plan = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1]), rows)

    assert plan.proven == () and any("measure again" in note for note in plan.notes)


def test_the_last_reading_of_a_pair_counts():
    """A bad touch of the probe is put right by measuring once more."""
    rows = [Reading("P.1", "P.4", None), Reading("P.4", "P.1", 0.25)]

    assert plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1, 2, 3]), rows).proven == ("N",)


def test_a_low_reading_between_two_nets_is_a_short():
    """0.4 Ω between two nets; 20 kΩ is none, and neither is a pair measured again as open."""
    board = replace(CHAIN, nets={"N": CHAIN.nets["N"][:2], "M": CHAIN.nets["N"][2:]})
    rows = [
        Reading("P.1", "P.3", 0.4),
        Reading("P.1", "P.4", 20e3),
        Reading("P.2", "P.3", 0.1),
        Reading("P.2", "P.3", None),
    ]

    plan = plan_probes(board, LIBRARY, at_risk(board, [1]), rows)

    assert [(short.nets, short.between, short.ohms) for short in plan.shorts] == [
        (("N", "M"), ("P.1", "P.3"), 0.4)
    ]
    assert not plan.done


def test_a_reading_at_an_unknown_point_is_refused():
    """The message says what points are called."""
    with pytest.raises(UnknownName) as caught:
        plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1]), [Reading("P.1", "Q7.1", 0.3)])

    assert (caught.value.kind, caught.value.name) == ("point", "Q7.1") and "REFDES.PIN" in caught.value.hint


def test_ids_stay_the_same_from_plan_to_plan():
    """A probe that is still to make keeps its id when another has been answered."""
    board = board_of([(50, 50, x, y) for x, y in ((10, 50), (90, 50), (50, 10), (50, 90))],
                     [(10, 50), (90, 50), (50, 10), (50, 90)])  # fmt: skip
    touched = at_risk(board, [1, 2, 3, 4])
    first = plan_probes(board, LIBRARY, touched)

    later = plan_probes(board, LIBRARY, touched, [Reading(first.probes[0].a, first.probes[0].b, 0.3)])

    assert [probe.id for probe in later.probes] == [first.probes[1].id]


def test_json_has_the_agreed_keys():
    """The shape that scripts rely on; the document is plain JSON."""
    rows = [Reading("P.1", "P.2", None), Reading("P.2", "P.4", 0.2)]
    plan = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1, 2, 3]), rows)
    document = plan_probes(CHAIN, LIBRARY, at_risk(CHAIN, [1, 2, 3])).to_json()

    assert set(document) == {
        "probes", "proven", "opens", "shorts", "masked", "jumpers", "fitted", "counts", "route_mm", "naive_route_mm", "notes",
    }  # fmt: skip
    assert set(document["probes"][0]) == {
        "id", "net", "a", "b", "purpose", "expect_ohms", "where_a", "where_b", "side",
    }  # fmt: skip
    assert document["counts"] == {"probes": 1, "naive_probes": 3}
    assert plan.to_json()["opens"] == [{"net": "N", "between": ["P.1", "P.2"], "tracks": [1]}]
    wire = plan.to_json()["jumpers"][0]
    assert set(wire) == {"net", "a", "b", "side", "length_mm", "cures", "gauge_awg", "route"}
    assert (wire["gauge_awg"], sorted(wire["route"])) == (30, [[10.0, 10.0], [20.0, 10.0]])
    assert json.loads(json.dumps(plan.to_json())) == plan.to_json()


def test_nothing_touched_is_an_empty_plan():
    """No nets, no probes, no notes."""
    plan = plan_probes(CHAIN, LIBRARY, Touch())

    assert (plan.probes, plan.proven, plan.notes, plan.naive_probes) == ((), (), (), 0)
