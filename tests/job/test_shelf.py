"""The shelf: movements in, stock out; CSV that a spreadsheet cannot be tricked with; settings of the shop."""

from __future__ import annotations

import csv
import io
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coppermend.errors import InputError, UnknownName
from coppermend.job.shelf import (
    Shelved,
    count_part,
    fold_shelf,
    named,
    order_list,
    put_all,
    read_shelf,
    receive,
    stock,
)
from coppermend.job.shelf_csv import COLUMNS, armed, disarmed, parse_shelf_csv, shelf_csv
from coppermend.job.shelf_kit import reserve_kit, use_kit
from coppermend.job.shop import Shop, changed, read_shop, set_shop, shop_entries
from coppermend.job.store import Store
from coppermend.rework.records import KitLine
from coppermend.rework.stocked import parse_stock

R10K = Shelved("resistor", "10k", "AXIAL-10.16", place="B3", minimum=20, supplier="Reed & Co")
WHO = "R. Tansy"


def kit(count: int) -> list[KitLine]:
    """A kit of that many 10 k resistors."""
    return [KitLine("resistor", "10 k", "AXIAL-10.16", count, ("R1",))]


@pytest.fixture
def store(tmp_path: Path):
    """An empty record."""
    with Store.open(tmp_path) as opened:
        yield opened


def job(store: Store) -> str:
    """A new job."""
    return store.new_job({"customer": "O. Penhallow"}, who=WHO)


def test_received_counted_priced(store: Store):
    """Pieces add up, a count sets them, prices are kept one after the other, details are those last told."""
    receive(store, R10K, 100, who=WHO, price="0,02")
    receive(store, Shelved("Resistor", "10k", "axial-10.16"), 50, who=WHO, price="0.03", supplier="Other")
    part = count_part(store, "resistor 10k  AXIAL-10.16", 140, who=WHO)

    assert (part.quantity, part.minimum, part.place, part.supplier) == (140, 20, "B3", "Reed & Co")
    assert [(p.price, p.supplier) for p in part.prices] == [
        (Decimal("0.02"), "Reed & Co"),
        (Decimal("0.03"), "Other"),
    ]
    assert [one["kind"] for one in shop_entries(store, "shelf")] == [
        "part",
        "received",
        "received",
        "counted",
    ]


def test_kit_is_reserved_and_used(store: Store):
    """What one job holds, another cannot take; reserving again replaces; using takes it off and lets the rest go."""
    one, other = job(store), job(store)
    receive(store, R10K, 10, who=WHO)

    reserve_kit(store, one, kit(7), who=WHO)
    reserve_kit(store, one, kit(6), who=WHO)
    held = named(reserve_kit(store, other, kit(9), who=WHO), R10K.key)
    used = named(use_kit(store, one, kit(5), who=WHO), R10K.key)

    assert dict(held.reserved) == {one: 6, other: 4} and held.free == 0
    assert dict(used.reserved) == {other: 4} and (used.quantity, used.free) == (5, 1)
    assert read_shelf(store)[R10K.key] == used
    assert [s.quantity for s in stock(read_shelf(store))] == [1]
    assert [s.quantity for s in stock(read_shelf(store), other)] == [5]


def test_order_list_is_by_supplier(store: Store):
    """Below the minimum after reservations; a count that finds less than is reserved is ordered too."""
    receive(store, R10K, 30, who=WHO)
    receive(store, Shelved("7400", "74LS00", "DIP-14", minimum=5), 2, who=WHO)
    reserve_kit(store, job(store), kit(15), who=WHO)
    count_part(store, R10K.key, 12, who=WHO)

    wanted = order_list(read_shelf(store))

    assert {name: [(p.key, p.to_order) for p in parts] for name, parts in wanted.items()} == {
        "": [("7400 74ls00 dip-14", 3)],
        "Reed & Co": [("resistor 10k axial-10.16", 23)],
    }


def test_two_benches_never_reserve_the_same_piece(tmp_path: Path):
    """Eight writers at once want 5 of 20 each: 20 are reserved in all, none twice."""
    with Store.open(tmp_path) as store:
        receive(store, R10K, 20, who=WHO)
        jobs = [job(store) for _ in range(8)]
        with ThreadPoolExecutor(8) as pool:
            list(pool.map(lambda number: reserve_kit(store, number, kit(5), who=WHO), jobs))

        part = read_shelf(store)[R10K.key]

    assert sum(part.reserved.values()) == 20 and part.free == 0
    assert all(count == 5 for count in part.reserved.values())


