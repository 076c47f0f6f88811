"""``coppermend shelf``: parts in stock, what jobs have reserved and used, what to order."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from coppermend.cli.inputs import read_text, write_new
from coppermend.cli.output import JsonFlag, counted, emit, say, say_whole, table
from coppermend.cli.record import DataOption, JobArgument, WhoOption, assessment_of, state_of
from coppermend.cli.tree import examples
from coppermend.job.shelf import (
    Shelved,
    count_part,
    order_list,
    put_all,
    read_shelf,
    receive,
)
from coppermend.job.shelf_csv import parse_shelf_csv, shelf_csv
from coppermend.job.shelf_kit import reserve_kit, use_kit
from coppermend.job.store import Store

_HEADS = ("Part", "There", "Free", "Min", "Place", "Price", "Supplier")
KeyArgument = Annotated[
    str, typer.Argument(metavar="PART", help="Type, value and package, as shelf list says them.")
]


def _rows(parts: Sequence[Shelved]) -> list[tuple[object, ...]]:
    return [
        (p.key, p.quantity, p.free, p.minimum, p.place, "" if p.price is None else p.price, p.supplier)
        for p in parts
    ]


@examples("coppermend shelf list 10k")
def list_(
    data: DataOption,
    find: Annotated[
        str, typer.Argument(metavar="[WORDS]", help="Show only parts that have all these words.")
    ] = "",
    as_json: JsonFlag = False,
) -> int:
    """List what is on the shelf."""
    with Store.open(data) as store:
        shelf = read_shelf(store)
    words = find.lower().split()
    parts = [p for p in shelf.values() if all(w in f"{p.key} {p.place} {p.supplier} {p.alternates} {p.note}".lower() for w in words)]  # fmt: skip
    lines = ["nothing on the shelf" + (" has these words" if find else "")]
    emit({"parts": [p.to_json() for p in parts]}, as_json, lambda: table("", _HEADS, _rows(parts)) if parts else say(*lines))  # fmt: skip
    return 0


@examples(
    "coppermend shelf receive 100 resistor --value 10k --package AXIAL-10.16 --price 0.02 --place B3 --minimum 20"
)
def receive_(
    quantity: Annotated[int, typer.Argument(metavar="PIECES", help="How many came in.")],
    type_name: Annotated[str, typer.Argument(metavar="TYPE", help="Part type, such as resistor.")],
    data: DataOption,
    who: WhoOption,
    value: Annotated[str, typer.Option("--value", help="Value or marking.")] = "",
    package: Annotated[str, typer.Option("--package", help="Package.")] = "",
    price: Annotated[str, typer.Option("--price", help="What one piece cost, without tax.")] = "",
    place: Annotated[str, typer.Option("--place", help="Drawer or bin.")] = "",
    minimum: Annotated[int, typer.Option("--minimum", help="What should always be there.")] = 0,
    supplier: Annotated[str, typer.Option("--supplier", help="Where it came from.")] = "",
    alternates: Annotated[str, typer.Option("--alternates", help="What may serve instead.")] = "",
    note: Annotated[str, typer.Option("--note", help="Whatever else.")] = "",
    as_json: JsonFlag = False,
) -> int:
    """Put parts on the shelf."""
    part = Shelved(type_name, value, package, place, minimum, supplier, alternates, note)
    with Store.open(data) as store:
        after = receive(store, part, quantity, who=who, price=price, supplier=supplier)
    emit({"part": after.to_json()}, as_json, lambda: say(f"{after.key}: {after.quantity} on the shelf"))
    return 0


@examples("coppermend shelf count 'resistor 10k axial-10.16' 97")
def count(
    key: KeyArgument,
    quantity: Annotated[int, typer.Argument(metavar="PIECES", help="How many there are.")],
    data: DataOption,
    who: WhoOption,
    as_json: JsonFlag = False,
) -> int:
    """Note what a stock take found."""
    with Store.open(data) as store:
        after = count_part(store, key, quantity, who=who)
    short = f", {-after.free} too few for what is reserved" if after.free < 0 else ""
    emit({"part": after.to_json()}, as_json, lambda: say(f"{after.key}: {after.quantity} counted{short}"))
    return 0


@examples("coppermend shelf reserve 26-0042-U")
def reserve(job: JobArgument, data: DataOption, who: WhoOption, as_json: JsonFlag = False) -> int:
    """Reserve a job's kit, as far as the shelf has it; 1 when something must be ordered."""
    with Store.open(data) as store:
        state = state_of(store, job)
        kit = assessment_of(store, state).kit
        shelf = reserve_kit(store, state.number, kit, who=who)
    held = [(p.key, p.reserved[state.number], p.place) for p in shelf.values() if state.number in p.reserved]
    pieces, missing = (
        sum(n for _, n, _ in held),
        sum(line.quantity for line in kit) - sum(n for _, n, _ in held),
    )
    document = {
        "job": state.number,
        "reserved": {k: n for k, n, _ in held},
        "pieces": pieces,
        "missing": missing,
    }

    def show_text() -> None:
        table("", ("Part", "Pieces", "Place"), held)
        say(f"{counted(pieces, 'piece')} reserved for {state.number}, {missing} to order")

    emit(document, as_json, show_text)
    return 1 if missing else 0


