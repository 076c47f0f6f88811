"""``coppermend people``: who may sign in at a bench that is open to the shop's network."""

from __future__ import annotations

import getpass
import sys
from pathlib import Path
from typing import Annotated

import typer

from coppermend.cli.inputs import read_text
from coppermend.cli.output import JsonFlag, emit, say
from coppermend.cli.record import DataOption
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.job.people import People
from coppermend.job.store import Store, now

NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="Name as it stands in the record.")]
FileOption = Annotated[
    Path | None,
    typer.Option(
        "--phrase-file",
        metavar="FILE",
        help="Read the passphrase from the first line of FILE instead of asking for it.",
    ),
]


@examples('coppermend people add "R. Tansy"')
def add(name: NameArgument, data: DataOption, phrase_file: FileOption = None) -> int:
    """Let somebody sign in."""
    with Store.open(data) as store:
        People(store.engine).add(name, _phrase(phrase_file), now())
    say(f"{name} may sign in")
    return 0


@examples('coppermend people phrase "R. Tansy"')
def phrase(name: NameArgument, data: DataOption, phrase_file: FileOption = None) -> int:
    """Give somebody a new passphrase; they are signed out everywhere."""
    with Store.open(data) as store:
        People(store.engine).set_phrase(name, _phrase(phrase_file))
    say(f"{name} has a new passphrase and has to sign in again")
    return 0


@examples('coppermend people remove "R. Tansy"')
def remove(name: NameArgument, data: DataOption) -> int:
    """Let somebody sign in no longer; what they added to records stays."""
    with Store.open(data) as store:
        People(store.engine).remove(name)
    say(f"{name} can no longer sign in")
    return 0


@examples("coppermend people list")
def list_(data: DataOption, as_json: JsonFlag = False) -> int:
    """List who may sign in."""
    with Store.open(data) as store:
        people = People(store.engine).all()
    document = {"people": [{"name": one.name, "added": one.added.isoformat()} for one in people]}
    lines = [f"{one.name}, since {one.added:%Y-%m-%d}" for one in people] or ["nobody may sign in yet"]
    emit(document, as_json, lambda: say(*lines))
    return 0


def _phrase(file: Path | None) -> str:
    """The passphrase, from a file or asked twice; it never stands on the command line, where others can read it.

    Raises:
        InputError: If the two differ, or there is nobody to ask.
    """
    if file:
        return read_text(file, "a passphrase in its first line").partition("\n")[0].rstrip("\r")
    if not sys.stdin.isatty():
        raise InputError("nobody to ask for the passphrase", expected="a terminal, or --phrase-file FILE")
    first = getpass.getpass("Passphrase: ")
    if first != getpass.getpass("Once more: "):
        raise InputError("the two passphrases differ", expected="the same phrase twice")
    return first
