"""``coppermend job``: open, list, show, log, tag, report. The record behind them is ``job.store``."""

from __future__ import annotations

import getpass
import json
import mimetypes
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from coppermend.board.parttypes import standard_library
from coppermend.cli.inputs import board_at, read_bytes
from coppermend.cli.output import JsonFlag, emit, say, table
from coppermend.damage.area import area_to_geojson, parse_area
from coppermend.errors import InputError
from coppermend.job.assess import Assessment, assess
from coppermend.job.entry import STAGES
from coppermend.job.export import format_log
from coppermend.job.files import write_atomically
from coppermend.job.history import earlier_work
from coppermend.job.home import default_data
from coppermend.job.state import JobState, fold
from coppermend.job.store import Store
from coppermend.papers.contents import report_content, tag_content
from coppermend.papers.report import Paper, report_pdf
from coppermend.papers.tag import tag_pdf, tag_png

app = typer.Typer(help="Jobs: open, list, show, log, tag, report.", no_args_is_help=True)


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # no account for this user id, as in some containers
        return "technician"


DataOption = Annotated[
    Path, typer.Option("--data", metavar="DIR", default_factory=default_data, help="The record.")
]
WhoOption = Annotated[str, typer.Option(default_factory=_user, help="Who does this.")]
JobArgument = Annotated[str, typer.Argument(metavar="JOB", help="Job number, such as 26-0001-9.")]
ShopOption = Annotated[str, typer.Option(help="Name of the shop on the paper.")]
LinkOption = Annotated[
    str, typer.Option("--bench-url", help="Address of the bench; the tag's code then opens the job.")
]


def _state(store: Store, number: str) -> JobState:
    return fold(store.entries(number))


def _assessment(store: Store, state: JobState) -> Assessment:
    if state.board is None:
        raise InputError(
            f"job {state.number} has no board yet",
            expected="a board: coppermend job log JOB board --board DIR",
        )
    return assess(store.board(state.board.sha256), standard_library(), state)


@app.command()
def new(
    customer: Annotated[str, typer.Option(help="Whose board it is.")],
    data: DataOption,
    who: WhoOption,
    complaint: Annotated[str, typer.Option(help="What is wrong, in the customer's words.")] = "",
    contact: Annotated[str, typer.Option()] = "",
    machine: Annotated[str, typer.Option()] = "",
    serial: Annotated[str, typer.Option()] = "",
    marks: Annotated[str, typer.Option(help="Marks on the board, such as an earlier tag.")] = "",
    condition: Annotated[str, typer.Option(help="Condition on arrival.")] = "",
    board: Annotated[Path | None, typer.Option(metavar="DIR", help="Board folder.")] = None,
    as_json: JsonFlag = False,
) -> int:
    """Log a board in: opens a job and says whether the board was here before."""
    header = {
        "customer": customer, "contact": contact, "machine": machine, "serial": serial,
        "marks": marks, "complaint": complaint, "condition": condition,
    }  # fmt: skip
    loaded = board_at(board) if board else None
    with Store.open(data) as store:
        number = store.new_job(header, who=who)
        if loaded:
            sha256 = store.add_board(loaded)
            store.append(number, "board", "receive", {"name": loaded.name, "sha256": sha256}, who=who)
        earlier = earlier_work(store, serial, marks, customer, besides=number)
    document = {"number": number, "earlier": [job.to_json() for job in earlier]}

    def show_text() -> None:
        say(f"job {number}")
        rows = [(e.job.number, f"{e.job.created:%Y-%m-%d}", e.job.machine, "; ".join(e.why)) for e in earlier]
        table("here before", ("job", "opened", "machine", "why"), rows)

    emit(document, as_json, show_text)
    return 0


@app.command("list")
def list_(
    data: DataOption,
    find: Annotated[str, typer.Option(help="Only jobs with these words.")] = "",
    as_json: JsonFlag = False,
) -> int:
    """List jobs, newest first."""
    with Store.open(data) as store:
        jobs = store.find(find) if find else store.jobs()

    def show_text() -> None:
        rows = [(j.number, j.stage, j.customer, j.machine, j.board, j.complaint) for j in jobs]
        table("", ("job", "stage", "customer", "machine", "board", "complaint"), rows)
        say(f"{len(jobs)} jobs")

    emit({"jobs": [job.to_json() for job in jobs]}, as_json, show_text)
    return 0


@app.command("show")
def show(job: JobArgument, data: DataOption, as_json: JsonFlag = False) -> int:
    """Say where a job stands: progress through the stages and what comes next."""
    with Store.open(data) as store:
        state = _state(store, job)
        found = _assessment(store, state) if state.board else None
    document: dict[str, Any] = {"job": state.to_json(), "assessment": found.to_json() if found else None}

    def show_text() -> None:
        say(f"job {state.number}: {state.customer}, {state.machine}", f"complaint: {state.complaint}")
        if found is None:
            say("next: give it a board with: coppermend job log JOB board --board DIR")
            return
        rows = [(p.stage, f"{p.done}/{p.total}", p.next_step) for p in found.progress]
        table("", ("stage", "done", "next"), rows)
        say(f"next: {found.next_step}")

    emit(document, as_json, show_text)
    return 0


