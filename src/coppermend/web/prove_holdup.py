"""Hold-up of a memory: voltages after power-off one by one, and whether the wait can be cut short; with a job or without."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.board.cautions import cautions_called
from coppermend.errors import CoppermendError, InputError
from coppermend.proving.holdup import Decay, HoldUp, hold_up
from coppermend.quantity import format_quantity, parse_quantity
from coppermend.web.forms import Form, SentForm
from coppermend.web.pages import author, page, see, status_of
from coppermend.web.prove_bench import Setting, rows_of, rows_text, setting_of

router = APIRouter(include_in_schema=False)
_PATH = "/prove/holdup"
_DEFAULTS = {"least": "2.0", "wanted": "24", "farads": ""}


@router.get(_PATH)
def show_holdup(request: Request) -> Response:
    """The first reading."""
    return _page(request, setting_of(request, _PATH), Form(), ())


@router.post(_PATH)
def go_on(request: Request, form: SentForm) -> Response:
    """What the readings tell so far; nothing is kept beyond the page."""
    setting = setting_of(request, _PATH, form=form)
    readings: tuple[Decay, ...] = ()
    try:
        if not form.text("again"):
            readings = tuple(Decay(_number(a, "hours"), _number(b, "volts")) for a, b in rows_of(form))
            readings = readings[:-1] if form.text("back") else readings
            if form.text("answer"):
                readings = (*readings, Decay(_number(form.text("hours"), "hours"), _volts(form)))
    except CoppermendError as error:
        return _page(request, setting, form, readings, error=str(error), status=status_of(error))
    return _page(request, setting, form, readings)


@router.get("/jobs/{number}/prove/holdup")
def show_for_job(request: Request, number: str) -> Response:
    """The readings on record of what keeps the memory."""
    setting = setting_of(request, f"/jobs/{number}/prove/holdup", number)
    asked = Form({name: str(value) for name, value in request.query_params.items()})
    return _page(request, setting, asked, _recorded(setting, _cell(setting, asked)))


@router.post("/jobs/{number}/prove/holdup")
def keep_for_job(request: Request, number: str, form: SentForm) -> Response:
    """Keep a reading, or whether the pattern was still there as the result of the retention proof."""
    setting = setting_of(request, f"/jobs/{number}/prove/holdup", number)
    assert setting.job is not None
    who, cell = author(request, form), form.text("refdes")
    try:
        kind, body = _entry(setting, form, cell)
        entry = setting.desk.store.append(setting.job.number, kind, "prove", body, who=who)
    except CoppermendError as error:
        readings = _recorded(setting, cell)
        return _page(request, setting, form, readings, error=str(error), status=status_of(error))
    kept = {name: form.text(name) for name in _DEFAULTS if form.text(name) != _DEFAULTS[name]}
    return see(setting.path, form, refdes=cell, **kept, kept=entry.seq)


def _entry(setting: Setting, form: Form, cell: str) -> tuple[str, dict[str, Any]]:
    if cell not in _cells(setting):
        raise InputError(f"nothing that keeps a memory is called {cell[:40]!r}", expected="one of the list")
    readings = _recorded(setting, cell)
    if form.text("answer") in ("kept", "lost"):
        found = _predicted(readings, form)
        note = found.words if found else ""
        values = found.to_json() if found else {}
        body = {"proof": f"retention:{cell}", "passed": form.text("answer") == "kept", "note": note}
        return "evidence", {**body, "hold_up": values}
    hours = _number(form.text("hours"), "hours") if form.text("hours") else _by_the_clock(setting, cell)
    return "decay", {"refdes": cell, "hours": hours, "volts": _volts(form)}


def _by_the_clock(setting: Setting, cell: str) -> float:
    """Hours since power-off, from the moment of the first reading on record."""
    assert setting.job is not None
    first = next((line for line in setting.job.state.decays if line.refdes == cell), None)
    if first is None:
        raise InputError("hours since power-off are missing", expected="0 for the first reading")
    return round((datetime.now(UTC) - first.at).total_seconds() / 3600 + first.hours, 3)


def _number(text: str, what: str) -> float:
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        raise InputError(f"{what} {text.strip()[:40]!r}", expected="a number such as 0.5") from None
    if not 0 <= value < 1e6:
        raise InputError(f"{what} {text.strip()[:40]!r}", expected="a number from 0 up")
    return value


def _volts(form: Form) -> float:
    volts = parse_quantity(form.text("volts").replace(",", "."), "V")
    if volts <= 0:
        raise InputError(f"{volts:g} V", expected="volts above zero")
    return volts


def _cells(setting: Setting) -> list[str]:
    """What keeps a memory on this board."""
    proofs = setting.job.found.proofs if setting.job and setting.job.found else ()
    return [p.id.partition(":")[2] for p in proofs if p.id.startswith("retention:")]


def _cell(setting: Setting, form: Form) -> str:
    cells = _cells(setting)
    return form.text("refdes") if form.text("refdes") in cells else next(iter(cells), "")


def _recorded(setting: Setting, cell: str) -> tuple[Decay, ...]:
    assert setting.job is not None
    return tuple(Decay(line.hours, line.volts) for line in setting.job.state.decays if line.refdes == cell)


def _farads(setting: Setting, form: Form, cell: str) -> str:
    """The capacitance asked for, else what the part says."""
    if "farads" in form.texts or setting.board is None or cell not in setting.board.index.parts:
        return form.text("farads")
    try:
        parse_quantity(value := setting.board.index.parts[cell].value, "F")
    except InputError:  # a cell, or a value that is no capacitance
        return ""
    return value


def _predicted(readings: Sequence[Decay], form: Form, farads: str = "") -> HoldUp | None:
    """What the readings tell, None before there are two of different times."""
    if len({reading.hours for reading in readings}) < 2:
        return None
    least = parse_quantity(form.text("least") or _DEFAULTS["least"], "V")
    wanted = _number(form.text("wanted") or _DEFAULTS["wanted"], "hours wanted")
    size = parse_quantity(farads, "F") if farads else None
    return hold_up(readings, least, wanted, farads=size)


def _page(
    request: Request, setting: Setting, form: Form, readings: Sequence[Decay], *, error: str | None = None,
    status: int = 200,
) -> Response:  # fmt: skip
    cell = _cell(setting, form)
    found, trouble, farads = None, "", _farads(setting, form, cell)
    try:
        found = _predicted(readings, form, farads)
    except CoppermendError as caught:
        trouble = str(caught)
    leak = ""
    if found and found.leak_a is not None and found.leak_spread_a is not None:
        spread = format_quantity(found.leak_spread_a, "A", 2)
        leak = f"{format_quantity(found.leak_a, 'A', 3)}, give or take {spread}"
    asked = {name: form.text(name) or default for name, default in _DEFAULTS.items()}
    context = {
        **setting.context(request),
        "readings": readings,
        "rows": rows_text(([f"{r.hours!r}"], [f"{r.volts!r}"]) for r in readings),
        "cells": _cells(setting),
        "cell": cell,
        "found_hold": found,
        "leak": leak,
        "trouble": trouble,
        "asked": {**asked, "farads": farads},
        "cautions_here": cautions_called("primary cell"),
        "drawing": None,
        "error": error,
    }
    return page(request, "prove_holdup.html", status=status, typed=form, **context)
