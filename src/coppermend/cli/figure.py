"""``coppermend figure``: engineering figures with their worst cases, part markings, and values from what there is."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from coppermend.board.cautions import merged
from coppermend.cli.inputs import write_new
from coppermend.cli.output import JsonFlag, emit, say, say_cautions, table
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.quantity import format_quantity, parse_quantity
from coppermend.rework.cleaning import cleaning_steps
from coppermend.rework.codes.search import unit_of, ways_to_make
from coppermend.rework.codes.spoken import understand
from coppermend.rework.codes.written import written_of
from coppermend.rework.figures.catalog import FIGURES, figure_called
from coppermend.rework.figures.figure import Answer, words
from coppermend.rework.figures.plot import plot_svg
from coppermend.rework.substitutes import stand_ins

_LOOKUPS = {
    "cleaning": "cleaning and protection after a leak, as steps with times and when to stop",
    "code": "what a marking means: coppermend figure code yel vio red gold",
    "marking": "how a value is written on parts: coppermend figure marking 4.7k 5%",
    "substitute": "what can stand in for a part: coppermend figure substitute 2N3904 BC547B",
    "value": "a value from a series or the shelf: coppermend figure value 7.25k series=E12",
}
Name = Annotated[str, typer.Argument(metavar="NAME", help="Which figure; without it, all are listed.")]
Words = Annotated[
    list[str] | None,
    typer.Argument(metavar="[KEY=VALUE]...", help="Inputs such as capacitance=0.47F or rail='5V 5%'."),
]
Samples = Annotated[
    int, typer.Option("--samples", metavar="N", help="Monte Carlo samples over the tolerances.", min=0)
]
Seed = Annotated[int, typer.Option("--seed", metavar="N", help="Start of the random numbers.", min=0)]
PlotFile = Annotated[Path | None, typer.Option("--plot", metavar="FILE", help="Write the plot as SVG.")]


@examples(
    "coppermend figure retention capacitance='0.47F 20%' memory=5101L --samples 1000000",
    "coppermend figure code yel vio red gold",
    "coppermend figure value 7.25k series=E12",
)
def figure(
    name: Name = "", given: Words = None, samples: Samples = 0, seed: Seed = 1, plot: PlotFile = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Compute a figure at nominal values and at its worst case, with its checks.

    A value may carry limits: '0.47F 20%', '0.1F -20+80%', '4.75..5.25V', '2uA (1uA..10uA)'. What is left out takes
    its default. Status 1 when a check that must pass does not.
    """
    asked = given or []
    lookup = {
        "": _list,
        "code": _code,
        "marking": _marking,
        "value": _value,
        "substitute": _substitute,
        "cleaning": _cleaning,
    }.get(name.lower())
    if lookup:
        return lookup(asked, as_json)
    answer = figure_called(name).evaluate(_pairs(asked), samples=samples, seed=seed)
    if plot:
        _write_plot(answer, plot)
    emit(answer.to_json(), as_json, lambda: _show(answer))
    return 0 if answer.ok else 1


def _pairs(asked: Sequence[str]) -> dict[str, str]:
    """``KEY=VALUE`` words as a dictionary.

    Raises:
        InputError: If a word has no equals sign, or a key comes twice.
    """
    found: dict[str, str] = {}
    for word in asked:
        key, equals, text = word.partition("=")
        if not (equals and key and text.strip()):
            raise InputError(f"{word!r} sets nothing", expected="KEY=VALUE such as capacitance=0.47F")
        if key.strip().lower() in found:
            raise InputError(f"{key} is given twice", expected="each input once")
        found[key.strip().lower()] = text
    return found


def _write_plot(answer: Answer, path: Path) -> None:
    drawn = answer.plot
    if drawn is None:
        raise InputError(f"figure {answer.figure.name} has no plot", expected="another figure, or no --plot")
    write_new(path, lambda: plot_svg(drawn).encode())


def _list(asked: Sequence[str], as_json: bool) -> int:
    document = {
        "figures": [{"name": f.name, "title": f.title, "about": f.about} for f in FIGURES.values()],
        "lookups": [{"name": name, "about": about} for name, about in _LOOKUPS.items()],
    }

    def show() -> None:
        table("figures", ("name", "what"), [(f.name, f.about) for f in FIGURES.values()])
        table("and", ("name", "what"), list(_LOOKUPS.items()))
        say("next: coppermend figure NAME shows its inputs and their defaults")

    emit(document, as_json, show)
    return 0


