"""A figure's answer as checks of a remedy that remember with which inputs they were computed. No formulas."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

from coppermend.rework.figures.catalog import figure_called
from coppermend.rework.figures.figure import Answer
from coppermend.rework.records import Check


def asked(name: str, **given: str) -> tuple[Answer, tuple[tuple[str, str], ...]]:
    """The answer of a figure, and its inputs as pairs; underscores in a keyword stand for hyphens.

    Raises:
        InputError: As the figure does.
    """
    inputs = tuple((key.replace("_", "-"), text) for key, text in given.items())
    return figure_called(name).evaluate(dict(inputs)), inputs


def checks_of(
    answer: Answer,
    inputs: tuple[tuple[str, str], ...],
    names: Collection[str] | None = None,
    sources: Mapping[str, str] | None = None,
) -> tuple[Check, ...]:
    """The checks of an answer, linked to the figure.

    Args:
        answer: What the figure said.
        inputs: With which inputs.
        names: Checks to take; all when None.
        sources: What is to be said of where a check's inputs are from, by its name.
    """
    found = []
    for check in answer.checks:
        if names is None or check.name in names:
            more = (sources or {}).get(check.name, "")
            source = f"{check.source}; {more}" if more else check.source
            found.append(replace(check, source=source, figure=answer.figure.name, inputs=inputs))
    return tuple(found)


def percent(value: float, fraction: float) -> str:
    """A value with a tolerance as a figure reads it.

    >>> percent(5.0, 0.05)
    '5.0 5%'
    """
    return f"{value!r} {fraction * 100:g}%" if fraction else f"{value!r}"
