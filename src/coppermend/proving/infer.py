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

from coppermend.proving.matrix import Crossing, SwitchMatrix
from coppermend.proving.matrixfaults import fault_words, line_names, single_faults
from coppermend.proving.matrixfile import Observation
from coppermend.proving.nextclosure import NextClosure, next_closure
from coppermend.proving.scan import Faults, Flags, MatrixFault, Scanner

# Chance that one crossing of one report is misread or a contact fails (common practice, no source).
_MISREAD = 0.001
_SINGLES_PAIRED, _PAIRS_SIMULATED = 160, 160
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
    scanner, seen = Scanner(matrix), _Seen.of(matrix, observations)
    singles = single_faults(matrix)
    hypotheses: list[Faults] = [(), *((fault,) for fault, _ in singles)]
    log_odds = np.log(np.array([1.0, *(odds for _, odds in singles)]))
    predicted = scanner.predict(hypotheses, seen.closed)
    wrong = seen.wrong(predicted)
    pairs = _likely_pairs(seen, predicted, wrong, log_odds)
    if pairs:
        both = [(*hypotheses[a], *hypotheses[b]) for a, b in pairs]
        more = scanner.predict(both, seen.closed)
        # A pair that looks like one of its own faults says nothing for the other one.
        kept = [
            n
            for n, pair in enumerate(pairs)
            if not any((more[n] == predicted[one])[:, seen.mask].all() for one in pair)
        ]
        hypotheses += [both[n] for n in kept]
        log_odds = np.append(log_odds, [log_odds[list(pairs[n])].sum() for n in kept])
        wrong = np.concatenate([wrong, seen.wrong(more[kept])])
        predicted = np.concatenate([predicted, more[kept]])
    misread = wrong.sum(axis=1)
    weight = log_odds + misread * np.log(_MISREAD / (1 - _MISREAD))
    share = np.exp(weight - weight.max())
    share /= share.sum()
    order = np.lexsort((np.arange(len(share)), -share.round(12)))
    groups = _groups(predicted, order, seen.mask)
    ghosts = seen.ghosts(scanner, predicted[0])
    explanations = tuple(
        Explanation(
            hypotheses[n], *_told(matrix, hypotheses[n], ghosts), float(share[n]), groups[n], int(misread[n])
        )
        for n in order[:_SHOWN]
        if share[n] >= _SHOWN_SHARE or n == order[0]
    )
    weighed = [(hypotheses[n], float(share[n])) for n in order[:_WEIGHED]]
    weighed += _hidden_besides(weighed[0], singles, predicted, seen.mask)
    coming = next_closure(scanner, weighed, seen.closed, seen.mask)
    return Inference(explanations, coming, ghosts, coming is None)


@dataclass(frozen=True)
class _Seen:
    """Observations as arrays: reported (m, strobes, returns); ``mask`` the crossings that can be reported."""

    closed: list[frozenset[Crossing]]
    reported: Flags
    mask: Flags

    @classmethod
    def of(cls, matrix: SwitchMatrix, observations: Sequence[Observation]) -> _Seen:
        scanner = Scanner(matrix)
        unique = list(dict.fromkeys(observations))
        made = [scanner.flags(o.reported) for o in unique]
        reported = np.array(made) if made else np.zeros((0, scanner.strobes, scanner.returns), bool)
        whole = matrix.shown == "all" or (
            matrix.shown == "auto" and bool((reported & ~scanner.visible).any())
        )
        mask = np.ones_like(scanner.visible) if whole else scanner.visible
        return cls([o.closed for o in unique], reported, mask)

    def wrong(self, predicted: Flags) -> NDArray[np.intp]:
        """(n, m) crossings that are not as predicted."""
        unlike = ((predicted ^ self.reported[None]) & self.mask).reshape(*predicted.shape[:2], self.mask.size)
        found: NDArray[np.intp] = np.bitwise_count(np.packbits(unlike, axis=2)).sum(axis=2, dtype=np.intp)
        return found

    def ghosts(self, scanner: Scanner, sound: Flags) -> Ghosts:
        """(closed, crossings that a sound matrix reports besides) of each observation that has any."""
        strobes, returns = scanner.matrix.strobes, scanner.matrix.returns
        found = []
        for closed, report in zip(self.closed, sound, strict=True):
            more = report & ~scanner.flags(closed) & self.mask
            if more.any():
                ghosts = tuple(Crossing(strobes[a], returns[b]) for a, b in np.argwhere(more).tolist())
                found.append((tuple(sorted(closed)), ghosts))
        return tuple(found)


def _likely_pairs(
    seen: _Seen, predicted: Flags, wrong: NDArray[np.intp], log_odds: NDArray[np.float64]
) -> list[tuple[int, int]]:
    """Pairs of single faults worth simulating: those whose effects, added up, come nearest to the reports."""
    if not seen.closed or not wrong[0].any():
        return []
    price = -np.log(_MISREAD)
    better = (wrong[0][None] - wrong).clip(min=0).sum(axis=1)
    helpful = np.flatnonzero(better[1:] > 0) + 1
    if len(helpful) < 2:
        return []
    rank = better[helpful] * price + log_odds[helpful]
    helpful = helpful[np.argsort(-rank, kind="stable")[:_SINGLES_PAIRED]]
    flat = _flat(predicted, seen.mask)
    effect = (1.0 - 2.0 * (flat[helpful] ^ flat[0])).astype(np.float32)
    missing = (1.0 - 2.0 * (flat[0] ^ _flat(seen.reported[None], seen.mask)[0])).astype(np.float32)
    unlike = (flat.shape[1] - (effect * missing) @ effect.T) / 2
    odds = log_odds[helpful]
    score = odds[:, None] + odds[None, :] - price * unlike
    rows, columns = np.triu_indices(len(helpful), 1)
    best = np.argsort(-score[rows, columns], kind="stable")[:_PAIRS_SIMULATED]
    return [(int(helpful[rows[n]]), int(helpful[columns[n]])) for n in best]


def _hidden_besides(
    best: tuple[Faults, float], singles: Sequence[tuple[MatrixFault, float]], predicted: Flags, mask: Flags
) -> list[tuple[Faults, float]]:
    """The best explanation with one more fault that nothing closed so far could have shown, likeliest first."""
    faults, share = best
    if len(faults) != 1:
        return []
    quiet = np.logical_not(_flat(predicted[1 : len(singles) + 1] ^ predicted[0], mask).any(axis=1))
    hidden = [
        one for one, unseen in zip(singles, quiet.tolist(), strict=True) if unseen and one[0] != faults[0]
    ]
    hidden.sort(key=lambda one: -one[1])
    return [((*faults, fault), share * odds) for fault, odds in hidden[:_HIDDEN]]


def _flat(predicted: Flags, mask: Flags) -> Flags:
    """(n, m * crossings) of what can be reported; without copying where that is everything."""
    shown = predicted if mask.all() else predicted[:, :, mask]
    return shown.reshape(len(predicted), -1)


def _groups(predicted: Flags, order: NDArray[np.intp], mask: Flags) -> dict[int, int]:
    """Hypothesis -> number of its group, from 1 in the order of their best members."""
    packed = np.packbits(_flat(predicted, mask), axis=1)
    numbers: dict[bytes, int] = {}
    return {int(n): numbers.setdefault(packed[n].tobytes(), len(numbers) + 1) for n in order}


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
