"""More variety in straightened photographs, for training: other light, and more of what is not corrosion. Arrays in, arrays out."""

from __future__ import annotations

import cv2
import numpy as np

VEIL_HIDES = 0.85  # of a lamp's share in a picture: what is under so much is not seen


def blotted_out(photo, severity):
    """The severity without what a lamp's reflection burns out: the truth is what is seen.

    Args:
        photo: (2 rows, 2 columns, 3) uint8 straightened photo.
        severity: (rows, columns) uint8.
    """
    rows, columns = severity.shape
    cells = cv2.resize(photo, (columns, rows), interpolation=cv2.INTER_AREA)
    burnt = (cells.min(axis=2) >= 248).astype(np.uint8)
    # Crust may burn out grain by grain; a reflection burns out as a whole.
    spots = cv2.morphologyEx(burnt, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9)))
    return np.where(spots > 0, 0, severity).astype(np.uint8)


def relit(photo, rng: np.random.Generator):
    """The photo under other light, and as another camera would give it."""
    colour = photo.astype(np.float32) / 255
    colour = colour ** np.float32(rng.uniform(0.8, 1.25))
    colour *= (rng.uniform(0.85, 1.15, 3) * rng.uniform(0.75, 1.3)).astype(np.float32)
    if rng.random() < 0.5:
        coarse = 1 + rng.normal(0, rng.uniform(0.05, 0.2), (3, 4, 1)) * rng.uniform(0.9, 1.1, 3)
        field = cv2.resize(coarse.astype(np.float32), photo.shape[1::-1], interpolation=cv2.INTER_CUBIC)
        colour *= np.clip(field, 0.3, 1.8)
    if rng.random() < 0.3:
        grey = colour.mean(axis=2, keepdims=True)
        colour = grey + (colour - grey) * np.float32(rng.uniform(0.6, 1.3))
    if rng.random() < 0.35:
        colour = cv2.GaussianBlur(colour, (0, 0), rng.uniform(0.4, 1.3))
    if rng.random() < 0.35:
        noise = rng.standard_normal(photo.shape, dtype=np.float32)
        colour = colour + noise * np.float32(rng.uniform(0.005, 0.025))
    return np.clip(colour * 255, 0, 255).astype(np.uint8)


