"""Self-test firmware on a page: memories from a board or typed, ports and lamp; images, codes and listing come out."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from coppermend.board.model import Board
from coppermend.errors import CoppermendError, InputError
from coppermend.rom.checksums import sums
from coppermend.rom.selftest import SelfTest, self_test
from coppermend.rom.selftestplan import Area, SelfTestPlan, areas_of_board, check_ports_on_board
from coppermend.web.desk import Desk, desk_of
from coppermend.web.forms import Form, SentForm, Upload
from coppermend.web.pages import status_of
from coppermend.web.rom_bench import form_hex, hold
from coppermend.web.rom_hand_out import file_answer, rom_page

router = APIRouter(include_in_schema=False)


@router.get("/rom/selftest")
def show_self_test(request: Request, board: str = "", job: str = "") -> Response:
    """The form; with a board its memories are filled in."""
    desk = desk_of(request)
    texts = {"board": board, "job": job}
    try:
        if board:
            roms, rams = areas_of_board(desk.board(board), desk.library)
            texts |= {"roms": _words(roms), "rams": _words(rams)}
    except CoppermendError as error:
        return _page(request, Form(texts), status=status_of(error), error=str(error))
    return _page(request, Form(texts))


@router.post("/rom/selftest")
def make_self_test(request: Request, form: SentForm) -> Response:
    """Make the firmware; show its images, what each code means, and the listing."""
    try:
        made = _made(desk_of(request), form)
    except CoppermendError as error:
        return _page(request, form, status=status_of(error), error=str(error))
    images = [
        (area, hold([Upload(f"selftest-{area.start:04X}.bin", image)])[0], sums(image))
        for area, image in zip(made.plan.roms, made.images, strict=True)
    ]
    return _page(request, form, made=made, images=images)


@router.post("/rom/selftest/listing")
def listing_file(request: Request, form: SentForm) -> Response:
    """The listing as a text file, made once more from the same form."""
    try:
        made = _made(desk_of(request), form)
    except CoppermendError as error:
        return _page(request, form, status=status_of(error), error=str(error))
    return file_answer("".join(f"{line}\n" for line in made.listing).encode(), "selftest.lst")


def _page(request: Request, form: Form, *, status: int = 200, **more: Any) -> Response:
    empty: dict[str, Any] = {"made": None, "images": (), "boards": desk_of(request).store.boards()}
    return rom_page(request, "rom_selftest.html", form, status=status, **{**empty, **more})


def _made(desk: Desk, form: Form) -> SelfTest:
    board: Board | None = desk.board(form.text("board")) if form.text("board") else None
    result = form_hex(form, "result", "port that shows codes")
    if result is None:
        raise InputError("no port that shows codes", expected="its address, such as 0200")
    lamp = [form_hex(form, name, f"lamp, {name}") for name in ("lamp", "lamp_on", "lamp_off")]
    mask = form_hex(form, "mask", "bits that are RAM", 0xFF)
    plan = SelfTestPlan(
        roms=_areas(form, "roms", "program memory"), rams=_areas(form, "rams", "RAM"), result=result,
        setup=tuple(_pair(word) for word in form.text("setup").split()),
        walks=tuple(_hex(word, "port to walk over") for word in form.text("walks").split()),
        mask=0xFF if mask is None else mask, lamp=_lamp(lamp),
    )  # fmt: skip
    if board:
        check_ports_on_board(board, plan)
    return self_test(plan)


def _words(areas: tuple[Area, ...]) -> str:
    return " ".join(f"{area.start:04X}+{area.bytes:X}" for area in areas)


def _hex(word: str, what: str, most: int = 0xFFFF) -> int:
    value = form_hex(Form({"value": word}), "value", what, most)
    if value is None:
        raise InputError(f"{what} is empty", expected="a number in hexadecimal")
    return value


def _areas(form: Form, name: str, what: str) -> tuple[Area, ...]:
    made = []
    for word in form.text(name).split():
        first, mark, size = word.partition("+")
        if not mark:
            raise InputError(f"{what} {word[:40]!r}", expected="FIRST+BYTES in hexadecimal, such as 0800+100")
        made.append(Area(_hex(first, what), _hex(size, what, 0x10000)))
    return tuple(sorted(made, key=lambda area: area.start))


def _pair(word: str) -> tuple[int, int]:
    address, mark, value = word.partition("=")
    if not mark:
        raise InputError(f"set-up {word[:40]!r}", expected="ADDRESS=VALUE in hexadecimal, such as 0201=FF")
    return _hex(address, "port to set up"), _hex(value, "value to set up", 0xFF)


def _lamp(given: list[int | None]) -> tuple[int, int, int] | None:
    if given == [None] * 3:
        return None
    address, lit, dark = given
    if address is None or lit is None or dark is None:
        raise InputError(
            "the lamp is not whole", expected="its address, and the values that light it and do not"
        )
    return address, lit, dark
