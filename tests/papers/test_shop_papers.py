"""Quote, invoice, lists, sheet and kit label of a job on the demo board: what must stand on each, on either paper."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from decimal import Decimal

import pypdfium2
import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.parttypes import standard_library
from coppermend.copper.records import Jumper
from coppermend.demo.board_data import demo_board_files
from coppermend.demo.story import damage_area
from coppermend.errors import InputError
from coppermend.job.assess import assess
from coppermend.job.dealings import TimeSpent
from coppermend.job.learning import estimate
from coppermend.job.quote import billed_minutes, invoice_bill, quote_bill
from coppermend.job.shop import Shop, changed
from coppermend.job.state import FileLine, JobState
from coppermend.job.sums import sums_of
from coppermend.papers import shop_papers
from coppermend.papers.marks import work_marks
from coppermend.papers.shop_papers import SHEETS, Occasion, paper_body, paper_pdf
from coppermend.rework.stocked import Stock

LOGO = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="300" height="80"><rect width="290" height="70"/></svg>'
)
SHOP = changed(
    Shop(),
    {
        "name": "Fen Lane Board Works", "address": "2 Fen Lane\nSaltmarsh", "currency": "EUR", "hourly": "60",
        "taxes": "standard 20; none 0", "parts_tax": "standard", "labour_tax": "standard", "terms": "Payable within 14 days.",
    },
)  # fmt: skip


@pytest.fixture(scope="module")
def on() -> Occasion:
    """A job whose first three new parts are fitted, with hostile words for a customer."""
    board, library = parse_board_folder(demo_board_files()), standard_library()
    state = JobState(
        number="26-0042-U", customer='#eval("1") <b>P</b> $x$', serial="SR-00231", damage=damage_area()
    )
    found = assess(board, library, state)
    new = [item.refdes for item in found.refit if item.source == "new"][:3]
    state = replace(
        state, strip={item.refdes: "discard" for item in found.strip}, refit=dict.fromkeys(new, ""), seq=9
    )
    return Occasion(state, assess(board, library, state), SHOP, "R. Tansy", "2026-11-28")


def text_of(pdf: bytes) -> str:
    """All text of a PDF."""
    return "\n".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(pdf))


@pytest.mark.parametrize("what", SHEETS)
def test_every_sheet_names_job_shop_and_customer_as_text(what: str, on: Occasion):
    """What a customer is called is never run as markup of the paper."""
    text = "".join(text_of(paper_pdf(what, on)).split())  # a long name goes on in the next line

    for words in ("26-0042-U", "Fen Lane Board Works", "2 Fen Lane, Saltmarsh", '#eval("1") <b>P</b> $x$'):
        assert words.replace(" ", "") in text


@pytest.mark.parametrize(("paper", "points"), [("a4", (595, 842)), ("us-letter", (612, 792))])
def test_sheets_are_a4_or_letter(paper, points, on: Occasion):
    """ISO 216 and ANSI/ASME Y14.1, in points; the shop's paper is taken when none is named."""
    for pdf in (
        paper_pdf("order", on, paper),
        paper_pdf("order", replace(on, shop=changed(SHOP, {"paper": paper}))),
    ):
        assert pypdfium2.PdfDocument(pdf)[0].get_size() == pytest.approx(points, abs=0.5)


def test_papers_are_black_and_grey_only(on: Occasion):
    """Readable in grey, because there is nothing else."""
    picture = pypdfium2.PdfDocument(paper_pdf("invoice", on))[0].render(scale=1).to_numpy()

    assert (picture.max(axis=2) - picture.min(axis=2)).max() <= 3


def test_quote_is_kit_and_time_and_its_total_is_printed(on: Occasion):
    """Every kit line and every remedy with work in it stands on the quote; the total is that of the bill."""
    made, text = quote_bill(on.found, SHOP), text_of(paper_pdf("quote", on))

    parts = [one for one in made.lines if one.line.unit == ""]
    assert [one.line.quantity for one in parts] == [line.quantity for line in on.found.kit]
    assert sum(one.line.unit == "h" for one in made.lines) >= 1
    assert f"{made.total:,}".replace(",", "\u202f") in text
    assert "nothing beyond this quote is done without asking" in " ".join(text.split())
    assert "rounded half up once" in text


def test_invoice_charges_only_what_is_recorded(on: Occasion):
    """Three new parts are on, so three are charged, each with its place; noted minutes replace the usual times."""
    made = invoice_bill(on.found, SHOP)
    noted = invoice_bill(on.found, SHOP, minutes=90)

    charged = [one for one in made.lines if one.line.unit == ""]
    assert sum(one.line.quantity for one in charged) == 3
    assert all(one.line.link.startswith("fitted as ") for one in charged)
    assert [one.net for one in noted.lines if one.line.unit == "h"] == [Decimal("90.00")]
    again = replace(
        on, state=replace(on.state, papers=(FileLine("0" * 64, "i.pdf", "invoice", "return", 8),))
    )
    assert "26-0042-U/2" in text_of(paper_pdf("invoice", again))
    assert "Payable within 14 days." in text_of(paper_pdf("invoice", on))


