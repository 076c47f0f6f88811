"""``coppermend scan``: the job number on the tag in a photo."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from coppermend.cli.inputs import read_bytes
from coppermend.cli.output import JsonFlag, emit, say
from coppermend.cli.record import DataOption
from coppermend.cli.tree import examples
from coppermend.errors import UnknownName
from coppermend.job.state import JobState, fold
from coppermend.job.store import Store
from coppermend.papers.scan import scan_photo


@examples("coppermend scan tag.jpg")
def scan(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Photo of the tag.")],
    data: DataOption,
    as_json: JsonFlag = False,
) -> int:
    """Read the code of a tag from a photo, and say whose job it is."""
    found = scan_photo(read_bytes(file, "a photo of the tag"), str(file))
    state = _state(data, found.number) if found.number else None
    document: dict[str, Any] = {
        "number": found.number,
        "texts": list(found.texts),
        "known": state is not None,
    }

    def show_text() -> None:
        say(found.words)
        if state:
            say(", ".join(filter(None, (state.customer, state.machine, state.serial))))
        elif found.number:
            say("no job of this record: open one with: coppermend job new --marks 'tag " + found.number + "'")

    emit(document, as_json, show_text)
    return 0 if found.number else 1


def _state(data: Path, number: str) -> JobState | None:
    """The job of a number; None when it is of another record."""
    try:
        with Store.open(data) as store:
            return fold(store.entries(number))
    except UnknownName:
        return None
