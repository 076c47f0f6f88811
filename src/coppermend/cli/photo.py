"""``coppermend photo register`` and ``photo map``: a photo laid over the board, and the damage seen in it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import numpy as np
import typer

from coppermend.board.model import Board, Layer
from coppermend.cli.inputs import board_at, read_bytes, read_text, refuse_unwritable
from coppermend.cli.output import JsonFlag, emit, say, say_next, table
from coppermend.cli.tree import examples
from coppermend.cli.waiting import shown_on_terminal
from coppermend.damage.corrosion import corrosion_map, encode_map
from coppermend.damage.maps import GRADE_STEPS, PX_PER_MM
from coppermend.damage.photo import Photo, read_photo
from coppermend.damage.points import parse_points
from coppermend.damage.registration import Registration, register
from coppermend.errors import InputError
from coppermend.job.files import write_atomically
from coppermend.underway import tell

_STEPS = 4

PhotoArgument = Annotated[
    Path, typer.Argument(metavar="PHOTO", help="Photo of one side of the board: JPEG, PNG, HEIC or WebP.")
]
BoardOption = Annotated[Path, typer.Option("--board", metavar="BOARD", help="Board folder, or a zip of one.")]
PointsOption = Annotated[
    Path,
    typer.Option(
        "--points",
        metavar="FILE",
        help='At least four points: [{"name", "board_mm": [x, y], "pixel": [u, v]}] (JSON).',
    ),
]
SideOption = Annotated[str, typer.Option("--side", metavar="top|bottom", help="Which side the photo shows.")]
NoRefineFlag = Annotated[
    bool,
    typer.Option("--clicks-only", help="Trust the clicked points; do not match the drawing to the photo."),
]


@examples("coppermend photo register top.jpg --board boards/control --points points.json")
def register_(
    photo: PhotoArgument,
    board: BoardOption,
    points: PointsOption,
    side: SideOption = "top",
    clicks_only: NoRefineFlag = False,
    as_json: JsonFlag = False,
) -> int:
    """Lay a photo over the board drawing: how its pixels become board mm, and how well the points agree."""
    with shown_on_terminal(as_json):
        _, _, found = _registered(photo, board, points, side, clicks_only)
    emit(found.to_json(), as_json, lambda: _show(found))
    return 0


@examples(
    "coppermend photo map top.jpg --board boards/control --points points.json -o leak.png",
    "coppermend photo map back.heic --board boards/control --points back.json --side bottom -o back.png",
)
def map_(
    photo: PhotoArgument,
    board: BoardOption,
    points: PointsOption,
    out: Annotated[Path, typer.Option("-o", "--out", metavar="FILE", help="Damage map to write (PNG).")],
    side: SideOption = "top",
    clicks_only: NoRefineFlag = False,
    as_json: JsonFlag = False,
) -> int:
    """Find corrosion in a photo and write it as a damage map: 4 px/mm, 48 light, 112 moderate, 176 heavy.

    The map is a proposal: look at it and correct it before it counts.
    """
    refuse_unwritable(out)
    with shown_on_terminal(as_json):
        picture, loaded, found = _registered(photo, board, points, side, clicks_only)
        tell(3, _STEPS, "Looking for corrosion")
        severity = corrosion_map(picture, loaded, found.view, _side(side))
    write_atomically(out, encode_map(severity))
    areas = {
        name: round(float(np.count_nonzero(severity >= step)) / PX_PER_MM**2, 2)
        for name, step in zip(("light", "moderate", "heavy"), GRADE_STEPS, strict=True)
    }
    document = {**found.to_json(), "mask": str(out), "px_per_mm": PX_PER_MM, "area_mm2_from": areas}

    def show_text() -> None:
        _show(found)
        say(
            f"damage: {areas['light']:,.0f} mm² light or worse, {areas['moderate']:,.0f} mm² moderate or worse, "
            f"{areas['heavy']:,.0f} mm² heavy",
            f"written to {out}; look at it and correct it before it counts",
        )
        say_next("damage", "touch", board, "--area", out)

    emit(document, as_json, show_text)
    return 0


def _registered(
    photo: Path, board: Path, points: Path, side: str, clicks_only: bool
) -> tuple[Photo, Board, Registration]:
    chosen = _side(side)
    clicks = parse_points(read_text(points, "reference points (JSON)"), str(points))
    tell(0, _STEPS, "Reading the board")
    loaded = board_at(board)
    data = read_bytes(photo, "a photo (JPEG, PNG, HEIC, WebP)")
    tell(1, _STEPS, "Reading the photo")
    picture = read_photo(data, str(photo))
    tell(2, _STEPS, "Laying the photo over the drawing")
    found = register(picture, loaded, clicks, side=chosen, refine=not clicks_only, where=str(points))
    return picture, loaded, found


def _side(side: str) -> Layer:
    if side == "top":
        return "top"
    if side == "bottom":
        return "bottom"
    raise InputError(f"side {side!r}", expected="top or bottom")


def _show(found: Registration) -> None:
    rows = [(p.name, f"{p.residual_mm:.2f} mm", "looks wrong" if p.suspect else "") for p in found.points]
    table("points", ("point", "off by", ""), rows)
    say(f"points agree to {found.rms_mm:.2f} mm (root mean square)")
    if found.matches:
        say(f"the drawing was found in {found.matches} places of the photo, to {found.match_mm:.2f} mm")
    say(*(f"note: {note}" for note in found.notes))
