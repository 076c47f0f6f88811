"""Which pairs of faults are worth simulating, judged from what each does alone. Ranks no explanations.

A wrong or open wire at the end of a line only reorders or hides what the other fault leaves to be reported, so such
pairs are counted exactly; of all others the effects are taken to add up.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import prod

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from coppermend.proving.matrix import MatrixFault
from coppermend.proving.scan import Bits, Scanner

# Chance that one crossing of one report is misread or a contact fails (common practice, no source).
MISREAD = 0.001
_PRICE = -float(np.log(MISREAD))
_SINGLES_PAIRED = 160
_ADDED_UP, _AT_ENDS = 120, 40
_FEW_ADDED_UP, _FEW_AT_ENDS = 24, 8  # where one fault explains everything already
_ENDS_TRIED = 16  # a wrong wire changes a whole line, so it already explains much by itself
_ENDS = ("swapped lines", "open strobe", "open return")
Scores = NDArray[np.float64]


def likely_pairs(
    scanner: Scanner, faults: Sequence[MatrixFault], reported: Bits, predicted: Bits, log_odds: Scores
) -> list[tuple[int, int]]:
    """Pairs of single faults that come nearest to the reports.

    Args:
        scanner: The matrix.
        faults: The n single faults.
        reported: What was reported, packed (m, strobes, words); crossings that cannot be reported masked.
        predicted: What a sound matrix and each fault would report, (1 + n, m, strobes, words), masked alike.
        log_odds: Logarithm of the odds of each, the sound matrix first.

    Returns:
        Numbers into ``predicted``, from 1, the smaller first; each pair once.
    """
    explained = bool((predicted == reported).all(axis=(1, 2, 3)).any())
    added, ends = (_FEW_ADDED_UP, _FEW_AT_ENDS) if explained else (_ADDED_UP, _AT_ENDS)
    pairs = [
        *_added_up(scanner, reported, predicted, log_odds, most=added),
        *_at_ends(scanner, faults, reported, predicted, log_odds, most=ends),
    ]
    return list(dict.fromkeys((min(pair), max(pair)) for pair in pairs))


def _best(scores: Scores, most: int) -> list[int]:
    """Places of the highest scores, highest first."""
    some = np.argpartition(-scores, most)[:most] if len(scores) > most else np.arange(len(scores))
    found: list[int] = some[np.argsort(-scores[some], kind="stable")].tolist()
    return found


def _added_up(
    scanner: Scanner, reported: Bits, predicted: Bits, log_odds: Scores, *, most: int
) -> list[tuple[int, int]]:
    """Pairs whose effects, added up, explain most; each fault must explain something by itself."""
    missing, changes = reported ^ predicted[0], predicted ^ predicted[0]
    wanted, made = wide(missing, 1), wide(changes, 2)
    # A report that no fault changes says the same of every pair.
    told = np.flatnonzero((made.any(axis=0) | (wanted != 0)).any(axis=1))
    missing, changes, wanted, made = missing[told], changes[:, told], wanted[told], made[:, told]
    before = np.bitwise_count(wanted).sum(axis=1, dtype=np.intp)
    after = np.bitwise_count(made ^ wanted).sum(axis=2, dtype=np.intp)
    better = (before - after).clip(min=0).sum(axis=1)
    helpful = np.flatnonzero(better > 0)
    if len(helpful) < 2:
        return []
    rank = better[helpful] * _PRICE + log_odds[helpful]
    helpful = helpful[_best(rank, _SINGLES_PAIRED)]
    # A fault flips about one bit in a hundred; flips of two add up but where both flip the same bit.
    flips = csr_array(scanner.unpack(changes[helpful]).reshape(len(helpful), -1), dtype=np.float64)
    adds = csr_array(flips * (1.0 - 2.0 * scanner.unpack(missing).reshape(-1)))
    alone = adds.sum(axis=1)
    unlike = alone[:, None] + alone[None, :] - 2.0 * (adds @ flips.T).toarray()
    odds = log_odds[helpful]
    score = odds[:, None] + odds[None, :] - _PRICE * unlike
    rows, columns = np.triu_indices(len(helpful), 1)
    best = _best(score[rows, columns], most)
    return [(int(helpful[rows[n]]), int(helpful[columns[n]])) for n in best]


def _at_ends(
    scanner: Scanner,
    faults: Sequence[MatrixFault],
    reported: Bits,
    predicted: Bits,
    log_odds: Scores,
    *,
    most: int,
) -> list[tuple[int, int]]:
    """Pairs of a swap or an open line with any other fault."""
    words = wide(predicted, 2)
    unlike = words ^ wide(reported, 1)
    whole = _count(unlike)
    ends = np.array([n for n, fault in enumerate(faults, 1) if fault.kind in _ENDS])
    ends = ends[_best(log_odds[ends] - _PRICE * whole[ends], _ENDS_TRIED)]
    wrong = []
    for fault in (faults[n - 1] for n in ends.tolist()):
        if fault.kind == "swapped lines":
            turned = reported.copy()  # turned back, the reports should be those of the other fault alone
            scanner.at_end(turned, fault)
            wrong.append(_count(words ^ wide(turned, 1)))
        else:  # what an open line leaves is as the other fault says; what it hides should not have been reported
            left = ~np.zeros_like(reported[:1])
            scanner.at_end(left, fault)
            hidden = int(np.bitwise_count(reported & ~left).sum())
            wrong.append(_count(unlike & wide(left, 1)) + hidden)
    score = log_odds[ends][:, None] + log_odds[None, :] - _PRICE * np.array(wrong)
    score[:, 0] = -np.inf  # no second fault
    score[np.arange(len(ends)), ends] = -np.inf
    count = score.shape[1]
    return [(int(ends[place // count]), place % count) for place in _best(score.ravel(), most)]


def _count(words: Bits) -> NDArray[np.intp]:
    """Crossings set, of each hypothesis, in (n, m, words)."""
    found: NDArray[np.intp] = np.bitwise_count(words).sum(axis=(1, 2), dtype=np.intp)
    return found


def wide(reports: Bits, axes: int) -> Bits:
    """Reports with all behind the first ``axes`` flat, as the widest words that fit, so that fewer are counted."""
    shape = reports.shape
    flat = np.ascontiguousarray(reports).reshape(*shape[:axes], prod(shape[axes:])).view(np.uint8)
    return flat.view(np.uint64) if flat.shape[-1] % 8 == 0 else flat
