"""``coppermend backup``, ``restore``, ``export``, ``verify`` and ``job erase``: keeping the record for decades."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from coppermend.cli.output import JsonFlag, counted, emit, say, say_whole, table
from coppermend.cli.record import DataOption, JobArgument, WhoOption
from coppermend.cli.tree import examples
from coppermend.cli.waiting import shown_on_terminal
from coppermend.job import backup as keeping
from coppermend.job.erase import erase_personal
from coppermend.job.manifest import Kept
from coppermend.job.retention import due_jobs, erase_due
from coppermend.job.shop import read_shop
from coppermend.job.store import Store, now


@examples("coppermend backup", "coppermend backup -o /media/stick/record.zip")
def backup(
    data: DataOption,
    out: Annotated[
        Path | None, typer.Option("-o", "--out", metavar="FILE", help="The new file; else named by date.")
    ] = None,
    as_json: JsonFlag = False,
) -> int:
    """Write the whole record to one file, while it may be in use, and read it back."""
    path = out or Path(f"coppermend-{now():%Y-%m-%d-%H%M%S}.zip")
    with Store.open(data) as store, shown_on_terminal(as_json):
        kept = keeping.backup(store, path)
    emit({"file": str(path), **kept.to_json()}, as_json, lambda: _say(kept, f"kept in {path}"))
    return 0


@examples("coppermend restore record.zip --data restored")
def restore(
    source: Annotated[Path, typer.Argument(metavar="FILE", help="A backup, or the folder of an export.")],
    data: DataOption,
    check: Annotated[bool, typer.Option("--check", help="Only read it back; restore nothing.")] = False,
    as_json: JsonFlag = False,
) -> int:
    """Make a record from a backup or an export, where there is none yet."""
    with shown_on_terminal(as_json):
        kept = keeping.check_backup(source) if check else keeping.restore(source, data)
    said = "sound" if check else f"restored to {data}"
    emit({"restored": not check, **kept.to_json()}, as_json, lambda: _say(kept, said))
    return 0


@examples("coppermend export record-2026")
def export(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A new folder.")],
    data: DataOption,
    as_json: JsonFlag = False,
) -> int:
    """Lay the whole record out in open formats: JSON per job, JSON lines and CSV per table, files."""
    with Store.open(data) as store, shown_on_terminal(as_json):
        kept = keeping.export(store, folder)
    emit({"folder": str(folder), **kept.to_json()}, as_json, lambda: _say(kept, f"laid out in {folder}"))
    return 0


@examples("coppermend verify")
def verify(data: DataOption, as_json: JsonFlag = False) -> int:
    """Read the whole record back and name what is damaged or missing."""
    with Store.open(data) as store, shown_on_terminal(as_json):
        troubles = store.verify()

    def show_text() -> None:
        say(*(trouble.message for trouble in troubles))
        say(counted(len(troubles), "trouble") if troubles else "the record is whole")

    emit({"troubles": [trouble.to_json() for trouble in troubles]}, as_json, show_text)
    return 1 if troubles else 0


@examples("coppermend job erase 26-0042-U --why 'asked for by letter of 3 March'")
def erase(
    job: JobArgument,
    data: DataOption,
    who: WhoOption,
    why: Annotated[str, typer.Option("--why", help="Why; it stays in the record.")],
    note: Annotated[
        list[int] | None,
        typer.Option("--note", metavar="SEQ", help="Also this note; may be given several times."),
    ] = None,
    as_json: JsonFlag = False,
) -> int:
    """Erase a customer's personal data from a job on request; the technical record stays."""
    with Store.open(data) as store:
        erased = erase_personal(store, job, why=why, who=who, notes=note or ())

    def show_text() -> None:
        say(f"job {erased.job}: personal data erased from {counted(len(erased.entries), 'entry', 'entries')}")
        say("backups made before still hold it: make a new one and delete those")
        if erased.papers:
            say(f"papers may still carry the name: entries {', '.join(map(str, erased.papers))}")

    emit(erased.to_json(), as_json, show_text)
    return 0


@examples("coppermend job due", "coppermend job due --erase")
def due(
    data: DataOption,
    who: WhoOption,
    erase_them: Annotated[
        bool, typer.Option("--erase", help="Erase the personal data of all that are listed.")
    ] = False,
    as_json: JsonFlag = False,
) -> int:
    """List finished jobs whose personal data is past the shop's period (``keep_years``); erase it when told."""
    with Store.open(data) as store:
        years = read_shop(store).keeps_years
        jobs = due_jobs(store, years)
        erased = erase_due(store, years, [job.number for job in jobs], who=who) if erase_them else ()

    def show_text() -> None:
        if years is None:
            say("no period is set: coppermend shop set keep_years=10")
        table(
            "",
            ("job", "last entry", "customer"),
            [(j.number, f"{j.changed:%Y-%m-%d}", j.customer) for j in jobs],
        )
        say(f"{counted(len(jobs), 'job')} past {years} years" if years else "nothing is due")
        if erased:
            say("erased; backups made before still hold it: make a new one and delete those")

    emit(
        {"years": years, "due": [j.to_json() for j in jobs], "erased": [e.to_json() for e in erased]},
        as_json,
        show_text,
    )
    return 0


def _say(kept: Kept, said: str) -> None:
    amounts = (counted(kept.jobs, "job"), counted(kept.entries, "entry", "entries"))
    say(f"{', '.join((*amounts, counted(kept.attachments, 'attachment')))}: {said}")
    say_whole(f"digest {kept.digest}")
