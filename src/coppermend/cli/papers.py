"""``coppermend job tag`` and ``job report``: papers made from the record, kept in it and written as files."""

from __future__ import annotations

import mimetypes
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from coppermend.board.lengths import Lengths
from coppermend.board.parttypes import standard_library
from coppermend.cli.inputs import refuse_unwritable, write_new
from coppermend.cli.output import JsonFlag, counted, emit, say, say_whole
from coppermend.cli.record import (
    DataOption,
    JobArgument,
    LinkOption,
    ShopOption,
    WhoOption,
    assessment_of,
    state_of,
)
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.job.assess import Assessment
from coppermend.job.logo import logo_of
from coppermend.job.shop import read_shop
from coppermend.job.state import JobState
from coppermend.job.store import Store
from coppermend.papers.contents import report_content, tag_content
from coppermend.papers.labelsize import SIZES, parse_size
from coppermend.papers.photos import report_photos
from coppermend.papers.pictures import logo_svg
from coppermend.papers.report import Paper, report_pdf
from coppermend.papers.tag import PRINTER_DPI, tag_pdf, tag_png

Make = Callable[[Store, JobState, Assessment, str], bytes]


def _paper(data: Path, job: str, what: str, out: Path, who: str, as_json: bool, make: Make) -> int:
    """Make a paper, write it, then note in the record that it was made; the date is today's."""
    refuse_unwritable(out)
    with Store.open(data) as store:
        state = state_of(store, job)
        found = assessment_of(store, state)
        made = make(store, state, found, f"{datetime.now():%Y-%m-%d}")
        media_type = mimetypes.guess_type(out.name)[0] or "application/pdf"
        sha256 = store.attach(made, out.name, media_type)
        write_new(out, lambda: made)  # before the entry: the record shall not tell of a paper nobody has
        body = {"what": what, "sha256": sha256, "name": out.name}
        entry = store.append(state.number, "paper", "return", body, who=who)
    document: dict[str, Any] = {"file": str(out), "sha256": sha256, "seq": entry.seq}

    def show_text() -> None:
        if not found.gate.passed:
            say(
                f"note: the gate has not passed, {counted(len(found.gate.open), 'thing')} unproven: the {what} says so"
            )
        say_whole(f"{what} written to {out}")

    emit(document, as_json, show_text)
    return 0


@examples(
    "coppermend job tag 26-0042-U -o tag.pdf --shop 'Fen Lane Board Works'",
    "coppermend job tag 26-0042-U -o tag.png --size 50x30 --dpi 300",
)
def tag(
    job: JobArgument,
    data: DataOption,
    who: WhoOption,
    out: Annotated[
        Path, typer.Option("-o", "--out", metavar="FILE", help="PDF, or PNG for a label printer.")
    ],
    shop: ShopOption = "",
    bench_url: LinkOption = "",
    size: Annotated[
        str, typer.Option("--size", help=f"{', '.join(SIZES)}, or width x height in mm such as 50x30.")
    ] = "tag",
    dots_per_inch: Annotated[
        int, typer.Option("--dpi", help="Dots per inch of the label printer, for PNG: 203 or 300.")
    ] = PRINTER_DPI[0],
    as_json: JsonFlag = False,
) -> int:
    """Make the return tag, in any size, with the code that names the job."""
    _refuse_other_ending(out, ".pdf", ".png")
    label = parse_size(size)

    def make(store: Store, state: JobState, found: Assessment, date: str) -> bytes:
        content = tag_content(
            found.board, standard_library(), state, found,
            who=who, date=date, shop=shop or read_shop(store).name, bench_url=bench_url,
        )  # fmt: skip
        if out.suffix.lower() == ".png":
            return tag_png(content, label, dots_per_inch)
        return tag_pdf(content, label)

    return _paper(data, job, "tag", out, who, as_json, make)


@examples("coppermend job report 26-0042-U -o report.pdf --paper us-letter")
def report(
    job: JobArgument,
    data: DataOption,
    who: WhoOption,
    out: Annotated[Path, typer.Option("-o", "--out", metavar="FILE", help="PDF to write.")],
    paper: Annotated[
        str, typer.Option("--paper", help="a4 or us-letter; that of the shop, unless named.")
    ] = "",
    shop: ShopOption = "",
    bench_url: LinkOption = "",
    no_photos: Annotated[
        bool, typer.Option("--no-photos", help="Without the photos of before and after (six at most).")
    ] = False,
    as_json: JsonFlag = False,
) -> int:
    """Make the return report for the customer: pictures, work done, readings, proofs, cautions."""
    papers: dict[str, Paper] = {"a4": "a4", "us-letter": "us-letter"}
    if paper and paper not in papers:
        raise InputError(f"no paper {paper!r}", expected="a4 or us-letter", where="--paper")
    _refuse_other_ending(out, ".pdf")

    def make(store: Store, state: JobState, found: Assessment, date: str) -> bytes:
        settings = read_shop(store)
        content = report_content(
            found.board, standard_library(), state, found,
            who=who, date=date, shop=shop or settings.name, bench_url=bench_url,
            photos=() if no_photos else report_photos(store, state), logo=logo_svg(*logo_of(store)),
            lengths=Lengths(settings.units),
        )  # fmt: skip
        return report_pdf(content, papers[paper or settings.paper])

    return _paper(data, job, "report", out, who, as_json, make)


def _refuse_other_ending(out: Path, *endings: str) -> None:
    if out.suffix.lower() not in endings:
        raise InputError(
            f"ends in {out.suffix or 'nothing'}", expected=f"a name in {' or '.join(endings)}", where=str(out)
        )
