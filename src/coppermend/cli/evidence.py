"""Results of proofs as a CSV file, for the stateless gate: ``proof,passed,note``."""

from __future__ import annotations

import csv
import io

from coppermend.board.readers.text import decode_text
from coppermend.errors import InputError
from coppermend.job.state import EvidenceLine

_YES, _NO = {"yes", "true", "1", "pass", "passed"}, {"no", "false", "0", "fail", "failed"}
_EXPECTED = "proof,passed,note such as clock,yes,1.000 MHz"


def parse_evidence(data: bytes, where: str) -> dict[str, EvidenceLine]:
    """The last result of each proof.

    Raises:
        InputError: If a row is no result, naming its line.
    """
    reader = csv.reader(io.StringIO(decode_text(data, where), newline=""))
    results: dict[str, EvidenceLine] = {}
    for row in reader:
        cells = [cell.strip() for cell in row]
        if not any(cells) or [cell.lower() for cell in cells[:2]] == ["proof", "passed"]:
            continue
        if len(cells) < 2 or not cells[0] or cells[1].lower() not in _YES | _NO:
            raise InputError(
                f"{','.join(row)!r} is no result", expected=_EXPECTED, where=where, line=reader.line_num
            )
        note = cells[2] if len(cells) > 2 else ""
        results[cells[0]] = EvidenceLine(cells[0], cells[1].lower() in _YES, note, reader.line_num)
    return results
