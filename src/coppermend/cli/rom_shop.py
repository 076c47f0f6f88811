"""``coppermend rom known|list``: the shop's reference list, and what a job has to burn."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from coppermend.cli.inputs import read_text
from coppermend.cli.output import JsonFlag, counted, emit, say, table
from coppermend.cli.record import DataOption, JobArgument, WhoOption, state_of
from coppermend.cli.rom_inputs import bytes_at
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.job.burning import BurnLine, burn_lines
from coppermend.job.reference import add_known, drop_known, known_image, reference_rows
from coppermend.job.store import Store
from coppermend.rom.reference import parse_known_csv


@examples(
    "coppermend rom known", "coppermend rom known --image u3.bin --name 'program C, upper half'",
    "coppermend rom known --import good.csv", "coppermend rom known --drop 3",
)  # fmt: skip
def known(
    data_folder: DataOption, who: WhoOption,
    image: Annotated[Path | None, typer.Option("--image", metavar="FILE", help="Add the sums of this image.")] = None,
    name: Annotated[str, typer.Option("--name", metavar="TEXT", help="What it is; needed with --image.")] = "",
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="Where it was proven, or the like.")] = "",
    from_csv: Annotated[
        Path | None, typer.Option("--import", metavar="CSV", help="Add rows name, sha256 or sha1 or crc32, note.")
    ] = None,
    drop: Annotated[int | None, typer.Option("--drop", metavar="N", help="Take line N off the list.")] = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Show the shop's reference list of known-good images, add to it, or take a line off.

    The list holds names and sums, never contents. Pages use it by themselves; ``rom info --known`` takes a CSV.
    """
    if (image is None) != (name == ""):
        raise InputError("--image and --name", expected="both or none")
    with Store.open(data_folder) as store:
        added = 0
        if image:
            added += add_known(store, [known_image(name, bytes_at(image), note)], who=who)
        if from_csv:
            given = parse_known_csv(read_text(from_csv, "rows name,sha256,note (CSV)"), str(from_csv))
            added += add_known(store, given, who=who)
        if drop is not None:
            drop_known(store, drop)
        rows = reference_rows(store)
    document = {"added": added, "known": [row.to_json() for row in rows]}

    def show() -> None:
        if image or from_csv:
            say(f"{counted(added, 'line')} added")
        if not rows:
            say("the reference list is empty")
        table(
            "known-good images", ("line", "name", "crc32 or sha1", "note"),
            [(r.id, r.image.name, r.image.sums.get("crc32") or r.image.sums.get("sha1", "")[:16]
              or r.image.sums["sha256"][:16], r.image.note) for r in rows],
        )  # fmt: skip

    emit(document, as_json, show)
    return 0


@examples("coppermend rom list 26-0042-U")
def list_(job: JobArgument, data_folder: DataOption, as_json: JsonFlag = False) -> int:
    """Say what a job has to burn: place, device, voltage, sums, label, and whether it was read back and is right.

    Status 1 while one of them is not verified.
    """
    with Store.open(data_folder) as store:
        lines = burn_lines(store, state_of(store, job))
    document: dict[str, Any] = {"job": job, "items": [line.to_json() for line in lines]}
    emit(document, as_json, lambda: _show(lines))
    return 0 if all(line.verdict == "verified" for line in lines) else 1


def _show(lines: tuple[BurnLine, ...]) -> None:
    if not lines:
        say("nothing to burn is kept in this job")
    rows = []
    for line in lines:
        row = line.item.to_json() if line.item else None
        rows.append((
            line.image.refdes or "-", line.image.device or "-", line.image.name,
            f"{row['program_v']:g}" if row else "-", row["sums"]["sum16"] if row else "-",
            row["sums"]["crc32"] if row else "-", line.verdict,
        ))  # fmt: skip
    table("burn list", ("place", "device", "image", "V", "sum16", "crc32", "read back"), rows)
    for line in lines:
        if line.item:
            say(f"label {line.image.refdes}: {' / '.join(line.item.to_json()['label'])}")
        else:
            say(f"{line.image.name}: {line.trouble}")
