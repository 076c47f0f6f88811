"""Figures on their own pages: inputs, results while one types, a plot, part markings. Computes nothing itself."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import JSONResponse, Response

from coppermend.board.cautions import DEFERENCE
from coppermend.errors import CoppermendError
from coppermend.rework.cleaning import cleaning_steps
from coppermend.rework.codes.search import ways_to_make
from coppermend.rework.codes.series import SERIES
from coppermend.rework.codes.spoken import understand
from coppermend.rework.codes.written import written_of
from coppermend.rework.figures.catalog import FIGURES, figure_called
from coppermend.rework.figures.figure import QUANTILES, Answer, Figure, words
from coppermend.rework.figures.plot import Plot, plot_svg
from coppermend.rework.substitutes import known_parts, stand_ins
from coppermend.web.language import decimal_point, measured
from coppermend.web.pages import page, room_words, status_of
from coppermend.web.sentences import say

router = APIRouter(include_in_schema=False)
_SAMPLES = 20_000  # enough for steady quantiles, and quick while one types


@router.get("/figures")
def show_figures(request: Request) -> Response:
    """All figures, and what is looked up: markings both ways, values from a series or the shelf, substitutes."""
    asked = {key: text.strip() for key, text in request.query_params.items()}
    lookups = (
        ("meanings", "text", lambda: understand(asked["text"])),
        ("written", "write", lambda: written_of(asked["write"])),
        (
            "ways",
            "wanted",
            lambda: ways_to_make(asked["wanted"], asked.get("series", ""), asked.get("shelf", "")),
        ),
        ("substitutes", "part", lambda: stand_ins(asked["part"], asked.get("instead", ""))),
    )
    found: dict[str, Any] = {"errors": {}}
    for name, key, look_up in lookups:
        found[name] = ()
        try:
            found[name] = look_up() if asked.get(key) else ()
        except CoppermendError as error:
            found["errors"][name] = str(error)
    status = 400 if found["errors"] else 200
    return page(
        request, "figure_list.html", status=status, figures=FIGURES.values(), asked=asked, series=SERIES,
        parts=[part.name for part in known_parts().values()], **found,
    )  # fmt: skip


@router.get("/figures/cleaning")
def show_cleaning(request: Request) -> Response:
    """Cleaning and protection as steps, with timers."""
    steps = cleaning_steps()
    times = {step.id: words(step.seconds, "s") for step in steps if step.seconds}
    return page(request, "figure_cleaning.html", steps=steps, times=times, deference=DEFERENCE)


@router.get("/figures/{name}")
def show_figure(request: Request, name: str) -> Response:
    """One figure with its inputs; a wrong input is told beside them and keeps what was typed."""
    return _figure_page(request, name, "figure.html")


@router.get("/figures/{name}/result")
def show_result(request: Request, name: str) -> Response:
    """Only the results, for the page to put in place while one types.

    What is half typed is answered in words with status 200: a browser would log any other as an error of the page.
    """
    return _figure_page(request, name, "figure_result.html", refused=200)


@router.get("/api/figures/{name}")
def figure_document(request: Request, name: str) -> Response:
    """The figure as JSON, as ``coppermend figure NAME --json`` prints it."""
    figure = figure_called(name)
    return JSONResponse(figure.evaluate(_typed(request, figure)).to_json())


def _typed(request: Request, figure: Figure) -> dict[str, str]:
    """What was typed; a field that only shows a default, or what a choice brought, is not."""
    asked = {key: text.strip() for key, text in request.query_params.items() if text.strip()}
    found = {one.key: asked[one.key] for one in figure.choices if one.key in asked}
    for one in figure.inputs:
        if one.key in asked and asked[one.key] not in {one.default, *_brought(figure, one.key)}:
            found[one.key] = asked[one.key]
    return found


def _brought(figure: Figure, key: str) -> set[str]:
    """The texts that any choice brings for an input."""
    plain = {one.key: one.default for one in figure.choices}
    ways = [{**plain, one.key: option} for one in figure.choices for option in one.options]
    return {brought[key] for way in ways if key in (brought := figure.chooses(way))}


def _figure_page(request: Request, name: str, template: str, refused: int | None = None) -> Response:
    figure = figure_called(name)
    typed = _typed(request, figure)
    try:
        answer = figure.evaluate(typed, samples=_SAMPLES)
    except CoppermendError as error:
        answer = figure.evaluate()
        view = {**_view(figure, answer, typed), "answer": None, "figure_error": str(error)}
        return page(request, template, status=refused or status_of(error), **view)
    return page(request, template, **_view(figure, answer, typed), figure_error="")


def _view(figure: Figure, answer: Answer, typed: Mapping[str, str]) -> dict[str, Any]:
    # Our own SVG: every word in it is escaped where it is drawn.
    plot = Markup(plot_svg(_in_units(_said(answer.plot)))) if answer.plot else ""
    return {
        "figure": figure,
        "answer": answer,
        "rows": [(one, _row(answer, one.name, one.unit)) for one in figure.outputs],
        "simulated": [(title, _shown(value, unit)) for title, value, unit in answer.simulated.values()],
        "shown": {**answer.texts, **answer.choices, **typed},
        "plot": plot,
        "deeper": _deeper(answer),
    }


def _said(plot: Plot) -> Plot:
    """A plot with its words in the language of this request."""
    return replace(
        plot,
        title=room_words(plot.title),
        x_label=room_words(plot.x_label),
        y_label=room_words(plot.y_label),
        lines=tuple(replace(line, name=room_words(line.name)) for line in plot.lines),
        levels=tuple((room_words(name), y) for name, y in plot.levels),
    )


def _row(answer: Answer, name: str, unit: str) -> list[str]:
    bounds = answer.bounds[name]
    found = answer.quantiles.get(name, (bounds.nominal,) * len(QUANTILES))
    return [_shown(v, unit) for v in (bounds.nominal, bounds.low, bounds.high, found[1], found[3])]


def _deeper(answer: Answer) -> list[tuple[str, str, str]]:
    """Outputs whose interval is wider than their corners: title, least, most."""
    found = []
    for one in answer.figure.outputs:
        b = answer.bounds[one.name]
        low, high = b.surely_low, b.surely_high
        if (
            low is not None
            and high is not None
            and (high - b.high > 1e-3 * abs(b.high) or b.low - low > 1e-3 * abs(b.low))
        ):
            found.append((one.title, _shown(low, one.unit), _shown(high, one.unit)))
    return found


def _shown(value: float, unit: str) -> str:
    """A result as this request reads it; lengths as the shop has them shown."""
    if unit == "m" and measured().unit != "mm" and math.isfinite(value):
        return measured().read(value * 1000.0)
    shown = say(words(value, unit))
    return shown if unit else shown.replace(".", decimal_point())


def _in_units(plot: Plot) -> Plot:
    """A plot over lengths in mm, over the shop's own."""
    if plot.x_label.split()[0] != "mm" or measured().unit == "mm":
        return plot
    lines = tuple(replace(line, x=tuple(measured().of(x) for x in line.x)) for line in plot.lines)
    return replace(plot, x_label=plot.x_label.replace("mm", measured().sign, 1), lines=lines)
