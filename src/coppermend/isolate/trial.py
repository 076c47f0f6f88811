"""How well the search does on planted faults: measurements to isolation, beside half-split, random and the bound."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.errors import InputError
from coppermend.isolate.gain import Suspicion
from coppermend.isolate.isolation import Isolation
from coppermend.isolate.planting import Case, Workshop
from coppermend.isolate.screening import mode_mass
from coppermend.isolate.states import entropy_bits
from coppermend.underway import tell, told

MOST_MEASUREMENTS = 60
MOST_FAULTS = 5000


class Step(NamedTuple):
    """A measurement; ``outcome_bits`` is the entropy of what the search thought that it may show [bit], 0 if unknown."""

    point: str
    kind: str
    condition: str
    outcome_bits: float = 0.0


Chooser = Callable[[Isolation], Step | None]


@dataclass(frozen=True)
class Search:
    """One search to its end: how many measurements, the true site's place among the suspects (from 1; 0: not found)."""

    unit: tuple[str, str]
    what: str
    measurements: int
    place: int
    decision: str
    steps: tuple[Step, ...] = ()

    @property
    def yes_no(self) -> float:
        """How many yes-no measurements these stand for: one that may show h > 1 bit counts h."""
        return sum(max(1.0, step.outcome_bits) for step in self.steps)


def fresh(base: Isolation, workshop: Workshop, case: Case) -> Isolation:
    """A search that has heard the complaint and seen the rails measured, as before every power-up."""
    return hear(base.after_nothing(), workshop, case)


def hear(search: Isolation, workshop: Workshop, case: Case) -> Isolation:
    """Take in the complaint, and the rails' voltage and ripple."""
    for point, value in case.complaint:
        search.record(point, "symptom", value)
    for rail in workshop.rails:
        search.record(rail, "volts", workshop.volts(case, rail))
        search.record(rail, "ripple", workshop.ripple(case, rail))
    return search


def search(base: Isolation, workshop: Workshop, case: Case, choose: Chooser) -> Search:
    """Measure as ``choose`` says until the search stops by its own rule, or nothing is left to choose."""
    state = fresh(base, workshop, case)
    steps = measure(state, workshop, case, choose)
    sites = list(dict.fromkeys(site_of((s.kind, s.name)) for s in state.suspects(20)))
    place = next((k for k, name in enumerate(sites, 1) if same(name, site_of(case.defect.unit))), 0)
    return Search(case.defect.unit, case.defect.what, len(steps), place, state.verdict(), tuple(steps))


def measure(state: Isolation, workshop: Workshop, case: Case, choose: Chooser) -> list[Step]:
    """Measure until the search stops by its own rule, or nothing is left to choose; what was measured."""
    steps: list[Step] = []
    while len(steps) < MOST_MEASUREMENTS and not state.settled():
        step = choose(state)
        if step is None:
            break
        answer = workshop.answer(case, step.kind, step.point, step.condition)
        state.record(step.point, step.kind, answer, step.condition)
        steps.append(step)
    return steps


def site_of(unit: tuple[str, str]) -> tuple[str, str]:
    """Where one repairs: a part and its socket are one place."""
    return ("part", unit[1]) if unit[0] == "socket" else unit


def same(name: tuple[str, str], unit: tuple[str, str]) -> bool:
    """Whether two units are one, in whichever order a short names its nets."""
    return name == unit or (
        name[0] == unit[0] == "short" and set(name[1].split(" + ")) == set(unit[1].split(" + "))
    )


def by_information(state: Isolation) -> Step | None:
    """The program's own choice; None where it says that measuring on is not worth it."""
    for best in state.propose(1):
        if state.worth_it(best):
            return Step(best.point, best.kind, best.condition, best.outcome_bits)
    return None


