"""How copper and supplies fail: nets open at a pin, neighbouring pins that touch, rails missing or noisy."""

from __future__ import annotations

from itertools import chain

import numpy as np

from coppermend.board.kinds import natural_key
from coppermend.isolate.faults import Block, Way, block, mixed, starts_of
from coppermend.isolate.graph import SignalGraph
from coppermend.isolate.partfaults import Factor, cut_off, without
from coppermend.isolate.pins import Flags, Numbers, Pins
from coppermend.isolate.priors import rate_of_class
from coppermend.isolate.states import Mode

_DRY_SHARE = 0.1  # a filter capacitor has to dry out far before a board stops
_DOUBTFUL_SHORT = 0.25  # of a joint's weight: neighbours without damage seldom touch
_MOST_DIGITS = 9  # of a pin's number, which fits in a machine word
_FEWEST_PINS = 3  # of a part whose neighbouring pins may touch


def copper_faults(graph: SignalGraph, pins: Pins, factor: Factor) -> Block:
    """Every pin of every signal net cut off from the rest of its net, by an open track or joint, net by net.

    What drives or reads is cut off as a whole block; of a passive part's lead what hangs on that part alone.
    """
    on_net = list(graph.board.nets.values())
    net = np.repeat(np.arange(len(on_net)), [len(of_net) for of_net in on_net])
    at: Numbers = np.array([pins.number[pin] for pin in chain.from_iterable(on_net)], dtype=np.int64)
    signal = np.array([graph.signal(name) for name in graph.nets], dtype=bool)
    place = np.flatnonzero(signal[net])
    joint = rate_of_class("solder_joint").weight
    weight = joint * np.array([factor(name) if graph.signal(name) else 0.0 for name in graph.nets])
    # A netlist may name a pin twice, on several nets; it drives only the net that it is on.
    acting = (pins.drives[at] & (pins.net[at] == net)) | pins.acts[at]
    here = place[acting[place]]
    begins = np.flatnonzero(pins.drives[at[here]])
    shown = cut_off(pins, at[here])
    cut = block(
        "net", net[here], starts_of(begins, pins.net[at[here[begins]]], shown[begins]), here, way=Way.CUT,
        at=at[here], part=pins.part[at[here]], weight=weight[net[here]], sits=True, opens=True,
        pin_mode=np.where(shown == Mode.FLOATING, np.uint8(Mode.NONE), np.uint8(Mode.FLOATING)),
        carries=pins.carries[at[here]],
    )  # fmt: skip
    behind, rows = list[int](), list[tuple[int, int, int]]()
    for k in place[~acting[place]].tolist():
        if starts := _cut_passive(graph, pins, int(at[k])):
            rows += [(len(behind), *start) for start in starts]
            behind.append(k)
    there = np.array(behind, dtype=np.int64)
    passive = block(
        "net", net[there], np.array(rows, dtype=np.int64).reshape(-1, 3), there, way=Way.CUT, at=at[there],
        part=pins.part[at[there]], weight=weight[net[there]], sits=True, opens=True, pin_mode=Mode.FLOATING,
    )  # fmt: skip
    return mixed([cut, passive])


def _cut_passive(graph: SignalGraph, pins: Pins, number: int) -> tuple[tuple[int, Mode], ...]:
    """What hangs on a passive part alone when its lead is cut off: its far net, or this one."""
    pin = pins.refs[number]
    kind = graph.kinds.get(pin.refdes) or ""
    if kind in ("capacitor", "electrolytic"):
        return ()
    far = graph.ends_beyond(pin)
    behind = [
        (graph.net_number[p], Mode.FLOATING)
        for p in far if graph.signal(net := graph.net(p)) and not graph.drivers.get(net)
    ]  # fmt: skip
    return tuple(behind) or without(graph, pin, graph.net(pin), kind, beyond=bool(far))


