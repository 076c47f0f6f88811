"""Figures of the copper room: fewest probes, expected number, walks, whole simulated jobs. Seeds are fixed.

    python tools/measure_copper.py nets|expected|routes|board-routes|ratios|jobs [COUNT] [--boards FOLDER]

``nets`` and ``expected`` compare with brute force; ``routes`` and ``board-routes`` with OR-Tools given COUNT seconds;
``board-routes``, ``ratios`` and ``jobs`` need the folder of the sample boards.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections import Counter
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.copper.nets import least_expected, least_proof, random_net, walked_expected

from coppermend.board.atrisk import Touch
from coppermend.board.connectivity import copper_contacts
from coppermend.board.folder import parse_board_folder
from coppermend.board.import_sources import Source
from coppermend.board.importing import import_board
from coppermend.board.model import Board
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import standard_library
from coppermend.copper.choose import next_pairs, proof_pairs
from coppermend.copper.islands import Groups
from coppermend.copper.known import learn
from coppermend.copper.nearby import NearPair, near_pairs
from coppermend.copper.plan import CopperPlan, FittedJumper, Reading, plan_probes
from coppermend.copper.route import travel_mm, walking_order
from coppermend.damage.area import parse_area
from coppermend.damage.touch import touch
from coppermend.demo.board_data import demo_board_files

LIBRARY = standard_library()


def measure_nets(count: int) -> None:
    """The planned number beside the least there is, on random nets of up to eight islands."""
    chance, equal, more = random.Random(1), 0, 0
    for k in range(count):
        islands = chance.randint(2, 8)
        net = random_net(chance, islands, 0 if k % 4 else chance.randint(1, 2))
        planned, least = len(proof_pairs(net, learn(net, [], []))), least_proof(net)
        equal, more = equal + (planned == least), more + planned - least
    print(f"nets: {equal} of {count} planned with the least number, {more} probes too many in all")


def measure_expected(count: int, sizes: Sequence[int] = (3, 4, 5, 6, 7), seed: int = 2) -> None:
    """The expected number of the adaptive plan beside the least over every plan; nets of eight islands take minutes."""
    for islands in sizes:
        chance = random.Random(seed * 100 + islands)
        ours = least = ours_s = least_s = 0.0
        worst = 1.0
        for _ in range(count):
            net = random_net(chance, islands)
            chances = tuple(round(chance.uniform(0.01, 0.5), 2) for _ in net.bonds)
            start = time.process_time()
            planned = proof_pairs(net, learn(net, [], []))
            ask = cache(lambda good, opened: next_pairs(net, learn(net, good, opened), planned, chances))  # noqa: B023
            ask((), ())
            planned_at = time.process_time()
            one = walked_expected(net, chances, ask)
            walked_at = time.process_time()
            best = least_expected(net, chances)
            least_s += time.process_time() - walked_at
            ours_s += planned_at - start
            ours, least, worst = ours + one, least + best, max(worst, one / best)
        print(
            f"expected: {islands} islands, {count} nets (seed {seed}): {ours:.3f} / {least:.3f} = {ours / least:.4f} of the "
            f"least, worst {worst:.4f}; a first plan takes {ours_s / count:.4f} s of processor time, brute force "
            f"{least_s / count:.2f} s",
            flush=True,
        )


def measure_routes(seconds: int) -> None:
    """Our walk beside OR-Tools' tour over the same probes, each given both ways round."""
    for count in (50, 150, 300):
        chance = np.random.default_rng(count)
        ends = chance.uniform(0, 250, (count, 1, 2)) + chance.normal(0, 25, (count, 2, 2))
        start = time.perf_counter()
        steps = walking_order(ends, [False] * count)
        took = time.perf_counter() - start
        ours = travel_mm(np.array([ends[i][::-1] if swapped else ends[i] for i, swapped in steps]))
        theirs = _or_tools_mm(ends, seconds)
        print(
            f"routes: {count} probes: {ours:.0f} mm in {took:.2f} s, as given {travel_mm(ends):.0f} mm, "
            f"OR-Tools {theirs:.0f} mm in {seconds} s: {ours / theirs:.3f}"
        )


