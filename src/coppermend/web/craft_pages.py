"""The craft behind each stage, in a page each, and the words of the trade. Knows nothing of any job."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.board.cautions import cautions_for
from coppermend.job.entry import STAGES
from coppermend.job.validate import check_stage
from coppermend.web.pages import next_stage, page
from coppermend.web.words import WORDS

router = APIRouter(include_in_schema=False)


@router.get("/craft")
def show_all(request: Request) -> Response:
    """The stages with their questions, and the way to the glossary."""
    return page(request, "craft/all.html")


@router.get("/craft/words")
def show_words(request: Request) -> Response:
    """The glossary."""
    return page(request, "craft/words.html", words=WORDS)


@router.get("/craft/{stage}")
def show_stage(request: Request, stage: str) -> Response:
    """What one should know at a stage.

    Raises:
        InputError: If there is no such stage.
    """
    check_stage(stage)
    at = STAGES.index(stage)
    return page(
        request,
        f"craft/{stage}.html",
        stage=stage,
        cautions=cautions_for(stage),
        before=STAGES[at - 1] if at else "",
        after=next_stage(stage),
    )
