"""What is kept of a matrix equals what is worked out anew, and does not grow without end."""

from __future__ import annotations

import numpy as np
import pytest

from coppermend.proving import foreseen as module
from coppermend.proving.foreseen import Foreseen, foreseen

from .matrix_cases import full_matrix


@pytest.mark.parametrize("kind", ["switch", "lamp"])
def test_kept_reports_equal_new_ones(kind):
    """In any order, with repeats, and beside closures that were asked for before."""
    matrix = full_matrix(4, kind=kind)
    closed = [frozenset({p.crossing}) for p in matrix.positions]
    known = Foreseen(matrix)
    known.reports(closed[5:9])
    asked = [closed[7], frozenset(), *closed[:6], closed[7]]

    assert np.array_equal(known.reports(asked), known.scanner.reports(known.hypotheses, asked))
    assert known.reports([]).shape == (len(known.hypotheses), 0, 4, 1)


def test_no_more_is_kept_than_has_room(monkeypatch):
    """A closure that finds no room is answered all the same."""
    matrix = full_matrix(3)
    known = Foreseen(matrix)
    one, other = (frozenset({p.crossing}) for p in matrix.positions[:2])
    monkeypatch.setattr(module, "_MOST_BYTES", known.reports([one]).nbytes)

    both = known.reports([one, other])

    assert np.array_equal(both, known.scanner.reports(known.hypotheses, [one, other]))
    assert list(known._kept) == [one]


def test_equal_matrices_share_what_is_kept():
    """A page makes its matrix anew from the board for each answer."""
    assert foreseen(full_matrix(5)) is foreseen(full_matrix(5))
    assert foreseen(full_matrix(5)) is not foreseen(full_matrix(5, diodes=False))