def _printed(photo, free, rng: np.random.Generator):
    """More print than the renderer drew: lines of bold text, badges, blocks; not on pads, parts or damage."""
    ink = np.zeros(photo.shape[:2], np.uint8)
    high, wide = ink.shape
    for _ in range(int(rng.integers(2, 9))):
        scale, x = rng.uniform(0.3, 1.1), int(rng.integers(0, wide))
        y, font = int(rng.integers(0, high)), int(rng.choice([0, 2, 3]))
        for line in range(int(rng.integers(1, 6))):
            words = "".join(rng.choice(list("ABCDEFGHIKLMNORSTUabcdeiklmnorstu:/.0123456789  "), 24))
            at = (x, y + round(line * 32 * scale))
            cv2.putText(
                ink, words[: rng.integers(3, 24)], at, font, scale, 255, int(rng.integers(1, 4)), cv2.LINE_AA
            )
    for _ in range(int(rng.integers(0, 4))):
        x, y = int(rng.integers(0, wide)), int(rng.integers(0, high))
        w, h = (int(v) for v in rng.integers(8, 70, 2))
        if rng.random() < 0.5:
            cv2.rectangle(ink, (x, y), (x + w, y + h), 255, -1)
            cv2.putText(ink, "OK 4", (x + 3, y + h - 3), 2, h / 40, 0, 1 + h // 20, cv2.LINE_AA)
        else:
            cv2.circle(ink, (x, y), w // 2, 255, -1 if rng.random() < 0.4 else 1 + w // 8, cv2.LINE_AA)
            cv2.circle(ink, (x, y), w // 5, 0, -1, cv2.LINE_AA)
    for _ in range(int(rng.integers(0, 4))):
        _artwork(ink, rng)
    share = cv2.GaussianBlur(ink.astype(np.float32) / 255 * free, (0, 0), rng.uniform(0.4, 1.0))
    shade = cv2.GaussianBlur(photo.mean(axis=2, dtype=np.float32), (0, 0), 40)
    white = np.percentile(photo[::4, ::4], 99) * rng.uniform(0.8, 1.3) * rng.uniform(0.9, 1.0, 3)
    lit = (shade / max(1.0, float(shade.mean())))[..., None] ** 0.7 * white.astype(np.float32)
    return photo + (np.minimum(lit, 255) - photo) * (share * rng.uniform(0.75, 1))[..., None]


def _artwork(ink, rng: np.random.Generator) -> None:
    """A sign as makers print them: a toothed wheel, star, blot or ring, or fat letters, often with some cut out again."""
    high, wide = ink.shape
    x, y, radius = int(rng.integers(0, wide)), int(rng.integers(0, high)), rng.uniform(10, 60)
    turn = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    teeth, depth = int(rng.integers(3, 13)), rng.uniform(0, 0.5)
    wave = np.cos(teeth * turn + rng.uniform(0, 7))
    if rng.random() < 0.5:
        wave = np.sign(wave)
    bend = radius * (1 - depth / 2 + depth / 2 * wave) * np.exp(rng.uniform(-0.4, 0.4))
    shape = np.column_stack([x + bend * np.cos(turn), y + bend * np.sin(turn) * rng.uniform(0.5, 1.2)])
    if rng.random() < 0.6:
        cv2.fillPoly(ink, [shape.astype(np.int32)], 255, cv2.LINE_AA)
        if rng.random() < 0.6:
            cv2.circle(ink, (x, y), int(radius * rng.uniform(0.15, 0.6)), 0, -1, cv2.LINE_AA)
        if rng.random() < 0.4:
            away = (x + int(radius * rng.normal()), y + int(2 * radius))
            cv2.line(ink, (x, y), away, 0, int(rng.integers(2, 12)), cv2.LINE_AA)
    else:
        words = "".join(rng.choice(list("ABDEGKMRSTWXabdegk&+"), int(rng.integers(1, 6))))
        size, fat = radius / 14, max(2, int(radius / rng.uniform(3, 8)))
        cv2.putText(ink, words, (x, y), int(rng.choice([0, 2, 3, 4])), size, 255, fat, cv2.LINE_AA)


def _boxed(photo, severity, rng: np.random.Generator):
    """A metal or plastic box that the drawing does not know: a can, a plug's shell, a screen; it hides what is under it."""
    w, h = (2 * int(rng.integers(12, 90)) for _ in range(2))
    if (place := _sound_place(severity, w, h, rng)) is None:
        return photo, severity
    white = float(np.percentile(photo[::4, ::4], 99))
    slope = rng.normal(0, 0.15, 2)
    shade = 1 + slope[0] * np.linspace(-1, 1, w)[None, :] + slope[1] * np.linspace(-1, 1, h)[:, None]
    colour = rng.uniform(0.25, 1.0) * rng.uniform(0.88, 1.05, 3) * white
    face = shade[..., None] * colour
    rim = int(rng.integers(1, 9))
    face[:rim], face[:, :rim] = face[:rim] * rng.uniform(0.6, 1.5), face[:, :rim] * rng.uniform(0.6, 1.5)
    face[-rim:], face[:, -rim:] = face[-rim:] * rng.uniform(0.4, 1.1), face[:, -rim:] * rng.uniform(0.4, 1.1)
    if rng.random() < 0.4:
        ink, at, size = float(rng.uniform(0, 1.2)), (w // 8, h // 2), w / 160
        words = np.zeros((h, w), np.uint8)
        cv2.putText(words, f"{rng.integers(10**6)}", at, 2, size, 255, 1, cv2.LINE_AA)
        face *= 1 + (ink - 1) * words[..., None] / 255
    seen = cv2.GaussianBlur(np.clip(face, 0, 255).astype(np.float32), (0, 0), rng.uniform(0.4, 1.2))
    return _covered(photo, severity, seen, place)


def _sound_place(severity, w: int, h: int, rng: np.random.Generator):
    """Column and row [px of the photo] for a thing of ``w`` x ``h``; None where it is too large or would hide damage."""
    high, wide = 2 * severity.shape[0], 2 * severity.shape[1]
    if wide <= w + 4 or high <= h + 4:
        return None
    x, y = 2 * (int(rng.integers(0, wide - w)) // 2), 2 * (int(rng.integers(0, high - h)) // 2)
    hidden = severity[y // 2 : (y + h) // 2, x // 2 : (x + w) // 2]
    return None if (hidden >= 48).mean() > 0.1 else (x, y)


def _covered(photo, severity, thing, place):
    """Photo and severity with a thing laid on; what it covers is not seen."""
    (h, w), (x, y) = thing.shape[:2], place
    photo, severity = photo.copy(), severity.copy()
    photo[y : y + h, x : x + w] = thing
    severity[y // 2 : (y + h) // 2, x // 2 : (x + w) // 2] = 0
    return photo, severity


def _labelled(photo, severity, rng: np.random.Generator):
    """A paper label with a bar code; what it covers is not seen."""
    w, h = int(rng.integers(90, 230)), int(rng.integers(50, 110))
    if (place := _sound_place(severity, w, h, rng)) is None:
        return photo, severity
    white = float(np.percentile(photo[::4, ::4], 99)) * rng.uniform(0.7, 1.05)
    paper = np.empty((h, w, 3), np.uint8)
    paper[:] = np.clip(white * rng.uniform(0.82, 1.0, 3), 0, 255)
    cv2.putText(
        paper, f"SN {rng.integers(10**6)}", (w // 8, h // 3), 2, h / 110, (20, 20, 20), 1, cv2.LINE_AA
    )
    bars = np.repeat(rng.random(w // 3 + 1) < 0.5, 3)[: w * 3 // 4]
    paper[h // 2 : h * 4 // 5, w // 8 : w // 8 + len(bars)][:, bars] = 20
    return _covered(photo, severity, cv2.GaussianBlur(paper, (0, 0), rng.uniform(0.4, 1.0)), place)


def _shadowed(photo, bodies, rng: np.random.Generator):
    """Parts throw longer shadows, to any side."""
    shift = np.array([[1, 0, rng.normal(0, 22)], [0, 1, rng.normal(0, 22)]])
    cast = cv2.warpAffine(bodies, shift, bodies.shape[::-1])
    cast = cv2.GaussianBlur(cast, (0, 0), rng.uniform(2, 20)) * (1 - bodies)
    return photo * (1 - np.float32(rng.uniform(0.2, 0.65)) * cast)[..., None]


def glaring(photo, bodies, severity, rng: np.random.Generator):
    """Lamps mirrored in the board, often beside the damage, weaker on parts: added up to burning out, or as a camera gives them
    that rolls its highlights off, a smooth veil short of white. What a veil hides is not seen.
    """
    high, wide = photo.shape[:2]
    mirrored = cv2.resize(_lamps((high, wide), severity, rng), (wide, high))
    mirrored *= 1 - np.float32(rng.uniform(0, 1)) * bodies
    tint = rng.uniform(0.7, 1.0, 3).astype(np.float32)
    tint *= 255 / tint.max()  # of the lamp: often so coloured that one channel burns out and another does not
    if rng.random() < 0.5:
        return photo + mirrored[..., None] * tint, severity
    share = np.minimum(1 - np.exp(-1.5 * mirrored), np.float32(rng.uniform(0.5, 0.97)))
    veiled = photo + (tint * np.float32(rng.uniform(0.75, 1.0)) - photo) * share[..., None]
    hidden = cv2.resize(share, severity.shape[::-1], interpolation=cv2.INTER_AREA) > VEIL_HIDES
    return veiled, np.where(hidden, 0, severity).astype(np.uint8)


def _lamps(shape: tuple[int, int], severity, rng: np.random.Generator):
    """Brightness of one to three mirrored lamps, a quarter of ``shape``; 1 is white."""
    high, wide = shape
    y, x = np.mgrid[:high:4, :wide:4].astype(np.float32)
    total = np.zeros(x.shape, np.float32)
    damaged = np.argwhere(severity[::4, ::4] >= 112) * 8
    for _ in range(int(rng.integers(1, 4))):
        cx, cy, turn = rng.uniform(0, wide), rng.uniform(0, high), rng.uniform(0, np.pi)
        if len(damaged) and rng.random() < 0.5:
            cy, cx = damaged[rng.integers(len(damaged))] + rng.normal(0, 50, 2)
        a, b = rng.uniform(15, 90, 2)
        p = ((x - cx) * np.cos(turn) + (y - cy) * np.sin(turn)) / a
        q = ((y - cy) * np.cos(turn) - (x - cx) * np.sin(turn)) / b
        total += np.float32(rng.uniform(0.2, 3)) * np.exp(-((p * p + q * q) ** rng.uniform(0.7, 4)))
        total += np.float32(rng.uniform(0, 0.2)) * np.exp(-(p * p + q * q) / 9)
    return total


def disturbed(photo, drawing, severity, rng: np.random.Generator):
    """More of what is not corrosion than was rendered: print, labels, shadows, lamps."""
    photo = photo.astype(np.float32)
    size = photo.shape[1::-1]
    if rng.random() < 0.75:
        busy = np.maximum.reduce([drawing[0], drawing[2], np.where(severity >= 48, 255, 0).astype(np.uint8)])
        free = cv2.resize(255 - cv2.dilate(busy, np.ones((3, 3), np.uint8)), size).astype(np.float32) / 255
        photo = _printed(photo, free, rng)
    if rng.random() < 0.4:
        photo, severity = _labelled(photo, severity, rng)
    if rng.random() < 0.3:
        photo, severity = _boxed(photo, severity, rng)
    bodies = cv2.resize(drawing[2], size).astype(np.float32) / 255
    if rng.random() < 0.4:
        photo = _shadowed(photo, bodies, rng)
    if rng.random() < 0.6:
        photo, severity = glaring(photo, bodies, severity, rng)
    photo = np.clip(photo, 0, 255).astype(np.uint8)
    return photo, blotted_out(photo, severity)
