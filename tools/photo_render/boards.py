"""Invented boards of all kinds to photograph: rows of parts, buses, text-free. One seed, one board."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from coppermend.board.model import Board, Pad, Part, PinRef, ReferencePoint, Track, Via
from coppermend.board.packages import body_shape, package_pads

_KINDS = (
    ("DIP-8", "chip", 5), ("DIP-14", "chip", 9), ("DIP-16", "chip", 8), ("DIP-20", "chip", 5),
    ("DIP-24-600", "chip", 3), ("DIP-28-600", "chip", 4), ("DIP-40-600", "chip", 5),
    ("AXIAL-7.62-D2.5", "resistor", 14), ("AXIAL-10.16-D2.5", "resistor", 10), ("AXIAL-12.7-D3.5", "resistor", 4),
    ("DISC-2.5-D3.4", "capacitor", 10), ("DISC-5.08-D5", "capacitor", 9),
    ("RADIAL-POL-2.5-D5", "electrolytic", 4), ("RADIAL-POL-5-D10", "electrolytic", 3),
    ("RADIAL-POL-5.08-D8", "electrolytic", 3), ("LED-5", "led", 4), ("HDR-1X6-2.54", "header", 3),
    ("HDR-1X10-3.96", "header", 2), ("HDR-2X16-2.54", "header", 2), ("HDR-1X16-2.54", "header", 3),
    ("HC-49", "crystal", 2), ("SW-PUSH-4", "button", 2), ("TRIM-3", "trimmer", 2), ("TO-92", "transistor", 4),
    ("TO-220", "regulator", 1), ("SIP-9", "network", 2), ("SW-DIP-8", "switch", 1),
)  # fmt: skip


def random_board(seed: int, *, small: bool = False) -> Board:
    """A board with mounting holes, parts that do not overlap, tracks, vias and sometimes a copper area.

    A ``small`` one is drawn in a fraction of the time, and most of it is near the battery.
    """
    rng = np.random.default_rng([seed, 11])
    width, height = float(rng.integers(85, 215)), float(rng.integers(70, 165))
    if small:
        width, height = float(rng.integers(60, 100)), float(rng.integers(50, 80))
    if width < height:
        width, height = height, width
    inset, hole = float(rng.choice([5.0, 6.35, 7.62])), 3.2
    holes = [(inset, inset), (width - inset, inset), (width - inset, height - inset), (inset, height - inset)]
    ring = float(rng.choice([5.0, 6.0, 6.4]))
    pads = [Pad(f"H{i + 1}", "1", x, y, hole, ring) for i, (x, y) in enumerate(holes)]
    parts = [Part(f"H{i + 1}", "", "", x, y, package="HOLE-3.2") for i, (x, y) in enumerate(holes)]
    placed = _placed(rng, width, height, holes)
    for part in placed:
        pads += package_pads(part)
    pads += _lands(seed, width, height, pads, placed)
    tracks, vias, nets = _wired(rng, [p for p in pads if not p.refdes.startswith("H")], width, height)
    return Board(
        f"made-{seed}", width, height, parts=tuple(parts + placed), pads=tuple(pads), vias=tuple(vias),
        tracks=tuple(tracks), nets=nets, outline=_outline(width, height, float(rng.choice([0, 0, 2.5, 6.35]))),
        reference_points=tuple(ReferencePoint(f"hole-{i + 1}", x, y) for i, (x, y) in enumerate(holes)),
    )  # fmt: skip


def _outline(width: float, height: float, radius: float) -> tuple[tuple[float, float], ...]:
    if not radius:
        return ((0, 0), (width, 0), (width, height), (0, height))
    turn = np.linspace(0, np.pi / 2, 9)
    corners = []
    for cx, cy, start in (
        (width - radius, height - radius, 0.0), (radius, height - radius, np.pi / 2),
        (radius, radius, np.pi), (width - radius, radius, 1.5 * np.pi),
    ):  # fmt: skip
        corners += [(cx + radius * np.cos(start + a), cy + radius * np.sin(start + a)) for a in turn]
    return tuple((float(x), float(y)) for x, y in corners)


def _lands(seed: int, width: float, height: float, pads: list[Pad], parts: list[Part]) -> list[Pad]:
    """On some boards large bare lands, as for edge contacts, test points and heat: dulled, they are easily missed."""
    rng = np.random.default_rng([seed, 13])
    if rng.random() < 0.6:
        return []
    rectangles = [
        (
            float(rng.uniform(6, width - 6)),
            float(rng.uniform(6, height - 6)),
            *rng.uniform(2.5, 9, 2).tolist(),
        )
        for _ in range(int(rng.integers(2, 14)))
    ]
    if rng.random() < 0.5:
        pitch, long, first = (
            float(rng.choice([2.54, 3.96])),
            float(rng.uniform(4, 9)),
            rng.uniform(8, width / 2),
        )
        count = min(int(rng.integers(5, 20)), int((width - 8 - first) / pitch))
        rectangles += [(float(first + i * pitch), long / 2 + 0.5, 0.6 * pitch, long) for i in range(count)]
    index, busy, lands = Board("", width, height), [], []
    busy += [body_shape(index, part).bounds for part in parts]
    busy += [_bounds(p.x_mm, p.y_mm, p.size_mm + 1, p.height_mm + 1) for p in pads]
    for x, y, wide, high in rectangles:
        box = _bounds(x, y, wide, high)
        if not any(_meet(box, other) for other in busy if other):
            busy.append(box)
            lands.append(
                Pad(f"L{len(lands) + 1}", "1", x, y, 0.0, wide, "both", high, bool(rng.random() < 0.3))
            )
    return lands


def _bounds(x: float, y: float, wide: float, high: float) -> tuple[float, float, float, float]:
    return x - wide / 2, y - high / 2, x + wide / 2, y + high / 2


def _placed(
    rng: np.random.Generator, width: float, height: float, holes: list[tuple[float, float]]
) -> list[Part]:
    """Parts at random, on a grid, clear of one another and of the holes."""
    boxes = [(x - 4, y - 4, x + 4, y + 4) for x, y in holes]
    names, _, weights = zip(*_KINDS, strict=True)
    chances = np.array(weights, dtype=float) / sum(weights)
    parts: list[Part] = []
    empty = Board("", width, height)
    quarter_turns = rng.choice([0, 90], p=[0.4, 0.6])
    for number in range(int(width * height / rng.uniform(90, 200))):
        kind = int(rng.choice(len(names), p=chances))
        for _ in range(12):
            x, y = (float(round(rng.uniform(4, side - 4) / 1.27) * 1.27) for side in (width, height))
            turn = float(quarter_turns if rng.random() < 0.8 else 90 - quarter_turns) + float(
                rng.choice([0, 180])
            )
            part = Part(
                f"P{number + 1}", _KINDS[kind][1], "", x, y, turn, package=names[kind],
                socketed=bool(names[kind].startswith("DIP-") and rng.random() < 0.25),
            )  # fmt: skip
            body = body_shape(empty, part)
            box = _grown(body.bounds, [(p.x_mm, p.y_mm) for p in package_pads(part)])
            inside = box[0] > 2 and box[1] > 2 and box[2] < width - 2 and box[3] < height - 2
            if inside and not any(_meet(box, other) for other in boxes):
                boxes.append(box)
                parts.append(part)
                break
    return parts


def _grown(bounds: tuple[float, ...], places: list[tuple[float, float]]) -> tuple[float, float, float, float]:
    xs, ys = [bounds[0], bounds[2], *(x for x, _ in places)], [bounds[1], bounds[3], *(y for _, y in places)]
    return min(xs) - 1.2, min(ys) - 1.2, max(xs) + 1.2, max(ys) + 1.2


def _meet(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _wired(
    rng: np.random.Generator, pads: list[Pad], width: float, height: float
) -> tuple[list[Track], list[Via], dict[str, tuple[PinRef, ...]]]:
    """Nets between near pads, drawn as two straight runs with a via where they change layers; and a bus."""
    tracks: list[Track] = []
    vias: list[Via] = []
    nets: dict[str, tuple[PinRef, ...]] = {}
    usual = float(rng.choice([0.25, 0.3, 0.5, 0.8]))
    order = rng.permutation(len(pads))
    at = np.array([(p.x_mm, p.y_mm) for p in pads])
    for number, index in enumerate(order[: int(len(pads) * 0.7)]):
        a = pads[int(index)]
        far = np.linalg.norm(at - at[index], axis=1) + rng.uniform(0, 45, len(at))
        far[index] = 1e9
        b = pads[int(np.argmin(far))]
        net = f"N{number}"
        nets[net] = (a.ref, b.ref)
        _run(rng, net, (a.x_mm, a.y_mm), (b.x_mm, b.y_mm), usual, tracks, vias)
    for bus in range(int(rng.integers(0, 4))):
        x, y = rng.uniform(15, width - 15), rng.uniform(15, height - 15)
        length, pitch = rng.uniform(20, 60), float(rng.choice([0.8, 1.0, 1.27, 1.6]))
        upright = rng.random() < 0.5
        for line in range(int(rng.integers(5, 17))):
            net, offset, end = f"B{bus}_{line}", line * pitch, length - rng.uniform(0, 8)
            a = (x + offset, y) if upright else (x, y + offset)
            b = (x + offset, y + end) if upright else (x + end, y + offset)
            if max(a[0], b[0]) < width - 3 and max(a[1], b[1]) < height - 3:
                tracks.append(Track(net, "top", *a, *b, usual))
                vias += [Via(f"V{len(vias) + i}", net, *p, 0.4, 0.8) for i, p in enumerate((a, b))]
    return tracks, vias, nets


def _run(
    rng: np.random.Generator, net: str, a: tuple[float, float], b: tuple[float, float], usual: float,
    tracks: list[Track], vias: list[Via],
) -> None:  # fmt: skip
    dx, dy = b[0] - a[0], b[1] - a[1]
    short = min(abs(dx), abs(dy))
    middle = (a[0] + np.sign(dx) * short, a[1] + np.sign(dy) * short)
    if rng.random() < 0.4:
        middle = (b[0], a[1])
    middle = (float(middle[0]), float(middle[1]))
    width = usual if rng.random() < 0.85 else usual * 3
    first = "top" if rng.random() < 0.55 else "bottom"
    second = first if rng.random() < 0.7 else ("bottom" if first == "top" else "top")
    tracks.append(Track(net, first, *a, *middle, width))
    tracks.append(Track(net, second, *middle, *b, width))
    if first != second:
        vias.append(Via(f"V{len(vias)}", net, *middle, 0.4, 0.9))


def part_of_board(board: Board, left: float, bottom: float, width: float, height: float) -> Board:
    """A window of a large board as a board of its own, with holes of its own in its corners."""
    inset = 6.0
    holes = [(inset, inset), (width - inset, inset), (width - inset, height - inset), (inset, height - inset)]

    def inside(x: float, y: float) -> bool:
        return left + 1 < x < left + width - 1 and bottom + 1 < y < bottom + height - 1

    def clear(x: float, y: float) -> bool:
        return all(np.hypot(x - left - hx, y - bottom - hy) > 6 for hx, hy in holes)

    by_part: dict[str, list[Pad]] = {}
    for pad in board.pads:
        by_part.setdefault(pad.refdes, []).append(pad)
    kept = {
        name for name, pads in by_part.items()
        if all(inside(p.x_mm, p.y_mm) and clear(p.x_mm, p.y_mm) for p in pads)
    }  # fmt: skip
    parts = [replace(p, x_mm=p.x_mm - left, y_mm=p.y_mm - bottom) for p in board.parts if p.refdes in kept]
    pads = [replace(p, x_mm=p.x_mm - left, y_mm=p.y_mm - bottom) for p in board.pads if p.refdes in kept]
    pads += [Pad(f"H{i}", "1", x, y, 3.2, 6.0) for i, (x, y) in enumerate(holes)]
    tracks = [
        replace(t, x1_mm=t.x1_mm - left, y1_mm=t.y1_mm - bottom, x2_mm=t.x2_mm - left, y2_mm=t.y2_mm - bottom)
        for t in board.tracks if inside(t.x1_mm, t.y1_mm) and inside(t.x2_mm, t.y2_mm)
    ]  # fmt: skip
    vias = [
        replace(v, x_mm=v.x_mm - left, y_mm=v.y_mm - bottom) for v in board.vias if inside(v.x_mm, v.y_mm)
    ]
    return Board(
        "window", width, height, parts=tuple(parts), pads=tuple(pads), tracks=tuple(tracks), vias=tuple(vias),
        outline=_outline(width, height, 3.0),
        reference_points=tuple(ReferencePoint(f"hole-{i + 1}", x, y) for i, (x, y) in enumerate(holes)),
    )  # fmt: skip