@app.command()
def log(
    job: JobArgument,
    data: DataOption,
    who: WhoOption,
    kind: Annotated[str, typer.Argument(help="Kind of entry to add; leave out to print the record.")] = "",
    body: Annotated[str, typer.Option(help="Body of the entry as a JSON object.")] = "",
    stage: Annotated[str, typer.Option(help=f"One of {', '.join(STAGES)}; else where the job stands.")] = "",
    board: Annotated[
        Path | None, typer.Option(metavar="DIR", help="For kind board: the board folder.")
    ] = None,
    area: Annotated[
        Path | None, typer.Option(metavar="FILE", help="For kind damage: the damaged area.")
    ] = None,
    file: Annotated[Path | None, typer.Option(metavar="FILE", help="For kind photo: the picture.")] = None,
    as_json: JsonFlag = False,
) -> int:
    """Print a job's record, or add an entry to it (a reading, a tick, a note, a correction)."""
    with Store.open(data) as store:
        if not kind:
            entries = store.entries(job)
            emit(store.export_job(job), as_json, lambda: say(format_log(entries).rstrip()))
            return 0
        state = _state(store, job)
        made = {**_json_object(body), **_from_files(store, state, board, area, file)}
        entry = store.append(job, kind, stage or state.stage, made, who=who)
    emit(
        {"job": entry.job, "seq": entry.seq},
        as_json,
        lambda: say(f"entry {entry.seq} of job {entry.job} is kept"),
    )
    return 0


def _json_object(text: str) -> dict[str, Any]:
    if not text:
        return {}
    try:
        made = json.loads(text)
    except json.JSONDecodeError as error:
        raise InputError(error.msg, expected="a JSON object", where="--body", line=error.lineno) from None
    if not isinstance(made, dict):
        raise InputError("is no JSON object", expected='such as {"text": "..."}', where="--body")
    return made


def _from_files(
    store: Store, state: JobState, board: Path | None, area: Path | None, file: Path | None
) -> dict[str, Any]:
    """The part of an entry's body that a file on the command line stands for."""
    if board:
        loaded = board_at(board)
        return {"name": loaded.name, "sha256": store.add_board(loaded)}
    if area:
        if state.board is None:
            raise InputError(f"job {state.number} has no board to lay an area on", where=str(area))
        parsed = parse_area(read_bytes(area), store.board(state.board.sha256), str(area))
        return {"area": area_to_geojson(parsed)}
    if file:
        media_type = mimetypes.guess_type(file.name)[0] or "application/octet-stream"
        sha256 = store.attach(read_bytes(file), file.name, media_type)
        return {"sha256": sha256, "name": file.name, "media_type": media_type}
    return {}


def _today() -> str:
    return f"{datetime.now():%Y-%m-%d}"


def _write_paper(
    store: Store, state: JobState, what: str, out: Path, made: bytes, who: str
) -> dict[str, Any]:
    """Keep a paper in the record, then write it where the user wants it."""
    media_type = mimetypes.guess_type(out.name)[0] or "application/pdf"
    sha256 = store.attach(made, out.name, media_type)
    entry = store.append(
        state.number, "paper", "return", {"what": what, "sha256": sha256, "name": out.name}, who=who
    )
    write_atomically(out, made)
    return {"file": str(out), "sha256": sha256, "seq": entry.seq}


@app.command()
def tag(
    job: JobArgument,
    data: DataOption,
    who: WhoOption,
    out: Annotated[
        Path, typer.Option("-o", "--out", metavar="FILE", help="PDF, or PNG for a label printer.")
    ],
    shop: ShopOption = "",
    bench_url: LinkOption = "",
    as_json: JsonFlag = False,
) -> int:
    """Make the return tag, 60 x 100 mm, with the code that names the job."""
    with Store.open(data) as store:
        state = _state(store, job)
        found = _assessment(store, state)
        content = tag_content(
            found.board,
            standard_library(),
            state,
            found,
            who=who,
            date=_today(),
            shop=shop,
            bench_url=bench_url,
        )
        made = tag_png(content) if out.suffix.lower() == ".png" else tag_pdf(content)
        document = _write_paper(store, state, "tag", out, made, who)
    emit(document, as_json, lambda: say(f"tag written to {out}"))
    return 0


@app.command()
def report(
    job: JobArgument,
    data: DataOption,
    who: WhoOption,
    out: Annotated[Path, typer.Option("-o", "--out", metavar="FILE", help="PDF to write.")],
    paper: Annotated[str, typer.Option(help="a4 or us-letter.")] = "a4",
    shop: ShopOption = "",
    bench_url: LinkOption = "",
    as_json: JsonFlag = False,
) -> int:
    """Make the return report for the customer."""
    papers: dict[str, Paper] = {"a4": "a4", "us-letter": "us-letter"}
    if paper not in papers:
        raise InputError(f"paper {paper!r}", expected="a4 or us-letter", where="--paper")
    with Store.open(data) as store:
        state = _state(store, job)
        found = _assessment(store, state)
        content = report_content(
            found.board,
            standard_library(),
            state,
            found,
            who=who,
            date=_today(),
            shop=shop,
            bench_url=bench_url,
        )
        document = _write_paper(store, state, "report", out, report_pdf(content, papers[paper]), who)
    emit(document, as_json, lambda: say(f"report written to {out}"))
    return 0