@examples("coppermend shelf use 26-0042-U")
def use(job: JobArgument, data: DataOption, who: WhoOption, as_json: JsonFlag = False) -> int:
    """Take a job's kit off the shelf."""
    with Store.open(data) as store:
        state = state_of(store, job)
        kit = assessment_of(store, state).kit
        before = read_shelf(store)
        after = use_kit(store, state.number, kit, who=who)
    used = {
        key: before[key].quantity - p.quantity
        for key, p in after.items()
        if before[key].quantity != p.quantity
    }
    emit({"job": state.number, "used": used}, as_json, lambda: say(f"{counted(sum(used.values()), 'piece')} used by {state.number}"))  # fmt: skip
    return 0


@examples("coppermend shelf order")
def order(data: DataOption, as_json: JsonFlag = False) -> int:
    """List what to buy, by supplier: below the minimum, or short of what jobs have reserved."""
    with Store.open(data) as store:
        wanted = order_list(read_shelf(store))

    def show_text() -> None:
        for supplier, parts in wanted.items():
            table(supplier or "no supplier noted", ("Part", "Buy", "Last price"), [(p.key, p.to_order, "" if p.price is None else p.price) for p in parts])  # fmt: skip
        if not wanted:
            say("nothing to order")

    groups = [{"supplier": s, "parts": [p.to_json() for p in parts]} for s, parts in wanted.items()]
    emit({"order": groups}, as_json, show_text)
    return 0


@examples("coppermend shelf import stock.csv")
def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV; type and quantity needed.")],
    data: DataOption,
    who: WhoOption,
    as_json: JsonFlag = False,
) -> int:
    """Take a list over: quantities count as a stock take; parts that are not in it stay."""
    parts = parse_shelf_csv(read_text(file, "the shelf as CSV"), str(file))
    with Store.open(data) as store:
        changed = put_all(store, parts, who=who)
    document = {"rows": len(parts), "changed": changed}
    emit(document, as_json, lambda: say(f"{counted(len(parts), 'row')} read, {changed} changed"))
    return 0


@examples("coppermend shelf export -o stock.csv")
def export(
    out: Annotated[Path, typer.Option("-o", "--out", metavar="FILE", help="CSV to write.")],
    data: DataOption,
    as_json: JsonFlag = False,
) -> int:
    """Write the shelf as CSV; cells that a spreadsheet would run are disarmed by an apostrophe."""
    with Store.open(data) as store:
        parts = list(read_shelf(store).values())
    write_new(out, lambda: shelf_csv(parts).encode())
    emit({"file": str(out), "parts": len(parts)}, as_json, lambda: say_whole(f"{counted(len(parts), 'part')} written to {out}"))  # fmt: skip
    return 0
