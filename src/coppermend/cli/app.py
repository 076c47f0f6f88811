"""The command tree and the way it ends: 0 ok, 1 "no", 2 bad input with one line on stderr, 3 our fault."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

import typer

from coppermend import __version__
from coppermend.cli import analysis, bench, boards, jobs
from coppermend.errors import CoppermendError

app = typer.Typer(
    help="Bring battery-damaged control boards back: from arrival to return tag.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
app.add_typer(boards.app, name="board")
app.add_typer(analysis.damage_app, name="damage")
app.command("strip")(analysis.strip)
app.add_typer(analysis.copper_app, name="copper")
app.command("refit")(analysis.refit)
app.add_typer(analysis.prove_app, name="prove")
app.add_typer(jobs.app, name="job")
app.command("demo")(bench.demo)
app.command("serve")(bench.serve)


@app.callback(invoke_without_command=True)
def root(version: bool = typer.Option(False, "--version", help="Say the version and leave.")) -> None:
    """Bring battery-damaged control boards back: from arrival to return tag."""
    if version:
        typer.echo(f"coppermend {__version__}")
        raise typer.Exit


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    try:
        return int(app(arguments, standalone_mode=False) or 0)
    except (CoppermendError, typer.TyperException) as error:
        text = error.format_message() if isinstance(error, typer.TyperException) else str(error)
        print(f"coppermend: {' '.join(text.split())}", file=sys.stderr)
        return 2
    except (KeyboardInterrupt, typer.Abort):
        print("coppermend: stopped; everything acknowledged so far is kept", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our output has left (head, less); nothing more can be said to it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as fault:
        if os.environ.get("COPPERMEND_TRACE"):
            raise
        kind = type(fault).__name__
        print(
            f"coppermend: a fault of the program, not of your input: {kind}: {fault}. "
            "What was acknowledged is kept; set COPPERMEND_TRACE=1 to see where it happened",
            file=sys.stderr,
        )
        return 3


def main() -> None:
    """Entry point of the ``coppermend`` command."""
    raise SystemExit(run())
