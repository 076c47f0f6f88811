"""``coppermend shop``: what the shop has set, and ``coppermend job paper``: the papers that follow from it."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from coppermend.cli.inputs import read_bytes, refuse_unwritable, write_new
from coppermend.cli.output import JsonFlag, emit, say, say_whole, table
from coppermend.cli.record import DataOption, JobArgument, LinkOption, WhoOption, assessment_of, state_of
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.job.lessons import times_so_far
from coppermend.job.logo import keep_logo, logo_of
from coppermend.job.shelf import read_shelf, stock
from coppermend.job.shop import MEANING, SETTINGS, read_shop, set_shop
from coppermend.job.store import Store
from coppermend.papers.pictures import logo_svg
from coppermend.papers.report import Paper
from coppermend.papers.shop_papers import SHEETS, Occasion, paper_body, paper_pdf

_PAPERS: dict[str, Paper | None] = {"": None, "a4": "a4", "us-letter": "us-letter"}


@examples("coppermend shop show")
def show(data: DataOption, as_json: JsonFlag = False) -> int:
    """Say what the shop has set."""
    with Store.open(data) as store:
        shop = read_shop(store)
    values = shop.to_json()
    rows = [(name, values[name] or "-", MEANING[name]) for name in SETTINGS]
    emit({"shop": values}, as_json, lambda: table("The shop", ("Setting", "Value", "Meaning"), rows))
    return 0


@examples("coppermend shop set currency=EUR 'taxes=standard 20; none 0' parts_tax=standard hourly=55")
def set_(
    settings: Annotated[list[str], typer.Argument(metavar="NAME=VALUE...", help="Settings; see shop show.")],
    data: DataOption,
    who: WhoOption,
    as_json: JsonFlag = False,
) -> int:
    """Change settings, all of them or none."""
    changes = {}
    for word in settings:
        name, sign, value = word.partition("=")
        if not sign:
            raise InputError(f"setting {word[:40]!r}", expected="NAME=VALUE, such as currency=EUR")
        changes[name.strip()] = value.strip()
    with Store.open(data) as store:
        shop = set_shop(store, changes, who=who)
    emit(
        {"shop": shop.to_json()},
        as_json,
        lambda: say(*(f"{n} is {shop.to_json()[n] or 'empty'}" for n in changes)),
    )
    return 0


@examples("coppermend shop logo mark.svg", "coppermend shop logo --remove")
def logo(
    data: DataOption,
    who: WhoOption,
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help="PNG, JPEG or SVG.")] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Take the logo away.")] = False,
    as_json: JsonFlag = False,
) -> int:
    """Keep a logo for pages and papers, or take it away."""
    if (file is None) != remove:
        raise InputError("a file or --remove", expected="one of the two", where="shop logo")
    with Store.open(data) as store:
        if file is None:
            set_shop(store, {"logo": ""}, who=who)
            sha256 = ""
        else:
            sha256 = keep_logo(store, read_bytes(file, "PNG, JPEG or SVG"), file.name, who=who)
    emit({"logo": sha256}, as_json, lambda: say(f"logo {sha256[:12]} kept" if sha256 else "no logo any more"))
    return 0


@examples("coppermend job paper 26-0042-U quote -o quote.pdf")
def paper(
    job: JobArgument,
    what: Annotated[str, typer.Argument(metavar="PAPER", help=f"{', '.join((*SHEETS, 'kit-label'))}.")],
    data: DataOption,
    who: WhoOption,
    out: Annotated[Path, typer.Option("-o", "--out", metavar="FILE", help="PDF to write.")],
    size: Annotated[
        str, typer.Option("--paper", help="a4 or us-letter; that of the shop, unless named.")
    ] = "",
    minutes: Annotated[
        float | None,
        typer.Option("--minutes", min=0, help="Bench time to charge on an invoice, instead of the timer's."),
    ] = None,
    bench_url: LinkOption = "",
    as_json: JsonFlag = False,
) -> int:
    """Make a paper of the shop from the record, keep it with the job and write it."""
    if size not in _PAPERS:
        raise InputError(f"no paper {size[:40]!r}", expected="a4 or us-letter", where="--paper")
    if out.suffix.lower() != ".pdf":
        raise InputError(f"ends in {out.suffix or 'nothing'}", expected="a name in .pdf", where=str(out))
    refuse_unwritable(out)
    with Store.open(data) as store:
        state = state_of(store, job)
        found = assessment_of(store, state)
        on = Occasion(
            state, found, read_shop(store), who, f"{datetime.now():%Y-%m-%d}",
            stock(read_shelf(store), state.number), minutes, bench_url, logo_svg(*logo_of(store)),
            times_so_far(store, found.board.name),
        )  # fmt: skip
        made = paper_pdf(what, on, _PAPERS[size])
        sha256 = store.attach(made, out.name, "application/pdf")
        write_new(out, lambda: made)  # before the entry: the record shall not tell of a paper nobody has
        body = paper_body(what, on, sha256, out.name)
        entry = store.append(state.number, "paper", "return", body, who=who)
    document = {"file": str(out), "sha256": sha256, "seq": entry.seq}
    emit(document, as_json, lambda: say_whole(f"{what} written to {out}"))
    return 0