def measure_board_routes(seconds: int, folder: Path) -> None:
    """Our walk over what is asked on the sample boards when all of them is damaged, beside OR-Tools' tours.

    Each side of the board is one walk. Processor time, since other work may run beside.
    """
    for board in boards(folder):
        based = with_package_pads(board)
        whole = shapely.box(0, 0, board.width_mm, board.height_mm).wkt
        found = plan_probes(board, LIBRARY, touch(board, LIBRARY, parse_area(whole.encode(), board, "all")))
        for most in (len(found.probes), 300):
            asked = found.probes
            if most < len(asked):
                asked = tuple(random.Random(most).sample(asked, most))
            for side in (False, True):
                own = [probe for probe in asked if (probe.side == "top") == side]
                if len(own) < 2 or most > len(found.probes):
                    continue
                places = [[based.index.place(point) for point in (probe.a, probe.b)] for probe in own]
                ends = np.array(
                    [[(place.x_mm, place.y_mm) for place in pair] for pair in places], dtype=float
                )
                _beside_or_tools(
                    f"{board.name}, {'parts' if side else 'solder or either'} side", ends, seconds
                )


def _beside_or_tools(name: str, ends: np.ndarray, seconds: int) -> None:
    start = time.process_time()
    steps = walking_order(ends, [False] * len(ends))
    took = time.process_time() - start
    ours = travel_mm(np.array([ends[i][::-1] if swapped else ends[i] for i, swapped in steps]))
    theirs = _or_tools_mm(ends, seconds)
    print(
        f"routes: {name}: {len(ends)} probes: {ours:.0f} mm in {took:.2f} s of processor time, OR-Tools {theirs:.0f} mm in "
        f"{seconds} s: {ours / theirs:.3f}",
        flush=True,
    )


def _or_tools_mm(ends: np.ndarray, seconds: int) -> float:
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2  # noqa: PLC0415

    count = len(ends)
    held = np.concatenate([np.stack([ends, ends[:, ::-1]], axis=1).reshape(-1, 2, 2), np.zeros((1, 2, 2))])
    gaps = np.hypot(*np.moveaxis(held[:, None] - held[None], -1, 0)).sum(axis=2)
    gaps[-1], gaps[:, -1] = 0, 0
    costs = np.rint(gaps * 100).astype(int).tolist()
    manager = pywrapcp.RoutingIndexManager(2 * count + 1, 1, 2 * count)
    model = pywrapcp.RoutingModel(manager)
    arc = model.RegisterTransitCallback(lambda a, b: costs[manager.IndexToNode(a)][manager.IndexToNode(b)])
    model.SetArcCostEvaluatorOfAllVehicles(arc)
    for i in range(count):
        model.AddDisjunction([manager.NodeToIndex(2 * i), manager.NodeToIndex(2 * i + 1)], 10**9, 1)
    asked = pywrapcp.DefaultRoutingSearchParameters()
    asked.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    asked.time_limit.FromSeconds(seconds)
    return model.SolveWithParameters(asked).ObjectiveValue() / 100


def boards(folder: Path) -> list[Board]:
    """The sample boards, from their CAD files."""
    found = []
    for home in sorted(path for path in folder.iterdir() if (path / "board.d356").is_file()):
        gerber = [Source(f.name, f.read_bytes()) for f in sorted((home / "gerber").iterdir())]
        netlist = Source("board.d356", (home / "board.d356").read_bytes())
        parts = Source("parts.csv", (home / "parts.csv").read_bytes())
        found.append(
            import_board(name=home.name, ipc356=netlist, gerber=gerber, parts=parts, library=LIBRARY)[0]
        )
    return found


def random_touch(board: Board, chance: random.Random) -> Touch:
    """What a disc of 25-60 mm somewhere on the board touches."""
    disc = shapely.Point(chance.uniform(0, board.width_mm), chance.uniform(0, board.height_mm)).buffer(
        chance.uniform(25, 60) / 2
    )
    return touch(board, LIBRARY, parse_area(disc.wkt.encode(), board, "disc"))


def measure_ratios(count: int, folder: Path) -> None:
    """Planned probes over probes pad by pad, before any reading."""
    for board in boards(folder):
        chance = random.Random(5)
        plans = [plan_probes(board, LIBRARY, random_touch(board, chance)) for _ in range(count)]
        probes, naive = sum(len(p.probes) for p in plans), sum(p.naive_probes for p in plans)
        isolation = sum(probe.purpose == "isolation" for plan in plans for probe in plan.probes)
        route, naive_route = sum(p.route_mm for p in plans), sum(p.naive_route_mm for p in plans)
        print(
            f"ratios: {board.name}: {probes} probes ({isolation} isolation) of {naive} pad by pad: "
            f"{probes / naive:.3f}; walk {route / naive_route:.3f} of the order of the nets"
        )


