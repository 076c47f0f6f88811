"""What comes in with the board: photos, the board it is, the damaged area as drawn or mapped."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.damage.area import area_to_geojson, parse_area
from coppermend.errors import CoppermendError, InputError
from coppermend.job.validate import check_stage
from coppermend.web.desk import Job, desk_of
from coppermend.web.files import picture_type
from coppermend.web.forms import Form, SentForm, Upload
from coppermend.web.keeping import keep, refused
from coppermend.web.pages import author, see

router = APIRouter(include_in_schema=False)


@router.post("/jobs/{number}/photo")
def add_photos(request: Request, number: str, form: SentForm) -> Response:
    """Keep photos, one entry each."""
    desk, stage = desk_of(request), check_stage(form.text("stage"))
    job, who = desk.job(number), author(request, form)
    try:
        photos = [(upload, picture_type(upload.data, upload.name)) for upload in _chosen(form, "photo")]
        for upload, media_type in photos:
            sha256 = desk.store.attach(upload.data, upload.name, media_type)
            body = {"sha256": sha256, "name": upload.name, "media_type": media_type}
            body |= {"caption": form.text("caption")} if form.text("caption") else {}
            entry = desk.store.append(job.number, "photo", stage, body, who=who)
    except CoppermendError as error:
        return refused(request, job, stage, form, error)
    return see(f"/jobs/{job.number}/{stage}", form, anchor="photos", kept=entry.seq)


def _chosen(form: Form, name: str) -> tuple[Upload, ...]:
    uploads = form.uploads(name)
    if not uploads:
        raise InputError("no file was chosen", expected="at least one")
    return uploads


@router.post("/jobs/{number}/board")
def choose_board(request: Request, number: str, form: SentForm) -> Response:
    """Say which board of the library this is."""

    def body(_: Job) -> dict[str, str]:
        sha256 = form.text("board")
        if not sha256:
            raise InputError("no board was chosen", expected="one of the library")
        return {"name": desk_of(request).store.board(sha256).name, "sha256": sha256}

    return keep(request, number, "receive", "board", form, body)


@router.post("/jobs/{number}/damage")
def keep_damage(request: Request, number: str, form: SentForm) -> Response:
    """Keep the damaged area: drawn, as WKT or GeoJSON, or as a damage map; or that there is none."""

    def body(job: Job) -> dict[str, Any]:
        if job.board is None:
            raise InputError("this job has no board to draw on", expected="a board, chosen at receive")
        if form.text("none"):
            return {"area": {"type": "FeatureCollection", "features": []}}
        data, where = _area(form)
        area = parse_area(data, job.board, where)
        if not area.zones:
            raise InputError(
                "nothing in this map is damaged", expected="at least one px of 48 or more", where=where
            )
        return {"area": area_to_geojson(area)}

    return keep(request, number, "inspect", "damage", form, body, anchor="touched")


def _area(form: Form) -> tuple[bytes, str]:
    """The area's bytes and where they came from; a file counts more than what is drawn."""
    if uploads := form.uploads("map"):
        return uploads[0].data, uploads[0].name
    if not form.text("area"):
        raise InputError("no area was drawn", expected="at least one closed area, or a file")
    return form.text("area").encode(), "drawn area"
