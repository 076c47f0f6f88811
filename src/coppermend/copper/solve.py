"""Direct-current solutions of small networks: effective resistance, and voltages with diode junctions.

Pure network theory: nodes are numbers; knows no board, part or meter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csc_matrix
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

THERMAL_V = 0.025852  # kT/q at 300 K
_LEAK_S = 1e-12  # conductance to the common node, so that no node floats
_STEPS = 400
_SETTLED_V = 1e-6
_LARGEST = 80.0  # exponent of a junction, so that no step overflows


class Resistor(NamedTuple):
    """``ohms`` between two nodes; 0 Ω makes them one."""

    a: int
    b: int
    ohms: float


class Junction(NamedTuple):
    """A diode: I = ``saturation_a`` (exp(V / (``ideality`` kT/q)) - 1), V from ``anode`` to ``cathode`` [A, 1]."""

    anode: int
    cathode: int
    saturation_a: float
    ideality: float


def effective_ohms(
    nodes: int, resistors: Sequence[Resistor], pairs: Sequence[tuple[int, int]]
) -> list[float]:
    """Resistance between pairs of nodes of a resistor network.

    Args:
        nodes: How many nodes there are, numbered from 0.
        resistors: The network; several between the same nodes are in parallel.
        pairs: The nodes to measure between.

    Returns:
        Ohms for each pair: 0.0 between a node and itself, ``math.inf`` when nothing joins them [Ω].

    Raises:
        ValueError: If a resistance is negative.

    Method: nodal analysis on the reduced Laplacian, factored once for each connected network (D. J. Klein and
    M. Randić, "Resistance distance", Journal of Mathematical Chemistry 12 (1993)).

    >>> effective_ohms(3, [Resistor(0, 1, 30.0), Resistor(1, 2, 60.0), Resistor(0, 2, 90.0)], [(0, 2)])
    [45.0]
    """
    if any(resistor.ohms < 0 for resistor in resistors):
        raise ValueError("a resistance is negative")
    rows = np.array([(r.a, r.b) for r in resistors], dtype=int).reshape(-1, 2)
    ohms = np.array([r.ohms for r in resistors], dtype=float)
    merged = _labels(nodes, rows[ohms == 0])
    rows = merged[rows]
    real = (ohms > 0) & (rows[:, 0] != rows[:, 1])
    rows, conductance = rows[real], 1 / ohms[real]
    network = _labels(nodes, rows)
    ends = merged[np.array(pairs, dtype=int).reshape(-1, 2)]
    found = [math.inf] * len(pairs)
    for name in np.unique(network[ends[:, 0]]).tolist():
        mine = np.flatnonzero((network[ends[:, 0]] == name) & (network[ends[:, 1]] == name)).tolist()
        if mine:
            values = _solved(np.flatnonzero(network == name), rows, conductance, ends[mine])
            for number, value in zip(mine, values, strict=True):
                found[number] = value
    return found


def networks(nodes: int, resistors: Sequence[Resistor]) -> list[int]:
    """For each node the number of the connected network that it belongs to.

    >>> networks(4, [Resistor(0, 2, 1.0), Resistor(1, 3, 0.0)])
    [0, 1, 0, 1]
    """
    names: list[int] = _labels(
        nodes, np.array([(r.a, r.b) for r in resistors], dtype=int).reshape(-1, 2)
    ).tolist()
    return names


def _labels(nodes: int, rows: NDArray[np.int_]) -> NDArray[np.int_]:
    ones = np.ones(len(rows))
    graph = coo_matrix((ones, (rows[:, 0], rows[:, 1])), shape=(nodes, nodes))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=int)


def _solved(
    members: NDArray[np.int_],
    rows: NDArray[np.int_],
    conductance: NDArray[np.float64],
    ends: NDArray[np.int_],
) -> list[float]:
    """Resistances between ends within one connected network; its last pair's second node is the common one."""
    common = int(ends[0, 1])
    order = np.full(int(max(members.max(), rows.max(initial=0))) + 1, -1)
    kept = members[members != common]
    order[kept] = np.arange(len(kept))
    inside = np.isin(rows[:, 0], members)
    if not len(kept):
        return [0.0] * len(ends)
    factored = splu(_laplacian(order[rows[inside]], conductance[inside], len(kept)))
    values = []
    for a, b in ends.tolist():
        if a == b:
            values.append(0.0)
            continue
        current = np.zeros(len(kept))
        for node, ampere in ((a, 1.0), (b, -1.0)):
            if order[node] >= 0:
                current[order[node]] = ampere
        volts = np.append(factored.solve(current), 0.0)  # the common node is last: order -1
        values.append(float(volts[order[a]] - volts[order[b]]))
    return values


def _laplacian(rows: NDArray[np.int_], conductance: NDArray[np.float64], size: int) -> csc_matrix:
    """Nodal matrix; node -1 is the common one."""
    a, b = rows[:, 0], rows[:, 1]
    row = np.concatenate([a, b, a, b])
    column = np.concatenate([a, b, b, a])
    value = np.concatenate([conductance, conductance, -conductance, -conductance])
    kept = (row >= 0) & (column >= 0)
    return csc_matrix((value[kept], (row[kept], column[kept])), shape=(size, size))


