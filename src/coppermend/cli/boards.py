"""``coppermend board``: import, check, show, draw."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.check import check_board
from coppermend.board.draw import draw_board
from coppermend.board.importing import Source, import_board
from coppermend.board.model import Layer
from coppermend.board.parttypes import standard_library
from coppermend.board.summary import board_summary
from coppermend.cli.inputs import BoardArgument, TypesOption, board_at, library_with, read_bytes
from coppermend.cli.output import JsonFlag, emit, say, table
from coppermend.errors import InputError
from coppermend.job.files import save_board, write_atomically

app = typer.Typer(help="Board folders: import, check, show, draw.", no_args_is_help=True)

# Endings that CAD programs give Gerber and drill files (common practice, no source).
_FABRICATION_ENDINGS = {
    ".gbr", ".ger", ".gtl", ".gbl", ".gts", ".gbs", ".gto", ".gbo", ".gko", ".gm1", ".drl", ".xln", ".exc", ".txt",
}  # fmt: skip


def _fabrication_files(folder: Path) -> list[Source]:
    if not folder.is_dir():
        raise InputError("no such folder", expected="a folder of Gerber and drill files", where=str(folder))
    files = sorted(f for f in folder.iterdir() if f.suffix.lower() in _FABRICATION_ENDINGS and f.is_file())
    if not files:
        raise InputError(
            "no Gerber or drill file in it", expected="files such as *.gbr and *.drl", where=str(folder)
        )
    return [Source(str(f), read_bytes(f)) for f in files]


def _source(path: Path | None) -> Source | None:
    return Source(str(path), read_bytes(path)) if path else None


@app.command("import")
def import_(
    out: Annotated[Path, typer.Option("-o", "--out", metavar="DIR", help="Board folder to write.")],
    ipc356: Annotated[Path | None, typer.Option(metavar="FILE", help="IPC-D-356/356A netlist.")] = None,
    gerber: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder with Gerber X2 and Excellon files.")
    ] = None,
    parts: Annotated[Path | None, typer.Option(metavar="FILE", help="Parts list (CSV).")] = None,
    name: Annotated[str, typer.Option(help="Name of the board; else the folder's.")] = "",
    types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:
    """Make a board folder from IPC-D-356, Gerber X2 with Excellon, and a parts list."""
    if not (ipc356 or gerber):
        raise InputError("nothing to import", expected="--ipc356 FILE, --gerber DIR or both")
    board, notes = import_board(
        name=name or out.resolve().name,
        ipc356=_source(ipc356),
        gerber=_fabrication_files(gerber) if gerber else (),
        parts=_source(parts),
        library=library_with(types),
    )
    save_board(board, out)
    document = {**board_summary(board), "folder": str(out), "notes": list(notes)}

    def show() -> None:
        counts = document["counts"]
        say(f"{board.name}: " + ", ".join(f"{count} {kind}" for kind, count in counts.items()))
        say(*(f"note: {note}" for note in notes), f"written to {out}")

    emit(document, as_json, show)
    return 0


@app.command()
def check(board: BoardArgument, types: TypesOption = None, as_json: JsonFlag = False) -> int:
    """Find contradictions in a board folder; exit status 1 when there is an error."""
    findings = check_board(board_at(board), library_with(types))
    errors = sum(finding.severity == "error" for finding in findings)
    document = {
        "clean": errors == 0,
        "findings": [
            {"code": f.code, "severity": f.severity, "message": f.message, "subjects": list(f.subjects)}
            for f in findings
        ],
    }

    def show() -> None:
        table("", ("severity", "what", "finding"), [(f.severity, f.code, f.message) for f in findings])
        say(
            f"{errors} errors, {len(findings) - errors} other findings"
            if findings
            else "clean: nothing found"
        )

    emit(document, as_json, show)
    return 1 if errors else 0


@app.command()
def show(board: BoardArgument, types: TypesOption = None, as_json: JsonFlag = False) -> int:
    """Say what is on a board."""
    loaded, library = board_at(board), library_with(types)
    document = board_summary(loaded, library)

    def show_text() -> None:
        say(f"{loaded.name} {loaded.revision}".strip(), f"{loaded.width_mm:g} x {loaded.height_mm:g} mm")
        table("", ("what", "count"), document["counts"].items())
        rows = [(s["name"], s["title"], len(s["parts"])) for s in document["sections"]]
        table("sections", ("section", "what it is", "parts"), rows)
        parts = [(p.refdes, p.type or "?", p.value, p.section) for p in loaded.parts]
        table("parts", ("part", "type", "value", "section"), parts)

    emit(document, as_json, show_text)
    return 0


@app.command()
def draw(
    board: BoardArgument,
    out: Annotated[Path, typer.Option("-o", "--out", metavar="FILE", help="SVG file to write.")],
    side: Annotated[str, typer.Option(help="top, or bottom (mirrored as seen).")] = "top",
    as_json: JsonFlag = False,
) -> int:
    """Draw one side of a board as SVG."""
    sides: dict[str, Layer] = {"top": "top", "bottom": "bottom"}
    if side not in sides:
        raise InputError(f"side {side!r}", expected="top or bottom", where="--side")
    text = draw_board(board_at(board), side=sides[side], library=standard_library())
    write_atomically(out, text.encode())
    emit({"file": str(out), "side": side}, as_json, lambda: say(f"written to {out}"))
    return 0
