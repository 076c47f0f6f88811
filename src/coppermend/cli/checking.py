"""``coppermend board check``: what is wrong with a board folder."""

from __future__ import annotations

from collections import Counter

from coppermend.board.check import check_board
from coppermend.board.finding import SEVERITIES, Finding
from coppermend.cli.inputs import BoardArgument, TypesOption, board_at, library_with
from coppermend.cli.output import JsonFlag, counted, emit, say, table
from coppermend.cli.tree import examples


@examples("coppermend board check boards/control")
def check(board: BoardArgument, types: TypesOption = None, as_json: JsonFlag = False) -> int:
    """Find contradictions in a board folder: duplicate refdes, pins on two nets, copper off the board, ...

    Exit status 1 when there is an error; warnings and notes do not count.
    """
    findings = check_board(board_at(board), library_with(types))
    clean = not any(finding.severity == "error" for finding in findings)
    document = {"clean": clean, "findings": [finding.to_json() for finding in findings]}

    def show_text() -> None:
        table("", ("severity", "what", "finding"), [(f.severity, f.code, f.message) for f in findings])
        say(_verdict(findings))

    emit(document, as_json, show_text)
    return 0 if clean else 1


def _verdict(findings: tuple[Finding, ...]) -> str:
    counts = Counter(finding.severity for finding in findings)
    told = [counted(counts[severity], severity) for severity in SEVERITIES if counts[severity]]
    if counts["error"]:
        return f"not clean: {', '.join(told)}; mend the files of the board folder and check again"
    return f"clean: {', '.join(told) or 'nothing found'}"
