"""The board drawing as a page shows it: both sides, and what a stage lays over them. Judges nothing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import shapely
from markupsafe import Markup

from coppermend.board.atrisk import HEAVY, LIGHT, MODERATE
from coppermend.board.draw import Overlay, sheet_box
from coppermend.board.draw_overlays import overlay_layer, patterns
from coppermend.board.draw_svg import Frame, number
from coppermend.board.model import LAYERS, Board, Layer
from coppermend.copper.records import Jumper
from coppermend.web.desk import Desk, Job
from coppermend.web.language import mark
from coppermend.web.sentences import say_titles

_SEVERITY = {"light": LIGHT, "moderate": MODERATE, "heavy": HEAVY, "sound": 0.0}
NO_PHOTOS: Mapping[Layer, str] = MappingProxyType({})
Box = tuple[float, float, float, float]  # left, bottom, right, top [mm]
_AROUND_MM = 22.0
_WORDS = {
    "damage": mark("damage"), "touched": mark("touched parts"), "strip": mark("comes off"), "probe": mark("probe"),
    "jumper": mark("jumpers"), "net": mark("net"), "suspect": mark("suspects"),
    "remedy": mark("changed by a remedy"), "proof": mark("to be proven"),
}  # fmt: skip


@dataclass(frozen=True)
class Sheet:
    """One side: its view box, its frame on the board, and the overlays as SVG content."""

    side: Layer
    view_box: str
    width_mm: float
    height_mm: float
    frame: Frame
    overlays: Markup
    photo: str = ""  # SHA-256 of a straightened photo of this side, seen from the top


@dataclass(frozen=True)
class Drawing:
    """Everything the drawing macro needs; ``layers`` are (kind, words) of the overlays that can be hidden.

    ``focus_mm`` is what is shown large at first, where scripts run.
    """

    sha256: str
    board: Board
    sheets: tuple[Sheet, ...]
    side: Layer
    layers: tuple[tuple[str, str], ...]
    focus_mm: Box | None = None


def drawing_of(
    desk: Desk, sha256: str, overlays: Sequence[Overlay] = (), side: Layer = "top",
    focus_mm: Box | None = None, *, photos: Mapping[Layer, str] = NO_PHOTOS,
) -> Drawing:  # fmt: skip
    """The drawing of a kept board with ``overlays`` on both sides, ``side`` shown first, over ``photos`` of its sides."""
    board = desk.board(sha256)
    kinds = dict.fromkeys(overlay.kind for overlay in overlays)
    layers = tuple((kind, _WORDS[kind]) for kind in kinds if kind in _WORDS)
    sheets = tuple(replace(_sheet(board, one, overlays), photo=photos.get(one, "")) for one in LAYERS)
    return Drawing(sha256, board, sheets, side, layers, focus_mm)


def _sheet(board: Board, side: Layer, overlays: Sequence[Overlay]) -> Sheet:
    frame, prefix = Frame.of(board, side), f"over-{side}"
    box = sheet_box(frame)
    content = patterns(prefix, {"damage", *(o.kind for o in overlays)}) + overlay_layer(
        board, frame, prefix, overlays
    )
    view_box = " ".join(map(number, box))
    said = Markup(say_titles(content))  # draw_overlays escapes names
    return Sheet(side, view_box, box[2], box[3], frame, said)


def stage_overlays(job: Job, stage: str) -> tuple[Overlay, ...]:
    """What the drawing of a stage shows besides the damage."""
    if job.board is None or job.found is None:
        return ()
    found, state = job.found, job.state
    made = [*damage_overlays(job)]
    if stage in ("inspect", "isolate", ""):
        made += _parts("touched", (part.refdes for part in found.touch.parts), job.board)
    if stage in ("plan", "strip"):
        left = (item for item in found.strip if not item.socket and item.refdes not in state.strip)
        made += _parts("strip", (item.part for item in left), job.board)
    if stage in ("plan", "refit", "return"):
        changed = (
            one.name for remedy in found.chosen for one in sorted(remedy.changes) if one.kind == "part"
        )
        made += _parts("remedy", changed, job.board)
    if stage in ("prove", "return"):
        unproven = (item.subject.name for item in found.gate.open if item.subject.kind == "part")
        made += _parts("proof", unproven, job.board)
    if stage in ("copper", "refit", "prove", "return", ""):
        made += jumper_overlays(job.board, found.copper.fitted)
    return tuple(made)


def damage_overlays(job: Job) -> Iterator[Overlay]:
    """The damaged area, one overlay a grade, light first so that heavy lies on top."""
    assert job.found is not None
    order = ("light", "moderate", "heavy")
    for grade, wkt in sorted(job.found.touch.areas, key=lambda area: order.index(area[0])):
        yield Overlay("damage", shape=shapely.from_wkt(wkt), severity=_SEVERITY[grade])


def probe_overlays(board: Board, net: str, a: str, b: str) -> tuple[Overlay, ...]:
    """A net, and the probe on it with its ends lettered."""
    on_net = [Overlay("net", (net,))] if net in board.nets else []
    if not _known(board, a, b):
        return tuple(on_net)
    return (*on_net, Overlay("probe", (a, b), label="A"), Overlay("probe", (b,), label="B"))


def jumper_overlays(board: Board, jumpers: Iterable[Jumper], label: str = "") -> list[Overlay]:
    """Jumpers along the run of their wires; with a label numbered from 1 after it."""
    return [
        Overlay(
            "jumper",
            (j.a, j.b),
            shapely.LineString(j.route) if len(j.route) > 1 else None,
            f"{label}{number}" if label else "",
        )
        for number, j in enumerate(jumpers, 1)
        if _known(board, j.a, j.b)
    ]


def around(board: Board, *points: str) -> Box | None:
    """The part of the board with these points in the middle; None when one of them has no place."""
    if not _known(board, *points):
        return None
    places = [board.index.place(point) for point in points]
    x, y = [p.x_mm for p in places], [p.y_mm for p in places]
    return min(x) - _AROUND_MM, min(y) - _AROUND_MM, max(x) + _AROUND_MM, max(y) + _AROUND_MM


def _parts(kind: str, refdes: Iterable[str], board: Board) -> list[Overlay]:
    known = dict.fromkeys(name for name in refdes if name in board.index.parts)
    return [Overlay(kind, (name,)) for name in known]  # type: ignore[arg-type]


def _known(board: Board, *points: str) -> bool:
    return all(p in board.index.vias or _is_pad(board, p) for p in points)


def _is_pad(board: Board, point: str) -> bool:
    refdes, _, pin = point.rpartition(".")
    return any(pad.pin == pin for pad in board.index.pads_of_part[refdes])
