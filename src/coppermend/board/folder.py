"""The board folder: ``board.toml`` and its spreadsheets to a ``Board`` and back. Opens no files.

``board.toml``, ``parts.csv`` and ``nets.csv`` must be there; ``pads.csv``, ``vias.csv``, ``tracks.csv`` and
``areas.csv`` may be. The format is described in docs/board-folder.md.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import TypeVar, get_args

import shapely

from coppermend.board.folder_csv import Row, finite, format_mm, format_rows, read_rows
from coppermend.board.folder_toml import format_board_toml, read_board_toml
from coppermend.board.model import LAYERS, Board, CopperArea, Pad, PadSide, Part, PinRef, Track, Via
from coppermend.board.packages import with_package_pads
from coppermend.errors import InputError

_PART_COLUMNS = (
    "refdes", "type", "value", "x_mm", "y_mm", "rotation_deg", "side", "section", "package", "socketed", "notes",
)  # fmt: skip
_NET_COLUMNS = ("net", "refdes", "pin")
_PAD_COLUMNS = ("refdes", "pin", "x_mm", "y_mm", "hole_mm", "size_mm", "side")
_VIA_COLUMNS = ("name", "net", "x_mm", "y_mm", "hole_mm")
_TRACK_COLUMNS = ("net", "layer", "x1_mm", "y1_mm", "x2_mm", "y2_mm", "width_mm")
_AREA_COLUMNS = ("net", "layer", "wkt")
_SIDES: tuple[PadSide, ...] = get_args(PadSide)
# Only these two are read: shapely would follow nested collections until the stack ends.
_WKT = re.compile(r"(?:MULTI)?POLYGON\s*\([\s(]*[-+.\d]", re.IGNORECASE)
Item = TypeVar("Item")


def parse_board_folder(files: Mapping[str, bytes], where: str = "board") -> Board:
    """Read a board from the files of its folder.

    Args:
        files: File name -> bytes; names that are no part of the format are ignored.
        where: What to call the folder in errors.

    Returns:
        The board; pads come from the part packages when there is no ``pads.csv``. Duplicates are kept.

    Raises:
        InputError: If a file is missing or a cell is wrong, naming file, line and what was expected.
    """
    for name in ("board.toml", "parts.csv", "nets.csv"):
        if name not in files:
            raise InputError(
                f"no {name} in the board folder", expected="board.toml, parts.csv, nets.csv", where=where
            )
    head = read_board_toml(files["board.toml"], f"{where}/board.toml")

    def items(
        file: str, make: Callable[[Row], Item], required: Sequence[str], optional: Sequence[str] = ()
    ) -> tuple[Item, ...]:
        if file not in files:
            return ()
        return tuple(map(make, read_rows(files[file], f"{where}/{file}", required, optional)))

    nets: dict[str, list[PinRef]] = {}
    if files["nets.csv"].strip():  # an empty file is a board whose nets nobody has traced yet
        for row in read_rows(files["nets.csv"], f"{where}/nets.csv", _NET_COLUMNS):
            _add_pin(nets, row)
    board = Board(
        **head,
        parts=items("parts.csv", _part, _PART_COLUMNS[:1], _PART_COLUMNS[1:]),
        nets={net: tuple(pins) for net, pins in nets.items()},
        pads=items("pads.csv", _pad, _PAD_COLUMNS[:6], ("side", "height_mm", "round")),
        vias=items("vias.csv", _via, _VIA_COLUMNS, ("size_mm",)),
        tracks=items("tracks.csv", _track, _TRACK_COLUMNS),
        areas=items("areas.csv", _area, _AREA_COLUMNS),
    )
    return board if "pads.csv" in files else with_package_pads(board)


def _part(row: Row) -> Part:
    return Part(
        refdes=row.name("refdes", "a name such as U3"),
        type=row.text("type"),
        value=row.text("value"),
        x_mm=row.number("x_mm", 0.0),
        y_mm=row.number("y_mm", 0.0),
        rotation_deg=row.number("rotation_deg", 0.0),
        side=row.choice("side", LAYERS, "top"),
        section=row.text("section"),
        package=row.text("package"),
        socketed=row.flag("socketed"),
        notes=row.text("notes"),
    )


def _undotted(row: Row, column: str, example: str) -> str:
    """A name that leaves ``REFDES.PIN`` readable: without a dot."""
    name = row.text(column)
    if "." in name:
        raise row.fault(f"{column} {name!r} holds a dot", f"a name without dots, such as {example}")
    return name


def _add_pin(nets: dict[str, list[PinRef]], row: Row) -> None:
    pins = nets.setdefault(row.name("net", "a net's name"), [])
    refdes, pin = row.text("refdes"), _undotted(row, "pin", "7")
    if not refdes and not pin:
        return  # a net that is known by name only
    if not (refdes and pin):
        raise row.fault(f"{'pin' if refdes else 'refdes'} is blank", "one pin a row: net, refdes, pin")
    pins.append(PinRef(refdes, pin))


def _pad(row: Row) -> Pad:
    return Pad(
        refdes=row.name("refdes", "a name such as U3"),
        pin=_undotted(row, "pin", "7"),
        x_mm=row.number("x_mm"),
        y_mm=row.number("y_mm"),
        hole_mm=row.number("hole_mm", 0.0, at_least=0),
        size_mm=row.number("size_mm", at_least=0),
        side=row.choice("side", _SIDES, "both"),
        height_mm=row.number("height_mm", 0.0, at_least=0),
        round=row.flag("round", True),
    )


def _via(row: Row) -> Via:
    row.name("name", "a name such as V1")
    return Via(
        name=_undotted(row, "name", "V1"),
        net=row.text("net"),
        x_mm=row.number("x_mm"),
        y_mm=row.number("y_mm"),
        hole_mm=row.number("hole_mm", at_least=0),
        size_mm=row.number("size_mm", 0.0, at_least=0),
    )


def _track(row: Row) -> Track:
    return Track(
        row.text("net"),
        row.choice("layer", LAYERS),
        row.number("x1_mm"),
        row.number("y1_mm"),
        row.number("x2_mm"),
        row.number("y2_mm"),
        row.number("width_mm", at_least=0),
    )


def _area(row: Row) -> CopperArea:
    wkt = row.text("wkt")
    try:
        shape = shapely.from_wkt(wkt) if _WKT.match(wkt) else None
    except (shapely.GEOSException, ValueError):
        shape = None
    if shape is None or shape.is_empty or shape.has_z or not all(map(finite, shape.bounds)):
        raise row.fault(f"wkt is {wkt[:40]!r}", "POLYGON ((x y, ...)) or MULTIPOLYGON in board mm")
    return CopperArea(row.text("net"), row.choice("layer", LAYERS), wkt)


def format_board_folder(board: Board) -> dict[str, str]:
    """Write a board as the files of its folder: file name -> text.

    Reading them gives an equal board, as long as lengths have at most 4 decimals and names no blanks
    around them. Files and columns that would hold nothing are left out.
    """
    files = {
        "board.toml": format_board_toml(board),
        "parts.csv": format_rows(_PART_COLUMNS, map(_part_cells, board.parts)),
        "nets.csv": format_rows(_NET_COLUMNS, _net_rows(board)),
    }
    if not board.pads_from_packages and (board.pads or with_package_pads(board).pads):
        files["pads.csv"] = _format_pads(board.pads)
    if board.vias:
        files["vias.csv"] = _format_vias(board.vias)
    if board.tracks:
        files["tracks.csv"] = format_rows(_TRACK_COLUMNS, map(_track_cells, board.tracks))
    if board.areas:
        files["areas.csv"] = format_rows(_AREA_COLUMNS, ((a.net, a.layer, a.wkt) for a in board.areas))
    return files


def _part_cells(p: Part) -> tuple[str, ...]:
    place = (format_mm(p.x_mm), format_mm(p.y_mm), format_mm(p.rotation_deg))
    socketed = "yes" if p.socketed else ""
    return (p.refdes, p.type, p.value, *place, p.side, p.section, p.package, socketed, p.notes)


def _net_rows(board: Board) -> list[tuple[str, str, str]]:
    rows = []
    for net, pins in board.nets.items():
        rows += [(net, pin.refdes, pin.pin) for pin in pins] or [(net, "", "")]
    return rows


def _format_pads(pads: Sequence[Pad]) -> str:
    oblong = any(p.height_mm != p.size_mm for p in pads)
    square = any(not p.round for p in pads)
    columns = _PAD_COLUMNS + ("height_mm",) * oblong + ("round",) * square
    rows = []
    for p in pads:
        numbers = map(format_mm, (p.x_mm, p.y_mm, p.hole_mm, p.size_mm))
        height = ("" if p.height_mm == p.size_mm else format_mm(p.height_mm),) * oblong
        rows.append((p.refdes, p.pin, *numbers, p.side, *height, *("" if p.round else "no",) * square))
    return format_rows(columns, rows)


def _format_vias(vias: Sequence[Via]) -> str:
    usual = [v.size_mm == Via("", "", 0, 0, v.hole_mm).size_mm for v in vias]
    columns = _VIA_COLUMNS + ("size_mm",) * (not all(usual))
    rows = []
    for via, is_usual in zip(vias, usual, strict=True):
        size = ("" if is_usual else format_mm(via.size_mm),) * (not all(usual))
        rows.append((via.name, via.net, *map(format_mm, (via.x_mm, via.y_mm, via.hole_mm)), *size))
    return format_rows(columns, rows)


def _track_cells(t: Track) -> tuple[str, ...]:
    return (t.net, t.layer, *map(format_mm, (t.x1_mm, t.y1_mm, t.x2_mm, t.y2_mm, t.width_mm)))
