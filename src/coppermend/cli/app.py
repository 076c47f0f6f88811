"""The command tree and the way it ends: 0 ok, 1 "no", 2 bad input with one line on stderr, 3 our fault."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping, Sequence
from typing import Any

import typer

from coppermend import __version__
from coppermend.cli.tree import Branch, CommandGroup, Leaf
from coppermend.errors import CoppermendError

_HERE = "coppermend.cli"
_DATABASE = (
    "COPPERMEND_DATABASE"  # as job.home has it; its room is not imported for commands without a record
)
COMMANDS: Mapping[str, Branch | Leaf] = {
    "board": Branch(
        "Board folders: import, check, show, draw.",
        {
            "import": Leaf(f"{_HERE}.importing", "import_", "Make a board folder from CAD files."),
            "check": Leaf(f"{_HERE}.checking", "check", "Find contradictions in a board folder."),
            "show": Leaf(f"{_HERE}.showing", "show", "Say what is on a board."),
            "draw": Leaf(f"{_HERE}.drawing", "draw", "Draw one side of a board as SVG."),
        },
    ),
    "damage": Branch(
        "What the damage touched.",
        {"touch": Leaf(f"{_HERE}.damage", "touch_", "Parts, copper and nets that the damage touched.")},
    ),
    "photo": Branch(
        "From a photo of the board to a damage map.",
        {
            "register": Leaf(f"{_HERE}.photo", "register_", "Lay a photo over the board drawing."),
            "map": Leaf(f"{_HERE}.photo", "map_", "Find corrosion in a photo: a damage map."),
        },
    ),
    "isolate": Branch(
        "What is at fault: suspects, and the most telling next measurement.",
        {
            "suspects": Leaf(f"{_HERE}.isolate", "suspects", "Rank what is wrong; say what to measure next."),
            "simulate": Leaf(f"{_HERE}.isolate", "simulate", "Try the search on planted faults."),
        },
        default="suspects",
    ),
    "strip": Leaf(f"{_HERE}.rework", "strip", "What comes off, in which order, and why."),
    "refit": Leaf(f"{_HERE}.rework", "refit", "Remedies on offer, what goes on again, and the kit."),
    "figure": Leaf(f"{_HERE}.figure", "figure", "Engineering figures, part markings, values."),
    "copper": Branch(
        "Prove that at-risk connections survived.",
        {
            "plan": Leaf(f"{_HERE}.copper", "plan", "The probes that prove every net at risk."),
            "expect": Leaf(f"{_HERE}.copper", "expect_", "What a meter should read between two points."),
        },
    ),
    "rom": Branch(
        "Program images: look over, compare, merge, adapt sockets, burn.",
        {
            "info": Leaf(f"{_HERE}.rom", "info", "Size, sums, vectors, likely CPU, text of an image."),
            "compare": Leaf(f"{_HERE}.rom", "compare_", "Why two images differ; a vote of several dumps."),
            "convert": Leaf(f"{_HERE}.rom", "convert", "Write an image in another format."),
            "merge": Leaf(f"{_HERE}.rom_merge", "merge_", "Several images into one for a larger device."),
            "split": Leaf(f"{_HERE}.rom_merge", "split_", "Take images out of one."),
            "adapt": Leaf(f"{_HERE}.rom_adapt", "adapt", "One device in place of old sockets, verified."),
            "selftest": Leaf(f"{_HERE}.rom_selftest", "selftest", "Firmware that tests a 6502 board."),
            "burn": Leaf(f"{_HERE}.rom_merge", "burn", "Sums, voltage and label; check what was read back."),
            "list": Leaf(f"{_HERE}.rom_shop", "list_", "What a job has to burn, and what is verified."),
            "known": Leaf(f"{_HERE}.rom_shop", "known", "The shop's list of known-good images."),
            "devices": Leaf(f"{_HERE}.rom", "devices_", "Memory devices, and how their pins differ."),
        },
    ),
    "prove": Branch(
        "Proofs, and the gate: is anything touched left unproven?",
        {
            "plan": Leaf(f"{_HERE}.prove", "plan", "The proofs that are still needed."),
            "gate": Leaf(f"{_HERE}.prove", "gate_", "Is anything that was touched left unproven?"),
            "matrix": Leaf(
                f"{_HERE}.prove_matrix", "matrix_", "The fewest closures that prove a switch matrix."
            ),
            "infer": Leaf(
                f"{_HERE}.prove_matrix", "infer_", "What is wrong with a matrix, from its reports."
            ),
            "drive": Leaf(f"{_HERE}.prove_drive", "drive", "Why lamps, coils or displays did not follow."),
            "holdup": Leaf(
                f"{_HERE}.prove_holdup", "holdup", "How long a memory will keep, from a few readings."
            ),
            "waive": Leaf(f"{_HERE}.prove_waive", "waive", "Let a job go back with its gate open."),
        },
    ),
    "job": Branch(
        "Jobs and their record: new, list, find, queue, show, log, walk, tag, report.",
        {
            "new": Leaf(f"{_HERE}.jobs", "new", "Log a board in: open a job."),
            "list": Leaf(f"{_HERE}.jobs", "list_", "List jobs, newest first."),
            "find": Leaf(f"{_HERE}.jobs", "find", "Find jobs by words; typing errors are forgiven."),
            "queue": Leaf(f"{_HERE}.jobs", "queue", "What is in the shop, by promised date."),
            "erase": Leaf(f"{_HERE}.keeping", "erase", "Erase a customer's personal data on request."),
            "due": Leaf(f"{_HERE}.keeping", "due", "Personal data that is past the shop's period."),
            "show": Leaf(f"{_HERE}.jobshow", "show", "Say where a job stands and what comes next."),
            "log": Leaf(f"{_HERE}.joblog", "log", "Print a job's record, or add an entry to it."),
            "walk": Leaf(f"{_HERE}.copper_walk", "walk", "Walk the probes one by one, each answer kept."),
            "tag": Leaf(f"{_HERE}.papers", "tag", "Make the return tag."),
            "report": Leaf(f"{_HERE}.papers", "report", "Make the return report for the customer."),
            "paper": Leaf(f"{_HERE}.shop", "paper", "Make a quote, invoice, list, sheet or kit label."),
        },
    ),
    "shop": Branch(
        "What the shop has set: name, currency, taxes, prices, paper.",
        {
            "show": Leaf(f"{_HERE}.shop", "show", "Say what the shop has set."),
            "set": Leaf(f"{_HERE}.shop", "set_", "Change settings."),
            "logo": Leaf(f"{_HERE}.shop", "logo", "Keep a logo for pages and papers."),
        },
    ),
    "shelf": Branch(
        "Parts in stock.",
        {
            "list": Leaf(f"{_HERE}.shelf", "list_", "List what is on the shelf."),
            "receive": Leaf(f"{_HERE}.shelf", "receive_", "Put parts on the shelf."),
            "count": Leaf(f"{_HERE}.shelf", "count", "Note what a stock take found."),
            "reserve": Leaf(f"{_HERE}.shelf", "reserve", "Reserve a job's kit."),
            "use": Leaf(f"{_HERE}.shelf", "use", "Take a job's kit off the shelf."),
            "order": Leaf(f"{_HERE}.shelf", "order", "List what to buy, by supplier."),
            "import": Leaf(f"{_HERE}.shelf", "import_", "Take a list over from CSV."),
            "export": Leaf(f"{_HERE}.shelf", "export", "Write the shelf as CSV."),
        },
    ),
    "scan": Leaf(f"{_HERE}.scan", "scan", "Read the code of a tag from a photo."),
    "learn": Leaf(f"{_HERE}.learn", "learn", "What the shop's own history says."),
    "people": Branch(
        "Who may sign in at a bench that is open to the network.",
        {
            "add": Leaf(f"{_HERE}.people", "add", "Let somebody sign in."),
            "list": Leaf(f"{_HERE}.people", "list_", "List who may sign in."),
            "phrase": Leaf(f"{_HERE}.people", "phrase", "Give somebody a new passphrase."),
            "remove": Leaf(f"{_HERE}.people", "remove", "Let somebody sign in no longer."),
        },
    ),
    "backup": Leaf(f"{_HERE}.keeping", "backup", "Write the whole record to one file."),
    "restore": Leaf(f"{_HERE}.keeping", "restore", "Make a record from a backup or an export."),
    "export": Leaf(f"{_HERE}.keeping", "export", "Lay the whole record out in open formats."),
    "verify": Leaf(f"{_HERE}.keeping", "verify", "Read the record back; name what is damaged."),
    "serve": Leaf(f"{_HERE}.serving", "serve", "Open the bench in a browser."),
    "demo": Leaf(f"{_HERE}.sample", "demo", "Run the whole sample job, start to finish."),
}


class _Root(CommandGroup):
    def __init__(self, **settings: Any) -> None:
        super().__init__(branches=COMMANDS, **settings)

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Without any argument, show the help."""
        return super().parse_args(ctx, args or ["--help"])


