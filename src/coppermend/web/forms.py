"""What a page sends: texts and files of one form, and values read from them. Keeps nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import UploadFile

from coppermend.errors import InputError
from coppermend.quantity import parse_quantity

_MOST_FILES, _MOST_FIELDS = 200, 1000
_LONGEST_FIELD_BYTES = 8 * 1024 * 1024  # a damaged area as GeoJSON
_OPEN_WORDS = frozenset(("ol", "o.l", "0l", "0.l", "open", "inf", "∞"))


@dataclass(frozen=True, slots=True)
class Upload:
    """One file that was sent."""

    name: str
    data: bytes
    media_type: str = ""


@dataclass(frozen=True)
class Form:
    """The fields of a form; a field that was not sent is empty."""

    texts: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, tuple[Upload, ...]] = field(default_factory=dict)

    def text(self, name: str, default: str = "") -> str:
        """A field without blanks around it."""
        return self.texts.get(name, default).strip()

    def uploads(self, name: str) -> tuple[Upload, ...]:
        """The files of a field; () when none was chosen."""
        return self.files.get(name, ())

    def flag(self, name: str) -> bool:
        """Whether a field says yes ("1").

        Raises:
            InputError: If it says anything but 1 or 0.
        """
        value = self.text(name)
        if value not in ("1", "0"):
            raise InputError(f"{name} is {value[:40]!r}", expected="1 or 0")
        return value == "1"

    def number(self, name: str) -> int:
        """A field that holds a whole number.

        Raises:
            InputError: If it does not.
        """
        value = self.text(name)
        if not (value.isascii() and value.isdigit() and len(value) <= 12):
            raise InputError(f"{name} is {value[:40]!r}", expected="a whole number")
        return int(value)


async def read_form(request: Request) -> Form:
    """The form of a request, its files read into memory (the guard limits the whole)."""
    texts: dict[str, str] = {}
    files: dict[str, list[Upload]] = {}
    async with request.form(
        max_files=_MOST_FILES, max_fields=_MOST_FIELDS, max_part_size=_LONGEST_FIELD_BYTES
    ) as sent:
        for name, value in sent.multi_items():
            if not isinstance(value, UploadFile):
                texts[name] = value.replace("\r\n", "\n")
            elif value.filename:
                upload = Upload(value.filename, await value.read(), value.content_type or "")
                files.setdefault(name, []).append(upload)
    return Form(texts, {name: tuple(uploads) for name, uploads in files.items()})


SentForm = Annotated[Form, Depends(read_form)]


def read_ohms(text: str) -> float | str:
    """A reading as typed: ``0.3``, ``4k7``, or ``OL`` for open.

    Raises:
        InputError: If it is no resistance from 0 up.

    >>> read_ohms("4k7"), read_ohms("ol")
    (4700.0, 'OL')
    """
    if text.strip().lower() in _OPEN_WORDS:
        return "OL"
    try:
        ohms = parse_quantity(text.strip().replace(",", "."), "Ω")
    except InputError as error:
        raise InputError(
            f"reading {text.strip()[:40]!r}: {error.found}", expected="ohms such as 0.3, or OL"
        ) from None
    if ohms < 0:
        raise InputError(f"reading {text.strip()[:40]!r} is below zero", expected="ohms from 0 up, or OL")
    return ohms
