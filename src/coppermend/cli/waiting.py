"""What a terminal shows while a command works for long: a bar on stderr, for people only."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from coppermend.underway import heard_by


@contextmanager
def shown_on_terminal(as_json: bool = False) -> Iterator[None]:
    """Inside, what long work tells is shown as a bar that goes away at the end; nothing for scripts."""
    console = Console(stderr=True)
    if as_json or not console.is_terminal:
        yield
        return
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.fields[count]}"))
    with Progress(*columns, console=console, transient=True) as progress:
        bar = progress.add_task("", total=None, count="")

        def show(done: int, total: int, words: str) -> None:
            count = f"{done + 1} of {total}" if total > 1 else ""
            progress.update(
                bar, description=words, completed=done, total=total or None, count=count, visible=True
            )

        with heard_by(show):
            yield
