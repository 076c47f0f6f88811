"""The pages' catalogues: take the words out of templates, Python and scripts, and bring each language up to date.

Usage:
    python tools/catalogue.py          bring every catalogue up to date; fails when a message is not translated
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_file
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).parents[1]
SOURCES = ROOT / "src" / "coppermend"
WEB = SOURCES / "web"
LOCALES = WEB / "locale"
# Words that pages show and rooms below write as plain text: (function, which of its arguments).
KEYWORDS = {
    "_": None,
    "translate": None,
    "mark": None,
    "gettext": None,
    "ngettext": (1, 2),
    "translate_plural": (1, 2),
}
CAUTIONS = {"Caution": (2,), "caution": (2,)}
STEPS = {"tell": (3,), "told": (3,)}  # what long work says of itself
_PLACEHOLDER = re.compile(r"%\((\w+)\)[sd]")
_TAG = re.compile(r"</?\w+>")


def sources() -> Iterator[tuple[Path, str, dict[str, object]]]:
    """Files that hold words, each with its extractor and the functions that mark them."""
    for path in sorted(WEB.rglob("*.html")):
        yield path, "coppermend.web.marking:extract", dict(KEYWORDS)
    for path in sorted(WEB.rglob("*.py")):
        yield path, "python", {**KEYWORDS, **STEPS}
    for path in sorted((WEB / "static").glob("*.js")):
        yield path, "javascript", {"_": None}
    yield SOURCES / "board" / "cautions.py", "python", dict(CAUTIONS)
    for path in sorted(SOURCES.rglob("*.py")):
        if WEB not in path.parents and "coppermend.underway import" in path.read_text("utf-8"):
            yield path, "python", dict(STEPS)


def wanted() -> Catalog:
    """A catalogue of every message that the program may show, untranslated."""
    found = Catalog(project="Coppermend", charset="utf-8")
    for path, method, keywords in sources():
        place = path.relative_to(ROOT).as_posix()
        for _line, message, comments, context in extract_from_file(method, str(path), keywords, (), {}):
            found.add(message, None, [(place, 1)], auto_comments=comments, context=context)
    return found


def updated(language: str) -> Catalog:
    """The catalogue of a language with new messages added and those gone left out."""
    with path_of(language).open("rb") as file:
        catalogue = read_po(file, locale=language)
    catalogue.update(wanted(), no_fuzzy_matching=True, update_header_comment=False)
    catalogue.obsolete.clear()
    return catalogue


def troubles(catalogue: Catalog) -> list[str]:
    """What is wrong with a catalogue, a line each: untranslated, other placeholders, other tags, a straight quote."""
    found = []
    for message in catalogue:
        if not message.id:
            continue
        ids = message.id if isinstance(message.id, tuple) else (message.id,)
        strings = message.string if isinstance(message.string, tuple) else (message.string,)
        for string in strings:
            if not string:
                found.append(f"not translated: {ids[0]}")
            elif signs(string) not in [signs(one) for one in ids]:
                found.append(f"other placeholders or tags than: {ids[0]}")
            elif '"' in string:
                found.append(f"a straight quote would end an attribute: {string}")
    return found


def signs(text: str) -> list[str]:
    """Placeholders and tags of a message, sorted."""
    return sorted([*_PLACEHOLDER.findall(text), *_TAG.findall(text)])


def path_of(language: str) -> Path:
    """Where the catalogue of a language lies."""
    return LOCALES / language / "LC_MESSAGES" / "coppermend.po"


def write_all(
    updated: Callable[[str], Catalog],
    path_of: Callable[[str], Path],
    troubles: Callable[[Catalog], list[str]],
) -> int:
    """Write the catalogue of every language anew and say what is wrong with it; 1 when anything is."""
    bad = 0
    for language in sorted(path.name for path in LOCALES.iterdir() if path.is_dir()):
        catalogue = updated(language)
        with path_of(language).open("wb") as file:
            write_po(file, catalogue, width=110, include_lineno=False, sort_by_file=True)
        wrong = troubles(catalogue)
        print(f"{path_of(language).stem} in {language}: {len(catalogue)}, {len(wrong)} wrong")
        for line in wrong[:20]:
            print(f"  {line}")
        bad += len(wrong)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(write_all(updated, path_of, troubles))
