"""The language of the pages: which one, its catalogue, and numbers, dates and money as it writes them.

The catalogues are text (``locale/<language>/LC_MESSAGES/coppermend.po``) and compiled in memory when first used: a clean
clone needs no step, and no compiled file can fall behind its text. English is what the program is written in.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from contextvars import ContextVar
from datetime import date, datetime
from functools import lru_cache
from gettext import NullTranslations
from pathlib import Path

from babel import negotiate_locale
from babel.dates import format_date, format_datetime
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.numbers import format_currency, get_decimal_symbol, get_group_symbol
from babel.support import Translations
from markupsafe import Markup

from coppermend.board.lengths import MM, UNITS, Lengths

ENGLISH = "en"
_FOLDER = Path(__file__).parent / "locale"
LANGUAGES: Mapping[str, str] = {"en": "English", "de": "Deutsch"}
_ISO_DAY, _ISO_MOMENT = "yyyy-MM-dd", "yyyy-MM-dd HH:mm"
_MESSAGES = 8192  # held per process, in all languages; the templates have some two thousand
_WEIGHT = re.compile(r"\s*([a-zA-Z-]{1,20})\s*(?:;\s*q=([01](?:\.\d{1,3})?))?\s*")
_spoken: ContextVar[str] = ContextVar("language", default=ENGLISH)
_measured: ContextVar[Lengths] = ContextVar("units", default=MM)


def speak(language: str, units: str = "mm") -> None:
    """From here on in this request, speak ``language`` and show lengths in ``units``; English and mm when unknown."""
    _spoken.set(language if language in LANGUAGES else ENGLISH)
    _measured.set(Lengths(units if units in UNITS else "mm", decimal_point()))


def measured() -> Lengths:
    """How lengths are shown in this request."""
    return _measured.get()


def spoken() -> str:
    """The language of this request."""
    return _spoken.get()


def asked_for(header: str, setting: str = "") -> str:
    """The language to speak: what the shop has set, else what the browser asks for, else English.

    Args:
        header: ``Accept-Language`` as sent (RFC 9110, 12.5.4).
        setting: The shop's language; "" follows the browser.

    >>> asked_for("fr-CH, de;q=0.8, en;q=0.5"), asked_for("de", "en"), asked_for("")
    ('de', 'en', 'en')
    """
    if setting in LANGUAGES:
        return setting
    asked = [(float(m[2] or 1), m[1]) for part in header.split(",")[:20] if (m := _WEIGHT.fullmatch(part))]
    wanted = [name for weight, name in sorted(asked, key=lambda one: -one[0]) if weight > 0]
    return negotiate_locale(wanted, list(LANGUAGES), sep="-") or ENGLISH


@lru_cache(maxsize=len(LANGUAGES))
def _messages(language: str) -> Catalog:
    with (_FOLDER / language / "LC_MESSAGES" / "coppermend.po").open("rb") as file:
        return read_po(file, locale=language)


def script_words() -> Mapping[str, str]:
    """The messages of scripts in the language of this request; empty in English, which the scripts hold."""
    return _script_words(spoken())


@lru_cache(maxsize=len(LANGUAGES))
def _script_words(language: str) -> Mapping[str, str]:
    if language == ENGLISH:
        return {}
    return {
        str(message.id): str(message.string)
        for message in _messages(language)
        if message.id and any(place.endswith(".js") for place, _ in message.locations)
    }


@lru_cache(maxsize=len(LANGUAGES))
def catalogue(language: str) -> NullTranslations:
    """The compiled catalogue of a language; that of English hands messages back."""
    if language == ENGLISH:
        return NullTranslations()
    compiled = io.BytesIO()
    write_mo(compiled, _messages(language))
    compiled.seek(0)
    return Translations(compiled)


def translate(message: str) -> str:
    """A message in the language of this request; ``_`` in Python and in templates."""
    return catalogue(spoken()).gettext(message) if message else ""


def message_words(message: str, /, **values: object) -> Markup:
    """A message of a template in the language of this request, as HTML: its ``%(name)s`` filled with escaped ``values``."""
    return _message(spoken(), message) % values if values else _whole(spoken(), message)


@lru_cache(maxsize=_MESSAGES)
def _message(language: str, message: str) -> Markup:
    return Markup(catalogue(language).gettext(message) if message else "")


@lru_cache(maxsize=_MESSAGES)
def _whole(language: str, message: str) -> Markup:
    # Without values it is a format all the same, in which %% stands for one sign.
    return _message(language, message) % {}


def translate_plural(one: str, many: str, number: int) -> str:
    """The form of a message that fits ``number``."""
    return catalogue(spoken()).ngettext(one, many, number)


def mark(message: str) -> str:
    """The message itself, marked for the catalogue where it is translated only when shown."""
    return message


def number_words(value: float, digits: int = 0) -> str:
    """A number with ``digits`` decimals and the language's decimal mark, ungrouped.

    >>> number_words(1234.5, 1)
    '1234.5'
    """
    return f"{value:.{digits}f}".replace(".", decimal_point())


def count_words(value: int) -> str:
    """A whole number in groups of three, as the language groups them.

    >>> count_words(65536)
    '65,536'
    """
    return f"{value:,}".replace(",", _signs(spoken())[1])


def length_words(mm: float, digits: int = 0) -> str:
    """A length in the units of the shop; ``digits`` are those of millimetres.

    >>> length_words(38.1, 1)
    '38.1 mm'
    """
    return measured().words(mm, digits)


def area_words(mm2: float, digits: int = 0) -> str:
    """An area in mm², or in in² for shops that think in inches or mils; ``digits`` are those of mm².

    >>> area_words(412.6)
    '413 mm²'
    """
    return " ".join(measured().area(mm2, digits))


def lengths_in(text: str) -> str:
    """A sentence that was worked out in mm with its lengths in the units of the shop; other words stay.

    >>> lengths_in("within 2 mm of the damage at x 12.0, y 3.0 mm")
    'within 2 mm of the damage at x 12.0, y 3.0 mm'
    """
    return measured().in_sentence(text)


def decimal_point() -> str:
    """What the language of this request writes between whole numbers and decimals."""
    return _signs(spoken())[0]


@lru_cache(maxsize=len(LANGUAGES))
def _signs(language: str) -> tuple[str, str]:
    """What a language writes between whole numbers and decimals, and between groups of three."""
    return str(get_decimal_symbol(language)), str(get_group_symbol(language))


def money_words(amount: object, currency: str) -> str:
    """An amount in the language's own form.

    >>> money_words("12.5", "EUR")
    '€12.50'
    """
    return format_currency(str(amount), currency, locale=spoken())


def day_words(at: date | datetime | None) -> str:
    """A date in the bench's own time zone; "" for none.

    English dates are ISO 8601, since those who read English differ on whether the day or the month comes first.
    """
    if at is None:
        return ""
    here = at.astimezone() if isinstance(at, datetime) else at
    return format_date(here, _ISO_DAY if spoken() == ENGLISH else "medium", locale=spoken())


def moment_words(at: datetime | None) -> str:
    """Date and time to the minute in the bench's own time zone; "" for none."""
    if at is None:
        return ""
    if spoken() == ENGLISH:
        return format_datetime(at.astimezone(), _ISO_MOMENT, locale=ENGLISH)
    return format_datetime(at.astimezone(), "short", locale=spoken())
