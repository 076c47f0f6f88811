"""Measure registration and corrosion maps: on shared cases with known truth, and on synthetic photographs of our own.

    python tools/measure_photo.py --shared SHARED            (SHARED holds photos/ and boards/)
    python tools/measure_photo.py --renders 32 [--keep DIR]  (seeds from 9001 on; never used in training)

Prints, per case and in all: registration RMS over an 11 x 11 grid before and after refinement, IoU of moderate or
worse (mask >= 112) and light or worse (>= 48), the share of the board falsely marked, and the time from bytes to map.
All photographs are synthetic.
"""

from __future__ import annotations

import argparse
import json
import pickle
import resource
import sys
import time
from pathlib import Path
from typing import Any, NamedTuple

import cv2
import numpy as np

from coppermend.board.importing import Source, import_board
from coppermend.board.model import Board
from coppermend.board.parttypes import standard_library
from coppermend.damage.camera import Camera, View
from coppermend.damage.corrosion import corrosion_map
from coppermend.damage.photo import read_photo
from coppermend.damage.points import ReferenceClick
from coppermend.damage.registration import register
from photo_render.cases import make_case

FIRST_SEED = 9001


class Case(NamedTuple):
    """A photograph with its truth."""

    name: str
    data: bytes
    board: Board
    clicks: tuple[ReferenceClick, ...]
    truth: View
    severity: np.ndarray


def shared_cases(folder: Path) -> list[Case]:
    """The cases in ``photos``, their boards imported from ``boards``."""
    boards: dict[str, Board] = {}
    cases = []
    for path in sorted((folder / "photos").glob("*/truth.json")):
        truth = json.loads(path.read_text())
        name = truth["board"]["name"]
        if name not in boards:
            boards[name] = _imported(folder / "boards" / name)
        camera = Camera(**truth["mapping"]["camera"])
        clicks = tuple(
            ReferenceClick(p["name"], tuple(p["board_mm"]), tuple(p["pixel"]))
            for p in truth["reference_points"]["points"]
        )
        severity = cv2.imread(str(path.parent / "truth_severity.png"), cv2.IMREAD_GRAYSCALE)
        view = View(np.array(truth["mapping"]["board_mm_to_ideal_pixel"]), camera)
        data = (path.parent / "photo.jpg").read_bytes()
        cases.append(Case(f"shared {path.parent.name}", data, boards[name], clicks, view, severity))
    return cases


def _imported(folder: Path) -> Board:
    gerber = [Source(p.name, p.read_bytes()) for p in sorted((folder / "gerber").iterdir())]
    ipc, parts = (Source(n, (folder / n).read_bytes()) for n in ("board.d356", "parts.csv"))
    board, _ = import_board(
        name=folder.name, ipc356=ipc, gerber=gerber, parts=parts, library=standard_library()
    )
    return board


def rendered_case(seed: int, keep: Path | None) -> Case:
    """One synthetic photograph; ``keep`` is a folder that saves drawing it again."""
    stored = keep / f"{seed}.pickle" if keep else None
    if stored and stored.exists():
        return pickle.loads(stored.read_bytes())
    board, scene, shot = make_case(seed)
    clicks = tuple(
        ReferenceClick(f"hole-{i + 1}", tuple(mm), tuple(px))
        for i, (mm, px) in enumerate(zip(shot.points_mm.tolist(), shot.clicked_px.tolist(), strict=True))
    )
    case = Case(
        f"render {seed} {scene.mask} {scene.grade}", shot.jpeg, board, clicks, shot.view, shot.severity
    )
    if stored:
        stored.parent.mkdir(parents=True, exist_ok=True)
        stored.write_bytes(pickle.dumps(case))
    return case


def measured(case: Case) -> dict[str, Any]:
    """Every figure of one case."""
    board = case.board
    grid = np.stack(
        np.meshgrid(np.linspace(0, board.width_mm, 11), np.linspace(0, board.height_mm, 11)), axis=-1
    ).reshape(-1, 2)
    pixels = case.truth.pixels(grid)

    def rms(view: View) -> float:
        return float(np.sqrt(np.mean(np.sum((view.board_mm(pixels) - grid) ** 2, axis=1))))

    began, cpu = time.perf_counter(), time.process_time()
    photo = read_photo(case.data, case.name)
    found = register(photo, board, case.clicks)
    registered = time.perf_counter()
    severity = corrosion_map(photo, board, found.view)
    ended = time.perf_counter()
    clicked = register(photo, board, case.clicks, refine=False)
    figures = {
        "clicks_mm": rms(clicked.view),
        "refined_mm": rms(found.view),
        "agreement": found.agreement,
        "matches": found.matches,
        "register_s": registered - began,
        "total_s": ended - began,
        "cpu_s": time.process_time() - cpu,
    }
    for name, step in (("moderate", 112), ("light", 48)):
        mine, true = severity >= step, case.severity >= step
        union = np.count_nonzero(mine | true)
        figures[f"iou_{name}"] = np.count_nonzero(mine & true) / union if true.any() else float("nan")
    figures["false_share"] = np.count_nonzero((severity >= 48) & (case.severity < 48)) / severity.size
    figures["clean"] = not (case.severity >= 48).any()
    return figures


def main() -> int:
    """Print one line per case and the means."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--shared", type=Path)
    options.add_argument("--renders", type=int, default=0)
    options.add_argument("--first", type=int, default=FIRST_SEED)
    options.add_argument("--keep", type=Path)
    chosen = options.parse_args()
    cases = shared_cases(chosen.shared) if chosen.shared else []
    rows = []
    for number in range(len(cases) + chosen.renders):
        case = (
            cases[number]
            if number < len(cases)
            else rendered_case(chosen.first + number - len(cases), chosen.keep)
        )
        figures = measured(case)
        rows.append(figures)
        print(
            f"{case.name:32} rms {figures['clicks_mm']:.3f} -> {figures['refined_mm']:.3f} mm "
            f"({figures['matches']}, {figures['agreement']:.2f})  IoU moderate {figures['iou_moderate']:.3f} "
            f"light {figures['iou_light']:.3f}  false {100 * figures['false_share']:.2f} %  "
            f"{figures['register_s']:.2f} + {figures['total_s'] - figures['register_s']:.2f} s (cpu {figures['cpu_s']:.2f} s)",
            flush=True,
        )
    _summary(rows)
    return 0


def _summary(rows: list[dict[str, Any]]) -> None:
    damaged = [r for r in rows if not r["clean"]]
    clean = [r for r in rows if r["clean"]]
    for key in ("iou_moderate", "iou_light"):
        values = [r[key] for r in damaged if not np.isnan(r[key])]
        print(f"{key}: mean {np.mean(values):.3f}, worst {np.min(values):.3f} of {len(values)}")
    print(
        f"clean boards: worst false share {100 * max((r['false_share'] for r in clean), default=0):.3f} % of {len(clean)}"
    )
    refined = [r["refined_mm"] for r in rows]
    print(
        f"registration: clicks {np.mean([r['clicks_mm'] for r in rows]):.3f} mm, refined mean {np.mean(refined):.3f}, "
        f"median {np.median(refined):.3f}, worst {max(refined):.3f}, above 0.12: {sum(r > 0.12 for r in refined)} of {len(refined)}"
    )
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"time: mean {np.mean([r['total_s'] for r in rows]):.2f} s; peak memory {peak_mb:.0f} MB")


if __name__ == "__main__":
    sys.exit(main())
