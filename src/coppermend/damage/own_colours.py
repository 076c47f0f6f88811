"""The network's answer sharpened by the photo itself: where crust is sure and where it surely is not, this photo shows in its
own colours, and what lies between is judged by them too.

The network knows crust in general and hesitates at its edges, where colours are mixed; in one photo, under one light, crust
of one leak has few colours. So a classifier is fitted to the cells the network is sure of and asked about all cells near
the leak (self-training: Scudder, "Probability of error of some adaptive pattern-recognition machines", IEEE Trans.
Information Theory 11, 1965). It is a logistic regression on the squares and products of a cell's channels, fitted by
Newton's method (Bishop, "Pattern Recognition and Machine Learning", 2006, section 4.3.3). Its share, its channels and what counts
as sure are chosen on held-out synthetic photographs of two renderers.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.damage.maps import PX_PER_MM

Plane = NDArray[np.float32]
Values = NDArray[np.float64]

# Of ``features.channels``: colour against the mask, brightness, grain, brightness against its surroundings, tint around, pads, tracks.
_CHANNELS = (0, 1, 2, 5, 6, 7, 8, 9, 13, 14, 17, 18)
_SHARES = (0.25, 0.35)  # of the photo's own answer in the logit of light and of moderate
_SURE = 0.7
_ZONE, _ZONE_MM = 0.3, 3.0  # what lies this near to a cell with such a chance is asked about
_LEAST, _MOST = 200, 2000  # cells of a kind to learn from
_LIMIT = 4.0  # standard deviations
_RIDGE, _STEPS, _STILL = 1.0, 12, 0.01
_FLOOR, _FAR = 1e-3, 5.0  # neither the network nor the photo is surer than that


def by_own_colours(chances: Plane, planes: Plane) -> Plane:
    """Chances of light and moderate, judged once more by the colours of the photo's own sure cells.

    Args:
        chances: (3, rows, columns) of light, moderate and heavy or worse, from ``corrosion.rooted``.
        planes: (channels, rows, columns) from ``features.channels``.

    Returns:
        (3, rows, columns), a worse grade never likelier than a milder one. Unchanged where no leak is near, and as a
        whole where too few cells are sure of either kind.
    """
    looked = chances.copy()
    for grade, share in enumerate(_SHARES):
        _look_again(looked[grade], planes, share)
    return in_order(looked)


def in_order(chances: Plane) -> Plane:
    """``chances``, (grades, rows, columns), made so in place that a worse grade is never likelier than a milder one."""
    return np.minimum.accumulate(chances, axis=0, out=chances)


def _look_again(chance: Plane, planes: Plane, share: float) -> None:
    """Judge the cells of one grade again, in place."""
    size = 2 * round(_ZONE_MM * PX_PER_MM) + 1
    near = cv2.dilate((chance > _ZONE).astype(np.uint8), np.ones((size, size), np.uint8)) > 0
    known = chance[near]
    learnt = [_spread(np.flatnonzero(of_kind)) for of_kind in (known > _SURE, known < 1 - _SURE)]
    if min(map(len, learnt)) < _LEAST:
        return
    cells = np.stack([planes[channel][near] for channel in _CHANNELS], axis=1)
    cells -= cells.mean(axis=0)
    cells /= cells.std(axis=0) + np.float32(1e-3)
    np.clip(cells, -_LIMIT, _LIMIT, out=cells)
    chosen = np.concatenate(learnt)
    weights = logistic_fit(_squared(cells[chosen]).astype(np.float64), known[chosen] > _SURE)
    own = np.clip(_judged(cells, weights.astype(np.float32)), -_FAR, _FAR)
    sane = np.clip(known, _FLOOR, 1 - _FLOOR)
    logit = np.log(sane / (1 - sane))
    chance[near] = 1 / (1 + np.exp(-(logit + np.float32(share) * (own - logit))))


def _spread(places: NDArray[np.intp]) -> NDArray[np.intp]:
    """At most ``_MOST`` of them, evenly spread."""
    return places if len(places) <= _MOST else places[np.linspace(0, len(places) - 1, _MOST).astype(np.intp)]


def _squared(cells: Plane) -> Plane:
    """(n, terms) one, the channels, and the products of any two."""
    count = cells.shape[1]
    first, second = np.triu_indices(count)
    terms = np.empty((len(cells), 1 + count + len(first)), np.float32)
    terms[:, 0], terms[:, 1 : count + 1] = 1, cells
    np.multiply(cells[:, first], cells[:, second], out=terms[:, count + 1 :])
    return terms


def _judged(cells: Plane, weights: Plane) -> Plane:
    """(n,) ``_squared(cells) @ weights``, without the terms: there are seven times as many as channels."""
    count = cells.shape[1]
    products = np.zeros((count, count), np.float32)
    products[np.triu_indices(count)] = weights[count + 1 :]
    return np.asarray(
        weights[0] + cells @ weights[1 : count + 1] + ((cells @ products) * cells).sum(axis=1), np.float32
    )


def logistic_fit(terms: Values, is_so: NDArray[np.bool_], ridge: float = _RIDGE) -> Values:
    """Weights of a logistic regression: least of the negative logarithm of the likelihood plus ``ridge`` / 2 of the weights' squares.

    Args:
        terms: (n, terms).
        is_so: (n,).
        ridge: What a weight costs; above 0, so that there is one answer even where a plane parts the two kinds.

    Returns:
        (terms,) by Newton's method, its last step below 0.01 or its twelfth.
    """
    weights = np.zeros(terms.shape[1])
    for _ in range(_STEPS):
        chance = 1 / (1 + np.exp(-np.clip(terms @ weights, -30, 30)))
        curved = (terms * (chance * (1 - chance))[:, None]).T @ terms
        curved[np.diag_indices_from(curved)] += ridge
        step = np.linalg.solve(curved, terms.T @ (is_so - chance) - ridge * weights)
        weights += step
        if np.abs(step).max() < _STILL:
            break
    return weights
