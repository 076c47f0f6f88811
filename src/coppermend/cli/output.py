"""What every command prints with: one JSON document, or plain tables for people."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.table import Table

JsonFlag = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]

# highlight off: part numbers and points are not to be coloured as if they were numbers of a program.
console = Console(highlight=False, soft_wrap=True)


def emit(document: Mapping[str, Any], as_json: bool, show: Callable[[], None]) -> None:
    """Print ``document`` as JSON, or let ``show`` print it for people."""
    if as_json:
        typer.echo(json.dumps(document, ensure_ascii=False, indent=2))
    else:
        show()


def table(title: str, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Print a table, or nothing when it has no rows."""
    made = Table(*columns, title=title, title_justify="left", box=None, pad_edge=False, header_style="bold")
    for row in rows:
        made.add_row(*(_cell(value) for value in row))
    if made.row_count:
        console.print(made)
        console.print()


def _cell(value: object) -> str:
    # Brackets in net names must not be read as rich's markup.
    text = ", ".join(map(str, value)) if isinstance(value, list | tuple) else str(value)
    return text.replace("[", r"\[")


def say(*lines: str) -> None:
    """Print plain lines without any markup."""
    for line in lines:
        console.print(line, markup=False)