def _show(answer: Answer) -> None:
    figure = answer.figure
    say(f"{figure.title}: {figure.about}", "")
    rows = [(i.key, answer.texts[i.key], i.title) for i in figure.inputs]
    rows += [(c.key, answer.choices[c.key], f"{c.title}: {', '.join(c.options)}") for c in figure.choices]
    table("inputs", ("key", "value", "what"), rows)
    sampled = ("5 %", "95 %") if answer.samples else ()
    table(
        "results",
        ("what", "nominal", "least", "most", *sampled),
        [_row(answer, o.name) for o in figure.outputs],
    )
    table(
        "simulated at nominal", ("what", "value"), [(t, words(v, u)) for t, v, u in answer.simulated.values()]
    )
    checks = [
        (c.name, c.value, c.limit, "yes" if c.ok else "NO" if c.must else "no, a trap") for c in answer.checks
    ]
    table("checks", ("check", "value", "limit", "ok"), checks)
    for check in answer.checks:
        if not check.ok and check.note:
            say(check.note)
    say(f"source: {figure.source}")


def _row(answer: Answer, name: str) -> tuple[str, ...]:
    output = next(o for o in answer.figure.outputs if o.name == name)
    bounds = answer.bounds[name]
    found = answer.quantiles.get(name)
    shares = (found[1], found[3]) if found else ()
    values = (bounds.nominal, bounds.low, bounds.high, *shares)
    return (output.title, *(words(value, output.unit) for value in values))


def _code(asked: Sequence[str], as_json: bool) -> int:
    text = " ".join(asked)
    meanings = understand(text)
    document: dict[str, Any] = {"text": text, "meanings": [meaning.to_json() for meaning in meanings]}

    def show() -> None:
        for meaning in document["meanings"]:
            say(f"{meaning['words']}  ({meaning['code']})")
            say(*(f"note: {note}" for note in meaning["notes"]), indent=2)

    emit(document, as_json, show)
    return 0


def _marking(asked: Sequence[str], as_json: bool) -> int:
    text = " ".join(asked)
    found = written_of(text)
    document = {
        "value": found.value, "unit": found.unit, "tolerance": found.tolerance,
        "markings": [{"code": m.code, "text": m.text} for m in found.markings],
    }  # fmt: skip
    emit(document, as_json, lambda: table("", ("code", "marking"), found.markings))
    return 0


def _value(asked: Sequence[str], as_json: bool) -> int:
    if not asked:
        raise InputError("no value is wanted", expected="coppermend figure value 7.25k series=E12")
    options = _pairs(asked[1:])
    if strange := set(options) - {"series", "shelf"}:
        raise InputError(f"{min(strange)} is no input of value", expected="series=E24 or shelf=1k,2k2,4k7")
    ways = ways_to_make(asked[0], options.get("series", ""), options.get("shelf", ""))
    unit = unit_of(asked[0])
    target = parse_quantity(asked[0], unit)
    document: dict[str, Any] = {"wanted": target, "unit": unit, "ways": [way.to_json() for way in ways]}

    def show() -> None:
        rows = [(w.words, format_quantity(w.value, unit), f"{w.error * 100:+.2f} %") for w in ways]
        table(f"ways to make {format_quantity(target, unit)}", ("parts", "value", "error"), rows)

    emit(document, as_json, show)
    return 0 if ways else 1


def _substitute(asked: Sequence[str], as_json: bool) -> int:
    if not 1 <= len(asked) <= 2:
        raise InputError(
            f"{len(asked)} parts", expected="coppermend figure substitute 2N3904, or 2N3904 BC547B"
        )
    found = stand_ins(*asked)
    document = {"part": asked[0], "substitutes": [one.to_json() for one in found]}

    def show() -> None:
        rows = [
            (c.new.name, "yes" if c.ok else "NO", "; ".join((*c.failing, *c.adaptations)) or "pin for pin")
            for c in found
        ]
        table(f"in place of {asked[0]}", ("part", "meets all", "what fails, what to adapt"), rows)
        say(*(f"source of {one.new.name}: {one.new.source}" for one in found))

    emit(document, as_json, show)
    return 0 if any(one.ok for one in found) else 1


def _cleaning(asked: Sequence[str], as_json: bool) -> int:
    if asked not in ([], ["coat=no"]):
        raise InputError(f"cleaning takes no {asked[0]!r}", expected="nothing, or coat=no")
    steps = cleaning_steps(coat=not asked)
    document = {"steps": [step.to_json() for step in steps]}

    def show() -> None:
        say_cautions(merged(*(step.cautions for step in steps)))
        for number, step in enumerate(steps, 1):
            took = f" ({words(step.seconds, 's')})" if step.seconds else ""
            say(f"{number:>2}  {step.title}{took}: {step.how}")
            say(f"with {step.materials}; stop when: {step.stop}", indent=4)

    emit(document, as_json, show)
    return 0
