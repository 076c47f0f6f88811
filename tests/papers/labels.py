"""A label as a picture whose code has 8 pixels a module, for degraded photos."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from coppermend.papers.code import modules, tag_text
from coppermend.papers.labelsize import parse_size
from coppermend.papers.tag import TagContent, tag_png

NUMBER = "26-0042-U"


def label_picture(size: str = "small") -> NDArray[Any]:
    """The printed label, grey, at about 8 pixels a module, on 1.5 mm of its own backing."""
    label = parse_size(size)
    tag = TagContent(NUMBER, "Sample control", "2026-11-28", "R. Tansy", ("Battery removed",), "Proven")
    printed = cv2.imdecode(np.frombuffer(tag_png(tag, label, 300), np.uint8), cv2.IMREAD_GRAYSCALE)
    dots = int(label.code_mm / 25.4 * 300 / modules(tag_text(NUMBER)))
    return cv2.resize(printed, None, fx=8 / dots, fy=8 / dots, interpolation=cv2.INTER_LINEAR)
