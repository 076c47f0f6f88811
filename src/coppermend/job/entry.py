"""One line of a job's append-only record, and the words it may use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

Stage = Literal["receive", "inspect", "isolate", "plan", "strip", "copper", "refit", "prove", "return"]
STAGES: tuple[Stage, ...] = (
    "receive", "inspect", "isolate", "plan", "strip", "copper", "refit", "prove", "return",
)  # fmt: skip

# kind -> what its body holds. Bodies are JSON objects; unknown keys are kept.
#   job       customer, contact, machine, complaint, serial, marks, condition   (stage receive, first entry)
#   board     name, sha256 of the board folder's attachment, file name          (receive)
#   photo     sha256, name, media type, caption                                 (any)
#   image     sha256, name, what: dump|burn|read-back, refdes, device, cpu_first, verified, note  (any)
#   damage    area: GeoJSON FeatureCollection in board mm with "severity"       (inspect; the last one counts)
#   note      text                                                              (any)
#   remedy    id of a remedy, chosen true|false                                 (plan; the last per id counts)
#   observation  point, kind, value, condition: what was seen while looking for the fault   (isolate)
#   strip     refdes, done true|false, fate                                     (strip; the last per refdes)
#   reading   a, b (points), ohms: number or "OL", instrument                   (copper; the last per pair)
#   jumper    net, a, b, side                                                   (copper)
#   refit     refdes, done true|false, note                                     (refit; the last per refdes)
#   evidence  proof, passed true|false, note                                    (prove; the last per proof)
#   trial     test: matrix|drive, commanded, seen: names of lines or outputs; fresh: forget those before  (prove)
#   decay     refdes of what keeps the memory, hours since power-off, volts     (prove; hours 0 begin a new row)
#   proof     id, title, how, shows, watched, offered: a test of the program as the user describes it  (prove; the last per id)
#   waiver    reason, items: what is open and goes back unproven                (return; the last one counts)
#   stage     stage                                                             (where the job stands now)
#   paper     what: tag|report, sha256, name                                    (return)
#   void      seq of the entry that no longer counts, why                       (any: undo and correction)
#   approval  what was asked, approved true|false, by, note                     (any)
#   shipping  direction in|out, carrier, tracking, note                         (receive, return; the last one counts)
#   payment   state, amount, note                                               (any; the last one counts)
#   video     url, or sha256, name and media type of a file; caption             (any)
#   waiting   parts, arrived true|false, until: a date                          (any; the last per parts)
#   timer     does: start|pause|stop|add, minutes (for add), why                (the stage it is spent on)
#   fingerprint  codes: refdes -> code read off the part                        (receive; the last per refdes)
#   comeback  job: number of the earlier job on the same board, why             (receive; made when tag, serial or codes match)
#   erased    entries: whose personal data was erased on request, why           (any; written by erasing only)
EntryKind = Literal[
    "job", "board", "photo", "image", "damage", "note", "remedy", "observation", "strip", "reading", "jumper", "refit", "evidence",
    "trial", "decay", "proof", "waiver", "stage", "paper", "void",
    "approval", "shipping", "payment", "video", "waiting", "timer", "fingerprint", "comeback", "erased",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry as stored: ``seq`` counts from 1 within its job, ``at`` is UTC."""

    job: str
    seq: int
    at: datetime
    who: str
    stage: Stage
    kind: EntryKind
    body: Mapping[str, Any] = field(default_factory=dict)
