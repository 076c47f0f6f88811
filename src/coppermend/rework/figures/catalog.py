"""All figures by name, in the order in which they are offered. No formulas."""

from __future__ import annotations

from collections.abc import Mapping

from coppermend.errors import UnknownName
from coppermend.rework.figures.cells import BATTERY_PACK, COIN_CELL
from coppermend.rework.figures.drive import CRYSTAL, DISCHARGE, DIVIDER, FLYBACK, LED, TRANSISTOR
from coppermend.rework.figures.figure import Figure
from coppermend.rework.figures.hold import RETENTION
from coppermend.rework.figures.inrush import INRUSH
from coppermend.rework.figures.levels import LEVELS, PULL_UP
from coppermend.rework.figures.nonvolatile import NONVOLATILE
from coppermend.rework.figures.ramp import RESET
from coppermend.rework.figures.supply import SUPPLY
from coppermend.rework.figures.timing import MONOSTABLE, RC, TIMER_555
from coppermend.rework.figures.wire import TRACK, WIRE

FIGURES: Mapping[str, Figure] = {
    figure.name: figure
    for figure in (
        RETENTION, COIN_CELL, BATTERY_PACK, NONVOLATILE, INRUSH, RESET, RC, MONOSTABLE, TIMER_555, SUPPLY, LEVELS, PULL_UP, TRANSISTOR,
        FLYBACK, LED, DIVIDER, CRYSTAL, TRACK, WIRE, DISCHARGE,
    )
}  # fmt: skip


def figure_called(name: str) -> Figure:
    """The figure with this name.

    Raises:
        UnknownName: Lists those that there are.
    """
    if found := FIGURES.get(name.strip().lower()):
        return found
    raise UnknownName("figure", name, hint=f"there are {', '.join(FIGURES)}")
