"""``coppermend rom merge|split|burn``: several images into one, back again, and what is needed at the programmer."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.parttypes import standard_library
from coppermend.cli.inputs import board_at
from coppermend.cli.output import JsonFlag, emit, say, table
from coppermend.cli.record import DataOption, WhoOption
from coppermend.cli.rom import CpuOption, DeviceOption, ImageArgument, StartOption
from coppermend.cli.rom_inputs import (
    FormatOption,
    at_address,
    bytes_at,
    parse_address,
    parse_byte,
    write_image,
)
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.job.burning import keep_burn
from coppermend.job.store import Store
from coppermend.rom.burning import BurnItem, burn_list, check_read_back
from coppermend.rom.buslogic import address_signals
from coppermend.rom.checksums import DEFINITIONS, FixUp, sums
from coppermend.rom.devices import Device, get_device
from coppermend.rom.merge import Merged, Piece, fix_merged, merge, split
from coppermend.rom.program import FAMILIES

_SPLIT = "NAME=ADDRESS+BYTES in hexadecimal, such as U2=E000+1000"


@examples("coppermend rom merge u2.bin@E000 u3.bin@F000 --device 2764 --cpu 6502 -o program.bin")
def merge_(
    pieces: Annotated[list[str], typer.Argument(metavar="FILE@ADDRESS...", help="Images at their CPU addresses.")],
    device: Annotated[str, typer.Option("--device", metavar="NAME", help="The device that takes them all.")],
    out: Annotated[Path | None, typer.Option("-o", "--out", metavar="FILE", help="Write the image.")] = None,
    fill: Annotated[str, typer.Option("--fill", metavar="HEX", help="What gaps hold.")] = "FF",
    once: Annotated[bool, typer.Option("--once", help="Do not repeat the image in a larger device.")] = False,
    cpu: CpuOption = "",
    board: Annotated[
        Path | None, typer.Option("--board", metavar="BOARD", help="Name the board's nets on the address lines.")
    ] = None,
    fix: Annotated[str, typer.Option("--fix", metavar="SUM=HEX", help="Bring sum8, sum16 or sum32 to this.")] = "",
    at: Annotated[
        list[str] | None, typer.Option("--at", metavar="HEX", help="CPU address that --fix may change; may repeat.")
    ] = None,
    format: FormatOption = "", as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Merge images at CPU addresses into one for a larger device, and say what drives each of its address lines.

    Checks overlap, gaps and vectors. Checksum bytes are changed only with --fix and --at, and each change is shown.
    """
    family = next((f for f in FAMILIES if f == cpu), None)
    if cpu and family is None:
        raise InputError(f"CPU {cpu!r}", expected=f"one of {', '.join(FAMILIES)}")
    target = get_device(device)
    placed = [Piece(path.name, start, bytes_at(path, format)) for path, start in map(at_address, pieces)]
    signals = address_signals(board_at(board), standard_library()) if board else None
    found = merge(
        placed, target.bytes, fill=parse_byte(fill), repeat=not once, family=family, signals=signals
    )
    data, fixed = _fixed(found, fix, at or [])
    if out:
        write_image(out, data, 0)
    document = {
        **found.to_json(), "device": target.name, "address_pins": list(target.address), "sums": sums(data), "fix": fixed.to_json() if fixed else None,
        "file": str(out) if out else None,
    }  # fmt: skip
    emit(document, as_json, lambda: _show_merged(found, target, data, fixed, out))
    return 0


def _fixed(found: Merged, fix: str, at: list[str]) -> tuple[bytes, FixUp | None]:
    if not fix and not at:
        return found.data, None
    name, _, value = fix.partition("=")
    if name not in ("sum8", "sum16", "sum32") or not re.fullmatch(r"[0-9A-Fa-f]{1,8}", value) or not at:
        raise InputError(
            f"--fix {fix!r}", expected="sum8, sum16 or sum32 with a value, such as sum16=0000, and --at"
        )
    kind = next(n for n in ("sum8", "sum16", "sum32") if n == name)
    return fix_merged(found, kind, int(value, 16), [parse_address(word) for word in at])


def _show_merged(found: Merged, target: Device, data: bytes, fixed: FixUp | None, out: Path | None) -> None:
    rows = [
        (p.name, f"{p.start:04X}", f"{p.last:04X}", f"{p.start - found.base:04X}", f"{len(p.data):,}")
        for p in found.pieces
    ]
    table("images", ("image", "CPU from", "to", "offset", "bytes"), rows)
    table("gaps", ("offset", "bytes"), [(f"{o:04X}", f"{n:,}") for o, n in found.gaps])
    lines = [(f"A{k}", target.address[k], words) for k, words in enumerate(found.lines)]
    table("address lines", (target.name, "pin", "driven by"), lines)
    table(
        "vectors",
        ("vector", "at", "points to"),
        [(v.name, f"{v.address:04X}", f"{v.target:04X}") for v in found.vectors],
    )
    say(*(f"note: {note}" for note in found.notes))
    if fixed:
        for offset, before, after in fixed.changes:
            say(
                f"changed: offset {offset:04X} from {before:02X} to {after:02X} ({fixed.sum_name}: {DEFINITIONS[fixed.sum_name]})"
            )
    counted = sums(data)
    say(
        f"{len(data):,} bytes; sum16 {counted['sum16']}, crc32 {counted['crc32']}{f'; written to {out}' if out else ''}"
    )


