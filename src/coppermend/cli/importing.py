"""``coppermend board import``: a board folder from IPC-D-356, Gerber X2 with Excellon, and a parts list."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.importing import Source, import_board
from coppermend.board.summary import board_summary
from coppermend.cli.inputs import TypesOption, library_with, read_bytes
from coppermend.cli.output import JsonFlag, counts_in_words, emit, say, say_next, say_whole
from coppermend.cli.tree import examples
from coppermend.cli.waiting import shown_on_terminal
from coppermend.errors import InputError
from coppermend.job.files import save_board

# Endings that CAD programs give Gerber and drill files (common practice, no source).
_FABRICATION_ENDINGS = {
    ".gbr", ".ger", ".gtl", ".gbl", ".gts", ".gbs", ".gto", ".gbo", ".gko", ".gm1", ".drl", ".xln", ".exc", ".txt",
}  # fmt: skip


@examples(
    "coppermend board import --gerber fab --ipc356 board.d356 --parts parts.csv -o boards/control",
    "coppermend board import --ipc356 board.d356 -o boards/control",
)
def import_(
    out: Annotated[Path, typer.Option("-o", "--out", metavar="DIR", help="Board folder to write.")],
    ipc356: Annotated[
        Path | None, typer.Option("--ipc356", metavar="FILE", help="IPC-D-356 or 356A netlist.")
    ] = None,
    gerber: Annotated[
        Path | None, typer.Option("--gerber", metavar="DIR", help="Folder with Gerber X2 and Excellon files.")
    ] = None,
    parts: Annotated[Path | None, typer.Option("--parts", metavar="FILE", help="Parts list (CSV).")] = None,
    name: Annotated[str, typer.Option("--name", help="Name of the board; else that of its folder.")] = "",
    types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:
    """Make a board folder from IPC-D-356, Gerber X2 with Excellon, and a parts list.

    Give --ipc356, --gerber or both; each source may have its own origin. Only Gerber brings tracks and whole
    net names.
    """
    if not (ipc356 or gerber):
        raise InputError("nothing to import", expected="--ipc356 FILE, --gerber DIR or both")
    with shown_on_terminal(as_json):
        board, notes = import_board(
            name=name.strip() or out.resolve().name,
            ipc356=_source(ipc356, "an IPC-D-356 file"),
            gerber=_fabrication_files(gerber) if gerber else (),
            parts=_source(parts, "a parts list (CSV)"),
            library=library_with(types),
        )
    save_board(board, out)
    document = {**board_summary(board), "folder": str(out), "notes": list(notes)}

    def show_text() -> None:
        say(f"{board.name}: {counts_in_words(document['counts'])}", *(f"note: {note}" for note in notes))
        say_whole(f"written to {out}")
        say_next("board", "check", out)

    emit(document, as_json, show_text)
    return 0


def _source(path: Path | None, expected: str) -> Source | None:
    return Source(str(path), read_bytes(path, expected)) if path else None


def _fabrication_files(folder: Path) -> list[Source]:
    wanted = "a folder of Gerber and drill files such as *.gbr and *.drl"
    if not folder.is_dir():
        raise InputError("no such folder", expected=wanted, where=str(folder))
    files = sorted(f for f in folder.iterdir() if f.suffix.lower() in _FABRICATION_ENDINGS and f.is_file())
    if not files:
        raise InputError("no Gerber or drill file in it", expected=wanted, where=str(folder))
    return [Source(str(f), read_bytes(f, "a Gerber or drill file")) for f in files]
