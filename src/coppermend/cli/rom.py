"""``coppermend rom info|compare|convert|devices``: look images over, and find out why two differ."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from coppermend.cli.output import JsonFlag, counted, emit, say, table
from coppermend.cli.rom_inputs import (
    FormatOption,
    KnownOption,
    TolerantFlag,
    bytes_at,
    image_at,
    known_at,
    parse_address,
    say_defects,
    write_image,
)
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.rom.checksums import sums
from coppermend.rom.compare import Comparison, compare
from coppermend.rom.devices import devices, get_device, pin_differences
from coppermend.rom.info import RomInfo, rom_info
from coppermend.rom.program import FAMILIES
from coppermend.rom.reference import identify
from coppermend.rom.vote import Vote, vote

ImageArgument = Annotated[Path, typer.Argument(metavar="IMAGE", help="File with an image, in any format.")]
ImageArguments = Annotated[list[Path], typer.Argument(metavar="IMAGE...", help="Two images, or more dumps.")]
DeviceOption = Annotated[str, typer.Option("--device", metavar="NAME", help="Device, such as 2732 or 27C64.")]
StartOption = Annotated[str, typer.Option("--start", metavar="HEX", help="CPU address of the first byte.")]
CpuOption = Annotated[
    str, typer.Option("--cpu", metavar="NAME", help="6502, 6800, 6809 or Z80; else guessed.")
]
_SHOWN = 24
_LEAST = 0.0005  # likelihoods below this are not worth a line


@examples(
    "coppermend rom info u3.bin", "coppermend rom info u3.hex --device 2732 --cpu 6502 --known good.csv"
)
def info(
    image: ImageArgument, device: DeviceOption = "", start: StartOption = "", cpu: CpuOption = "",
    known: KnownOption = None, format: FormatOption = "", tolerant: TolerantFlag = False,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Look an image over: size, sums, blank areas, repeats, vectors, likely CPU, text, first instructions.

    A sum is named with its definition; "checksum" alone means little. What is not in the reference list is unknown,
    not bad.
    """
    if cpu and cpu not in FAMILIES:
        raise InputError(f"CPU {cpu!r}", expected=f"one of {', '.join(FAMILIES)}")
    read = image_at(image, format, tolerant=tolerant)
    if not read.byte_count:
        raise InputError("holds no bytes", expected="an image", where=str(image))
    place = parse_address(start) if start else read.low if 0 < read.low <= 0xFFFF else None
    found = rom_info(
        read.dense(where=str(image)), device=get_device(device) if device else None,
        family=next((f for f in FAMILIES if f == cpu), None), start=place, known=known_at(known),
    )  # fmt: skip
    document = {**found.to_json(), "gaps": [{"address": a, "length": n} for a, n in read.gaps()],
                "defects": [d.to_json() for d in read.defects]}  # fmt: skip

    def show() -> None:
        say_defects(image, read)
        _show_info(found, known is not None)

    emit(document, as_json, show)
    return 0


def _show_info(found: RomInfo, asked: bool) -> None:
    say(
        f"{found.size:,} bytes; {found.device_words or 'fills a ' + ' or '.join(found.fits or ('(no known device)',))}"
    )
    table("sums", ("sum", "value"), list(found.sums.items()))
    say(f"entropy {found.entropy_bits:.2f} bit a byte")
    if found.repeats < found.size:
        say(f"repeats its first {found.repeats:,} bytes")
    say(*(f"doubt: {doubt}" for doubt in found.doubts))
    blank = [(f"{o:04X}", f"{n:,}", f"{v:02X}") for o, n, v in found.blank[:_SHOWN]]
    table("blank areas", ("offset", "bytes", "value"), blank)
    table("likely CPU", ("family", "confidence"), [(g.family, f"{g.confidence:.0%}") for g in found.cpu[:3]])
    rows = [
        (
            v.name,
            f"{v.address:04X}",
            f"{v.target:04X}",
            "in the image" if v.inside else "in a mirror" if v.mirror else "outside",
        )
        for v in found.vectors
    ]
    table(f"vectors of a {found.family}, image at {found.start:04X}", ("vector", "at", "points to", ""), rows)
    table("first instructions", ("address", "bytes", ""), [(f"{a:04X}", b, t) for a, b, t in found.code])
    table("text", ("offset", "text"), [(f"{o:04X}", t) for o, t in found.text[:_SHOWN]])
    if found.known:
        say(*(f"known: {k.name}{' (' + k.note + ')' if k.note else ''}" for k in found.known))
    elif asked:
        say("unknown: not in the reference list")