def test_bad_movements_are_refused_and_leave_nothing(store: Store):
    """Unknown parts and jobs, silly quantities and prices."""
    with pytest.raises(UnknownName, match="no part"):
        count_part(store, "resistor 1k", 1, who=WHO)
    with pytest.raises(UnknownName):
        reserve_kit(store, "26-0042-U", kit(1), who=WHO)
    for quantity, price in ((0, ""), (-1, ""), (10**7, ""), (1, "x")):
        with pytest.raises(InputError):
            receive(store, R10K, quantity, who=WHO, price=price)
    with pytest.raises(InputError, match="without a type"):
        receive(store, Shelved(" ", "10k", ""), 1, who=WHO)
    with pytest.raises(InputError, match="note"):
        receive(store, Shelved("resistor", "1k", "", note="a\x00b"), 1, who=WHO)

    assert shop_entries(store, "shelf") == []


@given(st.text(max_size=12))
def test_any_cell_comes_back(text: str):
    """Disarmed and armed again, every text is itself; what is written never begins a formula."""
    assert armed(disarmed(text)) == text
    assert not disarmed(text).startswith(("=", "+", "-", "@", "\t", "\r"))


def test_csv_goes_out_and_in_unchanged(store: Store, tmp_path: Path):
    """Hostile names survive as text; a list taken over again changes nothing; rework reads the same file."""
    hostile = Shelved("resistor", "=HYPERLINK(1)", "+1", "@sum", 3, '-Reed, "Co"', "'quoted", "<b>x</b>")
    receive(store, R10K, 5, who=WHO, price="0.10")
    receive(store, hostile, 7, who=WHO)
    text = shelf_csv(read_shelf(store).values())

    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    back = parse_shelf_csv(text, "stock.csv")
    with Store.open(tmp_path / "other") as other:
        assert put_all(other, back, who=WHO) == 2
        assert put_all(other, back, who=WHO) == 0
        again = shelf_csv(read_shelf(other).values())

    assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells)
    assert again == text and back[1].value == "=HYPERLINK(1)" and back[1].alternates == "'quoted"
    assert put_all(store, back, who=WHO) == 0
    assert [one.quantity for one in parse_stock(text.encode())] == [5, 7]


@pytest.mark.parametrize(
    ("text", "found", "line"),
    [
        ("", "is empty", ""), ("type,value\nr,1", "columns", ":1"), ("type,quantity,size\nr,1,2", "columns", ":1"),
        ("type,quantity,type\nr,1,2", "columns", ":1"), ("type,quantity\n,1", "no type", ":2"),
        ("type,quantity\nr,-1", "quantity is '-1'", ":2"), ("type,quantity\nr,1.5", "quantity is '1.5'", ":2"),
        ("type,quantity\nr,1\n\nR,2", "stands twice", ":4"), ("type,quantity\nr,1,2", "3 cells", ":2"),
        ("type,quantity,price\nr,1,x", "price is 'x'", ":2"), ("type,quantity,minimum\nr,1,y", "minimum is", ":2"),
        ("type,quantity\nr,9999999", "quantity is", ":2"),
    ],
)  # fmt: skip
def test_bad_lists_name_their_line(text: str, found: str, line: str):
    """One error, with file and line."""
    with pytest.raises(InputError) as refusal:
        parse_shelf_csv(text, "stock.csv")

    assert found in refusal.value.found and refusal.value.where == f"stock.csv{line}"


def test_columns_in_any_order_and_a_byte_order_mark():
    """As spreadsheets write them."""
    (part,) = parse_shelf_csv("\ufeffQuantity, Type\r\n4, resistor\r\n", "x.csv")

    assert (part.type, part.quantity, part.minimum) == ("resistor", 4, 0)
    assert set(COLUMNS) <= {*part.to_json()}


def test_empty_shelf():
    """No entries, no parts, nothing to order."""
    assert fold_shelf([]) == {} and order_list({}) == {} and stock({}) == ()


def test_settings_are_kept_and_checked_together(store: Store):
    """The last of each counts; a rate that is named must exist; nothing is kept of a refused change."""
    set_shop(store, {"taxes": "standard 20; none 0", "parts_tax": "standard"}, who=WHO)
    set_shop(store, {"name": "Fen Lane Board Works", "hourly": "55"}, who=WHO)
    with pytest.raises(InputError, match="parts_tax"):
        set_shop(store, {"taxes": "reduced 5; none 0", "name": "Other"}, who=WHO)

    shop = read_shop(store)

    assert (shop.name, shop.parts_tax, shop.rates["standard"]) == ("Fen Lane Board Works", "standard", 20)
    assert len(shop_entries(store, "shop")) == 2


@pytest.mark.parametrize(
    "change",
    [{"currency": "euro"}, {"paper": "a5"}, {"hourly": "-1"}, {"tax_rounding": "up"}, {"name": "a\x00"}, {"terms": "x" * 2001}],
)  # fmt: skip
def test_settings_that_do_not_fit(change: dict[str, str]):
    """Each is refused by its name."""
    with pytest.raises(InputError, match=next(iter(change))):
        changed(Shop(), change)


def test_no_such_setting():
    """The names that there are are told."""
    with pytest.raises(UnknownName, match="currency"):
        changed(Shop(), {"colour": "red"})
