"""Photos of before and after in the report: which are taken, and that they are on the paper."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pypdfium2

from coppermend.job.state import FileLine, fold
from coppermend.job.store import Store
from coppermend.papers.photos import chosen, report_photos
from coppermend.papers.report import ReportContent, report_pdf


def line(seq: int, stage: str) -> FileLine:
    """A photo."""
    return FileLine("0" * 64, f"{seq}.jpg", "", stage, seq)


def test_first_before_and_last_after_are_chosen():
    """Three and three; of many the first before the work and the last after it, in the order of the work."""
    before, after = [line(n, "receive") for n in range(1, 6)], [line(n, "return") for n in range(10, 15)]

    assert [p.seq for p in chosen([*after, *before, line(7, "strip")])] == [1, 2, 3, 12, 13, 14]
    assert [p.seq for p in chosen([*before[:1], line(7, "strip"), line(8, "copper"), *after[:1]])] == [
        1,
        7,
        8,
        10,
    ]
    assert [p.seq for p in chosen(before)] == [1, 2, 3, 4, 5]
    assert chosen([]) == ()


def test_report_shows_before_and_after(tmp_path: Path):
    """A red and a green photo are both in the PDF's pixels, with what they are; what cannot be decoded is left out."""
    with Store.open(tmp_path, "") as store:
        job = store.new_job({"customer": "x"}, who="Bo")
        for stage, colour in (("receive", (0, 0, 255)), ("return", (0, 255, 0))):
            picture = cv2.imencode(".png", np.full((300, 400, 3), colour, np.uint8))[1].tobytes()
            sha256 = store.attach(picture, f"{stage}.png")
            store.append(
                job, "photo", stage, {"sha256": sha256, "name": f"{stage}.png", "caption": stage}, who="Bo"
            )
        heic = store.attach(b"\x00\x00\x00\x18ftypheic" + b"\x00" * 40, "x.heic")
        store.append(job, "photo", "return", {"sha256": heic, "name": "x.heic"}, who="Bo")

        photos = report_photos(store, fold(store.entries(job)))

    assert [p.caption for p in photos] == ["Before: receive", "After: return"]
    pdf = pypdfium2.PdfDocument(report_pdf(ReportContent(job, "b", "d", "w", "v", "s", "c", pictures=photos)))
    text = "".join(page.get_textpage().get_text_range() for page in pdf)
    pixels = np.concatenate([page.render(scale=1).to_numpy()[..., :3].reshape(-1, 3) for page in pdf]).astype(
        int
    )
    assert "Before: receive" in text and "After: return" in text
    for channel in (1, 2):  # pypdfium2 renders BGR: green and red
        pure = (pixels[:, channel] > 200) & (np.delete(pixels, channel, axis=1).max(axis=1) < 60)
        assert pure.sum() > 1000