class Bench:
    """A board with planted faults and a meter with contact resistance and noise. No planner code."""

    def __init__(self, board: Board, contacts: np.ndarray, broken: set[int], shorts: list[tuple[int, int]], chance: random.Random) -> None:  # fmt: skip
        space = board.space
        self.board, self.chance, self.jumpers = board, chance, []
        first_track = len(board.pads) + len(board.vias)
        gone = {first_track + number - 1 for number in broken}
        self.groups = Groups(len(space.kinds))
        for a, b in contacts.tolist():
            if a not in gone and b not in gone and space.nets[a] == space.nets[b]:
                self.groups.join(a, b)
        self.item = {via.name: len(board.pads) + i for i, via in enumerate(board.vias)}
        for i, pad in reversed(list(enumerate(board.pads))):
            self.item[str(pad.ref)] = i
        for a, b in shorts:
            self.groups.join(a, b)

    def loose(self, item: int) -> bool:
        """Whether copper hangs together with no pin or via: what it shorts does no harm, and no point shows it."""
        root = self.groups.root(item)
        return all(self.groups.root(own) != root for own in self.item.values())

    def joined(self, a: str, b: str) -> bool:
        return self.groups.root(self.item[a]) == self.groups.root(self.item[b])

    def read(self, a: str, b: str, expect_ohms: float | None, isolation: bool) -> Reading:
        noise = self.chance.gauss(0, 0.03) + self.chance.expovariate(1 / 0.1)
        if self.joined(a, b):
            base = 0.4 if isolation else expect_ohms or 0.0
            return Reading(a, b, max(base + min(noise, 0.9), 0.0))
        return Reading(a, b, expect_ohms if isolation else None)

    def whole(self, net: str) -> bool:
        pads = [str(pad.ref) for pad in self.board.index.pads_of_net[net]]
        pads = [p for p in pads if not _bare(self.board, p)]
        return len({self.groups.root(self.item[p]) for p in pads}) <= 1


def _bare(board: Board, point: str) -> bool:
    refdes, _, pin = point.rpartition(".")
    pad = next(p for p in board.index.pads_of_part[refdes] if p.pin == pin)
    return bool(pad.hole_mm and pad.hole_mm >= pad.size_mm)


def measure_jobs(count: int, folder: Path) -> None:
    """Whole jobs with planted opens and shorts: found, pinned, cured; readings made against pad by pad."""
    demo = with_package_pads(parse_board_folder(demo_board_files()))
    loaded = [*boards(folder), demo]
    contacts = {board.name: copper_contacts(board) for board in loaded}
    tallies: dict[str, Counter[str]] = {board.name: Counter() for board in loaded}
    for seed in range(count):
        chance = random.Random(seed)
        board = loaded[seed % len(loaded)]
        _one_job(board, contacts[board.name], chance, tallies[board.name])
        if (seed + 1) % 50 == 0:
            _tell(seed + 1, tallies)
    _tell(count, tallies)


def _tell(count: int, tallies: dict[str, Counter[str]]) -> None:
    tallies = {**tallies, "all boards": sum(tallies.values(), Counter())}
    for name, tally in tallies.items():
        share = tally["made"] / max(tally["naive"], 1)
        print(f"jobs: {count}: {name}: {dict(tally)}; {share:.3f} of pad by pad", flush=True)


