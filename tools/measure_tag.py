"""How often the code of a tag is read from degraded photos, by kind of harm. Seeds are fixed.

    python tools/measure_tag.py [COUNT] [--size SIZE] [--plain] [--keep FOLDER]

``--plain`` asks the reader once, without our treatments, for comparison; ``--keep`` writes the photos that were not read.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path

import cv2
import zxingcpp

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.papers.degraded import KINDS, renders
from tests.papers.labels import NUMBER, label_picture

from coppermend.papers.scan import number_in_code, scan_picture


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", nargs="?", type=int, default=200)
    parser.add_argument("--size", default="small")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plain", action="store_true")
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    right: Counter[str] = Counter()
    every: Counter[str] = Counter()
    wrong, spent = 0, 0.0
    for number, one in enumerate(renders(label_picture(asked.size), asked.count, asked.seed)):
        start = time.perf_counter()
        if asked.plain:
            codes = zxingcpp.read_barcodes(one.picture, formats=zxingcpp.BarcodeFormat.QRCode)
            found = next((number_in_code(code.text) for code in codes), "")
        else:
            found = scan_picture(one.picture).number
        spent += time.perf_counter() - start
        every[one.kind] += 1
        right[one.kind] += found == NUMBER
        wrong += found not in ("", NUMBER)
        if asked.keep and found != NUMBER:
            cv2.imwrite(str(asked.keep / f"{number:03}-{one.kind}.png"), one.picture)
    for kind in KINDS:
        print(f"{kind:12} {right[kind]:4} of {every[kind]}")
    total, count = sum(right.values()), sum(every.values())
    print(
        f"all          {total:4} of {count} ({total / count:.1%}), {wrong} read wrongly, {spent / count * 1000:.0f} ms each"
    )


if __name__ == "__main__":
    main()
