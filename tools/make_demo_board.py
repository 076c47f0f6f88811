"""Route the demo board and write its folder: ``python tools/make_demo_board.py [--rounds N] [FOLDER]``.

Needs nothing but the project's own environment; the same input always gives the same board.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from coppermend.board.folder import format_board_folder
from demo_board.build import build_board

FOLDER = Path(__file__).resolve().parent.parent / "src" / "coppermend" / "demo" / "board"


def main() -> int:
    """Route, then write; 1 when some nets could not be kept apart."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("folder", nargs="?", type=Path, default=FOLDER)
    options.add_argument("--rounds", type=int, default=80)
    chosen = options.parse_args()
    board = build_board(chosen.rounds, lambda line: print(line, flush=True))
    if board is None:
        print("not routed: give more rounds, or more room", file=sys.stderr)
        return 1
    chosen.folder.mkdir(parents=True, exist_ok=True)
    for name, text in format_board_folder(board).items():
        (chosen.folder / name).write_text(text, encoding="utf-8", newline="")
    print(", ".join(f"{count} {what}" for what, count in board.counts().items()))
    return 0


if __name__ == "__main__":
    sys.exit(main())
