"""Every single fault of one board, in the order of its parts, nets, neighbours and rails."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from coppermend.isolate.copperfaults import copper_faults, rail_faults, short_faults
from coppermend.isolate.faults import Faults, joined, mixed
from coppermend.isolate.graph import SignalGraph
from coppermend.isolate.partfaults import part_faults
from coppermend.isolate.pins import Pins
from coppermend.isolate.priors import Knowledge


def faults_of(graph: SignalGraph, known: Knowledge) -> Faults:
    """Every single fault of the board that disturbs anything, in the order of its parts and nets.

    Weights are relative; a unit's weight is its failure rate times what is known of it.
    """
    pins, factor = Pins(graph), _factor(known)
    shorts, pairs = short_faults(graph, pins, factor)
    rails, dry = rail_faults(graph, pins, factor)
    blocks = [mixed(part_faults(graph, pins, factor)), copper_faults(graph, pins, factor), shorts, rails]
    return Faults(joined(blocks), pins, graph.nets, pairs, dry)


def _factor(known: Knowledge) -> Callable[[str], float]:
    """What is known of a part or net, remembered; nothing at all is known of most boards."""
    if known == Knowledge():
        return lambda _name: 1.0
    return lru_cache(maxsize=None)(known.factor)
