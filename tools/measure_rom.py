"""Measures the ROM room: interchange of odd images with reference programs, and causes named for damaged dumps.

Run it as ``python tools/measure_rom.py [interchange N] [single N] [double N]``; seeds are fixed, figures go to
standard output. Interchange needs intelhex and bincopy, and Debian's srecord when it is there.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.rom import damaged, interchange, rom_samples

from coppermend.rom.causes import find_causes
from coppermend.rom.formats import format_image, parse_image


def measure_interchange(count: int) -> None:
    """Every odd image through every reference, both ways; counts what did not come back byte for byte."""
    wrong, done = Counter[str](), Counter[str]()
    for image in map(rom_samples.odd_image, range(count)):
        want = interchange.runs(image)
        for who, got in _partners(image).items():
            done[who] += 1
            wrong[who] += got != (want, want)
    for who, number in done.items():
        print(f"{who}: {number} images both ways, {wrong[who]} not byte-exact")


def _partners(image: rom_samples.RomImage) -> dict[str, tuple[interchange.Runs, interchange.Runs]]:
    made = {"intelhex ihex": interchange.through_intelhex(image)}
    for name in ("ihex", "srec", "titxt"):
        made[f"bincopy {name}"] = interchange.through_bincopy(image, name)
        if interchange.SRECORD:
            made[f"srecord {name}"] = interchange.through_srecord(image, name)
    own = interchange.runs(parse_image(format_image(image, "hexdump")))
    made["hexdump (bincopy's, ours)"] = (interchange.through_bincopy_dump(image), own)
    if interchange.DUMP_PROGRAMS:
        data = image.segments[0].data
        xxd, canonical, back = interchange.through_dump_programs(data)
        made["hexdump (Unix programs)"] = (
            (interchange.runs(image),) * 2 if xxd == canonical == back == data else ([], [])
        )
    return made


def measure_causes(what: str, draw: Callable[[int], tuple], count: int) -> None:
    """Damaged dumps with known causes: how often the true one is named first, and among the first three."""
    first, third, spent = 0, 0, 0.0
    missed = Counter[str]()
    for seed in range(count):
        contents, dump, faults = draw(seed)
        before = time.perf_counter()
        causes = find_causes(contents, dump)
        spent += time.perf_counter() - before
        first += damaged.names(causes[0], faults)
        if any(damaged.names(cause, faults) for cause in causes[:3]):
            third += 1
        else:
            missed[" + ".join(sorted(fault.kind for fault in faults))] += 1
    print(f"{what}: {count} dumps, first {first / count:.2%}, in first three {third / count:.2%}")
    print(f"  mean {spent / count * 1000:.1f} ms each; missed {dict(missed)}")


if __name__ == "__main__":
    words = sys.argv[1:] or ["interchange", "2000", "single", "2500", "double", "2500"]
    for what, count in zip(words[::2], map(int, words[1::2]), strict=True):
        match what:
            case "interchange":
                measure_interchange(count)
            case "single":
                measure_causes(what, damaged.single, count)
            case "double":
                measure_causes(what, damaged.double, count)
            case _:
                sys.exit(f"unknown measurement {what!r}: expected interchange, single or double")
