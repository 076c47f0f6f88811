"""The shop's reference list: names of known-good contents by their sums; what is not in it is unknown, not bad."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from coppermend.errors import InputError

SUM_DIGITS: Mapping[str, int] = {"sha256": 64, "sha1": 40, "crc32": 8}
_LONGEST_NAME, _LONGEST_NOTE = 200, 2000


@dataclass(frozen=True, slots=True)
class KnownImage:
    """A line of the reference list: a name, and the sums (lower case, by name) by which content is known."""

    name: str
    sums: Mapping[str, str]
    note: str = ""


def parse_known(rows: Sequence[Mapping[str, str]], where: str = "") -> tuple[KnownImage, ...]:
    """Read rows with a ``name``, at least one of sha256, sha1, crc32, and a ``note``; other columns do not count.

    Raises:
        InputError: If a row has no name, no sum, or a sum of the wrong length; the header is line 1.
    """
    return tuple(_known(row, where, line) for line, row in enumerate(rows, 2))


def _known(row: Mapping[str, str], where: str, line: int) -> KnownImage:
    name, note = ((row.get(key) or "").strip() for key in ("name", "note"))
    sums = {key: row[key].strip().lower() for key in SUM_DIGITS if (row.get(key) or "").strip()}
    if not name or not sums:
        raise InputError(
            "a row without name or sums",
            expected="name and one of sha256, sha1, crc32",
            where=where,
            line=line,
        )
    if len(name) > _LONGEST_NAME or len(note) > _LONGEST_NOTE:
        raise InputError(
            f"a name of {len(name)} and a note of {len(note)} characters",
            expected=f"at most {_LONGEST_NAME} and {_LONGEST_NOTE}", where=where, line=line,
        )  # fmt: skip
    for key, value in sums.items():
        if len(value) != SUM_DIGITS[key] or not set(value) <= set("0123456789abcdef"):
            raise InputError(
                f"{key} {value[:20]!r}",
                expected=f"{SUM_DIGITS[key]} hexadecimal digits",
                where=where,
                line=line,
            )
    return KnownImage(name, sums, note)


def parse_known_csv(text: str, where: str = "") -> tuple[KnownImage, ...]:
    """Read a reference list from CSV with a header; columns part at commas or semicolons.

    Raises:
        InputError: If it is no CSV with the columns of ``parse_known``, naming the line.
    """
    first = text.partition("\n")[0]
    mark = ";" if first.count(";") > first.count(",") else ","
    if "name" not in (word.strip().lower() for word in first.lstrip("\ufeff").split(mark)):
        raise InputError(
            f"the header {first.strip()[:40]!r} lacks name", expected="name, and sha256, sha1 or crc32",
            where=where, line=1,
        )  # fmt: skip
    try:
        rows = list(csv.DictReader(io.StringIO(text.lstrip("\ufeff")), delimiter=mark))
    except csv.Error as error:
        raise InputError(f"is no CSV ({error})", expected="rows name,sha256,note", where=where) from None
    return parse_known(
        [{k.strip().lower(): v for k, v in row.items() if k and isinstance(v, str)} for row in rows], where
    )


def format_known_csv(images: Sequence[KnownImage]) -> str:
    """The list as CSV with columns name, sha256, sha1, crc32, note."""
    made = io.StringIO()
    rows = csv.writer(made, lineterminator="\n")
    rows.writerow(("name", *SUM_DIGITS, "note"))
    rows.writerows((k.name, *(k.sums.get(key, "") for key in SUM_DIGITS), k.note) for k in images)
    return made.getvalue()


def identify(sums: Mapping[str, str], known: Sequence[KnownImage]) -> tuple[KnownImage, ...]:
    """The known images whose every given sum equals that of the image; () when it is unknown."""
    return tuple(k for k in known if all(sums[key].lower() == value for key, value in k.sums.items()))
