"""The reference programs and libraries that images are exchanged with, each as bytes at addresses."""

from __future__ import annotations

import io
import shutil
import subprocess

import bincopy
from intelhex import IntelHex

from coppermend.rom.formats import ImageFormat, format_image, parse_image
from coppermend.rom.image import RomImage

SRECORD = shutil.which("srec_cat") or ""
DUMP_PROGRAMS = bool(shutil.which("xxd") and shutil.which("hexdump"))
Runs = list[tuple[int, bytes]]
_SRECORD_NAMES = {"ihex": "-intel", "srec": "-motorola", "titxt": "-ti-txt"}
_BINCOPY_READ = {"ihex": "add_ihex", "srec": "add_srec", "titxt": "add_ti_txt"}
_BINCOPY_WRITE = {"ihex": "as_ihex", "srec": "as_srec", "titxt": "as_ti_txt"}


def runs(image: RomImage) -> Runs:
    """The segments as pairs."""
    return [(segment.start, segment.data) for segment in image.segments]


def _joined(pairs: Runs) -> Runs:
    made: Runs = []
    for start, data in sorted(pairs):
        if made and made[-1][0] + len(made[-1][1]) == start:
            made[-1] = (made[-1][0], made[-1][1] + data)
        else:
            made.append((start, data))
    return made


def _srecord(data: bytes, read: str, write: str, *more: str) -> bytes:
    command = [SRECORD, "-", read, "-o", "-", write, *more]
    return subprocess.run(command, input=data, capture_output=True, check=True).stdout


def through_srecord(image: RomImage, name: ImageFormat) -> tuple[Runs, Runs]:
    """(what srecord reads of ours, told through an S-record of its own; what we read of its file)."""
    ours = format_image(image, name)
    told = bincopy.BinFile()
    told.add_srec(_srecord(ours, _SRECORD_NAMES[name], "-motorola").decode())
    theirs = _srecord(format_image(image, "srec"), "-motorola", _SRECORD_NAMES[name])
    return _joined([(s.address, bytes(s.data)) for s in told.segments]), runs(
        parse_image(theirs, format=name)
    )


def through_bincopy(image: RomImage, name: ImageFormat) -> tuple[Runs, Runs]:
    """(what bincopy reads of ours, what we read of what it writes)."""
    told, writer = bincopy.BinFile(), bincopy.BinFile()
    getattr(told, _BINCOPY_READ[name])(format_image(image, name).decode())
    for segment in image.segments:
        writer.add_binary(segment.data, address=segment.start)
    theirs = getattr(writer, _BINCOPY_WRITE[name])()
    return (
        [(s.address, bytes(s.data)) for s in told.segments],
        runs(parse_image(theirs.encode(), format=name)),
    )


def through_intelhex(image: RomImage) -> tuple[Runs, Runs]:
    """(what intelhex reads of ours, what we read of what it writes)."""
    told, writer = IntelHex(), IntelHex()
    told.loadhex(io.StringIO(format_image(image, "ihex").decode()))
    for segment in image.segments:
        writer.puts(segment.start, segment.data)
    theirs = io.StringIO()
    writer.write_hex_file(theirs)
    read = [(a, told.tobinstr(start=a, end=b - 1)) for a, b in told.segments()]
    return read, runs(parse_image(theirs.getvalue().encode(), format="ihex"))


def through_bincopy_dump(image: RomImage) -> Runs:
    """What we read of bincopy's hex dump."""
    writer = bincopy.BinFile()
    for segment in image.segments:
        writer.add_binary(segment.data, address=segment.start)
    return runs(parse_image(writer.as_hexdump().encode(), format="hexdump"))


def through_dump_programs(data: bytes) -> tuple[bytes, bytes, bytes]:
    """A binary through xxd, through hexdump -C (both read by us), and our dump through xxd -r."""
    xxd = subprocess.run(["xxd"], input=data, capture_output=True, check=True).stdout
    canonical = subprocess.run(["hexdump", "-C"], input=data, capture_output=True, check=True).stdout
    # xxd -r wants a colon after the address, and no wider gap in the middle.
    ours = format_image(RomImage.of(data), "hexdump").decode()
    plain = "".join(
        f"{line[:8]}: {line[10:].split('|')[0].replace('  ', ' ')}\n" for line in ours.splitlines()
    )
    back = subprocess.run(["xxd", "-r"], input=plain.encode(), capture_output=True, check=True).stdout
    return parse_image(xxd).dense(), parse_image(canonical).dense(), back
