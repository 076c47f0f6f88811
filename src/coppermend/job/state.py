"""The state of a job: a fold over its entries. Pure; knows no store and judges nothing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

from coppermend.errors import InputError
from coppermend.job import dealings
from coppermend.job.entry import Entry, Stage
from coppermend.job.trials import DecayLine, DescribedLine, TrialLine, decays_of, described_of, trials_of
from coppermend.job.validate import FIELDS, check_body, check_kind
from coppermend.job.voiding import voided, voids_among


@dataclass(frozen=True, slots=True)
class BoardLine:
    """The board chosen for the job: its name and the SHA-256 of its archive."""

    name: str
    sha256: str


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """A reading between two points as written; ``ohms`` None is an open circuit (OL)."""

    a: str
    b: str
    ohms: float | None
    instrument: str
    seq: int


@dataclass(frozen=True, slots=True)
class JumperLine:
    """A jumper fitted between two points of one net; ``seq`` is where it was first noted."""

    net: str
    a: str
    b: str
    side: str
    seq: int


@dataclass(frozen=True, slots=True)
class ObservationLine:
    """Something seen while looking for the fault, as written; whether the board has the point is not checked."""

    point: str
    kind: str
    value: str
    condition: str
    seq: int


@dataclass(frozen=True, slots=True)
class EvidenceLine:
    """The last result of a proof; ``values`` holds whatever else was noted, such as what was measured."""

    proof: str
    passed: bool
    note: str
    seq: int
    values: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class WaiverLine:
    """A waiver: these open items go back unproven, for this reason, on whose word and when."""

    reason: str
    items: tuple[str, ...]
    who: str
    at: datetime
    seq: int


@dataclass(frozen=True, slots=True)
class NoteLine:
    """A note, with its author and stage."""

    text: str
    who: str
    at: datetime
    stage: Stage
    seq: int


@dataclass(frozen=True, slots=True)
class FileLine:
    """An attached photo or paper; ``words`` is its caption, or which paper it is (tag, report)."""

    sha256: str
    name: str
    words: str
    stage: Stage
    seq: int


@dataclass(frozen=True, slots=True)
class ImageLine:
    """A program image kept with the job: ``what`` is dump, burn or read-back; ``verified`` None when not checked."""

    sha256: str
    name: str
    what: str
    refdes: str
    device: str
    cpu_first: int | None
    verified: bool | None
    note: str
    stage: Stage
    seq: int
    version: str = ""


@dataclass(frozen=True)
class JobState:
    """Where a job stands. Equal for the same entries in whatever order they are given.

    ``seq`` is the last entry's number (0: no entries). ``strip`` maps what has come off to its fate ("" when
    none was noted), ``refit`` what is back on to its note. ``readings`` and ``evidence`` hold the last of each
    pair of points and of each proof; ``remedies`` the chosen ids. Tuples run in the order of their entries.
    ``unread`` counts entries that this version cannot read; they are kept and skipped.
    """

    number: str = ""
    customer: str = ""
    contact: str = ""
    machine: str = ""
    serial: str = ""
    marks: str = ""
    complaint: str = ""
    condition: str = ""
    promised: str = ""
    stage: Stage = "receive"
    opened: datetime | None = None
    changed: datetime | None = None
    seq: int = 0
    board: BoardLine | None = None
    damage: Mapping[str, Any] | None = None
    remedies: tuple[str, ...] = ()
    strip: Mapping[str, str] = field(default_factory=dict)
    readings: tuple[ReadingLine, ...] = ()
    jumpers: tuple[JumperLine, ...] = ()
    observations: tuple[ObservationLine, ...] = ()
    refit: Mapping[str, str] = field(default_factory=dict)
    evidence: Mapping[str, EvidenceLine] = field(default_factory=dict)
    trials: tuple[TrialLine, ...] = ()
    decays: tuple[DecayLine, ...] = ()
    described: tuple[DescribedLine, ...] = ()
    notes: tuple[NoteLine, ...] = ()
    photos: tuple[FileLine, ...] = ()
    papers: tuple[FileLine, ...] = ()
    images: tuple[ImageLine, ...] = ()
    waiver: WaiverLine | None = None
    approvals: tuple[dealings.ApprovalLine, ...] = ()
    shipping: tuple[dealings.ShippingLine, ...] = ()
    payment: dealings.PaymentLine | None = None
    videos: tuple[dealings.VideoLine, ...] = ()
    waiting: tuple[dealings.WaitingLine, ...] = ()
    fingerprint: Mapping[str, str] = field(default_factory=dict)
    comebacks: tuple[dealings.ComebackLine, ...] = ()
    time: dealings.TimeSpent = field(default_factory=lambda: dealings.TimeSpent({}))
    quoted_minutes: float | None = None
    erased: datetime | None = None
    voided: frozenset[int] = frozenset()
    unread: int = 0

    @property
    def gone(self) -> bool:
        """Whether the board has left the shop."""
        return dealings.is_gone(self.shipping)

    def to_json(self) -> dict[str, Any]:
        """The fields by name; moments as ISO 8601 in UTC, ``voided`` as a sorted list."""
        document: dict[str, Any] = {**asdict(self), "voided": sorted(self.voided)}
        for name in ("approvals", "shipping"):
            document[name] = [{**line, "at": line["at"].isoformat()} for line in document[name]]
        if self.payment:
            document["payment"]["at"] = self.payment.at.isoformat()
        document["time"]["running"] = [
            {**line, "since": line["since"].isoformat()} for line in document["time"]["running"]
        ]
        document["erased"] = self.erased.isoformat() if self.erased else None
        document["opened"] = self.opened.isoformat() if self.opened else None
        document["changed"] = self.changed.isoformat() if self.changed else None
        if self.waiver:
            document["waiver"] = {**asdict(self.waiver), "at": self.waiver.at.isoformat()}
        document["decays"] = [{**asdict(line), "at": line.at.isoformat()} for line in self.decays]
        document["notes"] = [{**asdict(note), "at": note.at.isoformat()} for note in self.notes]
        return document


def readable(entry: Entry) -> bool:
    """Whether this version knows an entry's kind, and its body has what the kind needs."""
    try:
        check_body(check_kind(entry.kind), entry.body)
    except InputError:  # written by a later version
        return False
    return True


