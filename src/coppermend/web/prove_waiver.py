"""A waiver from the return page: what is open goes back unproven, with its reason on record."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import InputError
from coppermend.job.release import holding
from coppermend.web.desk import Job
from coppermend.web.forms import SentForm
from coppermend.web.keeping import keep

router = APIRouter(include_in_schema=False)


@router.post("/jobs/{number}/waive")
def waive(request: Request, number: str, form: SentForm) -> Response:
    """Record that everything open now goes back unproven."""

    def body(job: Job) -> dict[str, Any]:
        items = holding(job.found.gate) if job.found else ()
        if not items:
            raise InputError("nothing is open", expected="a gate that has not passed")
        return {"reason": form.text("reason"), "items": list(items)}

    return keep(request, number, "return", "waiver", form, body, anchor="waiver")
