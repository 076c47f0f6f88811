"""``coppermend learn``: what the shop's own history says."""

from __future__ import annotations

from coppermend.cli.output import JsonFlag, emit, say, table
from coppermend.cli.record import DataOption
from coppermend.cli.tree import examples
from coppermend.cli.waiting import shown_on_terminal
from coppermend.job.learning import Rate
from coppermend.job.lessons import Lessons, lessons
from coppermend.job.store import Store


@examples("coppermend learn")
def learn(data: DataOption, as_json: JsonFlag = False) -> int:
    """Comebacks by board and remedy, time by stage, how long the next job will take, prices."""
    with Store.open(data) as store, shown_on_terminal(as_json):
        found = lessons(store)
    emit(found.to_json(), as_json, lambda: _show(found))
    return 0


def _show(found: Lessons) -> None:
    for name, rates in found.comebacks.items():
        table(f"came back, {name}", ("Group", "Came back", "95 % (Wilson)"), [(r.group, f"{r.count} of {r.of}", _interval(r)) for r in rates])  # fmt: skip
    table(
        "time by stage",
        ("Stage", "Jobs", "Median, min"),
        [(s, n, f"{m:.0f}") for s, (n, m) in found.stages.items()],
    )
    table(
        "the next job", ("Board", "Bench time"), [(b or "any", e.words) for b, e in found.estimates.items()]
    )
    if found.quotes:
        ratio, low, high, jobs = found.quotes
        say(f"work took {ratio:.2f} of the quoted time ({low:.2f} to {high:.2f}, {jobs} jobs)")
    table("prices", ("Part", "A year"), [(key, f"{change:+.1%}") for key, change in found.prices.items()])


def _interval(one: Rate) -> str:
    return f"{one.low:.1%} to {one.high:.1%}"
