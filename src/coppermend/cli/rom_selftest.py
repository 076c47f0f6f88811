"""``coppermend rom selftest``: firmware that tests a 6502 board from its own socket."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.parttypes import standard_library
from coppermend.cli.inputs import board_at
from coppermend.cli.output import JsonFlag, emit, say, table
from coppermend.cli.rom_inputs import parse_address, parse_byte, write_image
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.job.atomic import write_atomically
from coppermend.rom.checksums import sums
from coppermend.rom.selftest import SelfTest, self_test
from coppermend.rom.selftestplan import Area, SelfTestPlan, areas_of_board, check_ports_on_board

_AREA = "FIRST+BYTES in hexadecimal, such as 0800+100"


@examples(
    "coppermend rom selftest --board boards/control --result 0200 --setup 0201=FF --lamp 1001=38,30 -o parts",
    "coppermend rom selftest --rom F000+1000 --ram 0000+80 --result 0200 -o parts",
)
def selftest(
    result: Annotated[str, typer.Option("--result", metavar="HEX", help="Address of the port that shows codes.")],
    board: Annotated[Path | None, typer.Option("--board", metavar="BOARD", help="Take memories from its map.")] = None,
    rom: Annotated[list[str] | None, typer.Option("--rom", metavar="AREA", help=f"Program memory: {_AREA}.")] = None,
    ram: Annotated[list[str] | None, typer.Option("--ram", metavar="AREA", help=f"RAM: {_AREA}.")] = None,
    setup: Annotated[list[str] | None, typer.Option("--setup", metavar="HEX=HEX", help="Written first.")] = None,
    walk: Annotated[list[str] | None, typer.Option("--walk", metavar="HEX", help="Port to walk a one over.")] = None,
    lamp: Annotated[str, typer.Option("--lamp", metavar="HEX=ON,OFF", help="A lamp that counts faults out.")] = "",
    mask: Annotated[str, typer.Option("--mask", metavar="HEX", help="Bits that are RAM.")] = "FF",
    out: Annotated[Path | None, typer.Option("-o", "--out", metavar="DIR", help="Folder for images and listing.")] = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Make firmware that tests a 6502 board from its own socket, without needing RAM: memories, RAM, output ports.

    It overwrites RAM: books and settings are lost. Never walk over ports that drive coils, motors or displays.
    """
    roms, rams = _areas(rom), _areas(ram)
    loaded = board_at(board) if board else None
    if loaded:
        its_roms, its_rams = areas_of_board(loaded, standard_library())
        roms, rams = roms or its_roms, rams or its_rams
    plan = SelfTestPlan(
        roms, rams, parse_address(result), tuple(_pair(word) for word in setup or ()),
        tuple(parse_address(word) for word in walk or ()), parse_byte(mask), _lamp(lamp),
    )  # fmt: skip
    if loaded:
        check_ports_on_board(loaded, plan)
    made = self_test(plan)
    files = _write(made, out) if out else []
    document = {
        **made.to_json(),
        "sums": [sums(image) for image in made.images],
        "files": [str(f) for f in files],
    }
    emit(document, as_json, lambda: _show(made, files))
    return 0


def _areas(words: list[str] | None) -> tuple[Area, ...]:
    made = []
    for word in words or ():
        found = re.fullmatch(r"([0-9A-Fa-f]{1,4})\+([0-9A-Fa-f]{1,5})", word)
        if not found:
            raise InputError(f"area {word!r}", expected=_AREA)
        made.append(Area(int(found[1], 16), int(found[2], 16)))
    return tuple(sorted(made, key=lambda area: area.start))


def _pair(word: str) -> tuple[int, int]:
    address, mark, value = word.partition("=")
    if not mark:
        raise InputError(f"--setup {word!r}", expected="ADDRESS=VALUE in hexadecimal, such as 0201=FF")
    return parse_address(address), parse_byte(value)


def _lamp(word: str) -> tuple[int, int, int] | None:
    if not word:
        return None
    found = re.fullmatch(r"([^=,]+)=([^=,]+),([^=,]+)", word)
    if not found:
        raise InputError(f"--lamp {word!r}", expected="ADDRESS=ON,OFF in hexadecimal, such as 1001=38,30")
    return parse_address(found[1]), parse_byte(found[2]), parse_byte(found[3])


def _write(made: SelfTest, folder: Path) -> list[Path]:
    if not folder.is_dir():
        raise InputError("is no folder", expected="a folder that exists", where=str(folder))
    files = []
    for area, image in zip(made.plan.roms, made.images, strict=True):
        files.append(folder / f"selftest-{area.start:04X}.bin")
        write_image(files[-1], image, area.start)
    files.append(folder / "selftest.lst")
    write_atomically(files[-1], "".join(f"{line}\n" for line in made.listing).encode())
    return files


def _show(made: SelfTest, files: list[Path]) -> None:
    rows = [
        (f"{a.start:04X}", f"{a.bytes:,}", sums(image)["sum16"], sums(image)["crc32"])
        for a, image in zip(made.plan.roms, made.images, strict=True)
    ]
    table("images", ("CPU from", "bytes", "sum16", "crc32"), rows)
    table("codes on the port", ("code", "meaning"), [(f"{code:02X}", words) for code, words in made.codes])
    say(f"{sum(len(line.data) for line in made.listing):,} bytes of program; RAM is overwritten")
    if files:
        say(f"written: {', '.join(map(str, files))}")
