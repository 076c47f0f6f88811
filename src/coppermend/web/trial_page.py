"""Trying the search for faults on a board whose faults are known, since they were planted. Computes nothing itself."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import CoppermendError, InputError
from coppermend.isolate.trial import MOST_FAULTS, Report, check_asked, trial_document, trial_on
from coppermend.job.number import check_number
from coppermend.web.apart import apart
from coppermend.web.desk import desk_of
from coppermend.web.errand_pages import worked_out
from coppermend.web.language import translate
from coppermend.web.pages import page, status_of
from coppermend.web.trial_drawing import measurements_svg

router = APIRouter(include_in_schema=False)
_FAULTS, _SEED = "20", "1"


@router.get("/boards/{sha256}/trial")
def show_trial(request: Request, sha256: str) -> Response:
    """How many faults to plant, and once they are searched for (``go``), how that went; as a file with ``as=json``."""
    desk, asked = desk_of(request), {key: text.strip() for key, text in request.query_params.items()}
    board = desk.board(sha256)
    shown = {"faults": asked.get("faults", _FAULTS), "seed": asked.get("seed", _SEED), "go": "1"}
    job = check_number(asked["job"]) if asked.get("job") else ""
    context: dict[str, Any] = {
        "board": board,
        "sha256": sha256,
        "job_number": job,
        "shown": shown,
        "most": MOST_FAULTS,
    }
    if not asked.get("go"):
        return page(request, "trial.html", report=None, **context)

    def work() -> Report:
        report = apart(trial_on, board, desk.library, faults, seed)
        desk.trials.hold((sha256, faults, seed), report)
        return report

    def show(request: Request, report: Report) -> Response:
        document = trial_document(board, seed, report)
        if asked.get("as") == "json":
            return _saved(f"trial-{faults}-{seed}.json", document)
        return page(
            request, "trial.html", report=report, document=document, drawing=measurements_svg(report),
again={**shown, "as": "json"}, **context,
        )  # fmt: skip

    try:
        faults, seed = _whole("faults", shown["faults"]), _whole("seed", shown["seed"])
        check_asked(faults, seed)
        if known := desk.trials.get((sha256, faults, seed)):
            return show(request, known)
        back = f"{request.url.path}?{urlencode({'faults': faults, 'seed': seed, 'job': job})}"
        return worked_out(request, work, show, title=translate("Searching for planted faults"), back=back)
    except CoppermendError as error:
        return page(request, "trial.html", status=status_of(error), report=None, error=str(error), **context)


def _whole(name: str, text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise InputError(f"{name} is {text!r:.40}", expected="a whole number from 0")
    return int(text)


def _saved(name: str, document: dict[str, Any]) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(json.dumps(document, indent=2), media_type="application/json", headers=headers)
