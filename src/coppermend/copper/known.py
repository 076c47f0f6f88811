"""What readings have told about one net: which at-risk copper holds, which is broken, who hangs together.

A good reading proves every bridge between its two points, since no current can go round it; through a loop it
proves only that the two hang together. An open reading says that its points are apart. Copper between islands
that are apart is broken. Which probes to make next is left to ``choose``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from coppermend.copper.bridges import bridge_forest
from coppermend.copper.islands import Groups

Pair = tuple[int, int]


@dataclass(frozen=True)
class RiskGraph:
    """Islands 0..n-1 and at-risk bonds between them.

    ``probeable`` islands have a point to touch; ``needed`` ones must be shown to hang together, the others only
    help to pin down an open.
    """

    probeable: tuple[bool, ...]
    bonds: tuple[Pair, ...]
    needed: tuple[bool, ...]


@dataclass(frozen=True)
class Cluster:
    """Bonds that no probe can tell apart, since only islands without points lie between them.

    ``terminals`` are the probeable groups around it, each by one of its islands that touches the cluster.
    """

    terminals: tuple[int, ...]
    bonds: tuple[int, ...]


@dataclass(frozen=True)
class Known:
    """The state of knowledge on one net; positions are islands and bonds of a ``RiskGraph``.

    Attributes:
        proven: Bonds that certainly hold.
        broken: Bonds that are certainly open.
        settled: Bonds of clusters whose terminals are all apart: open somewhere, no probe can tell closer.
        opens: Those clusters.
        group: Representative of each island's group: islands known to hang together.
        apart: Pairs of groups known not to hang together, smaller first.
        torn: Open readings between islands of one group: something reads open that others prove whole.
        odd: Good readings between islands that no copper joins, as far as the files and readings tell.
    """

    proven: frozenset[int] = frozenset()
    broken: frozenset[int] = frozenset()
    settled: frozenset[int] = frozenset()
    opens: tuple[Cluster, ...] = ()
    group: tuple[int, ...] = ()
    apart: frozenset[Pair] = frozenset()
    torn: tuple[Pair, ...] = ()
    odd: tuple[Pair, ...] = ()

    def same(self, a: int, b: int) -> bool:
        """Whether two islands are known to hang together."""
        return self.group[a] == self.group[b]

    def are_apart(self, a: int, b: int) -> bool:
        """Whether two islands are known not to hang together, by a reading between their groups."""
        return _pair(self.group[a], self.group[b]) in self.apart


def learn(
    graph: RiskGraph, good: Sequence[Pair], opened: Sequence[Pair], before: Known | None = None
) -> Known:
    """Everything that follows from readings between islands.

    Args:
        graph: Islands and bonds.
        good: Pairs of islands that read as connected.
        opened: Pairs that read open.
        before: Earlier knowledge; what it says of bonds stays true.
    """
    known = before or Known()
    while True:
        proven, odd = _proven(graph, good, known)
        known = replace(known, proven=proven, odd=tuple(odd), group=_groups(graph, proven, good))
        apart = frozenset(_pair(known.group[a], known.group[b]) for a, b in opened if not known.same(a, b))
        known = replace(known, apart=apart, torn=tuple(pair for pair in opened if known.same(*pair)))
        dead = [c for c in clusters(graph, known) if len(c.terminals) > 1 and not unknown_pairs(known, c)]
        if not dead:
            return known
        known = replace(
            known,
            broken=known.broken | {cluster.bonds[0] for cluster in dead if len(cluster.bonds) == 1},
            settled=known.settled | {bond for cluster in dead for bond in cluster.bonds},
            opens=(*known.opens, *dead),
        )


def clusters(graph: RiskGraph, known: Known) -> list[Cluster]:
    """Undecided bonds between different groups, gathered where groups without a point lie between them."""
    pointed = {known.group[i] for i, probeable in enumerate(graph.probeable) if probeable}
    live = live_bonds(graph, known)
    slot = {bond: i for i, bond in enumerate(live)}
    joined = Groups(len(live))
    meeting: dict[int, int] = {}
    for bond in live:
        for island in graph.bonds[bond]:
            group = known.group[island]
            if group not in pointed:
                joined.join(meeting.setdefault(group, slot[bond]), slot[bond])
    members: dict[int, list[int]] = {}
    for bond in live:
        members.setdefault(joined.root(slot[bond]), []).append(bond)
    return [_cluster(graph, known, pointed, bonds) for bonds in members.values()]


def live_bonds(graph: RiskGraph, known: Known) -> list[int]:
    """Bonds between different groups that may join them: not settled by what readings told."""
    return [i for i, (a, b) in enumerate(graph.bonds) if i not in known.settled and not known.same(a, b)]


def unknown_pairs(known: Known, cluster: Cluster) -> list[Pair]:
    """Pairs of a cluster's terminals of which it is not known whether they hang together."""
    ends = cluster.terminals
    return [
        (a, b)
        for i, a in enumerate(ends)
        for b in ends[i + 1 :]
        if not (known.are_apart(a, b) or known.same(a, b))
    ]


def _cluster(graph: RiskGraph, known: Known, pointed: set[int], bonds: Sequence[int]) -> Cluster:
    terminals: dict[int, int] = {}
    for bond in bonds:
        for island in graph.bonds[bond]:
            if known.group[island] in pointed:
                terminals.setdefault(known.group[island], island)
    return Cluster(tuple(terminals.values()), tuple(bonds))


def _proven(graph: RiskGraph, good: Iterable[Pair], known: Known) -> tuple[frozenset[int], list[Pair]]:
    """Bonds that good readings prove on the copper that may still hold, and readings that nothing explains."""
    live = [i for i in range(len(graph.bonds)) if i not in known.broken]
    joined = Groups(len(graph.probeable))
    for bond in known.proven:
        joined.join(*graph.bonds[bond])
    forest = bridge_forest(
        len(graph.probeable), [(joined.root(graph.bonds[i][0]), joined.root(graph.bonds[i][1])) for i in live]
    )
    proven, unexplained = set(known.proven), []
    for a, b in good:
        passed = forest.bridges_between(joined.root(a), joined.root(b))
        if passed is None:
            unexplained.append((a, b))
        else:
            proven.update(live[edge] for edge in passed)
    return frozenset(proven), unexplained


def _groups(graph: RiskGraph, proven: Iterable[int], good: Iterable[Pair]) -> tuple[int, ...]:
    joined = Groups(len(graph.probeable))
    for a, b in (*(graph.bonds[bond] for bond in proven), *good):
        joined.join(a, b)
    return tuple(joined.labels())


def _pair(a: int, b: int) -> Pair:
    return (a, b) if a < b else (b, a)
