"""Which of the given files is what, and what each says. Bytes in, records out; puts nothing together."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from coppermend.board.import_copper import Copper
from coppermend.board.import_gerber import copper_of
from coppermend.board.model import Layer
from coppermend.board.readers.excellon import DrillFile, Hole, parse_excellon
from coppermend.board.readers.gerber import GerberLayer, parse_gerber
from coppermend.board.readers.text import decode_text
from coppermend.errors import InputError
from coppermend.underway import told


class Source(NamedTuple):
    """One given file: its name (for errors and to guess what it is) and its content."""

    name: str
    data: bytes


_FILE_FUNCTION = re.compile(r"TF\.FileFunction,([A-Za-z]+)(?:,([^,*%\r\n]*))?(?:,([A-Za-z]+))?")
_LOOKS_LIKE_GERBER = re.compile(r"%FS|%MO|%AD|^[ \t]*(?:%TF|%?G0?4|G0?1)|\*\s*%", re.MULTILINE)
_CAD_ENDING = re.compile(
    r"\.(?:gbr|ger|gb[lr]|gt[lr]|g[kmo]\w?|gm\d+|pho|art|drl|xln|exc|ncd|nc|tap)$", re.IGNORECASE
)
# File names by habit of CAD programs (common practice, no source), for files without .FileFunction.
_BY_NAME: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (role, re.compile(pattern, re.IGNORECASE))
    for role, pattern in (
        ("top", r"\.(?:gtl|cmp)$|f[_.-]cu|(?:top|front).*(?:copper|cu\b|layer)|copper.*(?:top|front)"),
        ("bottom", r"\.(?:gbl|sol)$|b[_.-]cu|(?:bot|back).*(?:copper|cu\b|layer)|copper.*(?:bot|back)"),
        ("profile", r"\.(?:gko|gm1|gml|oln)$|edge[_.-]?cuts|outline|profile"),
    )
)
_MASKS = re.compile(r"mask|silk|paste|legend", re.IGNORECASE)


def _base(name: str) -> str:
    """The file's own name, without the folders it lies in."""
    return re.split(r"[\\/]", name)[-1]


class _Sorted(NamedTuple):
    layers: Mapping[Layer, GerberLayer]
    profile: GerberLayer | None
    drills: Sequence[DrillFile]
    notes: tuple[str, ...]


def read_gerber_sources(sources: Sequence[Source]) -> Copper:
    """The copper that a set of Gerber and drill files describes.

    Args:
        sources: Any files of one set; masks, legends and the like are left out.

    Raises:
        InputError: If a file cannot be read, two claim to be the same layer, or no copper layer is there.
    """
    found = _sort(sources)
    if not found.layers:
        raise InputError(
            "no copper layer among the Gerber files",
            expected="a file whose .FileFunction is Copper, or named like F_Cu.gbr",
            where=sources[0].name,
        )
    holes = tuple(_with_plating(hole, drill) for drill in found.drills for hole in drill.holes)
    copper = copper_of(found.layers, found.profile, holes)
    return copper.with_notes(*found.notes)


def _sort(sources: Sequence[Source]) -> _Sorted:
    layers: dict[Layer, GerberLayer] = {}
    profile: GerberLayer | None = None
    drills: list[DrillFile] = []
    left_out: list[str] = []
    for source in told(sources, len(sources), "Reading the files"):
        text = decode_text(source.data, source.name)
        if _looks_like_drills(text):
            drills.append(parse_excellon(text, source.name))
            continue
        role = _role(source.name, text)
        if role not in ("top", "bottom", "profile"):
            left_out.append(_base(source.name))
            continue
        layer = parse_gerber(text, source.name)
        if role == "profile" and profile is None:
            profile = layer
        elif role in ("top", "bottom") and role not in layers:
            layers[role] = layer  # type: ignore[index]
        else:
            raise InputError(f"a second file is the {role} layer", expected="one of each", where=source.name)
    notes = [f"left out: {', '.join(left_out)}"] if left_out else []
    if profile is None:
        notes.append("no outline layer among the Gerber files")
    return _Sorted(dict(sorted(layers.items(), reverse=True)), profile, drills, tuple(notes))


def _looks_like_drills(text: str) -> bool:
    """Whether M48, which opens a drill file's header, is the first word that is no comment."""
    lines = (line.strip() for line in text[:20_000].splitlines())
    return next((line for line in lines if line not in ("", "%") and line[0] != ";"), "").startswith("M48")


def _role(name: str, text: str) -> str:
    """top, bottom, profile, or something else that is left out.

    Raises:
        InputError: If a file named like a Gerber or drill file is neither.
    """
    if found := _FILE_FUNCTION.search(text[:20_000]):
        function, _, side = found.groups()
        if function == "Copper":
            return {"top": "top", "bot": "bottom"}.get((side or "").lower(), "inner")
        return "profile" if function == "Profile" else "other"
    by_name = next((role for role, pattern in _BY_NAME if pattern.search(_base(name))), "")
    gerber = bool(_LOOKS_LIKE_GERBER.search(text[:20_000]))
    if not gerber and (by_name or _CAD_ENDING.search(name)):
        raise InputError(
            "neither Gerber nor Excellon", expected="%FS... or M48 near its start", where=name, line=1
        )
    return by_name if gerber and not _MASKS.search(_base(name)) else "other"


def _with_plating(hole: Hole, drill: DrillFile) -> Hole:
    """Plating from the file's name where the file does not say; plated unless the name says NPTH."""
    if hole.plated is not None:
        return hole
    return hole._replace(
        plated=not re.search(r"npth|non.?plated|unplated", _base(drill.where), re.IGNORECASE)
    )
