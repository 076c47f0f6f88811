"""Self-tests of the program as the user describes them on the prove page, and their withdrawal."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import InputError
from coppermend.proving.described import self_test_id, shown_proofs
from coppermend.web.desk import Job
from coppermend.web.forms import SentForm
from coppermend.web.keeping import keep
from coppermend.web.prove_bench import ticked

router = APIRouter(include_in_schema=False)


@router.post("/jobs/{number}/selftest")
def describe(request: Request, number: str, form: SentForm) -> Response:
    """Keep a description; or withdraw one by its id."""

    def body(job: Job) -> dict[str, Any]:
        if not form.flag("offered"):
            line = next((one for one in job.state.described if one.id == form.text("id")), None)
            if line is None:
                raise InputError(
                    f"no self-test {form.text('id')[:40]!r} is described", expected="one of the list"
                )
            told = {"title": line.title, "how": line.how, "shows": list(line.shows), "watched": line.watched}
            return {"id": line.id, **told, "offered": False}
        if job.found is None:
            raise InputError("this job has no board", expected="a board, chosen at receive")
        title, shows = form.text("title"), ticked(form, "show-")
        if not title or not shows:
            raise InputError(
                "a self-test lacks its name or what it shows", expected="a name, and a box ticked"
            )
        shown_proofs(job.found.proofs, shows)
        return {
            "id": self_test_id(title), "title": title, "how": form.text("how"), "shows": shows,
            "watched": form.text("watched") or "each", "offered": True,
        }  # fmt: skip

    return keep(request, number, "prove", "proof", form, body, anchor="selftest")
