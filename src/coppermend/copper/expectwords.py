"""What an expected reading means, in words: which parts it comes through, and why it is no short. Solves nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.board.roles import net_roles
from coppermend.copper.circuit import Element
from coppermend.quantity import format_quantity

_SHORT_OHM = 10.0  # less than this between two nets cannot be told from a short
_ALONE = 0.03  # a way within this share of the whole resistance is what is read
_FEW = 4  # parts that are named one by one
_SLOW_F = 1e-6  # from here on a meter is seen to charge a capacitor (common practice, no source)
_SETTLED = 5.0  # time constants
_METER_OHM = 1e5  # what a meter charges through in its upper ranges (common practice, no source)


def ohms_words(ohms: float) -> str:
    """A resistance with its prefix.

    >>> ohms_words(20000.2), ohms_words(0.23)
    ('20 kΩ', '0.23 Ω')
    """
    return f"{ohms:.2f} Ω" if ohms < 10 else format_quantity(ohms, "Ω", 3)


def way_words(
    board: Board,
    library: PartLibrary,
    way: Sequence[tuple[Element, str]],
    ohms: float | None,
) -> Iterator[str]:
    """What resistance is expected and where it comes from."""
    if ohms is None or not way:
        yield "no resistor leads from one to the other: expect OL"
        return
    total = sum(element.value for element, _ in way)
    names = " and ".join(f"{e.refdes} ({ohms_words(e.value)})" for e, _ in way[:_FEW])
    more = f" and {len(way) - _FEW} more parts" if len(way) > _FEW else ""
    other = "" if abs(total - ohms) <= _ALONE * ohms + 1 else ", with other ways beside it"
    line = f"{ohms_words(ohms)} through {names}{more}{other}"
    if len(way) == 2:
        line += _middle(board, library, way[0][1])
    if ohms < _SHORT_OHM:
        yield f"{line}: as low as a short, so that a meter cannot tell one here"
    else:
        yield f"{line}, not a short"


def _middle(board: Board, library: PartLibrary, net: str) -> str:
    roles = net_roles(board, library)
    role = roles[net].role if net in roles else ""
    pair = {"rail": "a pull-up pair", "ground": "a pull-down pair"}.get(role, "in series")
    return f" by way of {net}: {pair}"


def junction_words(
    points: tuple[str, str], volts: tuple[float | None, float | None], ohms: float | None
) -> Iterator[str]:
    """What the diode test shows in both polarities, when it tells more than the resistance."""
    if volts == (None, None) or (ohms is not None and _same(volts)):
        return
    shown = " and ".join(
        f"{'OL' if v is None else f'{v:.2f} V'} with the red tip on {point}"
        for point, v in zip(points, volts, strict=True)
    )
    yield f"diode test: {shown}"


def _same(volts: tuple[float | None, float | None]) -> bool:
    """Whether both polarities read alike, as over resistors alone."""
    a, b = volts
    return a is not None and b is not None and abs(a - b) < 0.01


def capacitor_words(farads: float, ohms: float | None) -> Iterator[str]:
    """A hint when the meter will be seen to charge something."""
    if farads < _SLOW_F:
        return
    through = _METER_OHM if ohms is None else min(ohms, _METER_OHM)
    seconds = _SETTLED * through * farads
    end = "OL" if ohms is None else ohms_words(ohms)
    yield (
        f"{format_quantity(farads, 'F', 3)} charges: the reading starts low and climbs to {end}, "
        f"which may take {seconds:.0f} s"
        if seconds >= 1
        else f"{format_quantity(farads, 'F', 3)} charges: wait until the reading stands still"
    )
