"""``coppermend job walk``: one probe at a time in the terminal, each answer kept before the next is asked."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from typing import Any, NamedTuple

from coppermend.board.cautions import cautions_for
from coppermend.board.parttypes import standard_library
from coppermend.cli.copper import Isolation, IsolationOption
from coppermend.cli.output import JsonFlag, counted, emit, say, say_cautions
from coppermend.cli.record import DataOption, JobArgument, WhoOption, assessment_of, state_of
from coppermend.cli.tree import examples
from coppermend.copper.expectwords import ohms_words
from coppermend.copper.readings import parse_ohms
from coppermend.copper.records import CopperPlan, Jumper, Probe
from coppermend.copper.verdict import verdict
from coppermend.errors import InputError
from coppermend.job.assess import copper_plan
from coppermend.job.entry import Entry, EntryKind
from coppermend.job.store import Store

BEEPER = "beeper"
_KEYS = "Enter = good, o = open, a number of ohms, s = later, u = undo, q = stop"
_APART_KEYS = "Enter = apart, x = short, a number of ohms, s = later, u = undo, q = stop"


class _Kept(NamedTuple):
    """An entry to keep, and what to say once it is."""

    kind: EntryKind
    body: Mapping[str, Any]
    words: str


@examples("coppermend job walk 26-0042-U", "coppermend job walk 26-0042-U --isolation all")
def walk(
    job: JobArgument,
    data: DataOption,
    who: WhoOption,
    isolation: IsolationOption = Isolation.LIKELY,
    as_json: JsonFlag = False,
) -> int:
    """Walk the probes of a job one by one: Enter is good, o is open, a typed value is judged.

    Every answer is kept before the next probe is shown, so that a walk goes on where it was left. When the probes
    are made, each proposed jumper is asked for. Status 1 while anything is left to probe, open or shorted.
    """
    with Store.open(data) as store:
        kept, plan = _Walk(store, job, who, isolation, quiet=as_json).run()
    document = {
        "job": job, "kept": kept, "left": len(plan.probes), "proven": list(plan.proven),
        "opens": len(plan.opens), "shorts": len(plan.shorts), "done": plan.done,
    }  # fmt: skip
    emit(document, as_json, lambda: _say_end(job, isolation, kept, plan))
    return 0 if plan.done else 1


def _say_end(job: str, isolation: Isolation, kept: int, plan: CopperPlan) -> None:
    left = "nothing is left to probe" if plan.done else f"{counted(len(plan.probes), 'probe')} to go"
    say(f"{counted(kept, 'answer')} kept; {left}, {counted(len(plan.proven), 'net')} proven")
    if not plan.done:
        more = "" if isolation is Isolation.LIKELY else f" --isolation {isolation}"
        say(f"go on with: coppermend job walk {job}{more}")


class _Walk:
    """The dialogue; ``later`` are ids of probes that were put off."""

    def __init__(self, store: Store, job: str, who: str, isolation: Isolation, *, quiet: bool) -> None:
        self.store, self.job, self.who, self.quiet = store, job, who, quiet
        self.isolation = isolation
        self.later: list[str] = []
        self.kept = 0

    def run(self) -> tuple[int, CopperPlan]:
        """Ask until nothing is left, or until the answers end; entries kept and the plan then."""
        if not self.quiet:
            say_cautions(cautions_for("copper"))
        while True:
            plan = self._plan()
            asked = self._next(plan)
            if asked is None:
                return self.kept, plan
            self._show(asked, len(plan.probes))
            line = sys.stdin.readline()
            if not line or line.strip().lower() in ("q", "quit"):
                return self.kept, plan
            try:
                self._answer(asked, line.strip())
            except InputError as error:
                self._tell(f"{error}")

    def _plan(self) -> CopperPlan:
        found = assessment_of(self.store, state_of(self.store, self.job))
        return copper_plan(found, standard_library(), self.isolation.value)

    def _next(self, plan: CopperPlan) -> Probe | Jumper | None:
        ahead = [probe for probe in plan.probes if probe.id not in self.later]
        if plan.probes and not ahead:  # everything else is done: what was put off comes again
            self.later.clear()
            ahead = list(plan.probes)
        if ahead:
            return ahead[0]
        return plan.jumpers[0] if plan.jumpers else None

    def _show(self, asked: Probe | Jumper, left: int) -> None:
        if isinstance(asked, Jumper):
            side = "from one side to the other" if asked.side == "both" else f"on the {asked.side} side"
            self._tell(
                f"{asked.net}: fit a jumper from {asked.a} to {asked.b}, {asked.length_mm:.0f} mm, {side}"
            )
            self._tell("Enter = fitted, u = undo, q = stop")
            return
        expected = "OL" if asked.expect_ohms is None else ohms_words(asked.expect_ohms)
        aim = asked.net if asked.purpose == "continuity" else "two nets that must not be joined"
        self._tell("", f"{aim} ({left} to go): expect {expected}")
        self._tell(f"  A {asked.a}: {asked.where_a}", f"  B {asked.b}: {asked.where_b}")
        self._tell(_KEYS if asked.purpose == "continuity" else _APART_KEYS)

    def _tell(self, *lines: str) -> None:
        if not self.quiet:
            say(*lines)

    def _answer(self, asked: Probe | Jumper, typed: str) -> None:
        word = typed.lower()
        if word in ("u", "undo"):
            self._undo()
        elif word in ("s", "skip") and isinstance(asked, Probe):
            self.later.append(asked.id)
        else:
            made = _fitted(asked, typed) if isinstance(asked, Jumper) else _reading(asked, typed)
            entry = self.store.append(self.job, made.kind, "copper", made.body, who=self.who)
            self.kept += 1
            self._tell(f"entry {entry.seq} kept: {made.words}")

    def _undo(self) -> None:
        """Take back the last reading or jumper that counts."""
        gone = state_of(self.store, self.job).voided
        last = next(
            (e for e in reversed(self.store.entries(self.job)) if _counts(e) and e.seq not in gone), None
        )
        if last is None:
            self._tell("there is no reading to take back")
            return
        body = {"seq": last.seq, "why": "taken back in the walk"}
        self.store.append(self.job, "void", "copper", body, who=self.who)
        self._tell(f"taken back: {last.body['a']} to {last.body['b']}")


def _counts(entry: Entry) -> bool:
    return entry.kind in ("reading", "jumper")


def _fitted(wire: Jumper, typed: str) -> _Kept:
    if typed:
        raise InputError(f"{typed!r:.40} is no answer", expected="Enter when the jumper is fitted, u or q")
    side = {} if wire.side == "both" else {"side": wire.side}
    return _Kept(
        "jumper", {"net": wire.net, "a": wire.a, "b": wire.b, **side}, f"jumper {wire.a} to {wire.b}"
    )


def _reading(probe: Probe, typed: str) -> _Kept:
    ohms, instrument = _ohms(probe, typed)
    said = "OL" if ohms is None else ohms
    body = {"a": probe.a, "b": probe.b, "ohms": said, **({"instrument": instrument} if instrument else {})}
    shown = "OL" if ohms is None else ohms_words(ohms)
    return _Kept("reading", body, f"{probe.a} to {probe.b} {shown}: {verdict(probe, ohms)}")


def _ohms(probe: Probe, typed: str) -> tuple[float | None, str]:
    """What was read, and with what: a key alone stands for what the beeper says."""
    word = typed.lower()
    if not word:
        return probe.expect_ohms, BEEPER
    if word == "o":
        return None, ""
    if word == "x" and probe.purpose == "isolation":
        return 0.0, BEEPER
    return parse_ohms(typed), ""
