"""A simulated meter: reads a board with planted opens, by brute force over buffered shapes. No planner code."""

from __future__ import annotations

import random
from collections.abc import Collection, Iterable

import shapely

from coppermend.board.model import Board, Pad, PinRef, Track, Via
from coppermend.board.space import area_shape, pad_shape, track_shape, via_shape
from coppermend.copper.plan import CopperPlan, plan_probes
from coppermend.copper.readings import FittedJumper, Reading


class Meter:
    """Knows the true copper: ``broken`` tracks (numbers from 1) and ``dead_points`` conduct nothing."""

    def __init__(
        self,
        board: Board,
        nets: Collection[str],
        broken: Iterable[int] = (),
        noise: random.Random | None = None,
        dead_points: Collection[str] = (),
    ) -> None:
        self.noise = noise
        self.parent: dict[str, str] = {}
        gone, both = set(broken), {"top", "bottom"}
        items: list[tuple[str, str, set[str], shapely.Geometry]] = []
        for pad in board.pads:
            net = board.index.net_of_pin.get(pad.ref, "")
            items.append((str(pad.ref), net, both if pad.side == "both" else {pad.side}, pad_shape(pad)))
        items += [(via.name, via.net, both, via_shape(via)) for via in board.vias]
        items += [
            (f"track {i}", track.net, {track.layer}, track_shape(track))
            for i, track in enumerate(board.tracks, 1)
            if i not in gone
        ]
        items += [(f"area {i}", a.net, {a.layer}, area_shape(a)) for i, a in enumerate(board.areas, 1)]
        # A dead point has lost its ring, and with it the ends of the tracks that met there.
        lost = shapely.union_all([shape.buffer(0.01) for name, _, _, shape in items if name in dead_points])
        items = [
            (f"{name} piece {n}" if n else name, net, set() if name in dead_points else layers, piece)
            for name, net, layers, shape in items
            for n, piece in enumerate(
                shapely.get_parts(shape.difference(lost)) if name.startswith("track") else [shape]
            )
        ]
        for net in nets:
            self._join([item for item in items if item[1] == net])

    def _join(self, items: list[tuple[str, str, set[str], shapely.Geometry]]) -> None:
        for name, *_ in items:
            self.parent.setdefault(name, name)
        shapes = [shape for *_, shape in items]
        for i, j in shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=1e-6).T.tolist():
            if i < j and items[i][2] & items[j][2]:
                self.join(items[i][0], items[j][0])

    def root(self, name: str) -> str:
        while self.parent[name] != name:
            name = self.parent[name]
        return name

    def join(self, a: str, b: str) -> None:
        """Also fits a jumper."""
        self.parent[self.root(a)] = self.root(b)

    def connected(self, a: str, b: str) -> bool:
        return self.root(a) == self.root(b)

    def read(self, a: str, b: str, expect_ohms: float) -> Reading:
        if not self.connected(a, b):
            return Reading(a, b, None)
        wobble = self.noise.uniform(-0.05, 0.5) if self.noise else 0.0
        return Reading(a, b, max(expect_ohms + wobble, 0.0))


def walk(
    board: Board, library, touched, meter: Meter, *, one_by_one: bool = False, **options
) -> tuple[CopperPlan, list[Reading]]:
    """Answer every probe until none is left; fails when a pair is asked twice."""
    readings: list[Reading] = list(options.pop("readings", ()))
    asked: set[frozenset[str]] = set()
    for _ in range(2000):
        plan = plan_probes(board, library, touched, readings, **options)
        if not plan.probes:
            return plan, readings
        for probe in plan.probes[:1] if one_by_one else plan.probes:
            pair = frozenset((probe.a, probe.b))
            assert pair not in asked, f"{probe.id} asked twice"
            asked.add(pair)
            readings.append(meter.read(probe.a, probe.b, probe.expect_ohms))
    raise AssertionError("the plan does not converge")


def fit_all(plan: CopperPlan, meter: Meter, readings: list[Reading]) -> list[FittedJumper]:
    """Fit every proposed jumper, in the meter as well."""
    for jumper in plan.jumpers:
        meter.join(jumper.a, jumper.b)
    return [FittedJumper(j.a, j.b, j.net, j.side, after=len(readings)) for j in plan.jumpers]


def board_of(
    tracks: Iterable[tuple[float, ...]],
    pads: Iterable[tuple[float, float]],
    vias: Iterable[tuple[float, float]] = (),
) -> Board:
    """One net "N" of pads P.1, P.2, ..., vias V1, ... and tracks (x1, y1, x2, y2[, layer 0 top, 1 bottom]), mm."""
    made = tuple(Pad("P", str(i), x, y, 0.8, 1.6) for i, (x, y) in enumerate(pads, 1))
    return Board(
        "b",
        100.0,
        100.0,
        nets={"N": tuple(PinRef("P", pad.pin) for pad in made)},
        pads=made,
        vias=tuple(Via(f"V{i}", "N", x, y, 0.4, 1.0) for i, (x, y) in enumerate(vias, 1)),
        tracks=tuple(Track("N", "bottom" if len(t) > 4 and t[4] else "top", *t[:4], 0.3) for t in tracks),
    )
