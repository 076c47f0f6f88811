"""When to stop measuring: what is isolated, what is cheaper to repair now, and when measuring on would not end."""

from __future__ import annotations

from typing import Literal

import numpy as np

from coppermend.board.kinds import IC_KINDS
from coppermend.isolate.choice import Measurement
from coppermend.isolate.conditions import in_socket
from coppermend.isolate.effects import Effects
from coppermend.isolate.faults import Unit
from coppermend.isolate.states import Floats, entropy_bits

STOP_AT, REPLACE_AT = 0.90, 0.70
MOST_AHEAD = 18  # measurements (common practice, no source)
MOST_MADE = 30  # measurements (common practice, no source): by then a sound board beside it is quicker
MEASURED_KINDS = frozenset({"logic", "hertz", "ohms", "swap", "watch", "joints"})
Decision = Literal["measure", "repair", "isolated", "stuck"]


def verdict(effects: Effects, by_unit: Floats) -> Decision:
    """Isolated, repair or measure, from the likeliest site alone (a part with its socket).

    Args:
        effects: The board's faults.
        by_unit: P(unit), shape (units,).
    """
    mass = np.bincount(effects.site_of_unit, by_unit)
    top = int(mass.argmax())
    if mass[top] >= STOP_AT:
        return "isolated"
    likeliest = int(np.where(effects.site_of_unit == top, by_unit, -1.0).argmax())
    cheap = _cheap(effects, effects.units.unit(likeliest))
    return "repair" if mass[top] >= REPLACE_AT and cheap else "measure"


def worth_measuring(effects: Effects, by_unit: Floats, best: Measurement) -> bool:
    """Whether measuring on will end: at what ``best`` tells, the place is known in ``MOST_AHEAD`` measurements.

    Else many equal suspects are left that must be tried one by one, and a close look or a comparison with a sound
    board is quicker. A rail that may be at fault is always worth a look: it comes first, however little it tells.
    """
    if best.kind in ("volts", "ripple"):
        return True
    sites = np.bincount(effects.site_of_unit, by_unit).astype(float)
    return float(entropy_bits(sites)) <= MOST_AHEAD * best.gain_bits


def _cheap(effects: Effects, unit: Unit) -> bool:
    """Whether trying costs little: something small, or in a socket, or joints to go over with the iron."""
    if unit.kind != "part":
        return True
    small = effects.graph.kinds[unit.name] not in IC_KINDS
    return small or in_socket(effects.graph.board.index.parts[unit.name])
