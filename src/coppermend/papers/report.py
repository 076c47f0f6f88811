"""The return report: plain words, pictures before and after, readings, tests, cautions. A4 or Letter."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Literal

from coppermend.papers.code import qr_svg, tag_text
from coppermend.papers.typeset import to_pdf

Paper = Literal["a4", "us-letter"]


@dataclass(frozen=True, slots=True)
class WorkRow:
    """One piece of work: where on the board, what was done, why."""

    where: str
    what: str
    why: str


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One connection measured, and what the net does, all in words ready to print."""

    net: str
    a: str
    b: str
    does: str
    measured: str
    verdict: str


@dataclass(frozen=True, slots=True)
class ProofRow:
    """One test and its result ("passed", "failed", "not done")."""

    title: str
    setup: str
    result: str
    note: str


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture of the board: file name, its SVG, and what it shows."""

    file: str
    data: bytes
    caption: str


@dataclass(frozen=True, slots=True)
class ReportContent:
    """Everything that stands in a report, in words ready to print."""

    number: str
    board: str
    date: str
    who: str
    verdict: str
    summary: str
    complaint: str
    machine: str = ""
    serial: str = ""
    customer: str = ""
    condition: str = ""
    arrival: tuple[str, ...] = ()
    shop: str = ""
    found: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()
    work: tuple[WorkRow, ...] = ()
    readings: tuple[ReadingRow, ...] = ()
    readings_note: str = ""
    tests: tuple[ProofRow, ...] = ()
    open: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    care: tuple[str, ...] = ()
    bench_url: str = ""
    waiver: str = ""
    logo: bytes = b""  # SVG
    words: tuple[tuple[str, str], ...] = ()  # of the template, in another language


def report_pdf(report: ReportContent, paper: Paper = "a4") -> bytes:
    """The report as PDF."""
    data = {**asdict(report), "logo": bool(report.logo), "words": dict(report.words)}
    data["pictures"] = [{"file": p.file, "caption": p.caption} for p in report.pictures]
    pictures = {p.file: p.data for p in report.pictures}
    code = qr_svg(tag_text(report.number, report.bench_url))
    return to_pdf("report", {**data, "paper": paper}, {**pictures, "code.svg": code, "logo.svg": report.logo})
