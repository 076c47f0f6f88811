"""Typst behind one function: a template, its data and pictures in, PDF or PNG out. Knows no job."""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any, cast

import font_source_sans_pro
import typst

# Bundled by the package, so that a paper looks the same on every machine and in twenty years.
_FONTS = Path(font_source_sans_pro.__file__).parent / "files"
# Its stubs leave out that several files may be given at once as a dictionary.
_compile: Any = typst.compile


def _inputs(template: str, data: Mapping[str, Any], pictures: Mapping[str, bytes]) -> dict[str, bytes]:
    folder = resources.files("coppermend.papers.templates")
    common = folder.joinpath("common.typ").read_bytes()
    main = folder.joinpath(f"{template}.typ").read_bytes()
    text = json.dumps(data, ensure_ascii=False).encode()
    return {"main": main, "common.typ": common, "data.json": text, **pictures}


def to_pdf(template: str, data: Mapping[str, Any], pictures: Mapping[str, bytes] | None = None) -> bytes:
    """Typeset ``template`` as PDF.

    Args:
        template: Name of a file in ``papers/templates`` without its ending.
        data: JSON types only; the template reads it as ``data.json``.
        pictures: File name -> SVG that the data refers to; files given in memory must be text, so a photo
            comes inside an SVG.
    """
    made = _compile(
        _inputs(template, data, pictures or {}), font_paths=[str(_FONTS)], ignore_system_fonts=True
    )
    return cast("bytes", made)


def to_png(
    template: str,
    data: Mapping[str, Any],
    pictures: Mapping[str, bytes] | None = None,
    *,
    dots_per_inch: float,
) -> list[bytes]:
    """Typeset ``template`` as one PNG per page at ``dots_per_inch``."""
    made = _compile(
        _inputs(template, data, pictures or {}),
        font_paths=[str(_FONTS)],
        ignore_system_fonts=True,
        format="png",
        ppi=dots_per_inch,
    )
    return made if isinstance(made, list) else [cast("bytes", made)]
