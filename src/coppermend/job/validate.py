"""What each kind of entry must carry, checked before it is kept. Looks at one body; knows no other entries."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, get_args
from urllib.parse import urlsplit

from coppermend.errors import InputError
from coppermend.job.entry import STAGES, EntryKind, Stage
from coppermend.job.number import numbers_in
from coppermend.job.plain import LARGEST_BYTES, plain, to_json_text

KINDS: tuple[EntryKind, ...] = get_args(EntryKind)
FATES = ("discard", "test", "refit")
PAYMENTS = ("quoted", "invoiced", "part-paid", "paid", "refunded", "waived")
LONGEST_WORD, LONGEST_TEXT = 200, 20_000
NULLED_OHM = -0.5  # nulled leads may read a little below zero
_SHA256 = re.compile(r"[0-9a-f]{64}")
_POINT = re.compile(r"\S{1,80}")
_AREAS = ("Polygon", "MultiPolygon")


@dataclass(frozen=True, slots=True)
class Field:
    """One key of a body: the test its value must pass, that test in words, and whether it must be there."""

    fits: Callable[[Any], bool]
    expected: str
    required: bool = True


def _text(longest: int, *, required: bool, least: int = 0) -> Field:
    words = f"text of {'at least one character and ' if least else ''}at most {longest} characters"
    return Field(
        lambda v: isinstance(v, str) and len(v) <= longest and len(v.strip()) >= least, words, required
    )


def _one_of(*words: str, required: bool = True) -> Field:
    return Field(
        lambda v: isinstance(v, str) and v in words, f"one of {', '.join(filter(None, words))}", required
    )


def _is_ohms(value: object) -> bool:
    if isinstance(value, (int, float)):
        return not isinstance(value, bool) and value >= NULLED_OHM
    return value == "OL"


def _is_severity(value: object) -> bool:
    if value is None:  # drawn without one
        return True
    return isinstance(value, (int, float)) and not isinstance(value, bool) and 0 <= value <= 1


def _is_area_feature(feature: object) -> bool:
    if not (isinstance(feature, dict) and feature.get("type") == "Feature"):
        return False
    shape, properties = feature.get("geometry"), feature.get("properties") or {}
    return (
        isinstance(shape, dict)
        and shape.get("type") in _AREAS
        and isinstance(shape.get("coordinates"), list)
        and isinstance(properties, dict)
        and _is_severity(properties.get("severity"))
    )


def _is_damage_area(value: object) -> bool:
    return (
        isinstance(value, dict)
        and value.get("type") == "FeatureCollection"
        and isinstance(value.get("features"), list)
        and all(_is_area_feature(feature) for feature in value["features"])
    )


def _is_items(value: object) -> bool:
    return (
        isinstance(value, list)
        and bool(value)
        and all(isinstance(item, str) and 0 < len(item.strip()) <= LONGEST_WORD for item in value)
    )


_MOST_NAMES = 2_000


def _is_names(value: object) -> bool:
    return (
        isinstance(value, list)
        and len(value) <= _MOST_NAMES
        and all(isinstance(name, str) and 0 < len(name) <= LONGEST_WORD for name in value)
    )


def _number(least: float) -> Field:
    return Field(
        lambda v: isinstance(v, (int, float)) and not isinstance(v, bool) and v >= least,
        f"a number from {least:g} up",
    )


_NAMES = Field(_is_names, "a list of names")


def _is_date(value: object) -> bool:
    if value == "":
        return True
    try:
        return isinstance(value, str) and date.fromisoformat(value).isoformat() == value
    except ValueError:
        return False


def _is_web_address(value: object) -> bool:
    if not isinstance(value, str) or len(value) > 2000 or not value.isprintable() or " " in value:
        return False
    try:
        parts = urlsplit(value)
    except ValueError:
        return False
    return parts.scheme in ("http", "https") and bool(parts.hostname)


def _is_job(value: object) -> bool:
    return isinstance(value, str) and numbers_in(value) == (value,)


def _is_minutes(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and -1440 <= value <= 1440


def _is_codes(value: object) -> bool:
    return (
        isinstance(value, dict)
        and 0 < len(value) <= 500
        and all(
            0 < len(text.strip()) <= 80 if isinstance(text, str) else False
            for pair in value.items()
            for text in pair
        )
    )


_WORD = _text(LONGEST_WORD, required=True, least=1)
_WORD_OR_NONE = _text(LONGEST_WORD, required=False)
_TEXT_OR_NONE = _text(LONGEST_TEXT, required=False)
_FLAG = Field(lambda v: isinstance(v, bool), "true or false")
_DATE_OR_NONE = Field(_is_date, "a date such as 2026-03-31, or nothing", required=False)
_SHA = Field(lambda v: isinstance(v, str) and bool(_SHA256.fullmatch(v)), "64 hexadecimal digits")
_SEQ = Field(lambda v: isinstance(v, int) and not isinstance(v, bool) and v >= 1, "an entry's number")
_AT = Field(
    lambda v: isinstance(v, str) and bool(_POINT.fullmatch(v)), "a point such as U3.9, or a via such as V17"
)

FIELDS: Mapping[EntryKind, Mapping[str, Field]] = {
    "job": {
        "customer": _WORD_OR_NONE, "contact": _TEXT_OR_NONE, "machine": _WORD_OR_NONE,
        "complaint": _TEXT_OR_NONE, "serial": _WORD_OR_NONE, "marks": _TEXT_OR_NONE,
        "condition": _TEXT_OR_NONE, "promised": _DATE_OR_NONE,
    },
    "board": {"name": _WORD, "sha256": _SHA, "file": _WORD_OR_NONE},
    "photo": {
        "sha256": _SHA, "name": _WORD, "media_type": _WORD_OR_NONE, "caption": _TEXT_OR_NONE,
    },
    "image": {
        "sha256": _SHA, "name": _WORD, "what": _one_of("dump", "burn", "read-back"),
        "refdes": _WORD_OR_NONE, "device": _WORD_OR_NONE, "version": _WORD_OR_NONE, "note": _TEXT_OR_NONE,
        "verified": Field(lambda v: isinstance(v, bool), "true or false", required=False),
        "cpu_first": Field(
            lambda v: isinstance(v, int) and not isinstance(v, bool) and 0 <= v <= 0xFFFF,
            "a CPU address from 0 to 65535", required=False,
        ),
    },
    "damage": {
        "area": Field(
            _is_damage_area, "a GeoJSON FeatureCollection of polygons, each with a severity from 0 to 1"
        ),
    },
    "note": {"text": _text(LONGEST_TEXT, required=True, least=1)},
    "remedy": {"id": _WORD, "chosen": _FLAG},
    "observation": {
        "point": _WORD_OR_NONE, "value": _WORD, "condition": _WORD_OR_NONE,
        "kind": _one_of(
            "logic", "volts", "ripple", "ohms", "hertz", "seconds", "symptom", "swap", "visual",
            "watch", "joints", "selftest", "repair",
        ),
    },
    "strip": {"refdes": _WORD, "done": _FLAG, "fate": _one_of("", *FATES, required=False)},
    "reading": {
        "a": _AT, "b": _AT, "instrument": _WORD_OR_NONE,
        "ohms": Field(_is_ohms, 'a resistance in ohms, or "OL"'),
    },
    "jumper": {"net": _WORD, "a": _AT, "b": _AT, "side": _one_of("", "top", "bottom", required=False)},
    "refit": {"refdes": _WORD, "done": _FLAG, "note": _TEXT_OR_NONE},
    "evidence": {"proof": _WORD, "passed": _FLAG, "note": _TEXT_OR_NONE},
    "trial": {
        "test": _one_of("matrix", "drive"), "commanded": _NAMES, "seen": _NAMES,
        "fresh": Field(lambda v: isinstance(v, bool), "true or false", required=False),
    },
    "decay": {"refdes": _WORD, "hours": _number(0.0), "volts": _number(0.0)},
    "proof": {
        "id": _WORD, "title": _WORD, "how": _TEXT_OR_NONE, "offered": _FLAG,
        "shows": Field(_is_items, "a list of what it shows, such as lamps"),
        "watched": _one_of("each", "together", "reported"),
    },
    "waiver": {
        "reason": _text(LONGEST_TEXT, required=True, least=1),
        "items": Field(_is_items, "a list of what is open, such as net RES_N"),
    },
    "stage": {"stage": _one_of(*STAGES)},
    "paper": {"what": _WORD, "sha256": _SHA, "name": _WORD},
    "void": {"seq": _SEQ, "why": _TEXT_OR_NONE},
    "approval": {"what": _WORD, "approved": _FLAG, "by": _WORD_OR_NONE, "note": _TEXT_OR_NONE},
    "shipping": {
        "direction": _one_of("in", "out"), "carrier": _WORD_OR_NONE, "tracking": _WORD_OR_NONE,
        "note": _TEXT_OR_NONE,
    },
    "payment": {
        "state": _one_of(*PAYMENTS),
        "amount": _WORD_OR_NONE, "note": _TEXT_OR_NONE,
    },
    "video": {
        "url": Field(_is_web_address, "an address that begins with https:// or http://", required=False),
        "sha256": Field(_SHA.fits, _SHA.expected, required=False), "name": _WORD_OR_NONE,
        "media_type": _WORD_OR_NONE, "caption": _TEXT_OR_NONE,
    },
    "waiting": {
        "parts": _WORD, "until": _DATE_OR_NONE,
        "arrived": Field(lambda v: isinstance(v, bool), "true or false", required=False),
    },
    "timer": {
        "does": _one_of("start", "pause", "stop", "add"), "why": _TEXT_OR_NONE,
        "minutes": Field(_is_minutes, "minutes from -1440 to 1440", required=False),
    },
    "fingerprint": {"codes": Field(_is_codes, "codes by the part they were read off, such as U5: 8142")},
    "comeback": {"job": Field(_is_job, "a job number such as 26-0042-U"), "why": _TEXT_OR_NONE},
    "erased": {"entries": Field(lambda v: isinstance(v, list), "a list of entries' numbers"), "why": _TEXT_OR_NONE},
}  # fmt: skip

TWO_POINTS: frozenset[EntryKind] = frozenset(("reading", "jumper"))


def check_stage(stage: str) -> Stage:
    """The stage called ``stage``.

    Raises:
        InputError: If there is no such stage.
    """
    if stage not in STAGES:
        raise InputError(f"unknown stage {stage!r}", expected=f"one of {', '.join(STAGES)}")
    return stage


def check_kind(kind: str) -> EntryKind:
    """The kind of entry called ``kind``.

    Raises:
        InputError: If there is no such kind.
    """
    if kind not in KINDS:
        raise InputError(f"unknown kind of entry {kind!r}", expected=f"one of {', '.join(KINDS)}")
    return kind


def check_who(who: str) -> str:
    """The author of an entry, without blanks around.

    Raises:
        InputError: If it is empty, longer than 200 characters or holds control characters.
    """
    name = str(plain(who, "who")).strip() if isinstance(who, str) else ""
    if not name or len(name) > LONGEST_WORD or any(ord(c) < 32 for c in name):
        raise InputError(f"author {name[:40]!r}", expected=f"a name of 1 to {LONGEST_WORD} characters")
    return name


def check_body(kind: EntryKind, body: Mapping[str, Any]) -> dict[str, Any]:
    """A plain copy of a body that has all that ``kind`` needs; keys beyond that are kept as they are.

    Raises:
        InputError: If a key is missing, has the wrong type, or the body is larger than 4 MB as JSON.
    """
    where = f"{kind} entry"
    if not isinstance(body, Mapping):
        raise InputError(f"{where} has no body", expected="a JSON object")
    copy: dict[str, Any] = plain(body, where)
    for key, field in FIELDS[kind].items():
        if key not in copy:
            if field.required:
                raise InputError(f"{where} lacks {key!r}", expected=field.expected)
        elif not field.fits(copy[key]):
            raise InputError(f"{where} has {key} {_short(copy[key])}", expected=field.expected)
    if kind in TWO_POINTS and copy["a"] == copy["b"]:
        raise InputError(f"{where} goes from {copy['a']} to itself", expected="two different points")
    if kind == "timer" and (copy["does"] == "add") != ("minutes" in copy):
        raise InputError(f"{where} has minutes only to add", expected="does=add minutes=20, or does=start")
    if kind == "video" and ("url" in copy) == ("sha256" in copy):
        raise InputError(f"{where} needs a url or an attached file", expected="url=https://..., or a file")
    if len(to_json_text(copy).encode()) > LARGEST_BYTES:
        raise InputError(f"{where} is larger than {LARGEST_BYTES:,} bytes")
    return copy


def check_header(body: Mapping[str, Any]) -> dict[str, Any]:
    """The body of a job's first entry: a ``job`` body that names a customer.

    Raises:
        InputError: As ``check_body``; also if there is no customer.
    """
    copy = check_body("job", body)
    if not copy.get("customer", "").strip():
        raise InputError("job entry lacks 'customer'", expected="whose board it is")
    return copy


def _short(value: object) -> str:
    shown = repr(value)
    return shown if len(shown) <= 60 else f"{shown[:57]}..."