def short_faults(graph: SignalGraph, pins: Pins, factor: Factor) -> tuple[Block, Numbers]:
    """Neighbouring pins of one part that touch (solder, whiskers or residue between them), and the pairs of nets.

    Each pair of nets counts once, at the first part that has them side by side.
    """
    part, low, high = _neighbours(graph, pins)
    signal = np.array([graph.signal(net) for net in graph.nets], dtype=bool)
    supply = np.array([net in graph.supply for net in graph.nets], dtype=bool)
    both = signal[low] & signal[high]
    known = both | (signal[low] & supply[high]) | (supply[low] & signal[high])
    part, low, high, both = part[known], low[known], high[known], both[known]
    grounded = np.array([net in graph.grounds for net in graph.nets], dtype=bool)
    other = np.where(signal[low], high, low)
    forced = np.where(grounded[other], np.uint8(Mode.LOW), np.uint8(Mode.HIGH))
    mode = np.where(both, np.uint8(Mode.FIGHTS), forced)
    nets, rows = np.column_stack([low, high]), np.arange(len(low))
    begins = signal[nets]
    starts = starts_of(np.repeat(rows, 2)[begins.ravel()], nets[begins], np.repeat(mode, 2)[begins.ravel()])
    of_net = np.array([factor(net) if graph.signal(net) else 0.0 for net in graph.nets])
    of_part = np.array([factor(refdes) for refdes in pins.parts])
    worst = np.maximum(np.maximum(of_net[low], of_net[high]), of_part[part])
    weight = rate_of_class("solder_joint").weight * _DOUBTFUL_SHORT * worst
    found = block("short", rows, starts, rows, way=Way.TOUCH, part=part, weight=weight, grounds=True)
    return found, nets


def _neighbours(graph: SignalGraph, pins: Pins) -> tuple[Numbers, Numbers, Numbers]:
    """(part, net, net) of each pair of nets on neighbouring pins; the two in the order of their names."""
    counts = np.bincount(pins.part, minlength=len(pins.parts))
    many = (counts >= _FEWEST_PINS)[pins.part]
    numbered = [
        k for k in np.flatnonzero(many).tolist()
        if (pin := pins.refs[k].pin).isdecimal() and len(pin) <= _MOST_DIGITS
    ]  # fmt: skip
    at = np.array(numbered, dtype=np.int64)
    number = np.array([int(pins.refs[k].pin) for k in numbered], dtype=np.int64)
    name = np.empty(len(graph.nets), dtype=np.int64)
    name[sorted(range(len(graph.nets)), key=graph.nets.__getitem__)] = np.arange(len(graph.nets))
    part, net = pins.part[at], pins.net[at]
    order = np.lexsort((name[net], number, part))
    part, net, number = part[order], net[order], number[order]
    beside: Flags = (part[1:] == part[:-1]) & (number[1:] == number[:-1] + 1) & (net[1:] != net[:-1])
    part, one, other = part[1:][beside], net[:-1][beside], net[1:][beside]
    swapped = name[one] > name[other]
    low, high = np.where(swapped, other, one), np.where(swapped, one, other)
    first = np.sort(np.unique(low * len(graph.nets) + high, return_index=True)[1])
    return part[first], low[first], high[first]


def rail_faults(graph: SignalGraph, pins: Pins, factor: Factor) -> tuple[Block, dict[int, str]]:
    """Rails that are missing or low, or noisy from dry filter capacitors; and the words for these, by net."""
    owner, way, weight = list[int](), list[int](), list[float]()
    starts, dry_words = list[tuple[int, int, int]](), dict[int, str]()
    for rail in sorted(graph.supply - graph.grounds, key=natural_key):
        if not graph.fed_by(rail) and rail not in graph.board.index.rails:
            continue
        net, known = graph.number[rail], factor(rail)
        found = [(Way.MISSING, rate_of_class("connector").weight * known, Mode.LOW)]
        if filters := _filters(graph, rail):
            dry = len(filters) * rate_of_class("electrolytic").weight * _DRY_SHARE * known
            found.append((Way.DRY, dry, Mode.NOISY))
            dry_words[net] = ", ".join(filters[:3]) + (" ..." if len(filters) > 3 else "")
        for what, heavy, mode in found:
            starts.append((len(owner), net, mode))
            owner.append(net)
            way.append(what)
            weight.append(heavy)
    rows = np.array(owner, dtype=np.int64)
    begun = np.array(starts, dtype=np.int64).reshape(-1, 3)
    return block("rail", rows, begun, np.arange(len(rows)), way=way, weight=weight), dry_words


def _filters(graph: SignalGraph, rail: str) -> list[str]:
    """Refdes of the electrolytics on a rail."""
    named = dict.fromkeys(pin.refdes for pin in graph.board.nets.get(rail, ()))
    return [refdes for refdes in named if graph.kinds[refdes] == "electrolytic"]
