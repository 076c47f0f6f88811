"""How parts of each package look: chips, resistors, capacitors, lamps, connectors and what is known by its box only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photo_check.bodies import Painter, grey, lettering, tone
from photo_check.fields import Random
from photo_check.things import Box, Points, lifted, rounded


@dataclass(frozen=True)
class Look:
    """The maker's taste 0..1 in ``hue`` and ``value``, whether there is a socket, and chance for the rest."""

    hue: float
    value: float
    socketed: bool
    rng: Random


def _chip(p: Painter, box: Box, height: float, look: Look) -> None:
    low = 0.4
    if look.socketed:
        body = [grey(0.12), tone(0.07, 0.6, 0.3), tone(0.6, 0.5, 0.35), grey(0.75)][int(look.hue * 4)]
        p.prism(box.corners(1, 1.0), 0, 4.4, body, body, 0.4)
        low = 4.6
        if look.rng.random() < 0.2:
            p.prism(box.corners(0.96, 0.45), 4.4, 4.45, grey(0.05), grey(0.05), 0)
            return
    case = (
        grey(0.14 + 0.1 * look.value)
        if look.value < 0.75
        else [tone(0.07, 0.25, 0.55), grey(0.75), tone(0.75, 0.15, 0.4)][int(look.hue * 3)]
    )
    p.prism(
        box.corners(0.98, 0.92),
        low,
        max(low + 1.5, height),
        case,
        case * 1.1,
        float(look.rng.uniform(0.1, 0.6)),
        0.96,
    )
    end = max(low + 1.5, height) + 0.02
    if look.value > 0.85:
        lid = tone(0.12, 0.5, 0.8) if look.hue < 0.6 else tone(0.6, 0.35, 0.9)
        p.prism(
            rounded(Box(box.middle, box.along, box.across, box.short * 0.5, box.short * 0.5)),
            end,
            end + 0.1,
            lid,
            lid,
            0.9,
        )
    turn = look.rng.choice([-1, 1])
    p.prism(
        rounded(Box(box.at(-0.93 * turn, 0), box.along, box.across, 0.7, 0.7), 10),
        end,
        end + 0.01,
        case,
        case * 0.5,
        0.0,
    )
    if look.rng.random() < 0.75:
        size = (int(box.short * 12), max(20, int(box.long * 14)))
        kind = look.rng.random()
        paper = [case * 1.1, grey(0.9), tone(0.14, 0.25, 0.95), tone(look.hue, 0.4, 0.9)][
            int(kind > 0.7) * int(1 + 3 * look.rng.random())
        ]
        ink = grey(0.7) if kind <= 0.7 else grey(0.15)
        _picture(
            p,
            box,
            (0.8 * turn, 0.6 * turn),
            end + 0.05,
            lettering(look.rng, size, paper, ink, int(look.rng.integers(1, 3))),
        )


def _picture(p: Painter, box: Box, part: tuple[float, float], z: float, picture: Points) -> None:
    u, v = part
    corners = [box.at(-u, v), box.at(u, v), box.at(u, -v), box.at(-u, -v)]
    p.flat(np.array([lifted(c, z) for c in corners]), picture)


def _axial(p: Painter, box: Box, height: float, look: Look) -> None:
    radius = min(box.short, height / 2) if height > 0.8 else box.short
    tones = [
        tone(0.1, 0.35, 0.85),
        tone(0.55, 0.45, 0.7),
        tone(0.07, 0.55, 0.5),
        tone(0.03, 0.7, 0.45),
        grey(0.12),
        tone(look.hue, 0.6, look.value),
    ]
    body = tones[int(look.hue * len(tones))]
    ends, count = np.array([0, 0.06, 0.2, 0.8, 0.94, 1.0]), int(look.rng.integers(3, 6))
    bone = look.rng.uniform(0.75, 1)
    stations, colours, at = [(0.0, 0.5 * radius), (0.08, radius), (0.22, radius * bone)], [body, body], 0.25
    for _ in range(count):
        band = (
            tone(look.rng.random(), look.rng.choice([0.0, 0.8]), look.rng.uniform(0.1, 0.85))
            if look.hue < 0.75
            else body
        )
        stations += [(at, radius * bone), (at + 0.055, radius * bone)]
        colours += [body, band]
        at += 0.11
    stations += [(0.8, radius * bone), (0.92, radius), (float(ends[-1]), 0.5 * radius)]
    colours += [body, body, body]
    places = np.array(stations) * [2 * box.long, 1]
    p.turned(
        lifted(box.at(-1, 0), radius + 0.2),
        lifted(box.along, 0.0),
        places,
        np.array(colours),
        (body, body),
        float(look.rng.uniform(0.2, 0.7)),
        12,
    )


