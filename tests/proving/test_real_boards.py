"""On two real boards that none of us drew, every part and net can be proven and the gate can close."""

from __future__ import annotations

from pathlib import Path

import pytest

from coppermend.board.atrisk import Touch, TouchedNet
from coppermend.board.importing import Source, import_board
from coppermend.board.model import Board
from coppermend.board.parttypes import standard_library
from coppermend.proving.concerns import concerns_from
from coppermend.proving.gate import gate, least_cover
from coppermend.proving.proofs import net_points, proofs_for, unprovable
from coppermend.proving.records import Evidence

pytestmark = pytest.mark.shared


def real_board(folder: Path) -> Board:
    return import_board(
        name=folder.name,
        ipc356=Source("board.d356", (folder / "board.d356").read_bytes()),
        gerber=[],
        parts=Source("parts.csv", (folder / "parts.csv").read_bytes()),
        library=standard_library(),
    )[0]


@pytest.fixture(params=["trainer-computer", "clock-module"])
def board(request, shared_boards):
    return real_board(shared_boards / request.param)


def all_of(board: Board):
    """Everything on a net, taken off and put back, all nets damaged."""
    parts = [r for r in board.index.parts if board.index.pins_of_part.get(r)]
    nets = tuple(TouchedNet(n, "", "", (), 0.8, 1, 0, 0) for n in board.nets)
    return concerns_from(Touch(nets=nets), parts, parts)


def test_proofs_and_copper_close_everything_that_has_a_known_type(board):
    """With all proofs passed and all copper proven only parts of unknown type stay open."""
    library = standard_library()
    proofs = proofs_for(board, library)
    evidence = {p.id: Evidence(p.id, True) for p in proofs}

    state = gate(
        all_of(board), proofs, evidence, list(board.nets), reasons=unprovable(board, library, proofs)
    )

    unknown = {p.refdes for p in board.parts if library.of(p) is None}
    assert {item.subject.name for item in state.open} <= unknown


def test_suggested_proofs_close_what_all_proofs_close(board):
    """The greedy suggestion leaves nothing open that the whole list would close."""
    library = standard_library()
    proofs = proofs_for(board, library)
    concerns, points = all_of(board), net_points(board, library)
    start = gate(concerns, proofs, {}, list(board.nets), net_points=points)
    todo = least_cover(start, proofs)

    after = gate(
        concerns, proofs, {p.id: Evidence(p.id, True) for p in todo}, list(board.nets), net_points=points
    )
    every = gate(
        concerns, proofs, {p.id: Evidence(p.id, True) for p in proofs}, list(board.nets), net_points=points
    )

    assert {i.subject for i in after.open} == {i.subject for i in every.open}
    assert len(todo) < len(proofs)
