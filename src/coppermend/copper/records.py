"""The copper plan as records and as JSON: probes, opens, shorts, jumpers. Computes nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from coppermend.board.model import PadSide


@dataclass(frozen=True, slots=True)
class Probe:
    """One measurement to make between points ``a`` and ``b`` of ``net``.

    ``id`` names the pair and stays the same from plan to plan. ``expect_ohms`` includes the leads [Ω]; None is OL.
    For isolation ``a`` is on one net, ``b`` on another, and ``net`` is one of the two. ``side`` is where both tips are held; "both" when either side will do or each tip needs its own, which
    ``where_a`` and ``where_b`` say in words.
    """

    id: str
    net: str
    a: str
    b: str
    purpose: Literal["continuity", "isolation"]
    expect_ohms: float | None
    where_a: str
    where_b: str
    side: PadSide


@dataclass(frozen=True, slots=True)
class Open:
    """Copper of ``net`` that is open between two points; ``tracks`` (numbers from 1) run there and are at risk.

    ``tracks`` is () when a pad, via or jumper is what opened, or the files do not show the copper.
    """

    net: str
    between: tuple[str, str]
    tracks: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Short:
    """Two nets that read as connected, between the points where it was measured."""

    nets: tuple[str, str]
    between: tuple[str, str]
    ohms: float


@dataclass(frozen=True, slots=True)
class Masked:
    """Two nets within reach of each other that fitted parts join so well that no meter can tell a short in circuit.

    ``by`` are the refdes of the parts to lift, () when they cannot be lifted away; ``ohms`` is what is read
    through them [Ω].
    """

    nets: tuple[str, str]
    by: tuple[str, ...]
    ohms: float

    @property
    def words(self) -> str:
        """What the technician shall do about it."""
        return (
            f"a short between {self.nets[0]} and {self.nets[1]} cannot be told from {' and '.join(self.by)} "
            f"({self.ohms:.2g} Ω) in circuit: lift one end of {'it' if len(self.by) == 1 else 'each'} and plan "
            f"again with {'it' if len(self.by) == 1 else 'them'} off, or look there with a lens"
        )


@dataclass(frozen=True, slots=True)
class Jumper:
    """A wire to fit between two points of ``net``; ``cures`` are the ``between`` of the opens it bridges.

    ``side`` "both" means that the wire's ends lie on different sides. ``length_mm`` is measured along ``route``,
    the wire's corners [mm], which follows the board's axes round tall parts; nothing is allowed for the ends.
    ``gauge_awg`` is the thinnest wire that carries what the opened tracks do.
    """

    net: str
    a: str
    b: str
    side: PadSide
    length_mm: float
    cures: tuple[tuple[str, str], ...]
    gauge_awg: int = 30
    route: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class CopperPlan:
    """The probes still to make in walking order, and what the readings have told so far.

    ``proven`` are at-risk nets whose every pad is shown to hang together. ``naive_probes`` would touch every
    pad of the nets at risk, one probe fewer than pads on each. ``route_mm`` is the travel of both tips from probe
    to probe; ``naive_route_mm`` the same in the order of the net names with the tips never swapped.
    ``fitted`` are the jumpers fitted so far, with how their wires should run and which gauge they need.
    ``masked`` are pairs of nets whose shorts no meter can tell in circuit. ``notes`` state what is assumed and what cannot be proven.
    """

    probes: tuple[Probe, ...] = ()
    proven: tuple[str, ...] = ()
    opens: tuple[Open, ...] = ()
    shorts: tuple[Short, ...] = ()
    masked: tuple[Masked, ...] = ()
    jumpers: tuple[Jumper, ...] = ()
    fitted: tuple[Jumper, ...] = ()
    naive_probes: int = 0
    route_mm: float = 0.0
    naive_route_mm: float = 0.0
    notes: tuple[str, ...] = ()

    @property
    def done(self) -> bool:
        """Whether nothing is left to probe and nothing is open or shorted."""
        return not (self.probes or self.opens or self.shorts)

    def to_json(self) -> dict[str, Any]:
        """The plan as plain JSON types.

        Keys: ``probes`` [{id, net, a, b, purpose, expect_ohms, where_a, where_b, side}] in walking order, ``proven``
        [net], ``opens`` [{net, between: [point, point], tracks}], ``shorts`` [{nets, between, ohms}],
        ``masked`` [{nets, by: [refdes], ohms}], ``jumpers`` [{net, a, b, side, length_mm, cures: [[point, point]],
        gauge_awg, route: [[x, y]]}], ``fitted`` (jumpers that are there, alike), ``counts`` {probes, naive_probes}, ``route_mm``,
        ``naive_route_mm``, ``notes``. ``expect_ohms`` null is OL.
        """
        return {
            "probes": [_plain(probe) for probe in self.probes],
            "proven": list(self.proven),
            "opens": [_plain(item) for item in self.opens],
            "shorts": [_plain(item) for item in self.shorts],
            "masked": [_plain(item) for item in self.masked],
            "jumpers": [_plain(item) for item in self.jumpers],
            "fitted": [_plain(item) for item in self.fitted],
            "counts": {"probes": len(self.probes), "naive_probes": self.naive_probes},
            "route_mm": self.route_mm,
            "naive_route_mm": self.naive_route_mm,
            "notes": list(self.notes),
        }


def _plain(record: Probe | Open | Short | Masked | Jumper) -> dict[str, Any]:
    return {name: _listed(getattr(record, name)) for name in record.__slots__}


def _listed(value: object) -> object:
    return [_listed(item) for item in value] if isinstance(value, tuple) else value
