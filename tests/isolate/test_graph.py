"""The signal graph: what acts on what, loops as one group, and what lies downstream."""

from __future__ import annotations

import random

from coppermend.board.model import PinRef
from coppermend.board.parttypes import standard_library
from coppermend.isolate.conditions import FORCED, RUNNING, Condition, conditions_of, is_cut, is_hidden
from coppermend.isolate.downstream import Downstream
from coppermend.isolate.graph import SignalGraph
from coppermend.isolate.isolation import Isolation

from .conftest import board_of, chain


def _bits(down: Downstream, *nets: int) -> int:
    """What lies downstream of any of ``nets``, bit i for net i."""
    return int.from_bytes(down.rows([nets])[0].tobytes(), "little")


def _after(graph: SignalGraph, net: str, how: Condition = RUNNING) -> set[str]:
    edges = ((e.source, e.sink) for e in graph.edges if not is_cut(graph, how, e.enters, e.leaves))
    mask = _bits(Downstream.of(len(graph.nets), edges), graph.number[net])
    return {name for name, number in graph.number.items() if mask >> number & 1}


def test_a_chain_runs_one_way() -> None:
    """Behind the second of four inverters lie its output and those after it, nothing before."""
    graph = SignalGraph(chain(4), standard_library())

    assert _after(graph, "N2") == {"N2", "N3", "N4"}


def test_a_rail_acts_on_every_output_it_feeds() -> None:
    """Without +5 V nothing that an inverter drives works; ground carries no signal."""
    graph = SignalGraph(chain(3), standard_library())

    assert _after(graph, "+5V") == {"+5V", "N1", "N2", "N3"} and graph.fed_by("+5V") == ["U1", "U2", "U3"]


def test_downstream_equals_a_plain_walk_on_random_graphs() -> None:
    """On 60 random graphs with loops the bit sets equal what a walk from each node finds."""
    rng = random.Random(3)
    for _ in range(60):
        count = rng.randint(1, 24)
        edges = [(rng.randrange(count), rng.randrange(count)) for _ in range(rng.randint(0, 50))]
        down = Downstream.of(count, edges)

        for start in range(count):
            seen, queue = {start}, [start]
            while queue:
                here = queue.pop()
                for a, b in edges:
                    if a == here and b not in seen:
                        seen.add(b)
                        queue.append(b)
            assert _bits(down, start) == sum(1 << node for node in seen)


def test_packed_rows_hold_the_same_bits() -> None:
    """A mask packed into bytes has bit i & 7 of byte i >> 3 for net i."""
    down = Downstream.of(11, [(0, 10), (3, 8)])

    rows = down.packed([_bits(down, 0), _bits(down, 3)])

    assert rows.shape == (2, 2) and rows.tolist() == [[1, 4], [8, 1]]


def test_series_parts_carry_a_level_to_where_nothing_drives() -> None:
    """A base resistor passes the gate's level on; the gate's output does not follow the base."""
    board = board_of(
        {
            "IN": "J1.1 U1.1",
            "OUT": "U1.2 R1.1",
            "BASE": "R1.2 Q1.2",
            "COL": "Q1.3 J1.2",
            "GND": "Q1.1 U1.7",
            "+5V": "U1.14",
        },
        {"U1": "7404", "R1": "resistor", "Q1": "npn", "J1": "header"},
    )
    graph = SignalGraph(board, standard_library())

    assert _after(graph, "OUT") == {"OUT", "BASE", "COL"} and _after(graph, "BASE") == {"BASE", "COL"}
    assert graph.ends_beyond(PinRef("R1", "1")) == [PinRef("R1", "2")]


def test_cpu_bus_and_memory_are_one_loop_until_the_cpu_is_forced(demo: Isolation) -> None:
    """Running, address and data lines follow each other; on a no-operation pattern the address no longer follows."""
    graph = demo.effects.graph

    assert {"A0", "D0"} <= _after(graph, "D0") and "D0" in _after(graph, "A0")
    assert "A0" not in _after(graph, "D0", FORCED) and "D0" in _after(graph, "A0", FORCED)
    assert [c.name for c in conditions_of(graph)] == ["running", "forced", "deselected"]


def test_an_adapter_hides_the_data_pins_of_the_cpu(demo: Isolation) -> None:
    """What the CPU does to the data bus is off the board while it is forced; what a memory does is not."""
    graph = demo.effects.graph

    assert is_hidden(graph, FORCED, "U1", "D0") and not is_hidden(graph, RUNNING, "U1", "D0")
    assert not is_hidden(graph, FORCED, "U2", "D0") and not is_hidden(graph, FORCED, "U1", "A0")


def test_a_board_without_a_cpu_is_only_measured_running() -> None:
    """Nothing can be forced on a row of inverters."""
    assert [c.name for c in conditions_of(SignalGraph(chain(2), standard_library()))] == ["running"]


def test_a_large_loop_is_found_without_recursion() -> None:
    """A ring of 5,000 nets is one group."""
    down = Downstream.of(5000, [(k, (k + 1) % 5000) for k in range(5000)])

    assert len(down.loops) == 1 and len(down.loops[0]) == 5000


def test_rows_of_sets_join_what_follows_each_member() -> None:
    """A set of nets has the downstream nets of all of them, an empty set none; no set at all gives no row."""
    down = Downstream.of(20, [(0, 1), (5, 17), (9, 9)])

    rows = down.rows([(0, 5), (), (9,), (0, 5, 9)])

    after = [(0, 1, 5, 17), (), (9,), (0, 1, 5, 9, 17)]
    assert [int.from_bytes(row.tobytes(), "little") for row in rows] == [
        sum(1 << n for n in nets) for nets in after
    ]
    assert rows.shape == (4, 3)
    assert down.rows([]).shape == (0, 3)
