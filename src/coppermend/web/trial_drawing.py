"""How many searches took how many measurements, as SVG, beside what other ways take. Computes nothing of its own."""

from __future__ import annotations

from collections import Counter

from markupsafe import Markup, escape

from coppermend.isolate.trial import Report
from coppermend.web.language import number_words, translate

_WIDTH, _HEIGHT, _LEFT, _RIGHT, _TOP, _BOTTOM = 430.0, 320.0, 34.0, 10.0, 96.0, 46.0
_LETTER = 7.4  # how wide a letter is at most, to keep the words of a mark within the drawing


def measurements_svg(report: Report) -> Markup:
    """Bars of searches by measurements, found ones filled and others only outlined; marks at the means and the bound.

    Told apart by filling, dashes and words, never by colour.
    """
    found, others = Counter[int](), Counter[int]()
    for search in report.searches:
        (found if 0 < search.place <= 3 else others)[search.measurements] += 1
    most = max(*found, *others, round(max(report.random, report.half_split, report.bound_bits) + 0.5))
    tallest = max(found[n] + others[n] for n in range(most + 1))
    step = (_WIDTH - _LEFT - _RIGHT) / (most + 1)

    def x(count: float) -> float:
        return _LEFT + (count + 0.5) * step

    def y(searches: float) -> float:
        return _HEIGHT - _BOTTOM - searches / tallest * (_HEIGHT - _TOP - _BOTTOM)

    bars = []
    for count in range(most + 1):
        for kind, low, high in (
            ("found", 0, found[count]), ("missed", found[count], found[count] + others[count]),
        ):  # fmt: skip
            if high > low:
                bars.append(
                    f'<rect class="{kind}" x="{x(count) - 0.42 * step:.1f}" y="{y(high):.1f}" '
                    f'width="{0.84 * step:.1f}" height="{y(low) - y(high):.1f}"/>'
                )
    every = max(1, round((most + 1) / 10))
    words = translate("Searches by the number of measurements they took")
    return Markup(
        f'<svg class="trial-plot" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="img" xmlns="http://www.w3.org/2000/svg">'
        f"<title>{escape(words)}</title>"
        f'<path class="axis" d="M{_LEFT:g} {_TOP:g}V{_HEIGHT - _BOTTOM:g}H{_WIDTH - _RIGHT:g}"/>'
        + "".join(_text(x(n), _HEIGHT - _BOTTOM + 17, str(n), "middle") for n in range(0, most + 1, every))
        + _text((_LEFT + _WIDTH) / 2, _HEIGHT - 8, translate("measurements"), "middle")
        + _text(_LEFT - 6, y(tallest) + 4, str(tallest), "end")
        + _text(_LEFT - 6, y(0) + 4, "0", "end")
        + "".join(bars)
        + "".join(
            _mark(x(at), 16 + 20 * row, style, f"{name} {number_words(at, 1)}")
            for row, (style, name, at) in enumerate(_marks(report))
        )
        + "</svg>"
    )


def _marks(report: Report) -> list[tuple[str, str, float]]:
    marks = [
        ("own", translate("this search"), report.mean),
        ("bound", translate("entropy bound"), report.bound_bits),
        ("other", translate("half-split"), report.half_split),
        ("other", translate("at random"), report.random),
    ]
    # The leftmost highest: its line then passes none of the words below it.
    return sorted(marks, key=lambda mark: mark[2])


def _mark(at: float, height: float, style: str, words: str) -> str:
    line = f'<path class="mark {style}" d="M{at:.1f} {height - 11:.1f}V{_HEIGHT - _BOTTOM:g}"/>'
    if at + 6 + _LETTER * len(words) > _WIDTH:
        return line + _text(at - 5, height, words, "end")
    return line + _text(at + 5, height, words, "start")


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'
