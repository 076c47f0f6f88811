"""What a figure is: inputs with units and limits, a formula, checks, a plot; and its answer. No formula here."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from coppermend.errors import InputError, UnknownName
from coppermend.quantity import format_quantity
from coppermend.rework.figures.interval import Num
from coppermend.rework.figures.plot import Plot
from coppermend.rework.figures.spread import Bounds, Spread, monte_carlo, parse_spread, worst_case
from coppermend.rework.records import Check

QUANTILES = (0.01, 0.05, 0.50, 0.95, 0.99)


@dataclass(frozen=True, slots=True)
class Input:
    """One quantity that a figure takes: ``key`` as it is typed, ``argument`` as the formula calls it.

    ``default`` is text as a user would type it. The value must be greater than ``above``, and lie
    within ``least`` and ``most``; None leaves a side open. ``absent_ok`` takes "none" (infinite).
    """

    key: str
    argument: str
    title: str
    unit: str
    default: str
    above: float | None = None
    least: float | None = None
    most: float | None = None
    absent_ok: bool = False

    def read(self, text: str) -> Spread:
        """The spread that ``text`` states.

        Raises:
            InputError: Names the input, if the text is no such quantity or out of range.
        """
        try:
            found = parse_spread(text, self.unit)
        except InputError as error:
            raise InputError(f"{self.key}: {error.found}", expected=error.expected) from None
        self._check(found, text)
        return found

    def _check(self, found: Spread, text: str) -> None:
        said = f"{self.key} is {text.strip()}"
        if math.isinf(found.high) and not self.absent_ok:
            raise InputError(said, expected=f"a finite value in {self.unit or 'plain numbers'}")
        if self.above is not None and not found.low > self.above:
            raise InputError(said, expected=f"more than {self.above:g} {self.unit}".strip())
        if self.least is not None and found.low < self.least:
            raise InputError(said, expected=f"at least {self.least:g} {self.unit}".strip())
        if self.most is not None and found.high > self.most:
            raise InputError(said, expected=f"at most {self.most:g} {self.unit}".strip())


@dataclass(frozen=True, slots=True)
class Choice:
    """One alternative that a figure takes: ``options`` by name, each with words."""

    key: str
    title: str
    options: Mapping[str, str]
    default: str

    def read(self, text: str) -> str:
        """The option called ``text``, case ignored.

        Raises:
            InputError: Names the options.
        """
        by_name = {option.lower(): option for option in self.options}
        if text.strip().lower() not in by_name:
            raise InputError(f"{self.key} is {text.strip()!r}", expected=f"one of {', '.join(self.options)}")
        return by_name[text.strip().lower()]


@dataclass(frozen=True, slots=True)
class Output:
    """One quantity that a figure gives; ``name`` ends with its unit. ``words`` of "time" shows h, d, years."""

    name: str
    title: str
    unit: str


@dataclass(frozen=True)
class Answer:
    """What a figure says for given inputs. ``quantiles`` are empty without samples."""

    figure: Figure
    spreads: Mapping[str, Spread]
    texts: Mapping[str, str]
    choices: Mapping[str, str]
    bounds: Mapping[str, Bounds]
    quantiles: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    samples: int = 0
    seed: int = 0

    @cached_property
    def checks(self) -> tuple[Check, ...]:
        """What is within its limit and what is not."""
        return self.figure.checks(self)

    @cached_property
    def plot(self) -> Plot | None:
        """The curve to look at, if the figure has one."""
        return self.figure.plot(self) if self.figure.plot else None

    @cached_property
    def simulated(self) -> Mapping[str, tuple[str, float, str]]:
        """What a simulation at nominal values gives: name -> (title, value, unit)."""
        return self.figure.simulate(self) if self.figure.simulate else {}

    @property
    def ok(self) -> bool:
        """Whether every check that must pass does."""
        return all(check.ok for check in self.checks if check.must)

    def value(self, key: str) -> float:
        """The nominal value of an input."""
        return self.spreads[key].nominal

    def out(self, name: str) -> Bounds:
        """What an output can be."""
        return self.bounds[name]

    def to_json(self) -> dict[str, Any]:
        """Plain JSON types.

        Keys: ``figure``, ``title``, ``ok``, ``inputs`` {key: text, nominal, low, high, unit, title}, ``choices``,
        ``outputs`` {name: title, unit, words, nominal, low, high, surely_low, surely_high, quantiles or null},
        ``simulated`` {name: title, value, unit, words}, ``checks``, ``samples``, ``seed``, ``source``. Infinite
        values are null.
        """
        figure = self.figure
        return {
            "figure": figure.name,
            "title": figure.title,
            "ok": self.ok,
            "inputs": {i.key: self._input(i) for i in figure.inputs},
            "choices": dict(self.choices),
            "outputs": {o.name: self._output(o) for o in figure.outputs},
            "simulated": {
                name: {"title": title, "value": finite(value), "unit": unit, "words": words(value, unit)}
                for name, (title, value, unit) in self.simulated.items()
            },
            "checks": [check.to_json() for check in self.checks],
            "samples": self.samples,
            "seed": self.seed,
            "source": figure.source,
        }

    def _input(self, one: Input) -> dict[str, Any]:
        spread = self.spreads[one.key]
        limits = {n: finite(getattr(spread, n)) for n in ("nominal", "low", "high")}
        return {"text": self.texts[one.key], **limits, "unit": one.unit, "title": one.title}

    def _output(self, one: Output) -> dict[str, Any]:
        bounds = self.bounds[one.name]
        names = ("nominal", "low", "high", "surely_low", "surely_high")
        limits = {name: finite(getattr(bounds, name)) for name in names}
        found = self.quantiles.get(one.name)
        shares = {f"p{share * 100:g}": finite(v) for share, v in zip(QUANTILES, found or (), strict=False)}
        return {
            "title": one.title, "unit": one.unit, "words": words(bounds.nominal, one.unit),
            **limits, "quantiles": shares or None,
        }  # fmt: skip


def finite(value: float | None) -> float | None:
    """The value, or None when it is infinite or no number (JSON has neither)."""
    return value if value is not None and math.isfinite(value) else None


_TIMES = ((31_557_600.0, "years"), (86_400.0, "days"), (3600.0, "h"), (60.0, "min"))


def words(value: float, unit: str) -> str:
    """A value as one reads it; long times in min, h, days or years.

    >>> words(135000.0, "s"), words(4.7e-6, "F"), words(float("inf"), "s")
    ('37.5 h', '4.7 µF', 'no limit')
    """
    if math.isinf(value):
        return "no limit"
    if unit == "s":
        for scale, name in _TIMES:
            if value >= 2 * scale:
                return f"{value / scale:.4g} {name}"
    return format_quantity(value, unit) if unit else f"{value:.4g}"


@dataclass(frozen=True)
class Figure:
    """A figure: what it takes, what it gives, how, and where the rule is from.

    ``formula`` takes arguments and choices by name, and floats, arrays or Intervals alike.
    ``refuse`` raises InputError for inputs that contradict each other; ``plot`` draws an answer; ``chooses`` gives
    the defaults that a choice implies; ``simulate`` runs a circuit at nominal values.
    """

    name: str
    title: str
    about: str
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    formula: Callable[[Mapping[str, Num], Mapping[str, str]], Mapping[str, Num]]
    source: str
    choices: tuple[Choice, ...] = ()
    checks: Callable[[Answer], tuple[Check, ...]] = lambda _: ()
    refuse: Callable[[Mapping[str, Spread], Mapping[str, str]], None] = lambda _spreads, _choices: None
    plot: Callable[[Answer], Plot] | None = None
    chooses: Callable[[Mapping[str, str]], Mapping[str, str]] = lambda _: {}
    simulate: Callable[[Answer], Mapping[str, tuple[str, float, str]]] | None = None

    def evaluate(self, given: Mapping[str, str] | None = None, *, samples: int = 0, seed: int = 1) -> Answer:
        """What the figure says.

        Args:
            given: Texts by key; what is missing takes its default, or what a choice implies.
            samples: Monte Carlo samples, 0 for none.
            seed: Start of the generator.

        Raises:
            UnknownName: If a key is none of the figure's.
            InputError: If a text is no such quantity, out of range, or contradicts another.
        """
        asked = {key: text for key, text in (given or {}).items() if text.strip()}
        known = [*(one.key for one in self.inputs), *(one.key for one in self.choices)]
        for key in asked:
            if key not in known:
                raise UnknownName("input", key, f"figure {self.name}", f"it takes {', '.join(known)}")
        choices = {one.key: one.read(asked.get(one.key, one.default)) for one in self.choices}
        implied = self.chooses(choices)
        texts = {o.key: asked.get(o.key, implied.get(o.key, o.default)) for o in self.inputs}
        spreads = {one.key: one.read(texts[one.key]) for one in self.inputs}
        self.refuse(spreads, choices)
        answer = Answer(self, spreads, texts, choices, worst_case(self._named(choices), spreads))
        return self._sampled(answer, samples, seed) if samples else answer

    def _named(self, choices: Mapping[str, str]) -> Callable[[Mapping[str, Num]], Mapping[str, Num]]:
        arguments = {one.key: one.argument for one in self.inputs}
        return lambda values: self.formula({arguments[key]: v for key, v in values.items()}, choices)

    def _sampled(self, answer: Answer, samples: int, seed: int) -> Answer:
        drawn = monte_carlo(self._named(answer.choices), answer.spreads, samples, seed)
        found = {name: _quantiles(values) for name, values in drawn.items()}
        return replace(answer, quantiles=found, samples=samples, seed=seed)


def _quantiles(values: np.ndarray) -> tuple[float, ...]:
    if values.ndim == 0:
        return (float(values),) * len(QUANTILES)
    # Rank without interpolation: partition is several times quicker than a sort.
    ranks = [min(int(share * len(values)), len(values) - 1) for share in QUANTILES]
    placed = np.partition(values, ranks)
    return tuple(float(placed[rank]) for rank in ranks)
