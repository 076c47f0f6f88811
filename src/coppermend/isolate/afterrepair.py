"""What still holds of what was seen once something was repaired."""

from __future__ import annotations

from collections.abc import Collection

from coppermend.isolate.effects import Effects
from coppermend.isolate.evidence import CONTINUITY_OHM, SHORT_OHM
from coppermend.isolate.levels import ripple_limit_v, state_likelihood
from coppermend.isolate.looks import NONE, SOUND
from coppermend.isolate.observations import Observation, net_of
from coppermend.isolate.states import State
from coppermend.isolate.symptoms import read_symptom


def still_holds(  # noqa: PLR0911  (one kind a line)
    effects: Effects, seen: Observation, repaired: Collection[str]
) -> bool:
    """Whether an observation counts after a unit was repaired: what was sound is, what was bad may have been its doing.

    A look at another part holds. A swap that cured nothing does not: the repaired fault may have kept the board down.
    """
    if seen.kind == "visual":
        return seen.point not in repaired
    if seen.kind == "symptom":
        return not read_symptom(seen.value).bad
    if seen.kind in ("swap", "watch", "joints"):
        return seen.value in (NONE, SOUND)
    if seen.kind == "selftest":
        return seen.value == "pass"
    if seen.kind == "ripple":
        net = net_of(effects.graph.board, seen.point)
        rail = effects.graph.board.index.rails.get(net)
        return seen.number <= ripple_limit_v(rail.volts if rail else 5.0)
    if seen.kind == "ohms":
        return _sound_ohms(effects, seen)
    return int(state_likelihood(effects, seen).argmax()) == State.GOOD


def _sound_ohms(effects: Effects, seen: Observation) -> bool:
    a, _, b = seen.point.partition(":")
    board = effects.graph.board
    if b and net_of(board, a.strip()) == net_of(board, b.strip()):
        return seen.number < CONTINUITY_OHM
    return seen.number >= SHORT_OHM
