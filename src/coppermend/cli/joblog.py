"""``coppermend job log``: a job's record printed, and entries added to it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from coppermend.cli.entrybody import Files, body_from_words, entry_files, json_object, refuse_absent
from coppermend.cli.output import JsonFlag, emit, say
from coppermend.cli.record import DataOption, JobArgument, WhoOption, assessment_of, state_of
from coppermend.cli.tree import examples
from coppermend.job.entry import STAGES, EntryKind
from coppermend.job.export import format_log
from coppermend.job.release import check_stage_allowed
from coppermend.job.state import JobState
from coppermend.job.store import Store
from coppermend.job.validate import KINDS, check_body, check_kind, check_stage

# Where an entry belongs when no stage is named; kinds that are not here belong where the job stands.
_HOME: dict[EntryKind, str] = {
    "job": "receive", "board": "receive", "damage": "inspect", "remedy": "plan", "strip": "strip",
    "reading": "copper", "jumper": "copper", "refit": "refit", "evidence": "prove", "waiver": "return",
    "trial": "prove", "decay": "prove", "proof": "prove",
    "paper": "return", "fingerprint": "receive",
}  # fmt: skip


@examples(
    "coppermend job log 26-0042-U",
    "coppermend job log 26-0042-U note text='Dry joint at RN1, resoldered.'",
    "coppermend job log 26-0042-U damage --area leak.geojson",
    "coppermend job log 26-0042-U reading a=U3.9 b=U7.2 ohms=0.3",
    "coppermend job log 26-0042-U strip refdes=C3 done=yes fate=discard",
    "coppermend job log 26-0042-U evidence proof=clock:CLK passed=yes",
    "coppermend job log 26-0042-U void seq=12 why='wrong pin'",
)
def log(
    job: JobArgument,
    data: DataOption,
    who: WhoOption,
    kind: Annotated[
        str, typer.Argument(metavar="KIND", help=f"Kind of entry to add: {', '.join(KINDS)}.", show_default=False)
    ] = "",
    words: Annotated[
        list[str] | None, typer.Argument(metavar="KEY=VALUE", help="What the entry holds.")
    ] = None,
    body: Annotated[str, typer.Option("--body", metavar="JSON", help="What it holds, as a JSON object.")] = "",
    stage: Annotated[
        str, typer.Option("--stage", help=f"One of {', '.join(STAGES)}; else the stage that the kind belongs to.")
    ] = "",
    board: Annotated[
        Path | None, typer.Option("--board", metavar="DIR", help="For kind board: the board folder.")
    ] = None,
    area: Annotated[
        Path | None, typer.Option("--area", metavar="FILE", help="For kind damage: the damaged area.")
    ] = None,
    file: Annotated[
        Path | None, typer.Option("--file", metavar="FILE", help="For kind photo: the picture.")
    ] = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Print a job's record, or add an entry to it: a reading, a tick, a note, a result, a correction.

    Nothing is ever changed or deleted: a later entry corrects an earlier one, and kind void takes one back.
    """
    files = Files(board, area, file)
    if not kind:
        files.refuse_without_kind(body)
        return _print(data, job, as_json)
    checked = check_kind(kind)
    typed = {**json_object(body), **body_from_words(checked, words or ())}
    files.refuse_other_kind(checked)
    with Store.open(data) as store:
        state = state_of(store, job)
        made = {**typed, **entry_files(store, state, files)}
        at = check_stage(stage or _home(checked, made, state))
        _check(store, state, checked, made)
        entry = store.append(job, checked, at, made, who=who)
    emit(
        {"job": entry.job, "seq": entry.seq},
        as_json,
        lambda: say(f"entry {entry.seq} of job {entry.job} is kept"),
    )
    return 0


def _print(data: Path, job: str, as_json: bool) -> int:
    with Store.open(data) as store:
        entries, document = store.entries(job), store.export_job(job)
    emit(document, as_json, lambda: say(*format_log(entries).splitlines()))
    return 0


def _home(kind: EntryKind, body: dict[str, Any], state: JobState) -> str:
    return str(body.get("stage", "")) if kind == "stage" else _HOME.get(kind, state.stage)


def _check(store: Store, state: JobState, kind: EntryKind, body: dict[str, Any]) -> None:
    """What cannot be taken back is checked first: form, then whether the board has what it names."""
    check_body(kind, body)
    if state.board is not None:
        if kind == "stage" and body["stage"] == "return":
            check_stage_allowed("return", assessment_of(store, state).release)
        refuse_absent(kind, body, store.board(state.board.sha256), lambda: assessment_of(store, state))
