"""From a job's state and assessment to the words on its papers. Decides wording only; judges nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace

from coppermend.board.cautions import DEFERENCE, Caution, cautions_called, cautions_for
from coppermend.board.kinds import kind_of
from coppermend.board.lengths import MM, Lengths
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.copper.wirelist import total_words, wire_totals
from coppermend.job.assess import Assessment
from coppermend.job.state import JobState, ReadingLine
from coppermend.papers.drawings import report_drawings
from coppermend.papers.marks import work_marks
from coppermend.papers.report import Picture, ProofRow, ReadingRow, ReportContent, WorkRow
from coppermend.papers.said import Say, plain, template_words
from coppermend.papers.tag import TagContent
from coppermend.rework.records import RefitItem

_CARE = (
    "Look at the board once a year: a green or white bloom anywhere means it wants cleaning again.",
    "If the memory forgets, have the part that keeps it measured before anything is replaced.",
    "Keep this report with the machine; the tag on the board names it.",
)
_MANY = 8


def board_title(board: Board) -> str:
    """Name and revision of a board."""
    return f"{board.name}, revision {board.revision}" if board.revision else board.name


def verdict(found: Assessment) -> str:
    """The gate's answer in one line."""
    if found.gate.passed:
        return "Proven: nothing that was touched is left open"
    count = len(found.gate.open)
    held = f"{count} {'thing is' if count == 1 else 'things are'} still open"
    return f"Not proven: {held}; returned by a waiver" if found.release.allowed else f"Not proven: {held}"


def waiver_words(found: Assessment, say: Say = plain) -> str:
    """The waiver that lets the job go back though its gate is open; "" without one."""
    line = found.release.waiver
    if line is None:
        return ""
    returned = say(f"Returned with this open, by {line.who} on {line.at.astimezone():%Y-%m-%d}.")
    return f"{returned} {say('Reason')}: {line.reason}"


def fitted_new(state: JobState, found: Assessment) -> tuple[RefitItem, ...]:
    """New parts that are recorded as fitted."""
    return tuple(item for item in found.refit if item.source == "new" and item.refdes in state.refit)


def _cell_cautions(board: Board, library: PartLibrary, found: Assessment) -> tuple[Caution, ...]:
    """Whoever opens the machine next must know when something else stands in a battery's place."""
    off = [board.index.parts[refdes] for remedy in found.chosen for refdes in remedy.parts_off]
    replaced = any(kind_of(part, library) == "battery" for part in off)
    return cautions_called("primary cell") if replaced else ()


def done_lines(board: Board, library: PartLibrary, state: JobState, found: Assessment) -> tuple[str, ...]:
    """What was done, one short line a piece of work, most telling first; () when nothing is recorded yet."""
    lines = [f"{remedy.title[:1].upper()}{remedy.title[1:]}" for remedy in found.chosen]
    if state.readings:
        nets = len(found.touch.nets)
        lines.insert(0, f"Damage cleaned, copper proven: {len(found.copper.proven)} of {nets} nets")
    if counted := _counted(board, library, fitted_new(state, found)):
        lines.append(f"New: {counted}")
    lines += [f"Jumper on {j.net}: {j.a} to {j.b}" for j in state.jumpers]
    if passed := sum(line.passed for line in state.evidence.values()):
        lines.append(f"{passed} tests passed")
    return tuple(lines)


def _counted(board: Board, library: PartLibrary, items: Iterable[RefitItem]) -> str:
    kinds: Counter[str] = Counter()
    for item in items:
        part = board.index.parts.get(item.part or item.refdes)
        known = library.find(item.type)
        kind = known.kind if known else (kind_of(part, library) if part else None)
        kinds["socket" if item.refdes.startswith("X") and item.part else str(kind or "other part")] += 1
    return ", ".join(f"{n} {kind}{'' if n == 1 else 's'}" for kind, n in kinds.most_common(_MANY))


def tag_content(
    board: Board, library: PartLibrary, state: JobState, found: Assessment, *, who: str, date: str,
    shop: str = "", bench_url: str = "", say: Say = plain,
) -> TagContent:  # fmt: skip
    """What stands on the return tag of a job; ``say`` says our sentences in another language."""
    return TagContent(
        number=state.number,
        board=say(board_title(board)),
        machine=state.machine,
        serial=state.serial,
        shop=shop,
        date=date,
        who=who,
        done=tuple(map(say, done_lines(board, library, state, found))),
        verdict=say(verdict(found)),
        cautions=tuple(say(c.text) for c in _cell_cautions(board, library, found)),
        words=template_words(say),
        bench_url=bench_url,
        marks=work_marks(state, found),
    )


def report_content(
    board: Board, library: PartLibrary, state: JobState, found: Assessment, *, who: str, date: str,
    shop: str = "", bench_url: str = "", photos: Sequence[Picture] = (), logo: bytes = b"",
    lengths: Lengths = MM, say: Say = plain,
) -> ReportContent:  # fmt: skip
    """What stands in the return report of a job; ``photos`` come before the drawings, ``logo`` (SVG) above all.

    ``say`` says our sentences in another language; what people wrote stays as it is.
    """
    drawings = report_drawings(board, library, found)
    return ReportContent(
        number=state.number,
        board=say(board_title(board)),
        machine=state.machine,
        serial=state.serial,
        customer=state.customer,
        shop=shop,
        logo=logo,
        date=date,
        who=who,
        verdict=say(verdict(found)),
        summary=say(_summary(state, found, lengths)),
        complaint=state.complaint or say("None was given."),
        condition=state.condition,
        arrival=_noted(state, "receive"),
        found=_found(board, state, found, say),
        pictures=(*photos, *(replace(one, caption=say(one.caption)) for one in drawings)),
        work=_work(state, found, lambda text: lengths.in_sentence(say(text))),
        readings=tuple(_reading_row(board, found, reading, say) for reading in state.readings),
        readings_note=say(
            "Each line is one measurement between two points of a connection that the damage had reached. "
            "OL means no connection."
        ),
        tests=_tests(state, found, say),
        open=tuple(lengths.in_sentence(say(_open_words(item.to_json()))) for item in found.gate.open),
        waiver=waiver_words(found, say),
        cautions=(
            *(say(c.text) for c in (*cautions_for("return"), *_cell_cautions(board, library, found))),
            say(DEFERENCE),
        ),
        care=tuple(map(say, _CARE)),
        words=template_words(say),
        bench_url=bench_url,
    )


