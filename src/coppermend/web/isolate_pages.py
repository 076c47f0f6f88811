"""Keeping what was seen while looking for the fault. The page itself is a stage like the others."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import InputError
from coppermend.isolate.observations import observation
from coppermend.web.desk import Job
from coppermend.web.forms import SentForm
from coppermend.web.keeping import keep

router = APIRouter(include_in_schema=False)


@router.post("/jobs/{number}/observation")
def keep_observation(request: Request, number: str, form: SentForm) -> Response:
    """Keep one observation; a button's answer counts only where nothing was typed."""

    def body(job: Job) -> dict[str, Any]:
        if job.board is None:
            raise InputError("this job has no board", expected="a board, chosen at receive")
        value = form.text("value") or form.text("answer")
        if not value:
            raise InputError("nothing was seen", expected="a value such as low, 4.98 or OL")
        seen = observation(job.board, form.text("point"), form.text("kind"), value, form.text("condition"))
        return {"point": seen.point, "kind": seen.kind, "value": value, "condition": seen.condition}

    return keep(request, number, "isolate", "observation", form, body, anchor="measure")