@examples("coppermend rom compare good.bin dump.bin", "coppermend rom compare a.bin b.bin c.bin -o best.bin")
def compare_(
    images: ImageArguments, known: KnownOption = None,
    out: Annotated[Path | None, typer.Option("-o", "--out", metavar="FILE", help="Write the majority's image.")] = None,
    as_vote: Annotated[bool, typer.Option("--vote", help="Let two images vote too, as dumps of one device.")] = False,
    format: FormatOption = "", as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Find out why two images differ, or let several dumps of one device vote.

    Two images: the first is the one to trust, if one is; causes come with likelihoods. Three or more, or with
    --vote: the majority of each bit, and which bits will not stay. Status 1 when they differ.
    """
    if len(images) < 2:
        raise InputError("one image", expected="two images, or more dumps of one device")
    read = [bytes_at(path, format) for path in images]
    names = known_at(known)
    if len(read) == 2 and not as_vote:
        if out:
            raise InputError("--out without a vote", expected="three dumps, or --vote")
        found = compare(read[0], read[1])
        told = [[k.name for k in identify(sums(data), names)] for data in read]
        emit(
            {**found.to_json(), "known": told},
            as_json,
            lambda: _show_comparison(found, told, known is not None),
        )
        return 0 if found.equal else 1
    result = vote(read)
    if out:
        write_image(out, result.best, 0)
    best = [k.name for k in identify(sums(result.best), names)]
    document = {**result.to_json(), "sums": sums(result.best), "known": best}
    emit(document, as_json, lambda: _show_vote(result, best, known is not None))
    return 1 if result.unstable else 0


def _show_comparison(found: Comparison, known: list[list[str]], asked: bool) -> None:
    for number, names in enumerate(known, 1):
        if asked:
            say(
                f"image {number}: {'known as ' + ', '.join(names) if names else 'unknown, not in the reference list'}"
            )
    if found.equal:
        say("equal, byte for byte")
        return
    say(
        f"{counted(found.differing_bytes, 'byte')} differ, in {counted(found.differing_bits, 'bit')}",
        found.relation,
    )
    rows = [
        (f"{c.likelihood:.1%}", c.words, {"either": "-"}.get(c.suspect, c.suspect))
        for c in found.causes
        if c.likelihood >= _LEAST
    ]
    table("causes", ("likelihood", "cause", "wrong image"), rows)
    lines = [(line.line, f"{line.rising:,}", f"{line.falling:,}") for line in found.data_lines]
    table("data lines", ("line", "bits 0 to 1", "bits 1 to 0"), lines)
    if found.causes:
        say("next: clean the contacts of the lines that are named, read again, and compare once more")


def _show_vote(found: Vote, known: list[str], asked: bool) -> None:
    say(f"{found.dumps} dumps of {len(found.best):,} bytes; {counted(found.unstable_bytes, 'unstable byte')}")
    rows = [
        (f"{b.address:04X}", f"{b.best:02X}", f"{b.mask:08b}", "tied" if b.tied else "")
        for b in found.unstable[:_SHOWN]
    ]
    table("unstable bytes", ("offset", "majority", "bits that change", ""), rows)
    if found.unstable_bytes > _SHOWN:
        say(f"and {found.unstable_bytes - _SHOWN:,} more")
    if found.hint:
        say(f"hint: {found.hint}")
    if found.tied_bits:
        say(f"{counted(found.tied_bits, 'bit')} tied: read the device once more")
    say(f"majority: sum16 {sums(found.best)['sum16']}, crc32 {sums(found.best)['crc32']}")
    if asked:
        say(f"known as {', '.join(known)}" if known else "unknown, not in the reference list")


@examples("coppermend rom convert u3.hex -o u3.bin", "coppermend rom convert u3.s19 -o u3.hex --tolerant")
def convert(
    image: ImageArgument,
    out: Annotated[Path, typer.Option("-o", "--out", metavar="FILE", help="What to write.")],
    to: Annotated[str, typer.Option("--to", metavar="FORMAT", help="Format to write; else by the extension.")] = "",
    start: StartOption = "", format: FormatOption = "", tolerant: TolerantFlag = False, as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Write an image in another format: binary, Intel HEX, S-records, TI-TXT, hex dump."""
    read = image_at(image, format, tolerant=tolerant)
    data, place = read.dense(where=str(image)), parse_address(start) if start else read.low
    write_image(out, data, place, to)
    document = {
        "file": str(out), "bytes": len(data), "start": place, "sums": sums(data),
        "defects": [defect.to_json() for defect in read.defects],
    }  # fmt: skip

    def show() -> None:
        say_defects(image, read)
        say(f"{len(data):,} bytes from {place:04X} written to {out}; sum16 {sums(data)['sum16']}")

    emit(document, as_json, show)
    return 0


@examples("coppermend rom devices", "coppermend rom devices 2332 2732")
def devices_(
    names: Annotated[
        list[str] | None, typer.Argument(metavar="[DEVICE]...", help="One, or two to compare.")
    ] = None,
    as_json: JsonFlag = False,
) -> int:
    """List memory devices, show one with its pins, or say at which pins two differ."""
    asked = [get_device(name) for name in names or ()]
    if len(asked) > 2:
        raise InputError(f"{len(asked)} devices", expected="none, one, or two to compare")
    shown = asked or list(devices().values())
    document: dict[str, Any] = {"devices": [device.to_json() for device in shown]}
    if len(asked) == 2:
        document["differences"] = [d.to_json() for d in pin_differences(*asked)]

    def show() -> None:
        rows = [
            (
                d.name,
                d.family,
                f"{d.bytes:,}",
                d.pins,
                f"{d.access_ns:g}",
                f"{d.program_v:g}" if d.program_v else "-",
            )
            for d in shown
        ]
        table("devices", ("device", "family", "bytes", "pins", "ns", "V to program"), rows)
        if len(asked) == 1:
            table("pins", ("pin", "name"), list(asked[0].pin_names.items()))
            say(asked[0].notes, f"source: {asked[0].source}")
        if len(asked) == 2:
            found = [(d.pin, d.a or "-", d.b or "-", d.note) for d in pin_differences(*asked)]
            table("pins that differ", ("pin", asked[0].name, asked[1].name, "selects at"), found)

    emit(document, as_json, show)
    return 0
