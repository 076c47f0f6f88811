"""How a text of sentences is put together: what joins it to others, and the seams between its pieces. Knows no language."""

from __future__ import annotations

from collections.abc import Iterator

_EDGE = " ,;:."


def parted(text: str) -> tuple[str, str, str]:
    """What joins a text to others before it, the text, and what joins it after it.

    >>> parted("; (no pin),")
    ('; (', 'no pin', '),')
    """
    core = text.strip(_EDGE)
    start = text.find(core) if core else 0
    before, after = text[:start], text[start + len(core) :]
    if core.startswith("(") and core.endswith(")") and "(" not in core[1:] and ")" not in core[:-1]:
        return before + "(", core[1:-1], ")" + after
    return before, core, after


def ways(core: str) -> Iterator[str]:
    """A text as it stands, and with its first letter the other way round."""
    yield core
    if core and core[0].isalpha():
        yield core[0].swapcase() + core[1:]


def split(text: str, seam: str) -> list[str]:
    """The pieces of a text between a seam, but not of what stands in brackets; what is named before a colon is one piece.

    >>> split("C1 (old, dry), R2", ", "), split("U3: pin 4: low", ": ")
    (['C1 (old, dry)', 'R2'], ['U3', 'pin 4: low'])
    """
    pieces, start, deep = [], 0, 0
    for at, sign in enumerate(text):
        deep += (sign == "(") - (sign == ")")
        if deep <= 0 and at >= start and text.startswith(seam, at):
            pieces.append(text[start:at])
            start = at + len(seam)
            if seam == ": ":
                break
    return [*pieces, text[start:]]


def capital(text: str) -> str:
    """A text with a large first letter; the others stay."""
    return text[:1].upper() + text[1:]
