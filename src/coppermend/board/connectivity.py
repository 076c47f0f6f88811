"""Which copper hangs together: contacts between pads, vias, tracks and areas, layer by layer. No judgement.

Items are numbered as in ``board.space``. Copper of the same layer that touches is joined; vias and pads on both
layers join the layers. What a net's copper should be is left to ``check`` and to the copper plan.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from coppermend.board.model import Board

MEET_MM = 1e-6  # copper that meets within a nanometre is joined: files round to 0.1 um or worse


def has_copper(board: Board) -> NDArray[np.bool_]:
    """Which items of ``board.space`` are copper: all but pads that are bare holes (drilled to their rim).

    Returns:
        (n,) bool array.
    """
    copper = np.ones(len(board.space.kinds), dtype=bool)
    copper[: len(board.pads)] = [not (pad.hole_mm and pad.hole_mm >= pad.size_mm) for pad in board.pads]
    return copper


def copper_contacts(board: Board) -> NDArray[np.int_]:
    """Pairs of items whose copper touches on a common layer, nets not considered.

    Returns:
        (k, 2) int array of positions in ``board.space``, first < second, sorted; shape (0, 2) without contacts.
    """
    space = board.space
    areas = space.kinds == "area"
    first, second = shapely.STRtree(space.boxes).query(space.boxes)
    copper = has_copper(board)
    # Areas come last, so in every pair with an area the second item is one: judged below, one area at a time.
    wanted = (first < second) & ((space.layers[first] & space.layers[second]) > 0)
    wanted &= copper[first] & copper[second]
    first, second = first[wanted], second[wanted]
    plain = ~areas[second]
    touch = np.zeros(len(first), dtype=bool)
    reach_mm = space.reach_mm[first] + space.reach_mm[second] + MEET_MM
    touch[plain] = shapely.dwithin(
        space.skeletons[first[plain]], space.skeletons[second[plain]], reach_mm[plain]
    )
    for area in np.flatnonzero(areas):
        near = np.flatnonzero(second == area)
        shape = space.skeletons[area]
        shapely.prepare(shape)
        touch[near] = shapely.dwithin(shape, space.skeletons[first[near]], reach_mm[near])
    pairs = np.column_stack([first[touch], second[touch]])
    return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]


def connected_copper(board: Board, contacts: NDArray[np.int_] | None = None) -> NDArray[np.int_]:
    """Label of the piece of copper that each item belongs to.

    Args:
        board: The board.
        contacts: Pairs from ``copper_contacts``, when known already or to be joined selectively.

    Returns:
        (n,) int array in the order of ``board.space``: items with equal labels hang together. Labels count from 0
        in the order of their first items; a bare hole is a piece of its own.
    """
    pairs = copper_contacts(board) if contacts is None else contacts
    count = len(board.space.kinds)
    joined = csr_array((np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), (count, count))
    labels = connected_components(joined, directed=False)[1]
    _, first, place = np.unique(labels, return_index=True, return_inverse=True)
    found: NDArray[np.int_] = first.argsort().argsort()[place.reshape(-1)]
    return found


def item_name(board: Board, item: int) -> str:
    """What an item of ``board.space`` is called: ``U3.9``, ``V17``, ``track 12`` or ``area 2`` (rows of their files)."""
    kind, number = board.space.kinds[item], int(board.space.numbers[item])
    if kind == "pad":
        return str(board.pads[number].ref)
    if kind == "via":
        return board.vias[number].name
    return f"{kind} {number + 1}"