def _one_job(board: Board, contacts: np.ndarray, chance: random.Random, tally: Counter[str]) -> None:
    touched = random_touch(board, chance)
    tracks = [track.number for track in touched.tracks]
    broken = set(chance.sample(tracks, min(len(tracks), chance.randint(1, 5))))
    near = [pair for pair in near_pairs(board, touched) if board.index.pads_of_net[pair.nets[0]]]
    planted = []
    if near and chance.random() < 0.5:
        planted = _short_at(board, chance.choice(near), broken)
    bench = Bench(board, contacts, broken, [], chance)
    planted = [pair for pair in planted if not any(bench.loose(item) for item in pair)]
    for a, b in planted:
        bench.groups.join(a, b)
    plan, readings = _walked(board, touched, bench, [], ())
    tally["made"] += len(readings)
    tally["naive"] += plan.naive_probes
    _judge(board, contacts, bench, broken, plan, tally, chance)
    tally["shorts"] += len(planted)
    nets = {frozenset(str(board.space.nets[item]) for item in pair) for pair in planted}
    tally["shorts masked"] += len(nets & {frozenset(item.nets) for item in plan.masked})
    fitted_after = len(readings)
    fitted = [FittedJumper(j.a, j.b, j.net, j.side, after=fitted_after) for j in plan.jumpers]
    for jumper in plan.jumpers:
        bench.groups.join(bench.item[jumper.a], bench.item[jumper.b])
    tally["nets"] += len(touched.nets)
    tally["healed"] += sum(bench.whole(net.net) for net in touched.nets)
    plan, readings = _walked(board, touched, bench, readings, fitted)
    tally["again"] += len(readings) - fitted_after
    found = nets & {frozenset(short.nets) for short in plan.shorts}
    tally["shorts found"] += len(found)
    tally["false shorts"] += len({frozenset(short.nets) for short in plan.shorts} - nets)
    tally["ended"] += not plan.probes
    if nets - found - {frozenset(item.nets) for item in plan.masked}:
        print(f"jobs: not found: {board.name}, {[sorted(pair) for pair in nets - found]}", flush=True)


def _short_at(board: Board, pair: NearPair, broken: set[int]) -> list[tuple[int, int]]:
    """The copper of both nets, as positions in ``board.space``, that lies nearest to where they come near.

    [] when that is a broken track.
    """
    space, spot = board.space, shapely.Point(pair.x_mm, pair.y_mm)
    ends = []
    for net in pair.nets:
        items = np.flatnonzero((space.nets == net) & (space.kinds != "area"))
        gaps = shapely.distance(space.skeletons[items], spot) - space.reach_mm[items]
        ends.append(int(items[int(np.argmin(gaps))]))
    first_track = len(board.pads) + len(board.vias)
    gone = {first_track + number - 1 for number in broken}
    return [] if gone.intersection(ends) else [(ends[0], ends[1])]


def _walked(board: Board, touched: Touch, bench: Bench, readings: list[Reading], fitted) -> tuple[CopperPlan, list[Reading]]:  # fmt: skip
    readings, asked = list(readings), set()
    while True:
        plan = plan_probes(board, LIBRARY, touched, readings, fitted, isolation="all")
        if not plan.probes:
            return plan, readings
        for probe in plan.probes:
            assert probe.id not in asked, f"{probe.id} is asked twice"
            asked.add(probe.id)
            readings.append(bench.read(probe.a, probe.b, probe.expect_ohms, probe.purpose == "isolation"))


def _judge(board, contacts, bench, broken, plan, tally, chance) -> None:  # noqa: PLR0917
    tally["false"] += sum(bench.joined(*item.between) for item in plan.opens)
    named = {number for item in plan.opens for number in item.tracks}
    for number in broken:
        net = board.tracks[number - 1].net
        repaired = Bench(board, contacts, broken - {number}, [], chance)
        before, after = (
            len({b.groups.root(b.item[str(p.ref)]) for p in board.index.pads_of_net[net]})
            for b in (Bench(board, contacts, broken, [], chance), repaired)
        )
        if after < before:  # it parts pads
            tally["opens"] += 1
            tally["found"] += number in named


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=("nets", "expected", "routes", "board-routes", "ratios", "jobs"))
    parser.add_argument("count", type=int, nargs="?", default=100)
    parser.add_argument(
        "--boards", type=Path, default=Path(__file__).resolve().parents[2] / "shared" / "boards"
    )
    parser.add_argument("--islands", type=int, nargs="*", default=[3, 4, 5, 6, 7], help="for expected")
    parser.add_argument("--seed", type=int, default=2, help="for expected")
    given = parser.parse_args()
    on_boards = {"ratios": measure_ratios, "jobs": measure_jobs, "board-routes": measure_board_routes}
    if given.what in on_boards:
        on_boards[given.what](given.count, given.boards)
    elif given.what == "expected":
        measure_expected(given.count, given.islands, given.seed)
    else:
        {"nets": measure_nets, "routes": measure_routes}[given.what](given.count)