def test_wire_list_with_a_logo_stays_on_one_page(on: Occasion):
    """Cautions stand on the page with the wires they are about, on either paper."""
    jumper = Jumper("RST_B3", "R7.2", "Q3.2", "bottom", 10.0, (), 24)
    found = replace(on.found, copper=replace(on.found.copper, jumpers=(), fitted=(jumper,) * 3))
    wired = replace(on, found=found, logo=LOGO)

    for paper in ("a4", "us-letter"):
        assert len(pypdfium2.PdfDocument(paper_pdf("wires", wired, paper))) == 1


@pytest.mark.parametrize("mail", ["olwen.penhallow@example.org", "x" * 40 + "@" + "y" * 40 + ".example.org"])
def test_a_long_mail_address_stays_clear_of_the_code(on: Occasion, mail: str):
    """It is set smaller or broken, whole to the last letter, and ends left of the code at the right margin (22 mm and 6 mm beside)."""
    pdf = pypdfium2.PdfDocument(paper_pdf("wires", replace(on, state=replace(on.state, contact=mail)), "a4"))
    text = pdf[0].get_textpage()
    head = [text.get_charbox(n) for n in range(text.count_chars()) if text.get_charbox(n)[3] > 640]

    assert mail in re.sub(r"[\s\u200b\ufffe\x02]", "", text.get_text_range())
    assert max(right for _, _, right, _ in head) <= (210 - 20 - 22 - 6) * 72 / 25.4 + 0.5


def test_a_quote_is_worked_out_once_for_its_paper_and_its_entry(
    on: Occasion, monkeypatch: pytest.MonkeyPatch
):
    """Making the paper and telling of it asks for one bill."""
    asked = []
    monkeypatch.setattr(shop_papers, "quote_bill", lambda *given: asked.append(given) or quote_bill(*given))
    fresh = replace(on)

    paper_pdf("quote", fresh)
    paper_body("quote", fresh, "0" * 64, "q.pdf")

    assert len(asked) == 1


def test_quote_follows_the_shops_own_times(on: Occasion):
    """Without history the plan's time, with sixty at the start; thirty jobs of 100 min bring it near 100, and the quote says so."""
    plain = billed_minutes(quote_bill(on.found, SHOP))
    history = sums_of([math.log(100)] * 30)
    learnt = quote_bill(on.found, SHOP, history=history)
    remedies = [one for one in learnt.lines if one.line.link.startswith("remedy ")]

    expected = estimate(history, guess=plain).middle
    assert plain > 100 and billed_minutes(learnt) == pytest.approx(expected, abs=0.4 * (len(remedies) + 1))
    assert "30 jobs of the shop" in " ".join(
        text_of(paper_pdf("quote", replace(on, history=history))).split()
    )
    assert paper_body("quote", replace(on, history=history), "0" * 64, "q.pdf")["minutes"] == billed_minutes(
        learnt
    )


def test_invoice_charges_what_the_timer_noted(on: Occasion):
    """90 min noted at two stages are an hour and a half; minutes given by hand go before."""
    timed = replace(on.found, state=replace(on.state, time=TimeSpent({"strip": 1800.0, "copper": 3600.0})))

    assert billed_minutes(invoice_bill(timed, SHOP)) == 90
    assert billed_minutes(invoice_bill(timed, SHOP, minutes=30)) == 30
    assert billed_minutes(invoice_bill(timed, SHOP, minutes=0)) == 0


def test_shelf_prices_and_markup_go_before_usual_ones(on: Occasion):
    """What the shelf cost, and the shop's percentage on it."""
    line = on.found.kit[0]
    shelf = [Stock(line.type, line.value, line.package, 1000, 7.0)]

    made = quote_bill(on.found, changed(SHOP, {"markup": "50"}), shelf)

    assert made.lines[0].line.unit_price == Decimal("10.50")


def test_order_leaves_out_what_is_on_the_shelf(on: Occasion):
    """With everything in stock the order says so; without, every kind stands on it."""
    full = [Stock(line.type, line.value, line.package, 1000) for line in on.found.kit]

    assert "Everything is on the shelf." in text_of(paper_pdf("order", replace(on, shelf=full)))
    assert "Everything is on the shelf." not in text_of(paper_pdf("order", on))


def test_kit_label_has_the_size_of_the_shops_labels(on: Occasion):
    """Small, unless the shop has set another size than the return tag's."""
    small = pypdfium2.PdfDocument(paper_pdf("kit-label", on))
    large = pypdfium2.PdfDocument(
        paper_pdf("kit-label", replace(on, shop=changed(SHOP, {"label": "60x110"})))
    )

    assert small[0].get_size()[0] == pytest.approx(50 / 25.4 * 72, abs=0.5)
    assert large[0].get_size()[1] == pytest.approx(110 / 25.4 * 72, abs=0.5)
    assert "Kit: " in small[0].get_textpage().get_text_range()


def test_marks_count_what_is_recorded(on: Occasion):
    """Parts off and new parts by their numbers, then what is left open; a job without work has no marks."""
    signs = [mark.sign for mark in work_marks(on.state, on.found)]

    assert f"X{len(on.state.strip)}" in signs and "N3" in signs and signs[-1] == f"!{len(on.found.gate.open)}"
    fresh = JobState(number="26-0042-U")
    assert work_marks(fresh, assess(on.found.board, standard_library(), fresh)) == ()


def test_unknown_paper(on: Occasion):
    """The papers that there are are told."""
    with pytest.raises(InputError, match="no paper 'poster'") as refusal:
        paper_pdf("poster", on)

    assert "kit-label" in str(refusal.value)
