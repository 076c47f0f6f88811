"""The shop's papers of a job in words: quote, invoice, technician's sheet, wire list, packing list, parts order, kit label."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from coppermend.board.cautions import DEFERENCE, cautions_for
from coppermend.board.lengths import Lengths
from coppermend.board.model import Board
from coppermend.board.parttypes import standard_library
from coppermend.errors import InputError
from coppermend.job.assess import Assessment
from coppermend.job.money import Bill, money
from coppermend.job.quote import NO_HISTORY, billed_minutes, invoice_bill, quote_bill
from coppermend.job.shop import Shop
from coppermend.job.state import JobState
from coppermend.job.sums import Sums
from coppermend.papers.contents import board_title, verdict
from coppermend.papers.labelsize import parse_size
from coppermend.papers.marks import legend, work_marks
from coppermend.papers.report import Paper
from coppermend.papers.said import Said, Say, plain, sheet_said, template_words
from coppermend.papers.sheet import Sheet, Table, sheet_pdf
from coppermend.papers.tag import TagContent, tag_pdf
from coppermend.papers.wires import RULES, SOLDERING, wire_pictures, wire_tables
from coppermend.rework.stocked import Stock, supply_kit


@dataclass(frozen=True)
class Occasion:
    """For which job a paper is made, by whom and when; ``shelf`` is what lies in stock.

    ``minutes`` is bench time to charge instead of what the timer noted [min], ``history`` the logarithms of what earlier
    jobs on the board took; ``say`` says our sentences in another language, ``point`` is its decimal mark.
    """

    state: JobState
    found: Assessment
    shop: Shop
    who: str
    date: str
    shelf: Sequence[Stock] = ()
    minutes: float | None = None
    bench_url: str = ""
    logo: bytes = b""
    history: Sums = NO_HISTORY
    say: Say = plain
    point: str = "."

    @property
    def board(self) -> Board:
        """The board of the job."""
        return self.found.board

    @property
    def lengths(self) -> Lengths:
        """How the shop has lengths shown."""
        return Lengths(self.shop.units, self.point)

    def said(self, text: str) -> str:
        """A sentence of ours in the language of this paper and the units of the shop, which is not to be said again."""
        return Said(self.lengths.in_sentence(self.say(text)))

    def complaint(self) -> str:
        """The complaint in the customer's words, named as such."""
        return f"{self.say('Complaint')}: {self.state.complaint or self.say('none was given')}"

    @cached_property
    def quoted(self) -> Bill:
        """What the work is likely to cost, worked out once."""
        return quote_bill(self.found, self.shop, self.shelf, self.history)


def _sheet(on: Occasion, title: str, *more: tuple[str, str], **parts: object) -> Sheet:
    state = on.state
    fields = (
        ("customer", state.customer), ("contact", state.contact), ("board", on.say(board_title(on.board))),
        ("machine", state.machine), ("serial", state.serial), ("by", on.who), *more,
    )  # fmt: skip
    address = ", ".join(filter(None, (on.shop.address.replace("\n", ", "), on.shop.contact)))
    return Sheet(
        title, state.number, on.date, on.shop.name, address, fields, bench_url=on.bench_url, logo=on.logo,
        **parts,  # type: ignore[arg-type]
    )  # fmt: skip


def _bill_table(made: Bill, point: str) -> Table:
    rows = tuple(
        (
            one.line.what, one.line.link, f"{one.line.quantity.normalize():f} {one.line.unit}".strip(),
            f"{one.line.unit_price}".replace(".", point), one.line.tax, f"{one.net}".replace(".", point),
        )
        for one in made.lines
    )  # fmt: skip
    return Table("", ("What", "Why", "Quantity", f"Price, {made.currency}", "Tax", f"Sum, {made.currency}"), rows,
                 (1.4, 1.3, 0, 0, 0, 0), (2, 3, 5))  # fmt: skip


