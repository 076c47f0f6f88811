"""Files of any size for benchmarks, the same at every run. Holds no timing."""

from __future__ import annotations

from math import ceil, sqrt

WIDTH_MM, HEIGHT_MM = 400.0, 300.0
PINS = 20  # every part is a DIP-20: 2.54 mm between pins, 7.62 mm between rows
PIN_SHARE = 0.7  # of all test records; the rest are vias


def generate_ipcd356(n: int, conductors: int = 0) -> str:
    """An IPC-D-356A file with exactly ``n`` test records on a board of 400 x 300 mm.

    Seven in ten are pins of DIP-20 parts U1, U2, ... on an even grid, the others vias between the parts.
    Pin 10 is on GND and pin 20 on VCC; every 13th other pin is ``N/C``; about a sixth as many signal nets as
    records have a handful of points each. Parts fit side by side up to about 10,000 records.

    Args:
        n: Number of test records, at least 1.
        conductors: Number of 378 records to add, each from a pin to the via to the right of its part.

    Returns:
        Text with LF line ends, in units of 0.0001 inch, with a BOARD_EDGE outline and a 999 record.
    """
    pin_count = max(1, round(n * PIN_SHARE))
    parts = ceil(pin_count / PINS)
    columns = max(1, ceil(sqrt(parts * (WIDTH_MM / 13.3) / (HEIGHT_MM / 25))))
    cell = (WIDTH_MM / columns, HEIGHT_MM / ceil(parts / columns))
    nets = max(1, n // 6)
    lines = ["C  generated for a benchmark", "P  JOB   BENCH", "P  UNITS CUST 0", _edge()]
    lines += [_pin(i, columns, cell, nets) for i in range(pin_count)]
    lines += [_via(i, parts, columns, cell, nets) for i in range(n - pin_count)]
    lines += [_conductor(i, pin_count, parts, columns, cell, nets) for i in range(conductors)]
    return "\n".join([*lines, "999", ""])


def _edge() -> str:
    corners = [(0, 0), (WIDTH_MM, 0), (WIDTH_MM, HEIGHT_MM), (0, HEIGHT_MM), (0, 0)]
    return "389BOARD_EDGE        " + "".join(f" X{_units(x):+07d}Y{_units(y):+07d}" for x, y in corners)


def _pin(i: int, columns: int, cell: tuple[float, float], nets: int) -> str:
    part, pin = divmod(i, PINS)
    x_mm, y_mm = _pin_place(i, columns, cell)
    square = "Y0600" if pin == 0 else "Y0000"
    return (
        f"317{_pin_net(i, nets):<14}   {f'U{part + 1}':<6.6}-{pin + 1:<4} D0320PA00"
        f"X{_units(x_mm):+07d}Y{_units(y_mm):+07d}X0600{square}R090 S0"
    )


def _via(i: int, parts: int, columns: int, cell: tuple[float, float], nets: int) -> str:
    x_mm, y_mm = _via_place(i, parts, columns, cell)
    return (
        f"317{_signal(i * 5, nets):<14}   VIA   -    MD0157PA00"
        f"X{_units(x_mm):+07d}Y{_units(y_mm):+07d}X0315Y0000R000 S3"
    )


def _conductor(i: int, pin_count: int, parts: int, columns: int, cell: tuple[float, float], nets: int) -> str:
    pin = i * 7 % pin_count
    part = pin // PINS
    start, end = _pin_place(pin, columns, cell), _via_place(part, parts, columns, cell)
    path = " ".join(f"X{_units(x):+07d}Y{_units(y):+07d}" for x, y in (start, (end[0], start[1]), end))
    return f"378{_pin_net(pin, nets):<14} L{1 + i % 2:02d} X0120 {path}"


def _pin_net(i: int, nets: int) -> str:
    part, pin = divmod(i, PINS)
    if pin + 1 in (10, 20):
        return "GND" if pin + 1 == 10 else "VCC"
    return "N/C" if (part + pin) % 13 == 0 else _signal(i, nets)


def _signal(i: int, nets: int) -> str:
    """Spread points over the nets: a prime stride visits all nets before it repeats one."""
    return f"SIGNAL_{i * 7919 % nets:05d}"


def _pin_place(i: int, columns: int, cell: tuple[float, float]) -> tuple[float, float]:
    """Pin 1 of a part is 1 mm right of and 1 mm above its cell's lower-left corner; numbers run round."""
    part, pin = divmod(i, PINS)
    row, column = divmod(part, columns)
    right = pin >= PINS // 2
    step = PINS - 1 - pin if right else pin
    return column * cell[0] + 1 + 7.62 * right, row * cell[1] + 1 + 2.54 * step


def _via_place(i: int, parts: int, columns: int, cell: tuple[float, float]) -> tuple[float, float]:
    """Vias fill the strip to the right of the parts, one for every part, then one more for every part."""
    turn, part = divmod(i, parts)
    row, column = divmod(part, columns)
    return column * cell[0] + 10.5 + turn % 2, row * cell[1] + 1 + 1.27 * turn % (cell[1] - 2)


def _units(mm: float) -> int:
    """Counts of 0.0001 inch."""
    return round(mm / 0.00254)