def node_volts(
    nodes: int,
    resistors: Sequence[Resistor],
    junctions: Sequence[Junction],
    plus: int,
    minus: int,
    *,
    source_v: float,
    source_ohm: float,
) -> NDArray[np.float64]:
    """Node voltages when a source drives current into ``plus`` and takes it out of ``minus``.

    Args:
        nodes: How many nodes there are, numbered from 0.
        resistors: Resistances greater than zero [Ω].
        junctions: Diodes.
        plus: Node of the source's positive end.
        minus: Node of its negative end, taken as 0 V.
        source_v: Open-circuit voltage of the source [V].
        source_ohm: Its resistance, greater than zero [Ω].

    Returns:
        (nodes,) array of voltages against ``minus`` [V].

    Raises:
        ArithmeticError: If the iteration does not settle.

    Method: modified Newton iteration with limited junction steps, as circuit simulators do it (L. W. Nagel,
    "SPICE2", memorandum ERL-M520, Berkeley 1975).
    """
    every = [*resistors, Resistor(plus, minus, source_ohm)]
    diodes = np.array([(j.anode, j.cathode) for j in junctions], dtype=int).reshape(-1, 2)
    nodal = _Nodal(nodes, np.vstack([np.array([(r.a, r.b) for r in every], dtype=int), diodes]), minus)
    fixed = 1 / np.array([r.ohms for r in every], dtype=float)
    source = np.zeros(nodes)
    source[plus] = source_v / source_ohm
    saturation_a = np.array([j.saturation_a for j in junctions], dtype=float)
    scale_v = np.array([j.ideality for j in junctions], dtype=float) * THERMAL_V
    volts, across = np.zeros(nodes), np.zeros(len(junctions))
    for _ in range(_STEPS):
        current = source.copy()
        grown = saturation_a * np.exp(np.minimum(across / scale_v, _LARGEST))
        conductance = grown / scale_v + _LEAK_S
        constant = grown - saturation_a - (conductance - _LEAK_S) * across
        np.add.at(current, diodes[:, 0], -constant)
        np.add.at(current, diodes[:, 1], constant)
        fresh = nodal.volts(np.concatenate([fixed, conductance]), current)
        limited = _limited(fresh[diodes[:, 0]] - fresh[diodes[:, 1]], across, saturation_a, scale_v)
        moved = max(np.abs(fresh - volts).max(initial=0.0), np.abs(limited - across).max(initial=0.0))
        volts, across = fresh, limited
        if moved < _SETTLED_V:
            return volts
    raise ArithmeticError("the junctions' voltages do not settle")


class _Nodal:
    """A nodal matrix whose conductances change and whose places do not: sorted once, filled and factored often."""

    def __init__(self, nodes: int, ends: NDArray[np.int_], common: int) -> None:
        self._nodes = nodes
        self._kept = np.flatnonzero(np.arange(nodes) != common)
        order = np.full(nodes, -1)
        order[self._kept] = np.arange(len(self._kept))
        a, b = order[ends[:, 0]], order[ends[:, 1]]
        diagonal = np.arange(len(self._kept))
        rows, columns = np.concatenate([a, b, a, b, diagonal]), np.concatenate([a, b, b, a, diagonal])
        self._used = (rows >= 0) & (columns >= 0)
        codes = columns[self._used] * len(self._kept) + rows[self._used]
        places, self._place = np.unique(codes, return_inverse=True)
        self._indices = (places % len(self._kept)).astype(np.int32)
        starts = np.searchsorted(places, np.arange(len(self._kept) + 1) * len(self._kept))
        self._indptr = starts.astype(np.int32)

    def volts(self, conductance: NDArray[np.float64], current: NDArray[np.float64]) -> NDArray[np.float64]:
        """Voltages of all nodes against the common one, for these conductances [S] and currents into nodes [A]."""
        size = len(self._kept)
        values = np.concatenate(
            [conductance, conductance, -conductance, -conductance, np.full(size, _LEAK_S)]
        )[self._used]
        matrix = csc_matrix(
            (np.bincount(self._place, values), self._indices, self._indptr), shape=(size, size)
        )
        # Diagonally dominant and symmetric, so no row has to be exchanged.
        factored = splu(
            matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
        )
        found = np.zeros(self._nodes)
        found[self._kept] = factored.solve(current[self._kept])
        return found


def _limited(
    wanted_v: NDArray[np.float64],
    before_v: NDArray[np.float64],
    saturation_a: NDArray[np.float64],
    scale_v: NDArray[np.float64],
) -> NDArray[np.float64]:
    """The junctions' next voltages, no further up than the logarithm of the step allows."""
    critical_v = scale_v * np.log(scale_v / (np.sqrt(2) * saturation_a))
    step = 1 + (wanted_v - before_v) / scale_v
    onward = np.where(step > 0, before_v + scale_v * np.log(np.maximum(step, 1e-30)), critical_v)
    onward = np.where(before_v > 0, onward, scale_v * np.log(np.maximum(wanted_v / scale_v, 1e-30)))
    free = (wanted_v <= critical_v) | (np.abs(wanted_v - before_v) <= 2 * scale_v)
    return np.asarray(np.where(free, wanted_v, onward))
