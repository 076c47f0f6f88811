"""Plain JSON values: what an entry's body may be made of, copied and checked. Knows no kinds of entries."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from coppermend.errors import InputError, RecordError

DEEPEST = 40
LARGEST_BYTES = 4_000_000
_LARGEST_WHOLE = 2**53  # beyond this, other JSON readers round (RFC 8259, section 6)


def plain(value: object, where: str = "body", depth: int = 0) -> Any:
    """A copy of ``value`` made of dict, list, str, int, float, bool and None only.

    Raises:
        InputError: If it holds anything that JSON or a database cannot keep exactly: other types, keys that
            are not text, NaN or infinity, NUL or lone surrogates in text, nesting deeper than 40.
    """
    if depth > DEEPEST:
        raise InputError(f"{where[:80]} is nested deeper than {DEEPEST}")
    if isinstance(value, Mapping):
        return {_key(k, where): plain(v, f"{where}.{k}", depth + 1) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item, f"{where}[{i}]", depth + 1) for i, item in enumerate(value)]
    if isinstance(value, str):
        return _text(value, where)
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, (int, float)):
        return _number(value, where)
    raise InputError(f"{where} is a {type(value).__name__}", expected="a plain JSON value")


def _key(key: object, where: str) -> str:
    if not isinstance(key, str):
        raise InputError(f"{where} has the key {key!r}", expected="text keys")
    return _text(key, f"a key of {where}")


def _text(text: str, where: str) -> str:
    if "\x00" in text or (not text.isascii() and any("\ud800" <= c <= "\udfff" for c in text)):
        raise InputError(
            f"{where} holds a character that no text may hold", expected="UTF-8 text without NUL"
        )
    return str(text)


def _number(number: float, where: str) -> float:
    if (isinstance(number, int) and abs(number) > _LARGEST_WHOLE) or not math.isfinite(number):
        raise InputError(f"{where} is {str(number)[:40]}", expected="a finite number below 2^53")
    return int(number) if isinstance(number, int) else float(number)


def to_json_text(value: object) -> str:
    """Compact JSON text of a plain value, in the order of its keys."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def from_json_text(text: str) -> Any:
    """What ``to_json_text`` wrote.

    Raises:
        RecordError: If the text is no JSON, which only damage on disk can cause.
    """
    try:
        return json.loads(text)
    except ValueError as error:
        raise RecordError(f"an entry's body is damaged on disk: {error}") from error