def fold(entries: Iterable[Entry], unreadable: Collection[int] | None = None) -> JobState:
    """The state of a job after ``entries``, in whatever order they are given; never fails.

    Entries that are void do not count. Entries of unknown kinds, or whose body lacks what their kind needs,
    are counted in ``unread`` and skipped.

    Args:
        entries: Entries of one job.
        unreadable: The numbers of those that are not ``readable``, where they have been looked through before.
    """
    ordered = sorted(entries, key=lambda entry: entry.seq)
    if not ordered:
        return JobState()
    gone = voided(voids_among(ordered))
    if unreadable is None:
        unreadable = {entry.seq for entry in ordered if not readable(entry)}
    counting = _by_kind(entry for entry in ordered if entry.seq not in gone and entry.seq not in unreadable)
    header = _header(counting["job"])
    return JobState(
        number=ordered[0].job,
        **header,
        stage=counting["stage"][-1].body["stage"] if counting["stage"] else "receive",
        opened=ordered[0].at,
        changed=ordered[-1].at,
        seq=ordered[-1].seq,
        board=_board(counting["board"]),
        damage=counting["damage"][-1].body["area"] if counting["damage"] else None,
        remedies=tuple(i for i, e in _last(counting["remedy"], "id").items() if e.body["chosen"]),
        strip={
            r: e.body.get("fate", "") for r, e in _last(counting["strip"], "refdes").items() if e.body["done"]
        },
        readings=_readings(counting["reading"]),
        jumpers=_jumpers(counting["jumper"]),
        observations=tuple(_observation(e) for e in counting["observation"]),
        refit={
            r: e.body.get("note", "") for r, e in _last(counting["refit"], "refdes").items() if e.body["done"]
        },
        evidence={proof: _evidence(e) for proof, e in _last(counting["evidence"], "proof").items()},
        trials=trials_of([*counting["trial"], *counting["evidence"]]),
        decays=decays_of(counting["decay"]),
        described=tuple(
            described_of(e) for e in _last(counting["proof"], "id").values() if e.body["offered"]
        ),
        notes=tuple(NoteLine(e.body["text"], e.who, e.at, e.stage, e.seq) for e in counting["note"]),
        photos=tuple(_file(e, "caption") for e in counting["photo"]),
        papers=tuple(_file(e, "what") for e in counting["paper"]),
        images=tuple(_image(e) for e in counting["image"]),
        waiver=_waiver(counting["waiver"]),
        approvals=dealings.approvals(counting["approval"]),
        shipping=dealings.shipping(counting["shipping"]),
        payment=dealings.payment(counting["payment"]),
        videos=dealings.videos(counting["video"]),
        waiting=dealings.waiting(counting["waiting"]),
        fingerprint=dealings.fingerprint(counting["fingerprint"]),
        comebacks=dealings.comebacks(counting["comeback"]),
        time=dealings.time_spent(counting["timer"]),
        quoted_minutes=dealings.quoted_minutes(counting["paper"]),
        erased=counting["erased"][-1].at if counting["erased"] else None,
        voided=gone,
        unread=sum(entry.seq in unreadable and entry.seq not in gone for entry in ordered),
    )


