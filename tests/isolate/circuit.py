"""A board's circuit as a Bayesian network for pgmpy: every net follows the nets before it, not a table of cones."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from coppermend.isolate.isolation import Isolation
from coppermend.isolate.states import MODES, Mode, logic_likelihood


def circuit_network(base: Isolation, rows: Sequence[tuple[str, str]]):
    """The network and the evidence of logic observations (net, value).

    One node says which fault there is; a net is reached if the fault begins there or any net that acts on it is
    reached; its state follows from that, and what is said from its state.
    """
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.models import DiscreteBayesianNetwork

    effects, graph = base.effects, base.effects.graph
    count = len(effects.faults)
    nets = [net for net in graph.nets if graph.signal(net)]
    before: dict[str, list[str]] = {net: [] for net in nets}
    for edge in graph.edges:
        source, sink = graph.nets[edge.source], graph.nets[edge.sink]
        if source in before and sink in before and source not in before[sink]:
            before[sink].append(source)
    model, evidence = DiscreteBayesianNetwork(), {}
    model.add_node("fault")
    model.add_cpds(TabularCPD("fault", count, effects.prior[:, None]))
    for net in nets:
        begins = np.array([_begins(graph, fault, net) for fault in effects.faults])
        ahead = before[net]
        table = np.empty((count, 2 ** len(ahead)))
        for column in range(table.shape[1]):
            table[:, column] = begins | (column > 0)
        flat = table.ravel()
        model.add_edges_from([(p, f"d {net}") for p in ("fault", *(f"d {one}" for one in ahead))])
        model.add_cpds(
            TabularCPD(
                f"d {net}", 2, np.vstack([1 - flat, flat]), ["fault", *(f"d {one}" for one in ahead)],
                [count, *[2] * len(ahead)],
            )
        )  # fmt: skip
    for net, value in rows:
        states = np.empty((6, count, 2))
        follows = MODES[effects.follow_mode[graph.number[net]]]
        for k, fault in enumerate(effects.faults):
            own = next((mode for start, mode in fault.starts if graph.nets[start] == net), None)
            states[:, k, 0] = MODES[own if own is not None else Mode.NONE]
            states[:, k, 1] = MODES[own] if own is not None else follows
        shown = logic_likelihood(value)
        model.add_edges_from([("fault", f"s {net}"), (f"d {net}", f"s {net}"), (f"s {net}", f"o {net}")])
        model.add_cpds(
            TabularCPD(f"s {net}", 6, states.reshape(6, -1), ["fault", f"d {net}"], [count, 2]),
            TabularCPD(f"o {net}", 2, np.vstack([shown, 1 - shown]), [f"s {net}"], [6]),
        )
        evidence[f"o {net}"] = 0
    return model, evidence


def _begins(graph, fault, net: str) -> bool:
    """Whether a fault begins on a net, acts on it through its own part, or takes its rail away."""
    number = graph.number[net]
    if any(start == number for start, _ in fault.starts):
        return True
    if any(graph.net(leaves) == net for leaves in fault.carries):
        return True
    rails = [graph.nets[start] for start, _ in fault.starts if graph.nets[start] in graph.supply]
    return any(graph.nets[e.source] in rails and e.sink == number for e in graph.edges)