def _sums(made: Bill, point: str) -> tuple[tuple[str, str], ...]:
    def paid(amount: Decimal) -> str:
        return money(amount, made.currency).replace(".", point)

    taxes = tuple((f"{t.name} {t.percent} % on {paid(t.net)}", paid(t.tax)) for t in made.taxes)
    return ("net amount", paid(made.net)), *taxes, ("total", paid(made.total))


def quote(on: Occasion) -> Sheet:
    """What the work is likely to cost: to be approved before it begins."""
    made = on.quoted
    return _sheet(
        on, "Quote", lead=on.complaint(), tables=(_bill_table(made, on.point),),
        sums=_sums(made, on.point), signature="approved by",
        notes=(
            "This is an estimate from what is known now. Hidden damage may show when the board is cleaned; nothing "
            "beyond this quote is done without asking.", made.rule,
        ),
    )  # fmt: skip


def invoice(on: Occasion) -> Sheet:
    """What was done and used, by the record."""
    made = invoice_bill(on.found, on.shop, on.shelf, on.minutes)
    count = sum(paper.words == "invoice" for paper in on.state.papers) + 1
    tax_number = ("tax number", on.shop.tax_number)
    return _sheet(
        on, "Invoice", ("invoice", f"{on.state.number}/{count}"), tax_number, tables=(_bill_table(made, on.point),),
        sums=_sums(made, on.point), notes=tuple(filter(None, (verdict(on.found), on.shop.terms, made.rule))),
    )  # fmt: skip


def technician_sheet(on: Occasion) -> Sheet:
    """What the next technician needs at the bench: what is off, on, measured, changed, and what is still open."""
    found, state, said = on.found, on.state, on.said
    strip = tuple(
        (
            i.refdes,
            said(i.why),
            state.strip.get(i.refdes, "") or i.fate,
            "off" if i.refdes in state.strip else "",
        )
        for i in found.strip
    )
    refit = tuple(
        (
            i.refdes,
            Said(" ".join(filter(None, (i.value or i.type, i.package)))),
            i.polarity,
            "on" if i.refdes in state.refit else "",
        )
        for i in found.refit
    )
    probes = tuple(
        (r.a, r.b, "OL" if r.ohms is None else f"{r.ohms:g} Ω", r.instrument) for r in state.readings
    )
    proofs = tuple((p.id, p.title, p.setup) for p in found.proofs_to_do)
    left = tuple((str(item.subject), said(item.reason) or "no passing test yet") for item in found.gate.open)
    return _sheet(
        on, "Technician's sheet", lead=f"{on.complaint().rstrip('.')}. {on.say(verdict(found))}.",
        cautions=(*(c.text for c in cautions_for("strip")), DEFERENCE),
        tables=(
            Table("Changes", ("Change", "Parts off", "Why"), tuple((said(r.title), ", ".join(r.parts_off), said(r.why)) for r in found.chosen), (1, 0.5, 1.5)),
            Table("Off", ("Part", "Why", "Fate", "Done"), strip, (0, 1, 0, 0), ticks=True),
            Table("On", ("Place", "Part", "Polarity", "Done"), refit, (0, 1, 1, 0), ticks=True),
            Table("Wires", ("Net", "From", "To", "Side"), tuple((j.net, j.a, j.b, j.side) for j in state.jumpers), (1, 1, 1, 1)),
            Table("Measured", ("From", "To", "Reading", "Meter"), probes, (1, 1, 1, 1)),
            Table("Still to prove", ("Test", "What", "Where"), proofs, (0.7, 1.4, 0.5), ticks=True),
            Table("Open", ("What", "Why"), left, (0.6, 1.4)),
        ),
        notes=(f"Marks: {legend(marks)}",) if (marks := work_marks(state, found)) else (),
    )  # fmt: skip


