"""What the test pages share: a job or a bare board, and what was seen so far where no job keeps it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fastapi import Request

from coppermend.board.draw import Overlay
from coppermend.board.kinds import kind_of
from coppermend.board.model import Board
from coppermend.errors import InputError
from coppermend.web.desk import Desk, Job, desk_of
from coppermend.web.drawing import Drawing, around, drawing_of
from coppermend.web.forms import Form
from coppermend.web.stages import job_context

_MOST_ROWS = 2_000
_LAYERS = (("probe", "where to touch"), ("net", "lines of this test"))


@dataclass(frozen=True)
class Setting:
    """Where a test is made: in a job, on a board of the library, or neither. ``path`` is the page itself."""

    desk: Desk
    path: str
    job: Job | None = None
    sha256: str = ""

    @property
    def board(self) -> Board | None:
        """The board, None without one."""
        if self.job:
            return self.job.board
        return self.desk.board(self.sha256) if self.sha256 else None

    def context(self, request: Request) -> dict[str, Any]:
        """What the template needs besides the test."""
        shared: dict[str, Any] = {
            "path_here": self.path, "sha256": self.sha256, "boards": () if self.job else self.desk.store.boards(),
            "board": self.board, "job": None, "found": None, "stage": "prove",
        }  # fmt: skip
        return {**shared, **(job_context(request, self.job, "prove") if self.job else {})}


def setting_of(request: Request, path: str, number: str = "", form: Form | None = None) -> Setting:
    """The setting that an address and a form name."""
    desk = desk_of(request)
    if number:
        job = desk.job(number)
        return Setting(desk, path, job, job.sha256)
    sha256 = (form.text("board") if form else "") or request.query_params.get("board", "")
    return Setting(desk, path, None, sha256)


def rows_of(form: Form) -> list[tuple[str, str]]:
    """What was seen so far, as the page sent it back: a line a row, its two lists parted by a tab.

    Raises:
        InputError: If it is no such text.
    """
    rows = []
    for line in form.texts.get("rows", "").split("\n"):
        if not line.strip("\r"):
            continue
        commanded, tab, seen = line.strip("\r").partition("\t")
        if not tab:
            raise InputError("what was seen so far came back damaged", expected="start again")
        rows.append((commanded, seen))
    if len(rows) > _MOST_ROWS:
        raise InputError(f"has {len(rows)} rows", expected=f"at most {_MOST_ROWS}")
    return rows


def rows_text(rows: Iterable[tuple[Iterable[str], Iterable[str]]]) -> str:
    """The same as text for the page."""
    return "\n".join(f"{';'.join(commanded)}\t{';'.join(seen)}" for commanded, seen in rows)


def ticked(form: Form, prefix: str = "seen-") -> list[str]:
    """Names whose box was ticked."""
    return [
        name.removeprefix(prefix) for name, value in form.texts.items() if name.startswith(prefix) and value
    ]


def contacts_of(desk: Desk, board: Board, net: str) -> list[str]:
    """Points of a net at connectors, by name."""
    parts = board.index.parts
    return [
        str(pin)
        for pin in board.nets.get(net, ())
        if pin.refdes in parts and kind_of(parts[pin.refdes], desk.library) == "connector"
    ]


def test_drawing(setting: Setting, nets: Sequence[str]) -> Drawing | None:
    """The board with these nets, and where to touch them; None without a board."""
    board = setting.board
    if board is None:
        return None
    known = [net for net in nets if net in board.nets]
    places = [contacts_of(setting.desk, board, net)[:1] for net in known]
    points = [place[0] for place in places if place and around(board, place[0])]
    overlays = [
        *(Overlay("net", (net,)) for net in known),
        *(Overlay("probe", (point,), label="AB"[n]) for n, point in enumerate(points[:2])),
    ]
    made = drawing_of(
        setting.desk, setting.sha256, overlays, focus_mm=around(board, *points) if points else None
    )
    kinds = {overlay.kind for overlay in overlays}
    return replace(made, layers=tuple(layer for layer in _LAYERS if layer[0] in kinds))
