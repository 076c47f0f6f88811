"""Where the parts of the demo board stand, in tenths of an inch from the lower-left corner. No circuit."""

from __future__ import annotations

from coppermend.board.model import Layer

TENTH_MM = 2.54
WIDTH_MM, BODY_MM, HEIGHT_MM = 320.0, 213.4, 222.4
_TONGUE = (118.5, 210.0)  # the edge connector's tongue stands above the body
OUTLINE = (
    (0.0, 0.0),
    (WIDTH_MM, 0.0),
    (WIDTH_MM, BODY_MM),
    (_TONGUE[1], BODY_MM),
    (_TONGUE[1], HEIGHT_MM),
    (_TONGUE[0], HEIGHT_MM),
    (_TONGUE[0], BODY_MM),
    (0.0, BODY_MM),
)
HOLES = {
    "MH1": (6.0, 6.0),
    "MH2": (WIDTH_MM - 6.0, 6.0),
    "MH3": (WIDTH_MM - 6.0, BODY_MM - 6.0),
    "MH4": (6.0, BODY_MM - 6.0),
}
HOLE_KEEPOUT_MM = 4.0

# refdes -> x, y in tenths of an inch, rotation in degrees
SPOTS: dict[str, tuple[float, float, float]] = {
    # battery and what it keeps alive, upper left
    "BT1": (6, 77, 0), "R9": (5, 72, 0), "D3": (5, 70, 0), "D2": (12, 72, 0), "C3": (19, 72, 0), "C2": (19, 69, 0),
    "U4": (28, 80, 0), "U5": (38, 80, 0), "U11": (28, 65, 0), "RN4": (36, 68, 0), "R10": (12, 69, 0),
    # reset
    "R1": (4, 66, 0), "R2": (10, 66, 0), "ZD1": (17, 66, 0),
    "Q1": (5, 63, 0), "R3": (10, 63, 0), "C1": (17, 63, 0),
    "R4": (10, 60.5, 0), "D1": (17, 60.5, 0),
    "R5": (4, 58, 0), "Q2": (11, 58, 0), "R6": (16, 58, 0),
    "R7": (4, 55, 0), "Q3": (11, 55, 0), "R8": (16, 55, 0),
    # program memory, CPU, bus connector
    "U2": (48, 80, 0), "U3": (59, 80, 0), "U1": (71, 80, 0), "J8": (81, 217.9 / TENTH_MM, 180),
    # decoding and clock
    "U9": (84, 80, 0), "U10": (84, 69, 0), "U14": (93, 80, 0), "U12": (93, 68, 0), "U13": (102, 80, 0),
    "Y1": (101, 71, 0), "R11": (101, 69, 0), "C4": (101, 67, 0), "R12": (101, 65, 0),
    # supply
    "J1": (122, 80, 0), "C7": (112, 78, 0), "C8": (112, 72, 0), "LK1": (112, 67, 0),
    # peripheral chips, options, door
    "U6": (34, 53, 0), "U8": (66, 56, 0), "U7": (96, 56, 0),
    "SW1": (55, 44, 180), "RN2": (58, 43, 180),
    "J7": (123, 60, 0), "R15": (114, 53, 0), "SW2": (110, 50, 0), "C6": (110, 47, 0), "LED1": (110, 62, 0),
    "R17": (114, 62, 0),
    # switch matrix, left edge
    "J3": (3, 50, 0), "RN1": (6, 51, 0), "U16": (24, 52, 0), "U17": (24, 43, 0), "RN3": (30, 51, 0),
    "R13": (14, 40, 0), "R14": (14, 38, 0), "C5": (19, 39, 0), "J2": (3, 17, 180), "U15": (18, 16, 180),
    # display
    "U24": (46, 30, 0), "U25": (55, 30, 0), "U26": (55, 18, 0), "RN5": (62, 30, 0), "J6": (50, 3, 90),
    # lamps
    "U18": (70, 30, 0), "U19": (80, 30, 0), "U20": (70, 17, 0), "U21": (80, 17, 0), "J4": (67, 3, 90),
    # solenoids, right edge
    "U22": (91, 30, 0), "U23": (91, 20, 0), "R16": (91, 11, 0), "J5": (122, 34, 0),
    # supply decoupling
    "C31": (73, 82, 0), "C32": (50, 82, 0), "C33": (61, 82, 0), "C34": (84.5, 82, 0), "C35": (93.5, 82, 0),
    "C36": (93.5, 70, 0), "C37": (36, 55, 0), "C38": (68, 57.5, 0), "C39": (98, 57.5, 0), "C40": (46.5, 32, 0),
    "C41": (70.5, 32, 0), "C42": (91.5, 32, 0),
}  # fmt: skip
for _n in range(8):
    SPOTS[f"R{21 + _n}"] = (9, 50 - _n, 0)
    SPOTS[f"C{21 + _n}"] = (17, 50 - _n, 0)
    SPOTS[f"D{11 + _n}"] = (10, 17 + _n, 180)
    _y = 34 - 4.5 * _n
    SPOTS[f"R{31 + _n}"] = (98, _y, 0)
    SPOTS[f"Q{11 + _n}"] = (105, _y, 0)
    SPOTS[f"D{21 + _n}"] = (115, _y, 180)

# Supply runs laid before routing: net, layer, width in mm, corners in tenths of an inch
RAILS: tuple[tuple[str, Layer, float, tuple[tuple[float, float], ...]], ...] = (
    ("+5V", "top", 2.0, ((118, 79), (118, 60), (40, 60))),
    ("GND", "top", 2.0, ((119.5, 76), (119.5, 58.75), (40, 58.75))),
    ("+5V", "bottom", 2.0, ((105.5, 60), (105.5, 36))),
    ("GND", "bottom", 2.0, ((107, 58.75), (107, 35))),
    ("+5V", "top", 2.0, ((105.5, 36), (44, 36))),
    ("GND", "top", 2.0, ((107, 35), (44, 35))),
)
# Width in mm that the router's tracks of a net get where there is room
WIDTHS_MM = {
    "GND": 1.5, "+5V": 1.5, "+12V": 2.0, "PGND": 2.5, "VSOL": 2.5, "VRAM": 0.8, "VBAT": 0.8,
    **{f"COIL{n}": 2.0 for n in range(8)},
    **{f"LAMP{n}": 0.8 for n in range(16)},
}  # fmt: skip
