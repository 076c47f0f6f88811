"""From what was closed and what was reported: the faults that explain it, ranked, and the closure to try next.

Single faults are tried one by one; pairs are screened as if their effects simply added up, and the best of
them are then simulated. A report that no fault explains counts as misread, at a price.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.proving.foreseen import foreseen
from coppermend.proving.matrix import Crossing, Faults, MatrixFault, SwitchMatrix
from coppermend.proving.matrixfaults import fault_words, line_names
from coppermend.proving.matrixfile import Observation
from coppermend.proving.nextclosure import NextClosure, next_closure
from coppermend.proving.pairs import MISREAD, likely_pairs, wide
from coppermend.proving.scan import Bits, Scanner

Ghosts = tuple[tuple[tuple[Crossing, ...], tuple[Crossing, ...]], ...]  # (closed, reported besides)
_SHOWN, _SHOWN_SHARE, _WEIGHED, _HIDDEN = 12, 0.002, 60, 40


@dataclass(frozen=True, slots=True)
class Explanation:
    """Faults that would explain what was seen, () for a sound matrix.

    ``probability`` is that of this explanation among all that were tried. Explanations with the same ``group``
    predict the same reports for everything closed so far. ``misread`` counts crossings it leaves unexplained.
    """

    faults: Faults
    kind: str
    lines: tuple[str, ...]
    words: str
    probability: float
    group: int
    misread: int

    def to_json(self) -> dict[str, Any]:
        """Keys: kind, lines, probability, words, group, misread."""
        return {
            "kind": self.kind, "lines": list(self.lines), "probability": round(self.probability, 6),
            "words": self.words, "group": self.group, "misread": self.misread,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Inference:
    """Ranked explanations, the closure that would separate them best, and what ghosts are to be expected.

    ``settled`` says that no closure would tell the explanations of the first group from any other likely one.
    """

    explanations: tuple[Explanation, ...]
    next: NextClosure | None
    ghosts: Ghosts
    settled: bool

    def to_json(self) -> dict[str, Any]:
        """Keys: faults [explanation], next {closed, names, why, gain_bits} or null, ghosts [{closed, ghosts}], settled."""
        return {
            "faults": [one.to_json() for one in self.explanations],
            "next": self.next.to_json() if self.next else None,
            "ghosts": [
                {"closed": [str(c) for c in closed], "ghosts": [str(c) for c in ghosts]}
                for closed, ghosts in self.ghosts
            ],
            "settled": self.settled,
        }


def infer(matrix: SwitchMatrix, observations: Sequence[Observation]) -> Inference:
    """What is wrong with a matrix, from what was closed and reported.

    Args:
        matrix: The matrix.
        observations: In any order; repeats count once per different report.

    Returns:
        Likeliest first. With no observation every fault is as likely as before, and ``next`` says where to start.
    """
    known = foreseen(matrix)
    scanner, singles, hypotheses, log_odds = known.scanner, known.singles, [*known.hypotheses], known.log_odds
    seen = _Seen.of(scanner, observations)
    predicted = known.reports(seen.closed) & seen.mask
    wrong = seen.wrong(predicted)
    faults = [fault for fault, _ in singles]
    pairs = likely_pairs(scanner, faults, seen.reported, predicted, log_odds) if wrong[0].any() else []
    if pairs:
        both = [(*hypotheses[a], *hypotheses[b]) for a, b in pairs]
        more = scanner.reports(both, seen.closed) & seen.mask
        # A pair that looks like one of its own faults says nothing for the other one.
        alone, together = wide(predicted, 1), wide(more, 1)
        firsts, seconds = (alone[list(one)] for one in zip(*pairs, strict=True))
        differs = (together != firsts).any(axis=1) & (together != seconds).any(axis=1)
        kept = np.flatnonzero(differs).tolist()
        hypotheses += [both[n] for n in kept]
        log_odds = np.append(log_odds, [log_odds[list(pairs[n])].sum() for n in kept])
        wrong = np.concatenate([wrong, seen.wrong(more[kept])])
        predicted = np.concatenate([predicted, more[kept]])
    misread = wrong.sum(axis=1)
    weight = log_odds + misread * np.log(MISREAD / (1 - MISREAD))
    share = np.exp(weight - weight.max())
    share /= share.sum()
    order = np.lexsort((np.arange(len(share)), -share.round(12)))
    groups = _groups(predicted, order)
    ghosts = seen.ghosts(scanner, predicted[0])
    explanations = tuple(
        Explanation(
            hypotheses[n], *_told(matrix, hypotheses[n], ghosts), float(share[n]), groups[n], int(misread[n])
        )
        for n in order[:_SHOWN]
        if share[n] >= _SHOWN_SHARE or n == order[0]
    )
    weighed = [(hypotheses[n], float(share[n])) for n in order[:_WEIGHED]]
    weighed += _hidden_besides(weighed[0], singles, predicted)
    coming = next_closure(scanner, weighed, seen.closed, seen.mask)
    return Inference(explanations, coming, ghosts, coming is None)


@dataclass(frozen=True)
class _Seen:
    """Observations as packed reports (m, strobes, words); ``mask`` (strobes, words) the crossings that can be reported."""

    closed: list[frozenset[Crossing]]
    reported: Bits
    mask: Bits

    @classmethod
    def of(cls, scanner: Scanner, observations: Sequence[Observation]) -> _Seen:
        unique, shown = list(dict.fromkeys(observations)), scanner.matrix.shown
        made = [scanner.flags(o.reported) for o in unique]
        reported = np.array(made) if made else np.zeros((0, scanner.strobes, scanner.returns), bool)
        whole = shown == "all" or (shown == "auto" and bool((reported & ~scanner.visible).any()))
        mask = np.ones_like(scanner.visible) if whole else scanner.visible
        return cls([o.closed for o in unique], scanner.pack(reported & mask), scanner.pack(mask))

    def wrong(self, predicted: Bits) -> NDArray[np.intp]:
        """(n, m) crossings that are not as predicted, from masked predictions."""
        found: NDArray[np.intp] = np.bitwise_count(wide(predicted ^ self.reported, 2)).sum(
            axis=2, dtype=np.intp
        )
        return found

    def ghosts(self, scanner: Scanner, sound: Bits) -> Ghosts:
        """(closed, crossings that a sound matrix reports besides) of each observation that has any."""
        strobes, returns = scanner.matrix.strobes, scanner.matrix.returns
        found = []
        mask = scanner.unpack(self.mask)
        for closed, report in zip(self.closed, scanner.unpack(sound), strict=True):
            more = report & ~scanner.flags(closed) & mask
            if more.any():
                ghosts = tuple(Crossing(strobes[a], returns[b]) for a, b in np.argwhere(more).tolist())
                found.append((tuple(sorted(closed)), ghosts))
        return tuple(found)


def _hidden_besides(
    best: tuple[Faults, float], singles: Sequence[tuple[MatrixFault, float]], predicted: Bits
) -> list[tuple[Faults, float]]:
    """The best explanation with one more fault that nothing closed so far could have shown, likeliest first."""
    faults, share = best
    if len(faults) != 1:
        return []
    shown = (predicted[1 : len(singles) + 1] != predicted[0]).any(axis=(1, 2, 3))
    hidden = [
        one for one, seen in zip(singles, shown.tolist(), strict=True) if not seen and one[0] != faults[0]
    ]
    hidden.sort(key=lambda one: -one[1])
    return [((*faults, fault), share * odds) for fault, odds in hidden[:_HIDDEN]]


def _groups(predicted: Bits, order: NDArray[np.intp]) -> dict[int, int]:
    """Hypothesis -> number of its group, from 1 in the order of their best members."""
    flat = np.ascontiguousarray(predicted).reshape(len(predicted), -1)
    numbers: dict[bytes, int] = {}
    return {n: numbers.setdefault(flat[n].tobytes(), len(numbers) + 1) for n in order.tolist()}


def _told(matrix: SwitchMatrix, faults: Faults, ghosts: Ghosts) -> tuple[str, tuple[str, ...], str]:
    """(kind, lines, words) of an explanation."""
    if not faults and ghosts:
        lines = tuple(dict.fromkeys(str(c) for _, more in ghosts for c in more))
        words = "no fault: what is reported besides runs through other closed switches without diodes"
        return "ghosting", lines, words
    if not faults:
        return "none", (), "no fault: everything is reported as it was closed"
    kind = " + ".join(fault.kind for fault in faults)
    words = "; and ".join(fault_words(matrix, fault) for fault in faults)
    return kind, tuple(line_names(matrix, faults)), words