def _by_kind(entries: Iterable[Entry]) -> Mapping[str, list[Entry]]:
    groups: dict[str, list[Entry]] = defaultdict(list)
    for entry in entries:
        groups[entry.kind].append(entry)
    return groups


def _last(entries: Sequence[Entry], key: str) -> dict[str, Entry]:
    """The last entry per value of ``key``, in the order of those last entries."""
    last: dict[str, Entry] = {}
    for entry in entries:
        last.pop(entry.body[key], None)
        last[entry.body[key]] = entry
    return last


def _header(entries: Sequence[Entry]) -> dict[str, str]:
    """The job's header: each key as it was last written."""
    return {key: e.body[key] for e in entries for key in FIELDS["job"] if key in e.body}


def _board(entries: Sequence[Entry]) -> BoardLine | None:
    return BoardLine(entries[-1].body["name"], entries[-1].body["sha256"]) if entries else None


def _readings(entries: Sequence[Entry]) -> tuple[ReadingLine, ...]:
    last: dict[frozenset[str], ReadingLine] = {}
    for entry in entries:
        body = entry.body
        ohms = None if body["ohms"] == "OL" else float(body["ohms"])
        pair = frozenset((body["a"], body["b"]))
        last.pop(pair, None)
        last[pair] = ReadingLine(body["a"], body["b"], ohms, body.get("instrument", ""), entry.seq)
    return tuple(last.values())


def _jumpers(entries: Sequence[Entry]) -> tuple[JumperLine, ...]:
    fitted: dict[tuple[str, frozenset[str]], JumperLine] = {}
    for entry in entries:
        net, a, b = (entry.body[key] for key in ("net", "a", "b"))
        key = (net, frozenset((a, b)))
        first = fitted[key].seq if key in fitted else entry.seq
        fitted[key] = JumperLine(net, a, b, entry.body.get("side", ""), first)
    return tuple(fitted.values())


def _observation(entry: Entry) -> ObservationLine:
    body = entry.body
    return ObservationLine(
        body.get("point", ""), body["kind"], body["value"], body.get("condition", ""), entry.seq
    )


def _evidence(entry: Entry) -> EvidenceLine:
    body = entry.body
    values = {key: value for key, value in body.items() if key not in FIELDS["evidence"]}
    return EvidenceLine(body["proof"], body["passed"], body.get("note", ""), entry.seq, values)


def _waiver(entries: Sequence[Entry]) -> WaiverLine | None:
    if not entries:
        return None
    last = entries[-1]
    return WaiverLine(last.body["reason"], tuple(last.body["items"]), last.who, last.at, last.seq)


def _image(entry: Entry) -> ImageLine:
    body = entry.body
    return ImageLine(
        body["sha256"], body["name"], body["what"], body.get("refdes", ""), body.get("device", ""),
        body.get("cpu_first"), body.get("verified"), body.get("note", ""), entry.stage, entry.seq, body.get("version", ""),
    )  # fmt: skip


def _file(entry: Entry, words: str) -> FileLine:
    body = entry.body
    return FileLine(body["sha256"], body["name"], body.get(words, ""), entry.stage, entry.seq)