@examples("coppermend rom split program.bin U2=E000+1000 U3=F000+1000 --base E000 -o parts")
def split_(
    image: ImageArgument,
    wanted: Annotated[list[str], typer.Argument(metavar="NAME=ADDRESS+BYTES...", help=f"What to take out: {_SPLIT}.")],
    out: Annotated[Path, typer.Option("-o", "--out", metavar="DIR", help="Folder for the images, NAME.bin each.")],
    base: Annotated[str, typer.Option("--base", metavar="HEX", help="CPU address of the first byte.")] = "0000",
    format: FormatOption = "", as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Take images out of one: the inverse of merge."""
    asked = [_wanted(word) for word in wanted]
    if len({name for name, _, _ in asked}) != len(asked):
        raise InputError("a name comes twice", expected="one name an image")
    if not out.is_dir():
        raise InputError("is no folder", expected="a folder that exists", where=str(out))
    pieces = split(bytes_at(image, format), parse_address(base), asked)
    for piece in pieces:
        write_image(out / f"{piece.name}.bin", piece.data, piece.start)
    document = {
        "pieces": [{**p.to_json(), "file": str(out / f"{p.name}.bin"), "sums": sums(p.data)} for p in pieces]
    }
    rows = [
        (p.name, f"{p.start:04X}", f"{p.last:04X}", f"{len(p.data):,}", sums(p.data)["sum16"]) for p in pieces
    ]
    emit(document, as_json, lambda: table("images", ("image", "CPU from", "to", "bytes", "sum16"), rows))
    return 0


def _wanted(word: str) -> tuple[str, int, int]:
    found = re.fullmatch(r"([\w.-]+)=(?:0x|\$)?([0-9A-Fa-f]{1,4})\+(?:0x|\$)?([0-9A-Fa-f]{1,5})", word)
    if not found:
        raise InputError(f"{word!r}", expected=_SPLIT)
    return found[1], int(found[2], 16), int(found[3], 16)


@examples(
    "coppermend rom burn program.bin --device 2764 --place U3 --name 'program C' --start E000",
    "coppermend rom burn program.bin --device 2764 --place U3 --read-back read.bin",
)
def burn(
    image: ImageArgument, device: DeviceOption,
    place: Annotated[str, typer.Option("--place", metavar="REFDES", help="Where it goes.")],
    data_folder: DataOption, who: WhoOption,
    name: Annotated[str, typer.Option("--name", metavar="TEXT", help="What it is called; else the file's name.")] = "",
    version: Annotated[str, typer.Option("--version", metavar="TEXT", help="Its version.")] = "",
    start: StartOption = "",
    read_back: Annotated[
        Path | None, typer.Option("--read-back", metavar="FILE", help="What was read from the burnt device.")
    ] = None,
    job: Annotated[str, typer.Option("--job", metavar="JOB", help="Keep image and verdict in this job.")] = "",
    format: FormatOption = "", as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Say what to burn: sums to compare with the programmer's, voltage, label text; or check what was read back.

    With --job the image, and what was read back with its verdict, become attachments and entries of the job. Status 1
    when what was read back is not what was wanted.
    """
    data, first = bytes_at(image, format), parse_address(start) if start else None
    last = first + len(data) - 1 if first is not None else None
    item = BurnItem(place, get_device(device), name or image.stem, version, first, last, data)
    read = bytes_at(read_back, format) if read_back else b""
    checked = check_read_back(data, read) if read_back else None
    kept: list[int] = []
    if job:
        with Store.open(data_folder) as store:
            kept = [entry.seq for entry in keep_burn(store, job, item, read, checked, who=who)]
    document = {
        "items": burn_list([item]),
        "read_back": checked.to_json() if checked else None,
        "entries": kept,
    }

    def show() -> None:
        row = burn_list([item])[0]
        say(f"{place}: a {item.device.name}, {len(data):,} bytes, programmed at {item.device.program_v:g} V")
        table("sums", ("sum", "value"), [(n, row["sums"][n]) for n in ("sum16", "crc32", "sha256")])
        say("label:", *(f"  {line}" for line in row["label"]))
        say(item.device.notes and f"note: {item.device.notes}")
        if kept:
            say(f"kept in job {job} as {', '.join(f'entry {seq}' for seq in kept)}")
        if checked:
            say(f"{'verified' if checked.verified else 'NOT verified'}: {checked.words}")

    emit(document, as_json, show)
    return 0 if checked is None or checked.verified else 1
