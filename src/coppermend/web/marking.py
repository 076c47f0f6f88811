"""Marks every visible word of a template for translation while it is loaded, so that templates stay plain HTML.

A run of text between two tags is one message; what is printed in it becomes a placeholder named after what is printed,
and ``<b>``, ``<code>`` and their like stay in it. Words in attributes that are read to people are messages too. Not
messages: the content of ``<script>``, ``<style>``, ``<pre>``, of a ``<code>`` by itself, and of an element that says
``translate="no"`` (HTML, 3.2.6.3). Words inside an expression are marked by hand with ``_("...")``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any, BinaryIO

from jinja2.ext import Extension, babel_extract

SPOKEN_ATTRIBUTES = ("aria-label", "title", "placeholder", "alt", "data-good", "data-bad")
_JINJA = r"\{\{.*?\}\}|\{%.*?%\}|\{#.*?#\}"
_TOKEN = re.compile(
    rf"(?P<comment>\{{#.*?#\}})|(?P<statement>\{{%.*?%\}})|(?P<printed>\{{\{{.*?\}}\}})"
    rf'|(?P<tag></?(?:[a-zA-Z]|\{{\{{)(?>{_JINJA}|"(?>{_JINJA}|[^"])*"|[^>"])*>|<!(?:[^>])*>)',
    re.DOTALL,
)
_ATTRIBUTE = re.compile(rf'((?<![\w-])(?:{"|".join(SPOKEN_ATTRIBUTES)})=")((?>{_JINJA}|[^"])*)(")', re.DOTALL)
_TAG_NAME = re.compile(r"</?([a-zA-Z0-9]+)")
_INLINE = frozenset(("<b>", "<strong>", "<em>", "<i>", "<code>", "<kbd>", "<sup>", "<sub>"))
_UNSPOKEN = frozenset(("script", "style", "pre", "code"))
_UNIT = r"(?:mm²?|min|ms|ns|s|h|V|mV|Ω|bit|px/mm|AWG|A|B|CSV|JSON|CPU|RAM|PDF|R|D|W|U3\.9|V17|Coppermend)"
_ONLY_UNITS = re.compile(rf"(?:[\W\d_]|\b{_UNIT}\b)*")
_STRINGS = re.compile(r'"[^"]*"|\'[^\']*\'')
_NOT_NAMES = frozenset(
    ("if", "else", "not", "is", "in", "and", "or", "none", "true", "false", "loop", "parts", "ngettext")
)
Token = tuple[str, str]


class MarkWords(Extension):
    """Jinja extension that marks a template's words before it is compiled."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """The template with every run of words as a ``gettext`` call."""
        return marked(source)


def extract(
    file: BinaryIO, keywords: Sequence[str], comment_tags: Sequence[str], options: dict[str, Any]
) -> Iterator[tuple[int, str, str | tuple[str | None, ...] | None, list[str]]]:
    """Babel's extractor for our templates: (line, function, messages, comments)."""
    options = {**options, "extensions": "coppermend.web.marking.MarkWords", "newstyle_gettext": "true",
               "silent": "false", "trimmed": "true"}  # fmt: skip
    yield from babel_extract(file, keywords, comment_tags, options)


def marked(source: str) -> str:
    r"""A template with its words marked.

    >>> marked('<p title="Why">Of {{ board.name }} <b>all</b></p>')
    '<p title="{{ _("Why") }}">{{ _("Of %(name)s <b>all</b>", name=board.name) }}</p>'
    """
    made: list[str] = []
    for unspoken, tokens in _stretches(_tokens(source)):
        made.append(_unspoken(tokens) if unspoken else _marked_stretch(tokens))
    return "".join(made)


def _unspoken(tokens: Sequence[Token]) -> str:
    """An element whose content is not spoken; what its own tag says is."""
    first, *rest = (text for _, text in tokens)
    return "".join((first if 'translate="no"' in first else _marked_tag(first), *rest))


def _tokens(source: str) -> list[Token]:
    found: list[Token] = []
    at = 0
    for match in _TOKEN.finditer(source):
        if match.start() > at:
            found.append(("text", source[at : match.start()]))
        found.append((match.lastgroup or "text", match[0]))
        at = match.end()
    if at < len(source):
        found.append(("text", source[at:]))
    return found


def _stretches(tokens: Sequence[Token]) -> Iterator[tuple[bool, list[Token]]]:
    """Tokens cut where elements begin and end whose content is not spoken."""
    held: list[Token] = []
    closing, deep = "", 0
    for kind, text in tokens:
        name = _tag_name(text) if kind == "tag" else ""
        if closing:
            held.append((kind, text))
            deep += (name == closing) * (-1 if text.startswith("</") else 1)
            if deep == 0:
                yield True, held
                held, closing = [], ""
        elif name and _begins_unspoken(text, name):
            yield False, held
            held, closing, deep = [(kind, text)], name, 1
        else:
            held.append((kind, text))
    yield bool(closing), held


