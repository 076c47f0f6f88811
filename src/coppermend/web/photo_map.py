"""From a photo of the job to a damage map: points clicked, corrosion proposed, corrected by hand, kept as damage.

The proposal counts for nothing until it was looked at and kept; it stays beside the corrected map.
"""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

import cv2
from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.board.model import Board, Layer
from coppermend.damage.area import area_to_geojson, parse_area
from coppermend.damage.corrosion import corrosion_map, encode_map
from coppermend.damage.features import photo_canvas
from coppermend.damage.photo import Photo, read_photo
from coppermend.damage.points import parse_points
from coppermend.damage.rectify import rectify
from coppermend.damage.registration import register
from coppermend.errors import InputError, UnknownName
from coppermend.underway import tell
from coppermend.web.desk import Desk, Job, desk_of
from coppermend.web.errand_pages import begun
from coppermend.web.forms import Form, SentForm
from coppermend.web.keeping import keep
from coppermend.web.language import translate
from coppermend.web.pages import page, room_words
from coppermend.web.stages import stage_page

router = APIRouter(include_in_schema=False)
_STEPS = 4
_QUALITY = 88
_FOREVER = {"Cache-Control": "private, max-age=31536000, immutable"}


@router.get("/jobs/{number}/photo/{sha256}")
def show_photo_map(request: Request, number: str, sha256: str) -> Response:
    """Where points are clicked on a photo and the damage found in it is corrected."""
    desk = desk_of(request)
    job = desk.job(number)
    name = _photo_name(job, sha256)
    try:
        photo = _photo(desk.store.attachment(sha256), name)
    except InputError as error:
        return stage_page(request, job, "inspect", error=str(error), status=400)
    return page(
        request, "photo_map.html", job=job, name=name, sha256=sha256, photo=photo, places=_places(job.board),
        side=_side(request.query_params.get("side", "top")),
    )  # fmt: skip


@router.get("/jobs/{number}/photo/{sha256}/upright")
def show_upright(request: Request, number: str, sha256: str) -> Response:
    """The photo upright, as a JPEG that every browser shows."""
    desk = desk_of(request)
    name = _photo_name(desk.job(number), sha256)
    photo = _photo(desk.store.attachment(sha256), name)
    return Response(_jpeg(photo.rgb), media_type="image/jpeg", headers=_FOREVER)


@router.post("/jobs/{number}/photo/{sha256}/find")
def find_damage(request: Request, number: str, sha256: str, form: SentForm) -> Response:
    """Lay the photo over the drawing and propose a damage map; nothing is kept but the pictures.

    Who accepts an event stream is told where the work can be followed; others get the outcome.
    """
    desk = desk_of(request)
    job = desk.job(number)
    return begun(request, lambda: _found(desk, job, sha256, form), title=translate("Damage from the photo"))


def _found(desk: Desk, job: Job, sha256: str, form: Form) -> dict[str, Any]:
    """The registration, the proposed map and the straightened photo, both kept as attachments that nothing names yet."""
    board, name, side = _board(job), _photo_name(job, sha256), _side(form.text("side"))
    clicks, refine = parse_points(form.text("points"), "the points"), form.text("clicks_only") != "1"
    tell(0, _STEPS, "Reading the photo")
    read = _photo(desk.store.attachment(sha256), name)
    tell(1, _STEPS, "Laying the photo over the drawing")
    registration = register(read, board, clicks, side=side, refine=refine, where="the points")
    tell(2, _STEPS, "Looking for corrosion")
    severity = corrosion_map(read, board, registration.view, side)
    tell(3, _STEPS, "Straightening the photo")
    straight = rectify(read.rgb, registration.view.scaled(read.scale), photo_canvas(board))
    encoded = encode_map(severity), _jpeg(straight)
    tell(3, _STEPS, "Straightening the photo")
    return {
        **registration.to_json(),
        "notes": [room_words(note) for note in registration.notes],
        "map": desk.store.attach(encoded[0], "proposed-damage.png", "image/png"),
        "straight": desk.store.attach(encoded[1], "straightened.jpg", "image/jpeg"),
        "rows": severity.shape[0],
        "columns": severity.shape[1],
    }


@router.post("/jobs/{number}/photo/{sha256}/keep")
def keep_map(request: Request, number: str, sha256: str, form: SentForm) -> Response:
    """Keep the corrected map as the job's damage, with the proposal and the photo it came from."""

    def body(job: Job) -> dict[str, Any]:
        _photo_name(job, sha256)
        uploads = form.uploads("map")
        if not uploads:
            raise InputError("no damage map was sent", expected="a grey PNG at 4 px/mm")
        area = parse_area(uploads[0].data, _board(job), "the corrected map")
        store = desk_of(request).store
        store.attachment_info(form.text("proposed"))
        kept = store.attach(uploads[0].data, "damage.png", "image/png")
        extra = {"note": form.text("note")} if form.text("note") else {}
        if form.text("straight"):  # to be laid under the drawings of the stages
            extra["straight"] = store.attachment_info(form.text("straight")).sha256
        return {
            "area": area_to_geojson(area), "photo": sha256, "map": kept, "proposed": form.text("proposed"),
            "side": _side(form.text("side")), "registration": _json(form.text("registration")), **extra,
        }  # fmt: skip

    return keep(request, number, "inspect", "damage", form, body, anchor="touched")


def _json(text: str) -> Any:
    try:
        return json.loads(text or "null")
    except (ValueError, RecursionError):
        raise InputError("the registration is no JSON") from None


def _side(text: str) -> Layer:
    if text in ("", "top"):
        return "top"
    if text == "bottom":
        return "bottom"
    raise InputError(f"side {text[:40]!r}", expected="top or bottom")


def _board(job: Job) -> Board:
    if job.board is None:
        raise InputError("this job has no board to lay a photo over", expected="a board, chosen at receive")
    return job.board


def _photo_name(job: Job, sha256: str) -> str:
    """The name of a photo of this job.

    Raises:
        UnknownName: If the job has no such photo.
    """
    for photo in job.state.photos:
        if photo.sha256 == sha256:
            return photo.name
    raise UnknownName("photo", sha256[:12], f"job {job.number}")


def _places(board: Board | None) -> list[tuple[str, float, float]]:
    """Reference points of the board, and its corners, which every board has."""
    if board is None:
        return []
    w, h = board.width_mm, board.height_mm
    named = [(p.name, p.x_mm, p.y_mm) for p in board.reference_points]
    taken = {(round(x), round(y)) for _, x, y in named}
    corners = [
        ("lower left corner", 0.0, 0.0), ("lower right corner", w, 0.0),
        ("upper right corner", w, h), ("upper left corner", 0.0, h),
    ]  # fmt: skip
    return named + [c for c in corners if (round(c[1]), round(c[2])) not in taken]


@lru_cache(maxsize=2)
def _photo(data: bytes, name: str) -> Photo:
    """The decoded photo; remembered, since it is shown and then searched."""
    return read_photo(data, name)


def _jpeg(rgb: Any) -> bytes:
    done, made = cv2.imencode(
        ".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, _QUALITY]
    )
    assert done  # pixels can always be encoded
    return made.tobytes()
