"""Return tag, return report and the shop's papers, made on request and kept with the job."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import CoppermendError, InputError
from coppermend.job.lessons import times_so_far
from coppermend.job.logo import logo_of
from coppermend.job.shelf import read_shelf, stock
from coppermend.job.store import now
from coppermend.papers.contents import report_content, tag_content
from coppermend.papers.labelsize import parse_size
from coppermend.papers.photos import report_photos
from coppermend.papers.pictures import logo_svg
from coppermend.papers.report import Paper, report_pdf
from coppermend.papers.said import plain
from coppermend.papers.shop_papers import Occasion, paper_body, paper_pdf
from coppermend.papers.tag import tag_pdf, tag_png
from coppermend.web.desk import Desk, Job, desk_of
from coppermend.web.forms import Form, SentForm
from coppermend.web.keeping import refused
from coppermend.web.language import ENGLISH, decimal_point, spoken, translate
from coppermend.web.pages import author, day, see
from coppermend.web.sentences import say

router = APIRouter(include_in_schema=False)
_PAPERS: dict[str, Paper] = {"a4": "a4", "us-letter": "us-letter"}


@router.post("/jobs/{number}/paper")
def make_paper(request: Request, number: str, form: SentForm) -> Response:
    """Make a paper from the record as it stands, and keep it."""
    desk = desk_of(request)
    job, who = desk.job(number), author(request, form)
    try:
        on = _occasion(desk, job, form, who)
        what, name, data = _made(desk, on, form)
        sha256 = desk.store.attach(data, name, "image/png" if name.endswith(".png") else "application/pdf")
        body = paper_body(what, on, sha256, name)
        entry = desk.store.append(job.number, "paper", "return", body, who=who)
    except CoppermendError as error:
        return refused(request, job, "return", form, error)
    return see(f"/jobs/{job.number}/return", form, anchor="papers", kept=entry.seq)


def _made(desk: Desk, on: Occasion, form: Form) -> tuple[str, str, bytes]:
    """What it is, its file name and the PDF.

    Raises:
        InputError: If the form asks for what there is not.
    """
    what, state, found, who, today, link = (
        form.text("what"),
        on.state,
        on.found,
        on.who,
        on.date,
        on.bench_url,
    )
    paper = form.text("paper") or on.shop.paper
    if paper not in _PAPERS:
        raise InputError(f"paper {paper[:40]!r}", expected=" or ".join(_PAPERS))
    shop = desk.shop or on.shop.name
    if what == "tag":
        tag = tag_content(
            found.board,
            desk.library,
            state,
            found,
            who=who,
            date=today,
            shop=shop,
            bench_url=link,
            say=on.say,
        )
        size = parse_size(form.text("size") or "tag")
        if not form.text("dpi"):
            return what, f"tag-{state.number}.pdf", tag_pdf(tag, size)
        return what, f"tag-{state.number}.png", tag_png(tag, size, form.number("dpi"))
    if what == "report":
        report = report_content(
            found.board, desk.library, state, found, who=who, date=today, shop=shop, bench_url=link,
            photos=report_photos(desk.store, state), logo=on.logo, lengths=on.lengths, say=on.say,
        )  # fmt: skip
        return what, f"report-{state.number}.pdf", report_pdf(report, _PAPERS[paper])
    return what, f"{what}-{state.number}.pdf", paper_pdf(what, on, _PAPERS[paper])


def paper_words(text: str) -> str:
    """A sentence or caution of ours in the language of this request: that of the shop, else of who makes the paper."""
    known = translate(text)
    return known if known != text else say(text)


def _occasion(desk: Desk, job: Job, form: Form, who: str) -> Occasion:
    """For which job a paper is made.

    Raises:
        InputError: If the job has no assessed board.
    """
    if job.found is None:
        raise InputError("papers need a board", expected="a board, chosen at receive")
    minutes = float(form.number("minutes")) if form.text("minutes") else None
    shelf = stock(read_shelf(desk.store), job.number)
    return Occasion(
        job.state,
        job.found,
        desk.settings(),
        who,
        day(now()),
        shelf,
        minutes,
        desk.bench_url,
        logo_svg(*logo_of(desk.store)),
        times_so_far(desk.store, job.found.board.name),
        paper_words if spoken() != ENGLISH else plain,
        decimal_point(),
    )
