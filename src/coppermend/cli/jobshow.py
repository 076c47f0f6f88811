"""``coppermend job show``: where a job stands."""

from __future__ import annotations

from typing import Any

from coppermend.cli.output import JsonFlag, counted, emit, say, table
from coppermend.cli.record import GIVE_BOARD, DataOption, JobArgument, assessment_of, state_of
from coppermend.cli.tree import examples
from coppermend.job.assess import Assessment
from coppermend.job.history import later_work
from coppermend.job.state import JobState
from coppermend.job.store import Store
from coppermend.proving.records import Gate


@examples("coppermend job show 26-0042-U")
def show(job: JobArgument, data: DataOption, as_json: JsonFlag = False) -> int:
    """Say where a job stands: progress through the nine stages, the gate, and what comes next."""
    with Store.open(data) as store:
        state = state_of(store, job)
        found = assessment_of(store, state) if state.board else None
        later = later_work(store, state.number)
    document: dict[str, Any] = {"job": state.to_json(), "assessment": found.to_json() if found else None,
                                "later": [one.number for one in later]}  # fmt: skip

    def show_text() -> None:
        say(f"job {state.number}: {', '.join(filter(None, (state.customer, state.machine, state.serial)))}")
        if state.complaint:
            say(f"complaint: {state.complaint}")
        say(*(f"back from job {line.job}: {line.why}" for line in state.comebacks))
        say(*(f"came back as job {one.number}" for one in later))
        if state.time.minutes:
            quoted = f" of {state.quoted_minutes:.0f} quoted" if state.quoted_minutes else ""
            say(f"time: {state.time.minutes:.0f} min noted{quoted}")
        if found:
            _show_progress(state, found)
        else:
            say(f"next: {GIVE_BOARD.format(state.number)}")

    emit(document, as_json, show_text)
    return 0


def _show_progress(state: JobState, found: Assessment) -> None:
    say(f"board: {found.board.name}", f"stage: {state.stage}", "")
    rows = [(p.stage, f"{p.done}/{p.total}" if p.total else "-", p.next_step) for p in found.progress]
    table("", ("stage", "done", "still to do"), rows)
    say(*(f"note: {note}" for note in found.notes))
    say(f"gate: {_gate_words(found.gate)}")
    say(f"next: {found.next_step}")


def _gate_words(gate: Gate) -> str:
    if not (gate.open or gate.proven or gate.failed):
        return "nothing is recorded as touched yet"
    if gate.passed:
        return "passed, nothing touched is left unproven"
    return f"not passed, {counted(len(gate.open), 'thing')} unproven"
