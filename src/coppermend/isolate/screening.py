"""Where to look: conditions worth bringing the board to, and how likely each mode is at every net. Costs nothing yet."""

from __future__ import annotations

import numpy as np

from coppermend.isolate.conditions import Condition, ConditionName
from coppermend.isolate.effects import Effects
from coppermend.isolate.gain import Suspicion, totals
from coppermend.isolate.states import MODES, Floats, Mode

_SOCKETS_LOOKED_AT, _SOCKETS_TRIED, _WORTH_EMPTYING = 6, 2, 0.08
_WORTH_PASSING = 0.15
_WORTH_DESELECTING = 0.4


def conditions_worth_trying(effects: Effects, suspicion: Suspicion) -> list[Condition]:
    """Running and forced always; deselected where memories and peripherals carry much of the suspicion; and the
    emptied sockets of the most suspected parts, and of those through which most of the suspicion acts.
    """
    mass = suspicion.by_unit()
    stores = float(mass[effects.is_store[suspicion.unit_numbers]].sum())
    found = [how for how in effects.conditions if not how.deselected or stores > _WORTH_DESELECTING]
    heaviest = [k for k in np.argsort(-mass)[:_SOCKETS_LOOKED_AT].tolist() if mass[k] > _WORTH_EMPTYING]
    sites = [effects.units.site(int(suspicion.unit_numbers[k])) for k in heaviest]
    parts = [site.name for site in sites if site.kind == "part" and site.name in effects.emptied]
    names, enters = effects.enters
    through = enters @ of_every_fault(effects, suspicion)
    passed = [names[k] for k in np.argsort(-through)[:_SOCKETS_TRIED].tolist() if through[k] > _WORTH_PASSING]
    return [*found, *(effects.emptied[name] for name in dict.fromkeys((*parts[:_SOCKETS_TRIED], *passed)))]


def mode_mass(effects: Effects, suspicion: Suspicion, how: ConditionName) -> Floats:
    """P(mode) at every net, shape (modes, nets)."""
    standing = effects.at(how)
    rows, down = standing.rows, standing.downstream
    weight = totals(standing.row_of_fault[suspicion.faults], suspicion.probability, len(rows))
    follows = _follows(effects, how, weight)
    mass = np.zeros((len(MODES), down.count))
    nets = np.arange(down.count)
    mass[effects.follow_mode, nets] = follows
    starts = standing.starts
    p = of_every_fault(effects, suspicion)[starts.fault]
    np.add.at(mass, (starts.mode, starts.net), p)
    np.subtract.at(mass, (effects.follow_mode[starts.net], starts.net), p)
    np.maximum(mass, 0.0, out=mass)
    mass[Mode.NONE] = np.maximum(1.0 - mass.sum(axis=0), 0.0)
    mass[:, ~standing.probeable] = 0.0
    return mass


def _follows(effects: Effects, how: ConditionName, weight: Floats) -> Floats:
    """P(downstream of the fault) for every net, from the weight of each row of beginnings.

    The weight is summed by the value of each byte of eight nets, then by the bits of that value.
    """
    rows, count = effects.at(how).rows, effects.at(how).downstream.count
    used = np.flatnonzero(weight)
    columns, kept = np.ascontiguousarray(rows[used].T), weight[used]
    by_value = np.array([np.bincount(column, kept, minlength=256) for column in columns])
    return np.asarray((by_value @ _BITS).ravel()[:count])


_BITS = np.unpackbits(np.arange(256, dtype=np.uint8)[:, None], axis=1, bitorder="little").astype(np.float64)


def of_every_fault(effects: Effects, suspicion: Suspicion) -> Floats:
    """Probability of every fault of the board, 0 for those that no longer count."""
    probability = np.zeros(len(effects.faults))
    probability[suspicion.faults] = suspicion.probability
    return probability
