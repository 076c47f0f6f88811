"""The sample job from arrival to return tag, headless: the same calls that commands and pages make."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coppermend.board.draw import draw_board
from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary, standard_library
from coppermend.demo import story
from coppermend.demo.board_data import demo_board_files
from coppermend.demo.meter import SampleMeter, nearest_tracks
from coppermend.errors import CoppermendError
from coppermend.job.assess import Assessment, assess
from coppermend.job.earlierfaults import history_for
from coppermend.job.entry import Entry, Stage
from coppermend.job.export import format_log
from coppermend.job.files import save_board, write_atomically
from coppermend.job.state import JobState, fold
from coppermend.job.store import Store
from coppermend.papers.contents import report_content, tag_content
from coppermend.papers.drawings import damage_overlays, work_overlays
from coppermend.papers.report import report_pdf
from coppermend.papers.tag import tag_pdf

# A job that has not closed after this many rounds of measuring or testing never will; the sample then fails.
_MOST_ROUNDS = 40


@dataclass
class Bench:
    """The record of the sample job while it runs; ``tell`` is called after each acknowledged entry."""

    store: Store
    board: Board
    library: PartLibrary
    number: str
    tell: Callable[[Stage, int, str], None]

    def keep(self, stage: Stage, kind: str, words: str, /, **body: Any) -> Entry:
        """Append an entry and tell of it once it is durable."""
        entry = self.store.append(self.number, kind, stage, body, who=story.WHO)
        self.tell(stage, entry.seq, words)
        return entry

    def state(self) -> JobState:
        """The job as recorded."""
        return fold(self.store.entries(self.number))

    def assessed(self) -> Assessment:
        """The job as it stands."""
        state = self.state()
        return assess(self.board, self.library, state, history_for(self.store, self.board, state))


@dataclass(frozen=True)
class SampleResult:
    """What the sample job left behind."""

    number: str
    files: Mapping[str, Path]
    summary: Mapping[str, Any]


def run_sample(out: Path, tell: Callable[[Stage, int, str], None]) -> SampleResult:
    """Run the sample job with its record and results under ``out``.

    Args:
        out: Folder for the record and the results; a second run adds another job to the record.
        tell: Called with stage, entry number and words after every acknowledged entry.

    Raises:
        CoppermendError: If the job does not come to a passed gate, which would be a fault of the program.
    """
    library = standard_library()
    with Store.open(out / "record") as store:
        files = demo_board_files()
        sha256 = store.add_board(files)
        board = store.board(sha256)
        bench = Bench(store, board, library, store.new_job(story.HEADER, who=story.WHO), tell)
        tell("receive", 1, f"job {bench.number} opened for {story.HEADER['customer']}")
        _receive(bench, sha256)
        _inspect(bench)
        _plan(bench)
        _strip(bench)
        _copper(bench)
        _refit(bench)
        _prove(bench)
        return _return(bench, out, parse_board_folder(files))


def _enter(bench: Bench, stage: Stage) -> None:
    bench.keep(stage, "stage", f"stage {stage}", stage=stage)


def _receive(bench: Bench, sha256: str) -> None:
    bench.keep("receive", "board", f"board {bench.board.name}", name=bench.board.name, sha256=sha256)
    bench.keep("receive", "note", "condition noted", text=story.ARRIVAL_NOTE)


def _inspect(bench: Bench) -> None:
    _enter(bench, "inspect")
    bench.keep("inspect", "damage", "damaged area drawn", area=story.damage_area())
    _enter(bench, "isolate")
    for finding in story.FINDINGS:
        bench.keep("isolate", "note", "finding noted", text=finding)


def _plan(bench: Bench) -> None:
    _enter(bench, "plan")
    offered = {remedy.id: remedy for remedy in bench.assessed().remedies}
    for name in story.REMEDIES:
        if name in offered:
            bench.keep("plan", "remedy", f"remedy chosen: {offered[name].title}", id=name, chosen=True)


def _strip(bench: Bench) -> None:
    _enter(bench, "strip")
    for item in bench.assessed().strip:
        bench.keep(
            "strip", "strip", f"{item.refdes} off: {item.fate}", refdes=item.refdes, done=True, fate=item.fate
        )
    bench.keep("strip", "note", "cleaned and rinsed", text=story.CLEANING)


def _copper(bench: Bench) -> None:
    """Probe what is planned, fit the jumpers that come of it, until nothing is left to probe."""
    _enter(bench, "copper")
    meter = SampleMeter(bench.board, nearest_tracks(bench.board, story.EATEN_NETS, *story.EATEN_AT_MM))
    for _ in range(_MOST_ROUNDS):
        plan = bench.assessed().copper
        if plan.done:
            return
        for probe in plan.probes:
            ohms = meter.read(probe.a, probe.b, probe.expect_ohms or 0.0)
            if ohms is None and probe.purpose == "isolation":
                ohms = probe.expect_ohms  # no copper: what the meter shows comes through parts
            said = "OL" if ohms is None else ohms
            bench.keep(
                "copper", "reading", f"{probe.net}: {probe.a} to {probe.b} {said}",
                a=probe.a, b=probe.b, ohms=said, instrument="sample meter",
            )  # fmt: skip
        if plan.probes:
            continue
        for wire in plan.jumpers:
            meter.fit_jumper(wire.a, wire.b)
            bench.keep(
                "copper", "jumper", f"jumper on {wire.net}: {wire.a} to {wire.b}",
                net=wire.net, a=wire.a, b=wire.b, side="" if wire.side == "both" else wire.side,
            )  # fmt: skip
    raise CoppermendError("the sample job's copper does not come to an end")


def _refit(bench: Bench) -> None:
    _enter(bench, "refit")
    for item in bench.assessed().refit:
        bench.keep("refit", "refit", f"{item.refdes} on: {item.source}", refdes=item.refdes, done=True)


def _prove(bench: Bench) -> None:
    """Safety first, then whatever the gate still asks for; the first switch fails once and is cured."""
    _enter(bench, "prove")
    failed_once = False
    for _ in range(_MOST_ROUNDS):
        found = bench.assessed()
        waiting = [proof for proof in found.proofs_to_do if not bench.state().evidence.get(proof.id)]
        again = [proof for proof in found.proofs if proof.id in found.gate.failed]
        safety = [p for p in found.proofs if _is_safety(p.id) and p.id not in bench.state().evidence]
        if not (waiting or again or safety):
            break
        for proof in (*safety, *again, *(p for p in waiting if p not in safety)):
            fails = proof.id.startswith(story.FIRST_FAILURE) and not failed_once
            failed_once = failed_once or fails
            body: dict[str, Any] = {"note": story.FIRST_FAILURE_NOTE} if fails else {}
            if proof.id.startswith("resistance:"):
                body["ohms"] = story.RAIL_OHM
            word = "failed" if fails else "passed"
            bench.keep(
                "prove", "evidence", f"{proof.title}: {word}", proof=proof.id, passed=not fails, **body
            )


def _is_safety(proof: str) -> bool:
    return proof == "discharge" or proof.startswith("resistance:")


def _return(bench: Bench, out: Path, original: Board) -> SampleResult:
    _enter(bench, "return")
    state, found = bench.state(), bench.assessed()
    if not found.gate.passed:
        raise CoppermendError(f"the sample job's gate does not pass: {len(found.gate.open)} things are open")
    date = f"{state.changed:%Y-%m-%d}" if state.changed else ""
    words: Mapping[str, Any] = {"who": story.WHO, "date": date, "shop": story.SHOP}
    files = {
        "tag": _paper(bench, out / "tag.pdf", "tag", tag_pdf(tag_content(bench.board, bench.library, state, found, **words))),
        "report": _paper(
            bench, out / "report.pdf", "report",
            report_pdf(report_content(bench.board, bench.library, state, found, **words)),
        ),
        **_drawings(bench, out, found),
    }  # fmt: skip
    save_board(original, out / "board")
    write_atomically(out / "record.txt", format_log(bench.store.entries(bench.number)).encode())
    document = json.dumps(bench.store.export_job(bench.number), ensure_ascii=False, indent=1)
    write_atomically(out / "record.json", document.encode())
    write_atomically(out / "damage.geojson", json.dumps(story.damage_area()).encode())
    files |= {
        "record": out / "record.txt", "record as JSON": out / "record.json",
        "damaged area": out / "damage.geojson", "board folder": out / "board",
    }  # fmt: skip
    summary = _summary(bench, found)
    write_atomically(out / "summary.json", json.dumps(summary, ensure_ascii=False, indent=1).encode())
    files["summary"] = out / "summary.json"
    return SampleResult(bench.number, files, summary)


def _paper(bench: Bench, path: Path, what: str, made: bytes) -> Path:
    sha256 = bench.store.attach(made, path.name, "application/pdf")
    bench.keep("return", "paper", f"{what} made", what=what, sha256=sha256, name=path.name)
    write_atomically(path, made)
    return path


def _drawings(bench: Bench, out: Path, found: Assessment) -> dict[str, Path]:
    drawings = {
        "drawing, damage": ("damage.svg", damage_overlays(found)),
        "drawing, work": ("work.svg", work_overlays(found)),
    }
    for name, overlays in drawings.values():
        text = draw_board(bench.board, overlays=overlays, library=bench.library, show_legend=True)
        write_atomically(out / name, text.encode())
    return {label: out / name for label, (name, _) in drawings.items()}


def _summary(bench: Bench, found: Assessment) -> dict[str, Any]:
    state = bench.state()
    return {
        "job": bench.number,
        "board": {"name": bench.board.name, **bench.board.counts()},
        "entries": state.seq,
        "touched": {
            kind: len(getattr(found.touch, kind)) for kind in ("parts", "pads", "vias", "tracks", "nets")
        },
        "stripped": len(state.strip),
        "remedies": [remedy.title for remedy in found.chosen],
        "readings": len(state.readings),
        "naive_probes": found.copper.naive_probes,
        "jumpers": [f"{j.net}: {j.a} to {j.b}" for j in state.jumpers],
        "refitted": len(state.refit),
        "proofs_passed": sum(line.passed for line in state.evidence.values()),
        "proven": len(found.gate.proven),
        "open": len(found.gate.open),
    }