def half_split(state: Isolation) -> Step | None:
    """The middle of what is still suspected, in signal order; then the suspects themselves, one after another."""
    effects = state.effects
    suspicion = Suspicion.of(state.posterior, effects.unit_of_fault)
    how = [one for one in effects.conditions if not one.deselected][-1].name
    mass = mode_mass(effects, suspicion, how)
    bad = 1.0 - mass[0]
    bad[~effects.probeable] = 0.0
    undecided = np.flatnonzero((bad > 0.05) & (bad < 0.95))
    order = undecided[np.argsort(effects.at(how).downstream.order[undecided], kind="stable")]
    left = [
        n
        for n in order.tolist()
        if (str(effects.handy_pin(effects.graph.nets[n])), "logic", how) not in state.done
    ]
    if left:
        return Step(str(effects.handy_pin(effects.graph.nets[left[len(left) // 2]])), "logic", how)
    return _next_suspect(state)


def _next_suspect(state: Isolation) -> Step | None:
    for suspect in state.suspects(20):
        if suspect.kind in ("part", "socket") and (suspect.name, "swap", "running") not in state.done:
            return Step(suspect.name, "swap", "running")
    return None


def at_random(seed: int) -> Chooser:
    """Any measurement that tells something."""
    rng = np.random.default_rng(seed)

    def choose(state: Isolation) -> Step | None:
        suspicion = Suspicion.of(state.posterior, state.effects.unit_of_fault)
        effects = state.effects
        bad = 1.0 - mode_mass(effects, suspicion, "running")[0]
        bad[~effects.probeable] = 0.0
        telling = [
            (str(effects.handy_pin(effects.graph.nets[n])), "logic", c.name)
            for c in effects.conditions
            for n in np.flatnonzero((bad > 0.01) & (bad < 0.99)).tolist()
        ]
        left = [step for step in telling if step not in state.done]
        return Step(*left[int(rng.integers(len(left)))]) if left else _next_suspect(state)

    return choose


def entropy_bound_bits(workshop: Workshop) -> float:
    """Entropy of the site at fault, given the complaint and the rails [bit]: fewer yes-no measurements cannot do on average.

    From the planted faults' own weights, not from the belief. Source: Shannon; see any text on noiseless coding.
    It bounds measurements of two outcomes. A look with more of them may tell more than one bit, so that the mean
    number of measurements may be smaller than this; ``Search.yes_no`` counts such a look for what it may tell at
    most, and that mean cannot. The search also stops before it is certain, which neither counts.
    """
    groups: dict[object, dict[object, float]] = {}
    for case in workshop.cases:
        rails = (case.defect.dead_rail, case.defect.noisy_rail)  # measured before the search begins
        units = groups.setdefault((case.complaint, rails), {})
        site = site_of(case.defect.unit)
        units[site] = units.get(site, 0.0) + case.defect.weight
    total = sum(sum(units.values()) for units in groups.values())
    bits = 0.0
    for units in groups.values():
        weights = np.array(list(units.values()))
        bits += weights.sum() / total * float(entropy_bits(weights / weights.sum()))
    return float(bits)


@dataclass(frozen=True)
class Report:
    """What a trial found; means are of measurements to the stop, ``yes_no`` of what they stand for."""

    cases: int
    top3: float
    mean: float
    half_split: float
    random: float
    bound_bits: float
    searches: tuple[Search, ...] = ()
    yes_no: float = 0.0

    def to_json(self) -> dict[str, Any]:
        """Keys faults, top3_share, mean_measurements, half_split_mean, random_mean, entropy_bound_bits, yes_no_mean, and ratios."""
        return {
            "faults": self.cases, "top3_share": round(self.top3, 4), "mean_measurements": round(self.mean, 3),
            "half_split_mean": round(self.half_split, 3), "random_mean": round(self.random, 3),
            "entropy_bound_bits": round(self.bound_bits, 3),
            "ratio_to_bound": round(self.mean / self.bound_bits, 3) if self.bound_bits else None,
            "yes_no_mean": round(self.yes_no, 3),
            "yes_no_ratio_to_bound": round(self.yes_no / self.bound_bits, 3) if self.bound_bits else None,
            "ratio_to_half_split": round(self.mean / self.half_split, 3) if self.half_split else None,
            "searches": [
                {"kind": s.unit[0], "name": s.unit[1], "what": s.what, "measurements": s.measurements,
                 "place": s.place, "decision": s.decision}
                for s in self.searches
            ],
        }  # fmt: skip


def trial(
    base: Isolation, workshop: Workshop, cases: Sequence[Case], seed: int, baselines: int | None = None
) -> Report:
    """Search every case; the baselines run on the first ``baselines`` of them (all when None)."""
    few = cases[:baselines]

    def each(some: Sequence[Case], words: str) -> Iterator[Case]:
        return told(some, len(some), words)

    searches = [
        search(base, workshop, case, by_information) for case in each(cases, "Searching for planted faults")
    ]
    halves = [
        search(base, workshop, case, half_split).measurements
        for case in each(few, "Searching by halves, to compare")
    ]
    randoms = [
        search(base, workshop, case, at_random(seed)).measurements
        for case in each(few, "Searching at random, to compare")
    ]
    return Report(
        len(searches),
        float(np.mean([0 < s.place <= 3 for s in searches])),
        float(np.mean([s.measurements for s in searches])),
        float(np.mean(halves)), float(np.mean(randoms)), entropy_bound_bits(workshop), tuple(searches),
        float(np.mean([s.yes_no for s in searches])),
    )  # fmt: skip


def check_asked(faults: int, seed: int) -> None:
    """See that so many faults can be planted.

    Raises:
        InputError: If ``faults`` is not from 1 to ``MOST_FAULTS``, or ``seed`` is negative.
    """
    if not 1 <= faults <= MOST_FAULTS:
        raise InputError(f"{faults} faults are asked for", expected=f"1 to {MOST_FAULTS}")
    if seed < 0:
        raise InputError(f"the seed is {seed}", expected="a whole number from 0")


def trial_on(board: Board, library: PartLibrary, faults: int, seed: int) -> Report:
    """Plant faults on a board as often as its parts are said to fail, and search for each of them.

    Args:
        board: The board.
        library: Part types.
        faults: How many faults to plant, one a search.
        seed: Of all chance: the same seed gives the same report.

    Raises:
        InputError: If ``faults`` is not from 1 to ``MOST_FAULTS``, ``seed`` is negative, or no fault of the board would show.
    """
    check_asked(faults, seed)
    tell(0, 3, "Planting faults")
    workshop = Workshop(board, library, seed)
    tell(1, 3, "Planting faults")
    if not workshop.cases:
        raise InputError(f"no fault on {board.name} shows", expected="parts of known types")
    cases = workshop.sample(faults, np.random.default_rng(seed))
    tell(2, 3, "Following the signals")
    return trial(Isolation(board, library), workshop, cases, seed)


def trial_document(board: Board, seed: int, report: Report) -> dict[str, Any]:
    """What ``isolate simulate --json`` prints and the page saves: board, seed, and the keys of ``Report.to_json``."""
    return {"board": board.name, "seed": seed, **report.to_json()}
