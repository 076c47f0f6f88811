"""What commands about jobs share: where the record is, who writes in it, and one job as it stands."""

from __future__ import annotations

import getpass
from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.parttypes import standard_library
from coppermend.errors import InputError
from coppermend.job.assess import Assessment, assess
from coppermend.job.earlierfaults import history_for
from coppermend.job.home import DATA_VARIABLE, default_data
from coppermend.job.state import JobState, fold
from coppermend.job.store import Store

GIVE_BOARD = "give it a board with: coppermend job log {} board --board DIR"


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # no account for this user id, as in some containers
        return "technician"


def _folder(text: str) -> Path:
    """A folder's name; an empty one, as from a variable that is not set, would mean the current folder."""
    if not text:
        raise typer.BadParameter("is empty; expected a folder")
    return Path(text)


DataOption = Annotated[
    Path,
    typer.Option(
        "--data",
        parser=_folder,
        metavar="DIR",
        default_factory=default_data,
        show_default="that of the user",
        help=f"Folder of the record; {DATA_VARIABLE} sets it for good.",
    ),
]
WhoOption = Annotated[
    str, typer.Option("--who", default_factory=_user, show_default="user name", help="Who does this.")
]
ShopOption = Annotated[str, typer.Option("--shop", help="Name of the shop, for pages and papers.")]
LinkOption = Annotated[
    str, typer.Option("--bench-url", help="Address of the bench; the tag's code then opens the job there.")
]
JobArgument = Annotated[str, typer.Argument(metavar="JOB", help="Job number, such as 26-0042-U.")]


def state_of(store: Store, number: str) -> JobState:
    """Where a job stands by its record."""
    return fold(store.entries(number))


def assessment_of(store: Store, state: JobState) -> Assessment:
    """What follows from a job's record.

    Raises:
        InputError: If the job has no board yet.
    """
    if state.board is None:
        raise InputError(f"job {state.number} has no board yet; {GIVE_BOARD.format(state.number)}")
    board = store.board(state.board.sha256)
    return assess(board, standard_library(), state, history_for(store, board, state))