def _disc(p: Painter, box: Box, height: float, look: Look) -> None:
    tones = [
        tone(0.09, 0.65, 0.75),
        tone(0.58, 0.75, 0.6),
        tone(0.38, 0.6, 0.5),
        tone(0.07, 0.75, 0.8),
        tone(0.13, 0.6, 0.85),
        tone(0.5, 0.6, 0.6),
    ]
    body, plan = tones[int(look.hue * len(tones))], rounded(box, 16)
    shape = [(0.85, 0.6), (1.0, 0.5 * height), (0.85, 0.85 * height), (0.45, height)]
    rings = np.stack(
        [np.column_stack([box.middle + (plan - box.middle) * k, np.full(16, z)]) for k, z in shape]
    )
    p.solid(rings, np.tile(body, (3, 1)), (None, body), float(look.rng.uniform(0.2, 0.8)))


def _can(p: Painter, box: Box, height: float, look: Look) -> None:
    sleeve = [
        grey(0.12),
        tone(0.62, 0.8, 0.4),
        tone(0.5, 0.6, 0.55),
        tone(0.33, 0.5, 0.4),
        grey(0.8),
        tone(0.06, 0.7, 0.6),
    ][int(look.hue * 6)]
    plan, top = rounded(box, 24), grey(0.7) if look.value < 0.7 else sleeve
    shape = [(1.0, 0.2), (1.0, height - 0.5), (0.92, height)]
    rings = np.stack(
        [np.column_stack([box.middle + (plan - box.middle) * k, np.full(24, z)]) for k, z in shape]
    )
    p.solid(rings, np.array([sleeve, sleeve]), (None, sleeve), 0.6)
    inner = Box(box.middle, box.along, box.across, box.long * 0.85, box.short * 0.85)
    p.prism(rounded(inner), height, height + 0.02, top, top, 0.7)
    if look.value < 0.4:
        for u, v in ((0.75, 0), (0, 0.75)):
            p.line(
                np.array([lifted(inner.at(s * u, s * v), height + 0.05) for s in (-1, 1)]),
                0.35,
                top * 0.4,
                0.1,
            )


def _lamp(p: Painter, box: Box, height: float, look: Look) -> None:
    glass, plan = (
        [tone(0.0, 0.85, 0.7), tone(0.36, 0.75, 0.6), tone(0.12, 0.8, 0.8), grey(0.75)][int(look.hue * 4)],
        rounded(box),
    )
    shape = [(1.0, 0.2), (0.9, 0.6 * height), (0.7, 0.85 * height), (0.3, height)]
    rings = np.stack(
        [np.column_stack([box.middle + (plan - box.middle) * k, np.full(20, z)]) for k, z in shape]
    )
    p.solid(rings, np.tile(glass, (3, 1)), (None, glass * 1.3), 0.9)


def _header(p: Painter, box: Box, height: float, look: Look) -> None:
    base = [grey(0.12), grey(0.85), tone(0.6, 0.7, 0.5), tone(0.33, 0.6, 0.45), tone(0.03, 0.7, 0.5)][
        int(look.hue * 5)
    ]
    p.prism(box.corners(1, 0.95), 0.1, min(height, 3.0), base, base, 0.4)
    pin = tone(0.12, 0.5, 0.85) if look.value < 0.4 else grey(0.75)
    for u in np.arange(-box.long + 1.27, box.long, 2.54) / box.long:
        for v in (-0.5, 0.5) if box.short > 2 else (0.0,):
            spot = Box(box.at(float(u), v), box.along, box.across, 0.32, 0.32)
            p.prism(spot.corners(), min(height, 3.0), max(height, 5.0), pin * 0.8, pin, 0.8)


def block(p: Painter, box: Box, height: float, look: Look) -> None:
    body = tone(look.hue, 0.65 if look.value > 0.4 else 0.1, max(0.12, look.value))
    p.prism(
        box.corners(0.98, 0.98),
        0.1,
        height,
        body,
        body,
        float(look.rng.uniform(0.1, 0.7)),
        float(look.rng.uniform(0.85, 1)),
    )
    knob = tone(look.rng.random(), look.rng.choice([0.1, 0.7]), look.rng.uniform(0.2, 0.9))
    if look.rng.random() < 0.6:
        middle = Box(box.middle, box.along, box.across, 0.6 * box.short, 0.6 * box.short)
        p.prism(rounded(middle), height, height * 1.15, knob, knob, 0.5)


def _metal(p: Painter, box: Box, height: float, look: Look) -> None:
    case = grey(0.6 + 0.2 * look.value)
    p.prism(rounded(box, 24), 0.2, height, case, case, 0.9, 0.95)


def _black(p: Painter, box: Box, height: float, look: Look) -> None:
    p.prism(
        rounded(box, 12) if box.long < 3 else box.corners(), 0.5, height, grey(0.13), grey(0.17), 0.3, 0.95
    )


RECIPES = {
    "DIP": _chip, "AXIAL": _axial, "DISC": _disc, "RADIAL": _can, "LED": _lamp, "HDR": _header, "HC": _metal,
    "TO": _black, "SIP": _black,
}  # fmt: skip