def _begins_unspoken(tag: str, name: str) -> bool:
    if tag.startswith("</") or tag in _INLINE:  # <code> inside a sentence stays in the sentence
        return False
    return name in _UNSPOKEN or 'translate="no"' in tag


def _tag_name(tag: str) -> str:
    found = _TAG_NAME.match(tag)
    return found[1].lower() if found else ""


def _marked_stretch(tokens: Sequence[Token]) -> str:
    made: list[str] = []
    run: list[Token] = []
    for kind, text in tokens:
        inline = kind == "tag" and (text in _INLINE or text.replace("/", "", 1) in _INLINE)
        if kind in ("text", "printed") or inline:
            run.append((kind, text))
            continue
        made += [_marked_run(run), _marked_tag(text) if kind == "tag" else text]
        run = []
    made.append(_marked_run(run))
    return "".join(made)


def _marked_tag(tag: str) -> str:
    return _ATTRIBUTE.sub(lambda m: m[1] + _marked_value(m[2]) + m[3], tag)


def _marked_value(value: str) -> str:
    return _marked_stretch([(kind if kind != "tag" else "text", text) for kind, text in _tokens(value)])


def _marked_run(run: list[Token]) -> str:
    """One run as a message, with what stands around it left outside; as it is when it holds no words."""
    if not _balanced(run):
        cuts = [i for i, (kind, _) in enumerate(run) if kind == "tag"]
        return _cut(run, cuts)
    first, last = 0, len(run)
    while first < last:
        if _blank(run[first]):
            first += 1
        elif _blank(run[last - 1]):
            last -= 1
        elif run[first][0] == "tag" and _closes(run, first) == last - 1:
            first, last = first + 1, last - 1
        else:
            break
    inner = run[first:last]
    if not _spoken(inner):
        return "".join(text for _, text in run)
    before = "".join(text for _, text in run[:first])
    after = "".join(text for _, text in run[last:])
    return before + _call(inner) + after


def _cut(run: list[Token], cuts: list[int]) -> str:
    made: list[str] = []
    at = 0
    for cut in cuts:
        made += [_marked_run(run[at:cut]), run[cut][1]]
        at = cut + 1
    return "".join([*made, _marked_run(run[at:])])


def _blank(token: Token) -> bool:
    return token[0] == "text" and not token[1].strip()


def _balanced(run: Sequence[Token]) -> bool:
    open_tags: list[str] = []
    for text in (text for kind, text in run if kind == "tag"):
        if not text.startswith("</"):
            open_tags.append(_tag_name(text))
        elif not open_tags or open_tags.pop() != _tag_name(text):
            return False
    return not open_tags


def _closes(run: Sequence[Token], first: int) -> int:
    """Where the element that begins at ``first`` ends; -1 for an end tag."""
    deep = 0
    for i in range(first, len(run)):
        if run[i][0] == "tag":
            deep += -1 if run[i][1].startswith("</") else 1
            if deep == 0:
                return i
    return -1


def _spoken(run: Sequence[Token]) -> bool:
    """Whether a run holds words, besides units and what stands in ``<code>``."""
    words, in_code = [], False
    for kind, text in run:
        if kind == "tag" and _tag_name(text) in ("code", "kbd"):
            in_code = not text.startswith("</")
        elif kind == "text" and not in_code:
            words.append(re.sub(r"&#?\w+;", " ", text))
    return not _ONLY_UNITS.fullmatch(" ".join(words))


def _call(run: Sequence[Token]) -> str:
    values: dict[str, str] = {}
    words: list[str] = []
    for kind, text in run:
        if kind != "printed":
            words.append(text.replace("%", "%%"))
            continue
        expression = text[2:-2].strip()
        name = _name(expression, values)
        values[name] = expression
        words.append(f"%({name})s")
    whole = "".join(words)
    lead = whole[: len(whole) - len(whole.lstrip())]
    tail = whole[len(whole.rstrip()) :]
    message = re.sub(r"\s*\n\s*", " ", whole.strip()).replace("\\", "\\\\").replace('"', '\\"')
    given = "".join(f", {name}={expression}" for name, expression in values.items())
    lines = "\n" * (whole.strip().count("\n") + sum(e.count("\n") for e in values.values()))
    return f'{lead}{{{{ _("{message}"{given}){lines} }}}}{tail}'


def _name(expression: str, taken: dict[str, str]) -> str:
    """A placeholder's name: the last thing that the expression names, numbered when that is taken."""
    plain = _STRINGS.sub("", expression)
    plain = re.sub(r"\|\s*[a-z_]\w*(?:\([^()]*\))?", "", plain)  # without filters
    names = [n for n in re.findall(r"[a-z][a-z_0-9]*", plain) if n not in _NOT_NAMES]
    base = names[-1] if names else "value"
    name, number = base, 1
    while name in taken and taken[name] != expression:
        number += 1
        name = f"{base}_{number}"
    return name
