"""The shop and its shelf: settings, stock, movements, what to order, CSV in and out, and the kit of a job."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.board.readers.text import decode_text
from coppermend.errors import CoppermendError, InputError, UnknownName
from coppermend.job.logo import keep_logo, logo_of
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
from coppermend.job.shop import SETTINGS, TOOLS, read_shop, set_shop
from coppermend.papers.labelsize import SIZES
from coppermend.web.desk import desk_of
from coppermend.web.forms import Form, SentForm
from coppermend.web.language import translate as _
from coppermend.web.pages import author, page, see, status_of
from coppermend.web.rom_hand_out import file_answer

router = APIRouter(include_in_schema=False)
_MOST_SHOWN = 500
# An SVG that is opened by itself runs nothing, whatever it holds.
_DRAWS_ONLY = "default-src 'none'; style-src 'unsafe-inline'; sandbox"


@router.get("/shop")
def show_shop(request: Request, kept: str = "") -> Response:
    """The settings."""
    return _shop(request, Form(), kept=bool(kept))


@router.post("/shop")
def keep_shop(request: Request, form: SentForm) -> Response:
    """Change what was changed; a logo that was sent is kept by its content."""
    desk = desk_of(request)
    who = author(request, form)
    try:
        now, wanted = read_shop(desk.store).to_json(), _wanted(form)
        changes = {name: text for name, text in wanted.items() if text != now[name]}
        set_shop(desk.store, changes, who=who)
        for sent in form.uploads("logo-file"):
            keep_logo(desk.store, sent.data, sent.name, who=who)
    except CoppermendError as error:
        return _shop(request, form, status=status_of(error), error=str(error))
    return see("/shop", form, kept="1")


@router.get("/shop/logo")
def show_logo(request: Request) -> Response:
    """The shop's logo.

    Raises:
        UnknownName: If the shop has none.
    """
    data, kind = logo_of(desk_of(request).store)
    if not data:
        raise UnknownName("logo", "logo", "the shop", "upload one on the page of the shop")
    return Response(
        data,
        media_type=kind,
        headers={"Content-Security-Policy": _DRAWS_ONLY, "Cache-Control": "private, max-age=3600"},
    )


def _wanted(form: Form) -> dict[str, str]:
    wanted = {name: form.text(name) for name in SETTINGS if name in form.texts and name != "logo"}
    if form.text("tools-shown"):
        wanted["tools"] = "; ".join(name for i, name in enumerate(TOOLS) if form.text(f"tool-{i}"))
    if form.text("logo-off"):
        wanted["logo"] = ""
    return wanted


def _shop(request: Request, form: Form, *, status: int = 200, kept: bool = False, **more: Any) -> Response:
    values = {**read_shop(desk_of(request).store).to_json(), **_wanted(form)}
    return page(
        request, "shop.html", status=status, values=values, saved=kept, typed=form, tools=tuple(TOOLS),
        owned=[name.strip() for name in values["tools"].split(";")],
        labels=[(name, size.words) for name, size in SIZES.items()], **more,
    )  # fmt: skip


@router.get("/shelf")
def show_shelf(request: Request, find: str = "", said: str = "") -> Response:
    """What lies on the shelf, and what to order."""
    return _shelf(request, Form(), find=find, said=said[:200])


@router.post("/shelf/receive")
def receive_part(request: Request, form: SentForm) -> Response:
    """Parts come in."""

    def move(who: str) -> str:
        words = {n: form.text(n) for n in ("value", "package", "place", "supplier", "alternates", "note")}
        minimum = form.number("minimum") if form.text("minimum") else 0
        part = Shelved(form.text("type"), minimum=minimum, **words)  # type: ignore[arg-type]
        store = desk_of(request).store
        after = receive(store, part, form.number("quantity"), who=who, price=form.text("price"))
        return _("%(part)s: %(count)s on the shelf") % {"part": after.key, "count": after.quantity}

    return _moved(request, form, move)


@router.post("/shelf/count")
def note_count(request: Request, form: SentForm) -> Response:
    """A stock take, one part at a time."""

    def move(who: str) -> str:
        after = count_part(desk_of(request).store, form.text("key"), form.number("quantity"), who=who)
        return _("%(part)s: %(count)s counted") % {"part": after.key, "count": after.quantity}

    return _moved(request, form, move)


@router.post("/shelf/import")
def take_list(request: Request, form: SentForm) -> Response:
    """A list of what there is, as CSV."""

    def move(who: str) -> str:
        lists = form.uploads("list")
        if not lists:
            raise InputError("no file was chosen", expected="a list in CSV")
        parts = parse_shelf_csv(decode_text(lists[0].data, lists[0].name), lists[0].name)
        changed = put_all(desk_of(request).store, parts, who=who)
        return _("%(rows)s rows read, %(changed)s changed") % {"rows": len(parts), "changed": changed}

    return _moved(request, form, move)


@router.get("/shelf.csv")
def shelf_file(request: Request) -> Response:
    """The shelf as CSV."""
    return file_answer(shelf_csv(read_shelf(desk_of(request).store).values()).encode(), "shelf.csv")


@router.post("/shelf/kit")
def kit_of_job(request: Request, form: SentForm) -> Response:
    """Reserve or use the kit of a job."""

    def move(who: str) -> str:
        desk = desk_of(request)
        job = desk.job(form.text("job"))
        if job.found is None:
            raise InputError(f"job {job.number} has no board yet", expected="a board, chosen at receive")
        if form.text("do") == "use":
            use_kit(desk.store, job.number, job.found.kit, who=who)
            return _("kit of %(job)s taken off the shelf") % {"job": job.number}
        shelf = reserve_kit(desk.store, job.number, job.found.kit, who=who)
        held = sum(p.reserved.get(job.number, 0) for p in shelf.values())
        wanted = sum(line.quantity for line in job.found.kit)
        told = {"held": held, "job": job.number, "missing": wanted - held}
        return _("%(held)s pieces reserved for %(job)s, %(missing)s to order") % told

    return _moved(request, form, move)


def _moved(request: Request, form: Form, move: Any) -> Response:
    who = author(request, form)
    try:
        said = move(who)
    except CoppermendError as error:
        return _shelf(request, form, status=status_of(error), error=str(error))
    return see("/shelf", form, said=said)


def _shelf(
    request: Request, form: Form, *, status: int = 200, find: str = "", said: str = "", **more: Any
) -> Response:
    shelf = read_shelf(desk_of(request).store)
    words = find.lower().split()
    parts = [
        p
        for p in shelf.values()
        if all(w in f"{p.key} {p.place} {p.supplier} {p.note}".lower() for w in words)
    ]
    return page(
        request, "shelf.html", status=status, parts=parts[:_MOST_SHOWN], count=len(parts), find=find, said=said,
        wanted=order_list(shelf), typed=form, currency=read_shop(desk_of(request).store).currency, **more,
    )  # fmt: skip
