"""Rules about copper: is it on the board, and does it join what the netlist joins and nothing else?"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.board.connectivity import connected_copper, copper_contacts, item_name
from coppermend.board.finding import Finding, listed
from coppermend.board.index import Groups
from coppermend.board.kinds import natural_key
from coppermend.board.model import Board
from coppermend.board.space import board_shape

_EDGE_MM = 0.01  # a pad's middle this far outside the outline is still on it: files round


def copper_findings(board: Board) -> Iterator[Finding]:
    """Findings of all rules in this file; rules about contacts need tracks or copper areas."""
    yield from _outline(board)
    yield from _off_board(board)
    yield from _nets_of_copper_only(board)
    if not (board.tracks or board.areas):
        yield Finding("no-copper", "note", "no tracks or copper areas: copper was not compared with the nets")
        return
    contacts = copper_contacts(board)
    yield from _wrong_contacts(board, contacts)
    yield from _incomplete(board, contacts)


def _outline(board: Board) -> Iterator[Finding]:
    if not board.outline:
        return
    outline = shapely.Polygon(board.outline)
    if not outline.is_valid:
        yield Finding("outline", "error", "the board's outline crosses or touches itself")
    _, _, right, top = outline.bounds
    if max(abs(right - board.width_mm), abs(top - board.height_mm)) > 0.1:
        size = f"{board.width_mm:g} x {board.height_mm:g} mm"
        message = f"the outline ends at {right:g} x {top:g} mm, but the board is said to be {size}"
        yield Finding("outline", "warning", message)


def _off_board(board: Board) -> Iterator[Finding]:
    """Pads, vias and tracks whose middle or end lies outside the board; pads part by part."""
    space = board.space
    solid = space.kinds != "area"
    inside = np.ones(len(solid), dtype=bool)
    shape = board_shape(board).buffer(_EDGE_MM)
    shapely.prepare(shape)
    inside[solid] = shapely.covers(shape, space.skeletons[solid])
    pads = space.kinds == "pad"
    middles = shapely.points([(pad.x_mm, pad.y_mm) for pad in board.pads] or np.zeros((0, 2)))
    inside[pads] = shapely.covers(shape, middles)
    outside = np.flatnonzero(~inside)
    by_part = Groups.of((board.pads[i].refdes, item_name(board, int(i))) for i in outside[pads[outside]])
    for refdes, points in by_part.items():
        yield Finding(
            "off-board", "error", f"pads of {refdes} lie off the board: {listed(points)}", tuple(points)
        )
    others = [item_name(board, int(i)) for i in outside[~pads[outside]]]
    if others:
        yield Finding("off-board", "error", f"copper lies off the board: {listed(others)}", tuple(others))


def _nets_of_copper_only(board: Board) -> Iterator[Finding]:
    index = board.index
    nets = {*index.tracks_of_net, *index.vias_of_net, *index.areas_of_net} - {"", *board.nets}
    for net in sorted(nets, key=natural_key):
        yield Finding("copper-net-unknown", "warning", f"copper of net {net}, which no pin is on", (net,))


def _places(board: Board, pairs: NDArray[np.int_]) -> list[list[float]]:
    """[x, y] of where each pair of items comes nearest [mm]."""
    skeletons = board.space.skeletons
    lines = shapely.shortest_line(*(skeletons[end] for end in pairs.T))
    found: list[list[float]] = shapely.get_coordinates(lines)[::2].tolist()
    return found


def _wrong_contacts(board: Board, contacts: NDArray[np.int_]) -> Iterator[Finding]:
    """Copper of two nets that touches; copper of a net that touches a pad of none; unnamed copper that bridges."""
    nets = board.space.nets
    a, b = contacts.T
    named = (nets[a] != "") & (nets[b] != "")
    wrong = contacts[named & (nets[a] != nets[b])]
    meeting = Groups.of((" and ".join(sorted((nets[i], nets[j]))), (i, j)) for i, j in wrong.tolist())
    places = _places(board, np.array([pairs[0] for pairs in meeting.values()], dtype=int).reshape(-1, 2))
    for (both, pairs), (x_mm, y_mm) in zip(meeting.items(), places, strict=True):
        i, j = pairs[0]
        one, other = item_name(board, i), item_name(board, j)
        more = f" (and in {len(pairs) - 1} more places)" if len(pairs) > 1 else ""
        at = f"{one} and {other} at x {x_mm:.1f}, y {y_mm:.1f} mm"
        yield Finding(
            "nets-touch",
            "error",
            f"copper of nets {both} touches: {at}{more}",
            (nets[i], nets[j], one, other),
        )
    yield from _bridges(board, contacts, wrong)
    pad = board.space.kinds == "pad"
    lone = np.concatenate([contacts[(nets[a] == "") & pad[a]], contacts[(nets[b] == "") & pad[b]][:, ::-1]])
    for point, others in Groups.of((item_name(board, int(i)), nets[j]) for i, j in lone if nets[j]).items():
        message = f"pad {point} is on no net, but copper of net {others[0]} reaches it"
        yield Finding("pad-net-missing", "warning", message, (point, others[0]))


def _bridges(board: Board, contacts: NDArray[np.int_], wrong: NDArray[np.int_]) -> Iterator[Finding]:
    """Nets that hang together although none of their copper touches: through copper of no net."""
    nets, labels = board.space.nets, connected_copper(board, contacts)
    told = set(labels[wrong[:, 0]].tolist())
    by_piece: dict[int, set[str]] = {}
    for label, net in zip(labels.tolist(), nets.tolist(), strict=True):
        if net and label not in told:
            by_piece.setdefault(label, set()).add(net)
    for joined in by_piece.values():
        names = sorted(joined, key=natural_key)
        if len(names) > 1:
            message = f"copper of no net joins nets {listed(names)}"
            yield Finding("nets-touch", "error", message, tuple(names))


def _incomplete(board: Board, contacts: NDArray[np.int_]) -> Iterator[Finding]:
    """Nets whose pads do not all hang together by the net's own copper."""
    nets = board.space.nets
    a, b = contacts.T
    own = contacts[(nets[a] == nets[b]) | (nets[a] == "") | (nets[b] == "")]
    labels = connected_copper(board, own)
    seen: dict[str, dict[int, str]] = {}
    for item in range(len(board.pads)):
        if nets[item]:
            seen.setdefault(nets[item], {}).setdefault(int(labels[item]), item_name(board, item))
    for net in board.nets:
        points = tuple(seen.get(net, {}).values())
        if len(points) > 1:
            message = f"copper of net {net} is in {len(points)} unconnected pieces, at {listed(points)}"
            yield Finding("copper-incomplete", "warning", message, (net, *points))
