"""A small invented board in every format, each in its own frame, to build import tests on.

30 x 20 mm. Its own frame is that of the parts list; the Gerber files add (100, -50) mm, the IPC-D-356 file
(10, 10) mm. R1 joins CLK and GND on the top; U1 is a surface-mount part on the bottom; V1 joins CLK's layers.
"""

from __future__ import annotations

from coppermend.board.importing import Source, import_board
from coppermend.board.model import PinRef
from coppermend.board.parttypes import PartLibrary, parse_part_types

GERBER_AT = (100.0, -50.0)
IPC_AT = (10.0, 10.0)


def xy(x: float, y: float) -> str:
    return f"X{round((x + GERBER_AT[0]) * 1e6)}Y{round((y + GERBER_AT[1]) * 1e6)}"


def gerber_file(name: str, function: str, *words: str) -> Source:
    head = [f"%TF.FileFunction,{function}*%"] if function else []
    head += [
        "%FSLAX46Y46*%",
        "%MOMM*%",
        "%TA.AperFunction,ComponentPad*%",
        "%ADD10C,1.6*%",
        "%ADD11R,2.0X1.0*%",
    ]
    head += ["%TA.AperFunction,ViaPad*%", "%ADD12C,0.8*%", "%TA.AperFunction,Conductor*%", "%ADD13C,0.25*%"]
    head += ["%TA.AperFunction,Profile*%", "%ADD14C,0.05*%", "%TD*%", "G01*"]
    return Source(name, "\n".join([*head, *words, "M02*", ""]).encode())


def pad(aperture: str, refdes: str, pin: str, net: str, x: float, y: float) -> list[str]:
    return [aperture, f"%TO.P,{refdes},{pin}*%", f"%TO.N,{net}*%", f"{xy(x, y)}D03*", "%TD*%"]


def line(net: str, *points: tuple[float, float], aperture: str = "D13*") -> list[str]:
    first, *rest = points
    return [aperture, f"%TO.N,{net}*%", f"{xy(*first)}D02*", *(f"{xy(*p)}D01*" for p in rest), "%TD*%"]


def area(net: str, *points: tuple[float, float]) -> list[str]:
    return [f"%TO.N,{net}*%", "G36*", f"{xy(*points[0])}D02*", *(f"{xy(*p)}D01*" for p in (*points[1:], points[0])),
            "G37*", "%TD*%"]  # fmt: skip


SQUARE = ((12.0, 2.0), (18.0, 2.0), (18.0, 8.0), (12.0, 8.0))
THROUGH = [
    *pad("D10*", "R1", "1", "CLK", 5, 10),
    *pad("D10*", "R1", "2", "GND", 15, 5),
    *pad("D10*", "J1", "1", "N/C", 25, 15),
]
VIA = ["D12*", "%TO.N,CLK*%", f"{xy(8, 10)}D03*", "%TD*%"]
TOP = [
    *THROUGH,
    *VIA,
    *line("CLK", (5, 10), (8, 10)),
    *line("GND", *SQUARE, SQUARE[0]),
    *area("GND", *SQUARE),
]
BOTTOM = [*THROUGH, *VIA, *pad("D11*", "U1", "1", "CLK", 8, 15), *line("CLK", (8, 10), (8, 15))]
EDGE = ["D14*", f"{xy(0.025, 0.025)}D02*"] + [
    f"{xy(*p)}D01*" for p in ((29.975, 0.025), (29.975, 19.975), (0.025, 19.975), (0.025, 0.025))
]
DRILLS = "M48\n; #@! TF.FileFunction,Plated,1,2,PTH\nMETRIC\n; #@! TA.AperFunction,Plated,PTH,ViaDrill\nT1C0.4\n; #@! TA.AperFunction,Plated,PTH,ComponentDrill\nT2C0.8\n%\n"


def drill_file(*holes: tuple[int, float, float], name: str = "PTH.drl") -> Source:
    lines = [f"T{t}\nX{x + GERBER_AT[0]:.3f}Y{y + GERBER_AT[1]:.3f}\n" for t, x, y in holes]
    return Source(name, (DRILLS + "".join(lines) + "M30\n").encode())


PTH = drill_file((1, 8, 10), (2, 5, 10), (2, 15, 5), (2, 25, 15))
NPTH = Source(
    "NPTH.drl",
    f"M48\n; #@! TF.FileFunction,NonPlated,1,2,NPTH\nMETRIC\nT1C3.2\n%\nT1\nX{103:.1f}Y{-47:.1f}\nM30\n".encode(),
)


def gerber_set(top=TOP, bottom=BOTTOM) -> list[Source]:
    return [
        gerber_file("demo-F_Cu.gbr", "Copper,L1,Top", *top),
        gerber_file("demo-B_Cu.gbr", "Copper,L2,Bot", *bottom),
        gerber_file("demo-Edge_Cuts.gbr", "Profile,NP", *EDGE),
        PTH,
        NPTH,
    ]


def ipc_record(
    net: str, refdes: str, pin: str, x: float, y: float, hole: float = 0.8, access: int = 0
) -> str:
    """One IPC-D-356 record in units of 0.001 mm (CUST 1)."""
    dash = "-" if pin else " "
    code, drilled = ("317", f"D{round(hole * 1000):04}P") if hole else ("327", " " * 6)
    place = f"X{round((x + IPC_AT[0]) * 1000):+07}Y{round((y + IPC_AT[1]) * 1000):+07}"
    return f"{code}{net:<14}   {refdes:<6}{dash}{pin:<4} {drilled}A{access:02}{place}X1600Y0000R000S0"


RECORDS = (
    ipc_record("CLK", "R1", "1", 5, 10),
    ipc_record("GND", "R1", "2", 15, 5),
    ipc_record("N/C", "J1", "1", 25, 15),
    ipc_record("CLK", "U1", "1", 8, 15, hole=0, access=2),
    ipc_record("CLK", "VIA", "", 8, 10, hole=0.4),
)


def ipc_file(*records: str) -> Source:
    return Source("demo.d356", "\n".join(["P  UNITS CUST 1", *(records or RECORDS), "999", ""]).encode())


PARTS = Source(
    "parts.csv",
    b"refdes,value,footprint,x_mm,y_mm,rotation_deg,side\n"
    b"R1,10k,R_Axial_DIN0207_L6.3mm_D2.5mm_P10.16mm_Horizontal,5,10,0,top\n"
    b"J1,Link,PinHeader_1x01_P2.54mm_Vertical,25,15,0,top\n"
    b"U1,74LS04,SO-14,8,15,180,bottom\n"
    b"REF**,Hole,MountingHole_3.2mm,3,3,0,top\n",
)

LIBRARY = PartLibrary(
    parse_part_types(
        """
        [resistor]
        description = "resistor"
        kind = "resistor"
        pins = ["1 A passive", "2 B passive"]
        ["7404"]
        description = "inverters"
        kind = "logic"
        pins = ["1 A in", "2 Y out"]
        """
    )
)
NETS = {"CLK": (PinRef("R1", "1"), PinRef("U1", "1")), "GND": (PinRef("R1", "2"),)}


def imported(ipc356=None, gerber=(), parts=None):
    return import_board(name="demo", ipc356=ipc356, gerber=gerber, parts=parts, library=LIBRARY)


def bare(sources):
    """The same Gerber files without a single attribute, named by habit."""
    for source in sources:
        kept = [
            row
            for row in source.data.decode().split("\n")
            if not row.startswith(("%TO", "%TA", "%TD", "%TF", ";"))
        ]
        yield source._replace(data="\n".join(kept).encode())
