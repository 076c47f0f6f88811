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

ENGLISH = "en"
_FOLDER = Path(__file__).parent / "locale"
LANGUAGES: Mapping[str, str] = {"en": "English", "de": "Deutsch"}
_ISO_DAY, _ISO_MOMENT = "yyyy-MM-dd", "yyyy-MM-dd HH:mm"
_WEIGHT = re.compile(r"\s*([a-zA-Z-]{1,20})\s*(?:;\s*q=([01](?:\.\d{1,3})?))?\s*")
_spoken: ContextVar[str] = ContextVar("language", default=ENGLISH)
_measured: ContextVar[str] = ContextVar("units", default="mm")
_MM_PER_INCH = 25.4  # exactly (international inch, 1959)
_UNITS: Mapping[str, tuple[float, int, str]] = {  # per mm, further decimals, sign
    "mm": (1.0, 0, "mm"), "inch": (1 / _MM_PER_INCH, 2, "in"), "mil": (1000 / _MM_PER_INCH, 0, "mil"),
}  # fmt: skip
_N = r"(-?\d+(?:\.\d+)?)"
_STATED = re.compile(  # two numbers with a bare comma between them are a place only after "at": AWG 30, 67 mm is none
    rf"(?<![\w./-])(?:{_N}(?:(, y | x ){_N})?|(?<=\bat ){_N}(, ){_N}) mm(?![\w²³/])"
)


def speak(language: str, units: str = "mm") -> None:
    """From here on in this request, speak ``language`` and show lengths in ``units``; English and mm when unknown."""
    _spoken.set(language if language in LANGUAGES else ENGLISH)
    _measured.set(units if units in _UNITS else "mm")


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
    return f"{value:.{digits}f}".replace(".", get_decimal_symbol(spoken()))


def count_words(value: int) -> str:
    """A whole number in groups of three, as the language groups them.

    >>> count_words(65536)
    '65,536'
    """
    return f"{value:,}".replace(",", get_group_symbol(spoken()))


def length_words(mm: float, digits: int = 0) -> str:
    """A length in the units of the shop; ``digits`` are those of millimetres.

    >>> length_words(38.1, 1)
    '38.1 mm'
    """
    factor, further, sign = _UNITS[_measured.get()]
    return f"{number_words(mm * factor, further + (digits if sign != 'mil' else 0))} {sign}"


def area_words(mm2: float, digits: int = 0) -> str:
    """An area in mm², or in in² for shops that think in inches or mils; ``digits`` are those of mm².

    >>> area_words(412.6)
    '413 mm²'
    """
    if _measured.get() == "mm":
        return f"{number_words(mm2, digits)} mm²"
    return f"{number_words(mm2 / _MM_PER_INCH**2, digits + 2)} in²"


def lengths_in(text: str) -> str:
    """A sentence that was worked out in mm with its lengths in the units of the shop; other words stay.

    Lengths are one number before ``mm``, or two joined as sizes and places are: ``3 x 4.5 mm``, ``x 3, y 4.5 mm``,
    ``at 3, 4.5 mm``.

    >>> lengths_in("within 2 mm of the damage at x 12.0, y 3.0 mm")
    'within 2 mm of the damage at x 12.0, y 3.0 mm'
    """
    if _measured.get() == "mm":
        return text
    factor, further, sign = _UNITS[_measured.get()]

    def written(number: str | None) -> str:
        if number is None:
            return ""
        digits = len(number.partition(".")[2]) if sign != "mil" else 0
        return f"{float(number) * factor:.{further + digits}f}"

    def instead(found: re.Match[str]) -> str:
        one, between, other = found.groups()[:3] if found[1] else found.groups()[3:]
        return f"{written(one)}{between or ''}{written(other)} {sign}"

    return type(text)(_STATED.sub(instead, text))


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
