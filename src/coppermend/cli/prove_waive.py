"""``coppermend prove waive``: let a job go back though its gate is open, with the reason on record."""

from __future__ import annotations

from typing import Annotated

import typer

from coppermend.cli.output import JsonFlag, counted, emit, say
from coppermend.cli.record import DataOption, JobArgument, WhoOption, assessment_of, state_of
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.job.release import holding
from coppermend.job.store import Store


@examples("coppermend prove waive 26-0042-U --reason 'the customer has the lamps and will test them himself'")
def waive(
    job: JobArgument,
    data: DataOption,
    who: WhoOption,
    reason: Annotated[str, typer.Option("--reason", help="Why it goes back unproven; the report prints it.")],
    as_json: JsonFlag = False,
) -> int:
    """Record that a job goes back although something touched is left unproven.

    The waiver names all that is open now; whatever opens later is not covered by it. The report prints it.
    """
    with Store.open(data) as store:
        state = state_of(store, job)
        open_now = holding(assessment_of(store, state).gate)
        if not open_now:
            raise InputError(f"job {state.number} has nothing open", expected="a gate that has not passed")
        entry = store.append(
            state.number, "waiver", "return", {"reason": reason, "items": list(open_now)}, who=who
        )

    def show_text() -> None:
        say(f"entry {entry.seq} of job {entry.job}: {counted(len(open_now), 'thing')} go back unproven")

    emit({"job": entry.job, "seq": entry.seq, "items": list(open_now)}, as_json, show_text)
    return 0
