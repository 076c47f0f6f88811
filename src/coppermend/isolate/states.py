"""The states that a net can be in, what a fault does to them, and what a tool then shows. Numbers only.

A mode is a distribution over states: what a fault does to one net. Detection and false-alarm probabilities
are common practice, no source; they are stated here and nowhere else.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Expected = Literal["moves", "high", "low", "floats", ""]


class State(IntEnum):
    """What is on a net; WRONG moves, but not as it should."""

    GOOD = 0
    HIGH = 1
    LOW = 2
    FLOATING = 3
    BETWEEN = 4
    WRONG = 5


class Mode(IntEnum):
    """What a fault does to a net: a row of ``MODES``."""

    NONE = 0
    FOLLOWS = 1
    HIGH = 2
    LOW = 3
    FLOATING = 4
    LOADED = 5
    DEAD = 6
    SHARED = 7
    WRONG = 8
    WEAK = 9
    FIGHTS = 10
    STAYS = 11
    NOISY = 12

    __hash__ = int.__hash__  # an enumeration's own is many times slower, and modes are in many keys


# good, high, low, floating, between, wrong
MODES: Final[Floats] = np.array(
    [
        [1.00, 0.00, 0.00, 0.00, 0.00, 0.00],  # NONE: the fault does not reach here
        [0.04, 0.08, 0.08, 0.005, 0.005, 0.79],  # FOLLOWS: downstream of the fault
        [0.02, 0.96, 0.00, 0.00, 0.01, 0.01],  # HIGH: output stuck high
        [0.02, 0.00, 0.96, 0.00, 0.01, 0.01],  # LOW
        [0.02, 0.05, 0.01, 0.88, 0.02, 0.02],  # FLOATING: nothing drives it
        [0.02, 0.01, 0.55, 0.01, 0.39, 0.02],  # LOADED: pulled down by a shorted input
        [0.02, 0.25, 0.35, 0.25, 0.02, 0.11],  # DEAD: its only driver does nothing
        [0.16, 0.04, 0.04, 0.02, 0.02, 0.72],  # SHARED: only one of several drivers is wrong, now and then
        [0.02, 0.01, 0.01, 0.00, 0.00, 0.96],  # WRONG: moves, with the wrong content
        [0.60, 0.10, 0.05, 0.10, 0.02, 0.13],  # WEAK: may or may not show
        [0.05, 0.06, 0.22, 0.00, 0.50, 0.17],  # FIGHTS: two drivers against each other
        # STAYS: downstream of the fault, on a net that hardly ever moves
        [0.06, 0.36, 0.38, 0.02, 0.06, 0.12],
        [0.85, 0.00, 0.05, 0.00, 0.10, 0.00],  # NOISY: a rail whose voltage is right on average
    ]
)

# What a careful technician says (columns as State) when a net is in a state (rows).
SEEN: Final[Floats] = np.array(
    [
        [0.990, 0.002, 0.002, 0.002, 0.002, 0.002],
        [0.02, 0.95, 0.002, 0.008, 0.01, 0.01],
        [0.02, 0.002, 0.95, 0.008, 0.01, 0.01],
        [0.02, 0.07, 0.01, 0.85, 0.04, 0.01],
        [0.02, 0.03, 0.08, 0.03, 0.81, 0.03],
        [0.02, 0.01, 0.01, 0.005, 0.015, 0.94],
    ]
)
WORDS: Final = ("good", "stuck high", "stuck low", "floating", "between", "wrong")
# What a logic probe alone shows on a sound net that should move, stay high, stay low, be driven by nothing, or is
# not known.
_SOUND: Final[dict[Expected, dict[str, float]]] = {
    "moves": {"pulsing": 0.96, "high": 0.015, "low": 0.015, "floating": 0.005, "between": 0.005},
    "high": {"pulsing": 0.10, "high": 0.88, "low": 0.01, "floating": 0.005, "between": 0.005},
    "low": {"pulsing": 0.10, "high": 0.01, "low": 0.88, "floating": 0.005, "between": 0.005},
    "floats": {"pulsing": 0.03, "high": 0.25, "low": 0.01, "floating": 0.66, "between": 0.05},
    "": {"pulsing": 0.45, "high": 0.26, "low": 0.26, "floating": 0.015, "between": 0.015},
}
LOGIC_VALUES: Final = (
    "good", "bad", "wrong", "high", "low", "pulsing", "floating", "between", "stuck high", "stuck low",
)  # fmt: skip


def logic_likelihood(value: str, expected: Expected = "") -> Floats:
    """P(a logic observation ``value`` | state), shape (6,), in the order of ``State``.

    ``good``, ``bad``, ``wrong`` (moves, but not as it should), ``stuck high`` and ``stuck low`` are judgements;
    ``high``, ``low``, ``pulsing``, ``floating`` and ``between`` are what a probe shows, so that what the net
    should do counts.

    >>> bool(logic_likelihood("pulsing", "moves")[0] > 0.9)
    True
    """
    if value == "good":
        return SEEN[:, State.GOOD].copy()
    if value == "bad":
        return 1.0 - SEEN[:, State.GOOD]
    if value == "pulsing":
        likelihood = 0.06 * SEEN[:, State.GOOD] + SEEN[:, State.WRONG]
        likelihood[State.WRONG] = 0.80
    else:
        steady = {"high": "stuck high", "low": "stuck low"}.get(value, value)
        likelihood = SEEN[:, WORDS.index(steady)].copy()
        if value in ("wrong", "stuck high", "stuck low"):
            return likelihood
    likelihood[State.GOOD] = _SOUND[expected][value]
    return likelihood


def entropy_bits(probabilities: Floats, axis: int = -1) -> Floats:
    """Shannon entropy [bit] along an axis; zeros count nothing."""
    return np.asarray(-(probabilities * np.log2(np.maximum(probabilities, 1e-300))).sum(axis=axis))
