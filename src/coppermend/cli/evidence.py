"""Results of proofs as a CSV file, for the stateless gate: ``proof,passed,note``."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection

from coppermend.board.readers.text import decode_text
from coppermend.errors import InputError
from coppermend.job.state import EvidenceLine

_YES, _NO = {"yes", "true", "1", "pass", "passed"}, {"no", "false", "0", "fail", "failed"}
_EXPECTED = "proof,passed,note such as clock:CLK,yes,1.000 MHz"


def parse_evidence(data: bytes, where: str, known: Collection[str]) -> dict[str, EvidenceLine]:
    """The last result of each proof; the header row may be left out.

    Raises:
        InputError: If a row is no result, or its proof is not among ``known``; names its line.
    """
    reader = csv.reader(io.StringIO(decode_text(data, where), newline=""), strict=True)
    results: dict[str, EvidenceLine] = {}
    try:
        for row in reader:
            cells = [cell.strip() for cell in row]
            if any(cells) and not _is_header(cells, results):
                line = _result(cells, where, reader.line_num, known)
                results[line.proof] = line
    except csv.Error as error:
        raise InputError(
            f"broken CSV: {error}", expected=_EXPECTED, where=where, line=reader.line_num
        ) from None
    return results


def _is_header(cells: list[str], results: Collection[str]) -> bool:
    return not results and [cell.lower() for cell in cells[:2]] == ["proof", "passed"]


def _result(cells: list[str], where: str, line: int, known: Collection[str]) -> EvidenceLine:
    if len(cells) < 2 or not cells[0] or cells[1].lower() not in _YES | _NO:
        raise InputError(f"{','.join(cells)!r:.80} is no result", expected=_EXPECTED, where=where, line=line)
    if cells[0] not in known:
        raise InputError(
            f"this board has no proof {cells[0]!r:.60}",
            expected="an id that coppermend prove plan --all lists",
            where=where,
            line=line,
        )
    note = cells[2] if len(cells) > 2 else ""
    return EvidenceLine(cells[0], cells[1].lower() in _YES, note, line)
