"""IPC-D-356 lines for tests, put together field by field. Holds no test."""

from __future__ import annotations

HEADER = "P  JOB  SAMPLE\nP  UNITS CUST 0\n"


def record(
    *,
    code: str = "317",
    net: str = "RESET",
    refdes: str = "U3",
    pin: str = "40",
    midpoint: str = " ",
    hole: str = "D0320",
    plated: str = "P",
    access: str = "A00",
    x: str = "X+012500",
    y: str = "Y-023700",
    size_x: str = "X0600",
    size_y: str = "Y0000",
    rotation: str = "R000",
    soldermask: str = " S0",
) -> str:
    """One test record with every field in its own columns."""
    names = f"{code}{net:<14}   {refdes:<6}-{pin:<4}"
    return f"{names}{midpoint}{hole}{plated}{access}{x}{y}{size_x}{size_y}{rotation}{soldermask}".rstrip()


def counted_in_bytes(**fields: str) -> str:
    """One test record whose columns count UTF-8 bytes, as some programs write names beyond ASCII."""
    as_bytes = {name: text.encode().decode("latin-1") for name, text in fields.items()}
    return record(**as_bytes).encode("latin-1").decode()


def whole(*lines: str, header: str = HEADER) -> str:
    """A whole file of the given lines, with header and end record."""
    return header + "".join(f"{line}\n" for line in lines) + "999\n"


SAMPLE = whole(
    "C  every kind of record",
    "P  NNAME1 SWITCH_MATRIX_RETURN_3",
    record(),
    record(net="NNAME1", refdes="VIA", pin="", midpoint="M", soldermask=" S3"),
    "017" + " " * 35 + "A02" + " " * 16 + "X0800",
    record(code="327", net="N/C", hole=" " * 5, plated=" ", access="A01", size_y="Y0300", rotation="R090"),
    record(code="367", net="", refdes="", pin="", plated="U"),
    "378RESET          L01 X0120 X+012500Y-023700 X+013000",
    "078 Y-024000 * X+014000Y-024000 Y-025000",
    "379RESET NNAME1",
    "079 CLOCK",
    "389BOARD_EDGE         X+000000Y+000000 X+100000 Y+080000 X+000000 Y+000000",
)
