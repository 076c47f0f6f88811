"""What every command prints with: one JSON document, or plain tables and lists for people, 80 columns wide."""

from __future__ import annotations

import json
import os
import shlex
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.table import Column, Table
from rich.text import Text

from coppermend.board.cautions import DEFERENCE, Caution

JsonFlag = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]

# highlight off: part numbers and points are not to be coloured as if they were numbers of a program.
console = Console(highlight=False, soft_wrap=True)


def emit(document: Mapping[str, Any], as_json: bool, show: Callable[[], None]) -> None:
    """Print ``document`` as JSON, or let ``show`` print it for people."""
    if not as_json:
        show()
        return
    utf8 = (getattr(sys.stdout, "encoding", None) or "utf-8").lower().replace("-", "") == "utf8"
    typer.echo(json.dumps(document, ensure_ascii=not utf8, allow_nan=False, indent=2))


def table(title: str, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Print a table, or nothing when it has no rows; what is too wide goes on in the next line, nothing is cut."""
    made = Table(
        *(Column(name, overflow="fold") for name in columns),
        title=title, title_justify="left", box=None, pad_edge=False, header_style="bold",
    )  # fmt: skip
    for row in rows:
        made.add_row(*(_cell(value) for value in row))
    if made.row_count:
        console.print(made)
        console.print()


def _cell(value: object) -> Text:
    # Text, not str: brackets in net names must not be read as markup.
    return Text(", ".join(map(str, value)) if isinstance(value, list | tuple) else str(value))


def say(*lines: str, indent: int = 0) -> None:
    """Print sentences, each on its own line, wrapped with what follows set in by two more columns."""
    for line in lines:
        console.print(_wrapped(line, indent), markup=False)


def say_whole(line: str) -> None:
    """Print a line in one piece, such as one that ends in a path to copy."""
    console.print(line, markup=False)


def say_next(*command: object) -> None:
    """Print the command that comes next, in one piece so that it can be copied."""
    console.print("next:", _called(), shlex.join(str(word) for word in command), markup=False)


def _called() -> str:
    """The program as the shell finds it: by name, or by the path it was started with where the name alone is not known."""
    started = Path(sys.argv[0])
    by_path = started.name == "coppermend" and not shutil.which("coppermend")
    return shlex.quote(os.path.relpath(started)) if by_path else "coppermend"


def _wrapped(line: str, indent: int) -> str:
    return textwrap.fill(
        line,
        max(console.width, 40),
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + 2),
        break_long_words=False,  # a path or a net name stays whole
        break_on_hyphens=False,
    )


def say_cautions(cautions: Sequence[Caution]) -> None:
    """Print the cautions of a step, and whom they defer to."""
    if cautions:
        say(*(f"caution: {caution}" for caution in cautions), DEFERENCE, "")


def counted(count: int, noun: str, plural: str = "") -> str:
    """A number with its noun.

    >>> counted(1, "probe"), counted(0, "open"), counted(2, "entry", "entries")
    ('1 probe', '0 opens', '2 entries')
    """
    return f"{count:,} {noun if count == 1 else plural or noun + 's'}"


def counts_in_words(counts: Mapping[str, int]) -> str:
    """Counts by their plural names, in one line.

    >>> counts_in_words({"parts": 3, "vias": 1})
    '3 parts, 1 via'
    """
    return ", ".join(counted(count, kind.removesuffix("s")) for kind, count in counts.items())