app = typer.Typer(
    cls=_Root,
    help="Bring battery-damaged control boards back: from arrival to return tag.",
    epilog="Exit status: 0 done, 1 the answer is no, 2 the input is wrong, 3 a fault of the program.",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _say_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"coppermend {__version__}")
        raise typer.Exit


@app.callback()
def root(
    version: bool = typer.Option(
        False, "--version", callback=_say_version, is_eager=True, help="Say the version and leave."
    ),
    database: str = typer.Option(
        "",
        "--database",
        metavar="URL",
        help="PostgreSQL database of the record, for several benches; COPPERMEND_DATABASE sets it for good.",
    ),
) -> None:
    """Bring battery-damaged control boards back: from arrival to return tag."""
    if database:
        os.environ[_DATABASE] = database


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    before = os.environ.get(_DATABASE, "")
    try:
        status = int(app(arguments, prog_name="coppermend", standalone_mode=False) or 0)
        sys.stdout.flush()  # a reader that has left, or a full disk, shall show here and not at the very end
    except (Exception, KeyboardInterrupt) as error:
        return _ended_by(error)
    finally:
        os.environ[_DATABASE] = before  # --database is for one run
    return status


def _ended_by(error: BaseException) -> int:
    """Say in one line why a run ended early; returns the exit status."""
    status = 2
    match error:
        case typer.TyperException():
            line = _usage(error)
        case CoppermendError():
            line = f"coppermend: {error}"
        case KeyboardInterrupt() | typer.Abort():
            status, line = 130, "coppermend: stopped; everything acknowledged so far is kept"
        case BrokenPipeError():
            # The reader of our output has left (head, less); nothing more can be said to it.
            _let_go_of_output()
            return 0
        case OSError():
            # Files are written by functions that turn their own troubles into ours: this is the output.
            _let_go_of_output()
            line = f"coppermend: cannot write the answer: {(error.strerror or str(error)).lower()}"
        case _ if os.environ.get("COPPERMEND_TRACE"):
            raise error
        case _:
            status = 3
            line = (
                f"coppermend: a fault of the program, not of your input: {type(error).__name__}: {error}. "
                "What was acknowledged is kept; set COPPERMEND_TRACE=1 to see where it happened"
            )
    _complain(line)
    return status


def _complain(line: str) -> None:
    """Say why in one line on stderr, whatever line ends and controls the words hold."""
    words = " ".join(line.split())
    print("".join(c if c.isprintable() else "?" for c in words), file=sys.stderr)


def _usage(error: typer.TyperException) -> str:
    """A wrong command line in one line, with the command it was for and where its help is."""
    context = getattr(error, "ctx", None)
    path = context.command_path if context else "coppermend"
    words = error.format_message().rstrip(".")
    return f"{path}: {words[:1].lower()}{words[1:]}; see {path} --help"


def _let_go_of_output() -> None:
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def main() -> None:
    """Entry point of the ``coppermend`` command."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show Ω, or a file name that is no text, must not end a run.
        stream.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    raise SystemExit(run())
