"""Memory devices on a page: the table, one with its pins, or the pins at which two differ."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.errors import CoppermendError
from coppermend.rom.devices import Device, get_device, pin_differences
from coppermend.web.forms import Form
from coppermend.web.pages import status_of
from coppermend.web.rom_hand_out import rom_page

router = APIRouter(include_in_schema=False)


@router.get("/rom/devices")
def show_devices(request: Request, a: str = "", b: str = "", job: str = "") -> Response:
    """All devices; with ``a`` its pins, with ``b`` too where the two differ."""
    shown: dict[str, Any] = {"first": None, "second": None, "differences": (), "sides": ()}
    status, form = 200, Form({"a": a, "b": b, "job": job})
    try:
        first, second = (get_device(name) if name else None for name in (a, b))
        shown |= {"first": first or second, "second": second if first else None}
        if first and second:
            shown["differences"] = pin_differences(first, second)
        shown["sides"] = tuple(pins(device) for device in (shown["first"], shown["second"]) if device)
    except CoppermendError as error:
        shown["error"], status = str(error), status_of(error)
    return rom_page(request, "rom_devices.html", form, status=status, **shown)


def pins(device: Device) -> tuple[tuple[str, str, str, str], ...]:
    """Rows of a dual in-line package seen from above: left pin and its name, right pin and its name."""
    half = device.pins // 2
    numbers = [(str(n), str(device.pins + 1 - n)) for n in range(1, half + 1)]
    return tuple((left, device.pin_names[left], right, device.pin_names[right]) for left, right in numbers)
