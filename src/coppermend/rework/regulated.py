"""Remedy for a tired regulator: a new one, with headroom, heat and the inrush into the retention capacitor checked."""

from __future__ import annotations

from coppermend.board.cautions import PRACTICE, cautions_called
from coppermend.board.flow import Flow
from coppermend.board.kinds import natural_key
from coppermend.board.model import Board, Part, PinRef, Rail
from coppermend.board.parttypes import PartLibrary
from coppermend.board.subject import net_subject, part_subject
from coppermend.errors import InputError
from coppermend.quantity import format_quantity, parse_quantity
from coppermend.rework.figured import asked, checks_of, percent
from coppermend.rework.keepalive import KeepAlive
from coppermend.rework.loads import rail_load_a
from coppermend.rework.records import Check, KitLine, Remedy

_DROP_OUT_V = 2.0  # MC7805A data sheet, typical at 1 A
_MOST_C = 125.0
_SINK_K_W = 10.0  # junction to air of a TO-220 with a small heat sink (from memory)
_BARE_K_W = 65.0  # the same without (MC7800 data sheet, from memory)
_LIMIT = "1.5 A (1..2.2)"  # current limit of a TO-220 regulator over temperature (from memory)


def regulator_renewal(flow: Flow, library: PartLibrary, kept: KeepAlive | None = None) -> Remedy | None:
    """Every fixed regulator on the board renewed, and judged with this board's load.

    Args:
        flow: Signal flow of the board.
        library: Part types.
        kept: The keep-alive circuit, whose capacitor is charged at switch-on; None when there is none.

    Returns:
        None when the board has no regulator with known pins.
    """
    board = flow.board
    found = [
        (part, nets)
        for refdes, kind in flow.kinds.items()
        if kind == "regulator" and (nets := _nets(board, library, part := board.index.parts[refdes]))
    ]
    if not found:
        return None
    found.sort(key=lambda item: natural_key(item[0].refdes))
    names = tuple(part.refdes for part, _ in found)
    return Remedy(
        id="regulators",
        title=f"new regulator at {', '.join(names)}",
        why="A regulator that ran hot for decades drifts and cracks its solder; its rail feeds everything else.",
        parts_off=names,
        parts_on=tuple(
            KitLine(p.type, p.value, p.package, 1, (p.refdes,), "same leads; new thermal compound or pad")
            for p, _ in found
        ),
        steps=(
            "Take the old one off with its heat sink; clean the sink and renew the compound or the insulating pad.",
            "Bolt the new one down before soldering it, so that the leads stay without strain.",
            "Power up without the chips in their sockets, measure the output, then with a load of the board's size.",
        ),
        checks=tuple(check for p, nets in found for check in _checks(board, library, p, nets, kept)),
        changes=frozenset(part_subject(n) for n in names) | {net_subject(out) for _, (_, out) in found},
        cautions=cautions_called("stored charge", "heat", "polarity", "iron", "fumes", "lead"),
        connections=tuple(
            (str(pin), board.index.net_of_pin[pin]) for n in names for pin in board.index.pins_of_part[n]
        ),
    )


def _nets(board: Board, library: PartLibrary, part: Part) -> tuple[str, str] | None:
    """(input net, output net) of a regulator, None when its pins are not known or not joined."""
    known = library.of(part)
    by_name = {spec.name.upper(): PinRef(part.refdes, spec.number) for spec in (known.pins if known else ())}
    ends = [board.index.net_of_pin.get(by_name[n], "") if n in by_name else "" for n in ("IN", "OUT")]
    return (ends[0], ends[1]) if all(ends) else None


def _checks(
    board: Board, library: PartLibrary, part: Part, nets: tuple[str, str], kept: KeepAlive | None
) -> tuple[Check, ...]:
    rails, name = board.index.rails, part.refdes
    source, out = nets
    before, after = rails.get(source), rails.get(out)
    if before is None or after is None:
        missing = source if before is None else out
        return (
            Check(
                f"headroom of {name}", f"voltage of net {missing} not declared", "a rail in board.toml", False,
                "board.toml", f"declare {missing} as a rail with volts and tolerance, then this is computed", must=False,
            ),
        )  # fmt: skip
    load = rail_load_a(board, library, out)
    low, high = before.volts * (1 - before.tolerance), before.volts * (1 + before.tolerance)
    wanted = after.volts * (1 + after.tolerance) + _DROP_OUT_V
    watts = (high - after.volts) * load
    sink = 40.0 + watts * _SINK_K_W
    headroom = Check(
        f"headroom of {name} at the lowest input", f"{low - wanted:.3f} V", "more than 0 V", low > wanted,
        f"net {source} at least {low:.2f} V; output and {_DROP_OUT_V:g} V of drop-out: MC7805A data sheet",
        "ripple of the input comes off this: compute it from transformer and capacitor in the figure",
        figure="supply", inputs=(("load", f"{load:.3g} A"), ("output", f"{after.volts} V")),
    )  # fmt: skip
    heat = Check(
        f"heat of {name} at the highest input", f"{watts:.2f} W, junction {sink:.0f} °C",
        f"at most {_MOST_C:.0f} °C with a heat sink of {_SINK_K_W:g} K/W", sink <= _MOST_C,
        f"({high:.1f} − {after.volts:g}) V times {format_quantity(load, 'A')}, estimated from the chips on {out}; "
        f"40 °C of air: {PRACTICE}",
        f"without a heat sink it would reach {40 + watts * _BARE_K_W:.0f} °C",
    )  # fmt: skip
    return (headroom, heat, *inrush_checks(board, kept, after, load, before=before))


def inrush_checks(
    board: Board,
    kept: KeepAlive | None,
    rail: Rail,
    load_a: float,
    *,
    before: Rail | None = None,
    farads: float = 0.47,
) -> tuple[Check, ...]:
    """The figure ``inrush`` for a retention capacitor that is charged from ``rail``; () when none is."""
    charged = kept is not None and kept.main is not None and kept.main.net == rail.net
    if not charged or kept is None or not kept.charge_ohm or rail.volts <= 0:
        return ()
    bulk = sum(_farads(board, refdes) for refdes in _capacitors_on(board, rail.net)) or 1e-6
    given = {
        "rail": percent(rail.volts, rail.tolerance), "load": percent(round(load_a, 4), 0.2),
        "bulk": percent(bulk, 0.2), "capacitance": f"{farads!r} -20+80%", "series": percent(kept.charge_ohm, 0.05),
        "limit": _LIMIT,
    }  # fmt: skip
    # Where the regulator stands off the board, its input is taken as usual for a transformer supply.
    low = rail.volts * (1 + rail.tolerance) + _DROP_OUT_V
    high = low + 5.0
    if before is not None:
        low, high = before.volts * (1 - before.tolerance), before.volts * (1 + before.tolerance)
    if low <= rail.volts * (1 + rail.tolerance):
        return ()  # the headroom check has said so already
    given["input"] = f"{low!r}..{high!r} V"
    answer, inputs = asked("inrush", **given)
    return checks_of(answer, inputs, sources={"regulator stays out of its current limit": f"limit {_LIMIT}: from memory"})  # fmt: skip


def _capacitors_on(board: Board, net: str) -> list[str]:
    pins = board.nets.get(net, ())
    return list(
        dict.fromkeys(p.refdes for p in pins if p.refdes.startswith("C") and p.refdes in board.index.parts)
    )


def _farads(board: Board, refdes: str) -> float:
    try:
        return parse_quantity(board.index.parts[refdes].value.partition("/")[0], "F")
    except InputError:
        return 0.0
