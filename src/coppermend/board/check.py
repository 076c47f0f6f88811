"""Looking a board over: does the netlist agree with itself, the part types and the copper? Changes nothing.

The rules are in ``check_netlist`` (parts, pins, types), ``check_names`` (board.toml) and ``check_copper``.
"""

from __future__ import annotations

from coppermend.board.check_copper import copper_findings
from coppermend.board.check_names import name_findings
from coppermend.board.check_netlist import netlist_findings
from coppermend.board.finding import SEVERITIES, Finding
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary

__all__ = ["Finding", "check_board"]


def check_board(board: Board, library: PartLibrary) -> tuple[Finding, ...]:
    """Everything found on a board.

    Args:
        board: The board.
        library: Part types, for pins, directions and power pins.

    Returns:
        Findings, errors first, then warnings, then notes; within those by rule, in file order. () is a clean
        board. A board without pads or copper is checked as far as it goes, and a note says what was not.
    """
    found = (*netlist_findings(board, library), *name_findings(board), *copper_findings(board))
    return tuple(sorted(found, key=lambda finding: SEVERITIES.index(finding.severity)))