def _summary(state: JobState, found: Assessment, lengths: Lengths) -> str:
    touched = found.touch
    if not touched.nets and not touched.parts:
        return "No damaged area was recorded for this board."
    area = (
        f"{touched.area_mm2 / 100:.0f} cm²"
        if lengths.unit == "mm"
        else " ".join(lengths.area(touched.area_mm2, -1))
    )
    words = [
        f"Damage covered about {area} and reached {len(touched.parts)} parts and "
        f"{len(touched.nets)} connections."
    ]
    if state.strip:
        words.append(f"{len(state.strip)} parts came off, {len(fitted_new(state, found))} were fitted new.")
    if state.readings:
        words.append(
            f"{len(found.copper.proven)} of the connections at risk are proven by {len(state.readings)} measurements"
            + (f"; {len(state.jumpers)} were bridged by a wire." if state.jumpers else ".")
        )
    if state.evidence:
        words.append(f"{sum(e.passed for e in state.evidence.values())} tests passed.")
    return " ".join(words)


def _found(board: Board, state: JobState, found: Assessment, say: Say) -> tuple[str, ...]:
    titles = {section.name: section.title or section.name for section in board.sections}
    groups: dict[str, list[str]] = {}
    for net in found.touch.nets:
        for section in net.sections[:1]:
            groups.setdefault(section, []).append(say((net.does or net.net).removesuffix(", by its name")))
    lines = []
    for section, nets in groups.items():
        several = dict.fromkeys(nets)
        shown = list(several)[:_MANY]
        more = f" {say(f'and {len(several) - _MANY} more')}" if len(several) > _MANY else ""
        lines.append(f"{titles.get(section, section) or say('Elsewhere')}: {', '.join(shown)}{more}.")
    return (*lines, *_noted(state, "inspect", "isolate"))


def _noted(state: JobState, *stages: str) -> tuple[str, ...]:
    return tuple(note.text for note in state.notes if note.stage in stages)


def _work(state: JobState, found: Assessment, said: Say) -> tuple[WorkRow, ...]:
    rows = [
        WorkRow(", ".join(r.parts_off) or "board", f"{r.title[:1].upper()}{r.title[1:]}", r.why)
        for r in found.chosen
    ]
    remade = {refdes for remedy in found.chosen for refdes in remedy.parts_off}
    new = {item.refdes for item in fitted_new(state, found)}
    rows += [
        WorkRow(item.refdes, _fate_words(state.strip[item.refdes] or item.fate, item.refdes in new), item.why)
        for item in found.strip
        if item.refdes in state.strip and item.part not in remade
    ]
    rows += [
        WorkRow(
            f"{j.a} to {j.b}",
            f"Wire added on {j.net}: {j.length_mm:.0f} mm of AWG {j.gauge_awg}"
            + (f", {j.side} side" if j.side != "both" else ", from side to side"),
            "The copper between was eaten through.",
        )
        for j in found.copper.fitted
    ]
    if found.copper.fitted:
        wire = "; ".join(map(total_words, wire_totals(found.copper.fitted)))
        rows.append(WorkRow("wire", f"In all {wire}", "Runs along the board's axes, round tall parts."))
    return tuple(WorkRow(said(row.where), said(row.what), said(row.why)) for row in rows)


def _fate_words(fate: str, new: bool) -> str:
    return {"refit": "Taken off, cleaned, put back", "test": "Taken off, tested, put back"}.get(
        fate, "Replaced by a new one" if new else "Taken off"
    )


def _reading_row(board: Board, found: Assessment, reading: ReadingLine, say: Say) -> ReadingRow:
    net = board.index.place(reading.a).net
    does = next((t.does for t in found.touch.nets if t.net == net), "").removesuffix(", by its name")
    measured = "OL" if reading.ohms is None else f"{reading.ohms:g} Ω"
    if reading.ohms is None:
        word = "open, bridged by a wire" if net in found.copper.proven else "open"
    else:
        word = "good" if net in found.copper.proven else "measured"
    return ReadingRow(net, reading.a, reading.b, say(does), say(measured), say(word))


def _tests(state: JobState, found: Assessment, say: Say) -> tuple[ProofRow, ...]:
    rows = []
    for proof in found.proofs:
        if line := state.evidence.get(proof.id):
            result = "passed" if line.passed else "failed"
            rows.append(ProofRow(say(proof.title), say(proof.setup), say(result), line.note))
    return tuple(rows)


def _open_words(item: dict[str, object]) -> str:
    touched = item["why_touched"]
    why = "; ".join(str(w.get("note") or w.get("why")) for w in touched) if isinstance(touched, list) else ""
    return f"{item['item']}: {why or item['reason']}"