def wire_list(on: Occasion) -> Sheet:
    """What to cut and where to solder it: every jumper in words and drawn."""
    plan, library = on.found.copper, standard_library()
    return _sheet(
        on, "Wire list", tables=wire_tables(on.board, library, plan, on.lengths, on.say),
        notes=tuple(map(on.said, RULES)),
        pictures=wire_pictures(on.board, library, plan),
        cautions=(*(c.text for c in cautions_for("refit") if c.code in SOLDERING), DEFERENCE),
    )  # fmt: skip


def packing_list(on: Occasion) -> Sheet:
    """What lies in the parcel: to be ticked by who packs and by who opens it."""
    old = tuple(
        (item.refdes, "1", "old part, for your own eyes; recycle as local rules say")
        for item in on.found.strip
        if on.state.strip.get(item.refdes) == "discard"
    )
    rows = (
        (board_title(on.board), "1", f"tag {on.state.number}, serial {on.state.serial or 'none'}"),
        ("Return report", "1", "keep it with the machine"),
        *old,
    )
    return _sheet(
        on, "Packing list", tables=(Table("", ("What", "Pieces", "Note"), rows, (1, 0, 1.6), (1,), ticks=True),),
        signature="packed by",
        notes=("Board in an antistatic bag, corners held, nothing loose against it. No lithium cell travels loose: "
               "its poles are insulated, and the carrier's and local rules are followed.",),
    )  # fmt: skip


def parts_order(on: Occasion) -> Sheet:
    """What has to be bought for this job: what the shelf does not have."""
    rows = tuple(
        (
            str(s.to_order), s.line.value or s.line.type, s.line.type, s.line.package, ", ".join(s.line.refdes),
            s.line.note,
        )
        for s in supply_kit(on.found.kit, on.shelf)
        if s.to_order
    )  # fmt: skip
    table = Table("", ("Pieces", "Value", "Type", "Package", "For", "Note"), rows, (0, 1, 1, 0, 1, 1.2), (0,), True,
                  "Everything is on the shelf.")  # fmt: skip
    return _sheet(on, "Parts order", tables=(table,))


SHEETS: Mapping[str, Callable[[Occasion], Sheet]] = {
    "quote": quote, "invoice": invoice, "sheet": technician_sheet, "wires": wire_list, "packing": packing_list, "order": parts_order,
}  # fmt: skip


def kit_label(on: Occasion) -> bytes:
    """The label of the box with the job's parts, in the shop's label size; "tag" is too large for it and means "small"."""
    size = parse_size("small" if on.shop.label == "tag" else on.shop.label)
    pieces = sum(line.quantity for line in on.found.kit)
    lines = tuple(
        on.say(f"{line.quantity} {line.value or line.type} for {', '.join(line.refdes)}")
        for line in on.found.kit
    )
    kit = TagContent(
        number=on.state.number, board=on.say(f"Kit: {pieces} pieces, {len(on.found.kit)} kinds"), date=on.date, who=on.who,
        done=lines, verdict=on.say("Kit"), words=template_words(on.say), machine=on.state.machine, serial=on.state.serial, shop=on.shop.name,
        bench_url=on.bench_url,
    )  # fmt: skip
    return tag_pdf(kit, size)


def paper_body(what: str, on: Occasion, sha256: str, name: str) -> dict[str, object]:
    """The body of the entry that tells of a paper; a quote's also keeps its minutes, to be held against the actual ones."""
    told = {"minutes": billed_minutes(on.quoted)} if what == "quote" else {}
    return {"what": what, "sha256": sha256, "name": name, **told}


def paper_pdf(what: str, on: Occasion, paper: Paper | None = None) -> bytes:
    """A paper by its name, on the shop's paper unless another is named.

    Raises:
        InputError: If there is no such paper.
    """
    if what == "kit-label":
        return kit_label(on)
    if what not in SHEETS:
        raise InputError(f"no paper {what[:40]!r}", expected=f"one of {', '.join((*SHEETS, 'kit-label'))}")
    return sheet_pdf(
        sheet_said(SHEETS[what](on), on.say), paper or ("us-letter" if on.shop.paper == "us-letter" else "a4")
    )
