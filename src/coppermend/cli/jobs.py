"""``coppermend job new`` and ``job list``: logging boards in, and finding jobs again."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from coppermend.cli.inputs import board_at
from coppermend.cli.output import JsonFlag, counted, emit, say, table
from coppermend.cli.record import GIVE_BOARD, DataOption, WhoOption
from coppermend.cli.tree import examples
from coppermend.job.history import earlier_work
from coppermend.job.search import JobSummary
from coppermend.job.state import fold
from coppermend.job.store import Store


@examples(
    "coppermend job new --customer 'O. Penhallow' --machine 'Saltmarsh Ramble' --serial SR-00231 --board boards/control"
)
def new(
    customer: Annotated[str, typer.Option("--customer", help="Whose board it is.")],
    data: DataOption,
    who: WhoOption,
    complaint: Annotated[
        str, typer.Option("--complaint", help="What is wrong, in the customer's words.")
    ] = "",
    contact: Annotated[str, typer.Option("--contact", help="How to reach the customer.")] = "",
    machine: Annotated[str, typer.Option("--machine", help="The machine that the board is from.")] = "",
    serial: Annotated[str, typer.Option("--serial", help="Serial number of board or machine.")] = "",
    marks: Annotated[
        str, typer.Option("--marks", help="Marks on the board, such as the number of an earlier tag.")
    ] = "",
    condition: Annotated[str, typer.Option("--condition", help="Condition on arrival.")] = "",
    promised: Annotated[
        str, typer.Option("--promised", metavar="DATE", help="When it was promised for, such as 2026-03-31.")
    ] = "",
    board: Annotated[Path | None, typer.Option("--board", metavar="DIR", help="Board folder.")] = None,
    as_json: JsonFlag = False,
) -> int:
    """Log a board in: open a job, and say whether the board was here before."""
    header = {
        "customer": customer, "contact": contact, "machine": machine, "serial": serial,
        "marks": marks, "complaint": complaint, "condition": condition,
    } | ({"promised": promised} if promised else {})  # fmt: skip
    loaded = board_at(board) if board else None
    with Store.open(data) as store:
        number = store.new_job(header, who=who)
        if loaded:
            sha256 = store.add_board(loaded)
            store.append(number, "board", "receive", {"name": loaded.name, "sha256": sha256}, who=who)
        earlier = earlier_work(store, serial, marks, customer, besides=number)
        linked = fold(store.entries(number)).comebacks
    document = {
        "number": number, "earlier": [job.to_json() for job in earlier], "linked": [line.job for line in linked],
    }  # fmt: skip

    def show_text() -> None:
        say(f"job {number} is open")
        rows = [(e.job.number, f"{e.job.created:%Y-%m-%d}", e.job.machine, "; ".join(e.why)) for e in earlier]
        say(*(f"linked to job {line.job}: {line.why}" for line in linked))
        table("here before", ("job", "opened", "machine", "why"), rows)
        say(
            f"next: coppermend job log {number} damage --area FILE"
            if loaded
            else f"next: {GIVE_BOARD.format(number)}"
        )

    emit(document, as_json, show_text)
    return 0


@examples("coppermend job list", "coppermend job list --find penhallow")
def list_(
    data: DataOption,
    find: Annotated[
        str, typer.Option("--find", help="Only jobs with all these words anywhere in their record.")
    ] = "",
    as_json: JsonFlag = False,
) -> int:
    """List jobs, newest first."""
    with Store.open(data) as store:
        jobs = store.find(find) if find else store.jobs()

    def show_text() -> None:
        _say_jobs(jobs)
        if not jobs:
            say(
                "next: see all with coppermend job list"
                if find
                else "next: open one with coppermend job new --customer NAME"
            )

    emit({"jobs": [job.to_json() for job in jobs]}, as_json, show_text)
    return 0


@examples("coppermend job find penhallow", "coppermend job find 'leaked batery' --most 20")
def find(
    words: Annotated[
        list[str], typer.Argument(metavar="WORDS...", help="Words, parts of words, or a job's number.")
    ],
    data: DataOption,
    most: Annotated[int, typer.Option("--most", min=1, max=10_000, help="How many jobs to show.")] = 50,
    as_json: JsonFlag = False,
) -> int:
    """Find jobs by words anywhere in their record; typing errors are forgiven."""
    with Store.open(data) as store:
        found = store.search(" ".join(words), most)

    def show_text() -> None:
        for typed, meant in found.read_as:
            say(f"nothing has {typed}; it was read as {', '.join(meant)}")
        _say_jobs(found.jobs)
        if found.more:
            say("there are more; add a word, or raise --most")

    emit(found.to_json(), as_json, show_text)
    return 0 if found.jobs else 1


@examples("coppermend job queue")
def queue(
    data: DataOption,
    most: Annotated[int, typer.Option("--most", min=1, max=10_000, help="How many jobs to show.")] = 50,
    as_json: JsonFlag = False,
) -> int:
    """What is in the shop by promised date; what waits for parts comes last."""
    with Store.open(data) as store:
        jobs = store.queue(most)

    def show_text() -> None:
        rows = [(j.promised or "-", j.number, j.stage, j.customer, _parts_waiting(j.waiting)) for j in jobs]
        table("", ("promised", "job", "stage", "customer", "waits for"), rows)
        say(counted(len(jobs), "job"))

    emit({"jobs": [job.to_json() for job in jobs]}, as_json, show_text)
    return 0


def _parts_waiting(count: int) -> str:
    return counted(count, "lot") + " of parts" if count else ""


def _say_jobs(jobs: Sequence[JobSummary]) -> None:
    rows = [(j.number, j.stage, j.customer, j.machine, j.board, j.complaint) for j in jobs]
    table("", ("job", "stage", "customer", "machine", "board", "complaint"), rows)
    say(counted(len(jobs), "job"))
