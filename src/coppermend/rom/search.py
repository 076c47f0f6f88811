"""Searches the causes of a difference between two images of equal size; numpy over whole images, no byte loops.

All data-line faults at once: a fault on data lines is a table of 256 bytes, so its misfit follows from the joint
histogram of (byte in the device, byte read) without another look at the images. Address faults are ranked on a
sample that holds the differing addresses first, then the best are measured exactly.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from itertools import combinations

import numpy as np
import numpy.typing as npt

from coppermend.rom.faults import (
    Addresses,
    Bytes,
    Fault,
    addresses_seen,
    bytes_seen,
    line_faults,
)

Faults = tuple[Fault, ...]
_SAMPLE = 768  # differing and random addresses each
_PART = 96  # of them, for the first look at pairs of address faults
_LIKELY = 400  # pairs that are looked at on the whole sample
_KEEP = 10  # address faults that are measured exactly
_BETTER = 0.95  # a fault that leaves more of the difference than this is not worth an exact measurement
_BEAM = 14  # address faults that second ones are tried on
_OFFSETS = 4  # distances that are tried
_BITS = ((np.arange(256)[:, None] >> np.arange(8)) & 1).astype(np.int64)  # (byte, line)


@lru_cache(maxsize=1)
def _data_singles() -> tuple[tuple[Faults, ...], Bytes]:
    faults = line_faults("data", 8)
    return tuple((fault,) for fault in faults), np.stack([bytes_seen(fault) for fault in faults])


@lru_cache(maxsize=1)
def _data_pairs() -> tuple[tuple[Faults, ...], Bytes]:
    """Every two data faults; where the order matters, the first listed acts first."""
    singles, tables = _data_singles()
    names, made, seen = [], [], set()
    for i, j in combinations(range(len(singles)), 2):
        for first, second in ((i, j), (j, i)):
            table = tables[second][tables[first]]
            if table.tobytes() not in seen:
                seen.add(table.tobytes())
                names.append((*singles[first], *singles[second]))
                made.append(table)
    return tuple(names), np.stack(made)


class Search:
    """Candidate causes for ``dump`` being what is read of a device that holds ``reference``.

    Both are uint8 arrays of one size. Address faults are searched only when the size is a power of two.
    ``found`` maps each measured combination of faults to the count of bits it leaves wrong.
    """

    def __init__(self, reference: Bytes, dump: Bytes, explained: int) -> None:
        self.reference, self.dump, self.explained = reference, dump, explained
        self.size = reference.size
        whole = self.size & (self.size - 1) == 0
        self.address_lines = self.size.bit_length() - 1 if whole else 0
        self.found: dict[Faults, int] = {}
        self.noise: dict[Faults, tuple[int, int]] = {}  # faults -> (bits wrong, bits that are a coin's toss)
        self._all = np.arange(self.size, dtype=np.int32)
        self._sample, self._weight = self._draw_sample()
        self.histogram = self._histogram(reference)

    def _draw_sample(self) -> tuple[Addresses, npt.NDArray[np.float32]]:
        rng = np.random.default_rng(1)
        differing = np.flatnonzero(self.reference != self.dump).astype(np.int32)
        same = np.flatnonzero(self.reference == self.dump).astype(np.int32)
        picked = [
            where if where.size <= _SAMPLE else rng.choice(where, _SAMPLE, replace=False)
            for where in (differing, same)
        ]
        weights = [
            np.full(p.size, w.size / max(p.size, 1), np.float32)
            for p, w in zip(picked, (differing, same), strict=True)
        ]
        return np.concatenate(picked), np.concatenate(weights)

    def _histogram(self, seen: Bytes) -> npt.NDArray[np.int64]:
        return np.bincount(
            seen.astype(np.int32) << 8 | self.dump, minlength=65536
        ).reshape(256, 256)  # fmt: skip

    def _measure(self, seen: Bytes) -> int:
        return int(np.bitwise_count(seen ^ self.dump).sum(dtype=np.int64))

    # Faults on data lines ------------------------------------------------------------------------

    def _misfits(self, histogram: npt.NDArray[np.int64], tables: Bytes) -> npt.NDArray[np.int64]:
        """Bits that each table leaves wrong: row r of the cost matrix says what reading v for r would cost."""
        # Whole numbers throughout: exact, and no waiting for threads of a linear-algebra library.
        ones = histogram @ _BITS
        zeros = histogram.sum(axis=1, keepdims=True) - ones
        cost = ones @ (1 - _BITS.T) + zeros @ _BITS.T
        return np.asarray(cost[np.arange(256), tables].sum(axis=1), dtype=np.int64)

    def try_data(self, before: Faults, histogram: npt.NDArray[np.int64], *, keep: int = 12) -> None:
        """Measure all single data faults behind the address faults ``before``."""
        self._keep_best(before, _data_singles(), histogram, keep)
        if not before and (order := self._order(histogram)):
            self.found[(order,)] = int(self._misfits(histogram, bytes_seen(order)[None])[0])

    def try_data_pairs(self) -> None:
        """Measure every two data faults."""
        self._keep_best((), _data_pairs(), self.histogram, 12)

    def _keep_best(
        self,
        before: Faults,
        choices: tuple[tuple[Faults, ...], Bytes],
        histogram: npt.NDArray[np.int64],
        keep: int,
    ) -> None:
        names, tables = choices
        misfits = self._misfits(histogram, tables)
        for at in np.argsort(misfits, kind="stable")[:keep]:
            self.found[(*before, *names[at])] = int(misfits[at])

    def _order(self, histogram: npt.NDArray[np.int64]) -> Fault | None:
        """The order of data lines that fits best, when each line has a source of its own and it is no mere swap."""
        agree = _BITS.T @ histogram @ _BITS + (1 - _BITS).T @ histogram @ (1 - _BITS)  # (source, read)
        sources = tuple(int(n) for n in agree.argmax(axis=0))
        moved = sum(line != source for line, source in enumerate(sources))
        return Fault("data-order", sources) if len(set(sources)) == 8 and moved > 2 else None

    def try_noise_on_data(self) -> None:
        """Measure each data line being noise: its bits are a coin's toss, the others must fit."""
        ones_of_both = _BITS.T @ self.histogram @ _BITS
        per_line = (_BITS.T @ self.histogram.sum(axis=1)) + (_BITS.T @ self.histogram.sum(axis=0))
        per_line -= 2 * np.diagonal(ones_of_both)
        for line in range(8):
            rest = int(per_line.sum() - per_line[line])
            self.noise[(Fault("data-open", (line,)),)] = (rest, self.size)

    # Faults on address lines ---------------------------------------------------------------------

    def try_addresses(self) -> list[Faults]:
        """Measure the likeliest single address faults, alone and with each data fault; returns the beam."""
        singles: list[Faults] = [(fault,) for fault in line_faults("address", self.address_lines)]
        ranked = self._ranked(singles)
        best = ranked[0][1] if ranked else 0.0
        for place, (faults, expected) in enumerate(ranked[:_KEEP]):
            if self._enough(expected, best) or (place > 1 and expected > _BETTER * self.found[()]):
                break
            self._exactly(faults)
        return [faults for faults, _ in ranked[:_BEAM]]

    def _enough(self, expected: float, best: float) -> bool:
        """Whether one cause explains all, and the next is not about as good."""
        return min(self.found.values()) <= self.explained and expected > 2 * best + self.explained

    def try_address_pairs(self, beam: Iterable[Faults]) -> None:
        """Measure the likeliest pairs of address faults that hold one of ``beam``."""
        ranked = self._ranked(self._likely_pairs(list(beam)))
        for faults, expected in ranked[:_KEEP]:
            if self._enough(expected, ranked[0][1]):
                break
            self.found[faults] = self._measure(self.reference[self._seen(faults, self._all)])

    def _likely_pairs(self, beam: list[Faults]) -> list[Faults]:
        """The pairs with one of ``beam`` that fit best on a part of the sample; all at once, as there are thousands."""
        others = line_faults("address", self.address_lines)
        part, share = self._part_of_sample()
        addresses, weight = self._sample[part], self._weight[part] * share
        expected = self.dump[addresses]

        def misfit(seen: Addresses) -> npt.NDArray[np.float32]:
            return np.asarray(np.bitwise_count(self.reference[seen] ^ expected) @ weight, dtype=np.float32)

        firsts = np.stack([self._seen(faults, addresses) for faults in beam])
        after = np.stack([misfit(addresses_seen(other, firsts, self.size)) for other in others], axis=1)
        starts = np.stack([addresses_seen(other, addresses, self.size) for other in others])
        before = np.stack([misfit(self._seen(faults, starts)) for faults in beam])
        scores = np.stack((after, before), axis=2).reshape(-1)  # by beam, other, order
        best = np.argsort(scores, kind="stable")[: 2 * _LIKELY]
        pairs: dict[Faults, None] = {}
        for at in best.tolist():
            faults, other, late = beam[at // 2 // len(others)], others[at // 2 % len(others)], at % 2
            orders = _orders(faults, other)
            if (other,) != faults:
                pairs[orders[min(late, len(orders) - 1)]] = None
        return list(pairs)[:_LIKELY]

    def _part_of_sample(self) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.float32]]:
        """Places of some differing and some other addresses of the sample, and how many of it each stands for."""
        differing = self.reference[self._sample] != self.dump[self._sample]
        kinds = [np.flatnonzero(kind) for kind in (differing, ~differing)]
        parts = [kind[:: max(kind.size // _PART, 1)] for kind in kinds]
        shares = [
            np.full(part.size, kind.size / max(part.size, 1), np.float32)
            for kind, part in zip(kinds, parts, strict=True)
        ]
        return np.concatenate(parts), np.concatenate(shares)

    def _exactly(self, faults: Faults) -> None:
        seen = self.reference[self._seen(faults, self._all)]
        self.found[faults] = self._measure(seen)
        if self.found[faults] > self.explained:
            self.try_data(faults, self._histogram(seen), keep=4)

    def _seen(self, faults: Faults, addresses: Addresses) -> Addresses:
        for fault in faults:
            addresses = addresses_seen(fault, addresses, self.size)
        return addresses

    def _ranked(self, choices: list[Faults]) -> list[tuple[Faults, float]]:
        """Choices with the misfit [bits] that the sample lets expect, best first."""
        first: dict[Fault, Addresses] = {}
        expected = self.dump[self._sample]
        scores = np.empty(len(choices), np.float32)
        for row, faults in enumerate(choices):
            start = first.get(faults[0])
            if start is None:
                start = first[faults[0]] = addresses_seen(faults[0], self._sample, self.size)
            seen = self.reference[self._seen(faults[1:], start)]
            scores[row] = np.bitwise_count(seen ^ expected) @ self._weight
        return [(choices[at], float(scores[at])) for at in np.argsort(scores, kind="stable")]

    def try_noise_on_addresses(self) -> None:
        """Measure each address line floating: a byte may be that of either level."""
        differs = np.bitwise_count(self.reference ^ self.dump)
        for line in range(self.address_lines):
            halves = self.reference.reshape(-1, 2, 1 << line)
            other = np.ascontiguousarray(halves[:, ::-1, :]).reshape(-1)
            tossed = int(np.count_nonzero(other != self.reference))
            wrong = int(np.minimum(differs, np.bitwise_count(other ^ self.dump)).sum(dtype=np.int64))
            self.noise[(Fault("address-open", (line,)),)] = (wrong, tossed)

    # Whole regions and offsets -------------------------------------------------------------------

    def try_regions(self) -> None:
        """Measure each half of the addresses, by the level of one line, reading as idle bytes."""
        wrong = np.bitwise_count(self.reference ^ self.dump)
        ones = np.bitwise_count(self.dump)
        for line in range(self.address_lines):
            # Line by line the arrays are folded to their half, so all lines together cost two passes.
            by_level = [int(wrong[level::2].sum(dtype=np.int64)) for level in (0, 1)]
            idle_low = [int(ones[level::2].sum(dtype=np.int64)) for level in (0, 1)]
            for level in (0, 1):
                idle = min(idle_low[level], 4 * self.size - idle_low[level])
                self.found[(Fault("region", (line,), level),)] = idle + by_level[1 - level]
            wrong = np.add(wrong[::2], wrong[1::2], dtype=np.int32)
            ones = np.add(ones[::2], ones[1::2], dtype=np.int32)

    def try_offsets(self) -> list[Faults]:
        """Measure the likeliest shifts, alone and with each data fault; returns them."""
        offsets: list[Faults] = [(fault,) for fault in self._offsets()]
        for faults in offsets:
            self._exactly(faults)
            if self.found[faults] <= self.explained:
                break
        return offsets

    def _offsets(self) -> list[Fault]:
        """Distances by which the dump may be shifted, by phase correlation; likeliest first.

        What is correlated is the count of ones in a byte, which swapped data lines do not change and stuck or
        shorted ones change little. Source: Kuglin and Hines, "The phase correlation image alignment method",
        1975.
        """
        ones = [np.bitwise_count(image).astype(np.float32) for image in (self.reference, self.dump)]
        there, here = (np.fft.rfft(counts - counts.mean()) for counts in ones)
        cross = there * here.conj()
        peaks = np.fft.irfft(cross / np.maximum(np.abs(cross), 1e-6), self.size)
        keep = min(_OFFSETS, self.size)
        best = np.argpartition(peaks, -keep)[-keep:]
        ordered = best[np.argsort(-peaks[best], kind="stable")]
        return [Fault("offset", (), int(distance)) for distance in ordered if distance]


def _orders(faults: Faults, other: Fault) -> tuple[Faults, ...]:
    """Both orders of two faults, or one where the order makes no difference."""
    lines = {line for fault in faults for line in fault.lines}
    apart = lines and not lines & set(other.lines)
    return ((*faults, other),) if apart else ((*faults, other), (other, *faults))


def search(reference: Bytes, dump: Bytes, explained: int) -> Search:
    """All that is worth weighing; two faults at once only when one leaves more than ``explained`` bits wrong."""
    work = Search(reference, dump, explained)
    work.found[()] = work._measure(reference)
    work.try_data((), work.histogram)
    work.try_noise_on_data()
    if min(work.found.values()) <= explained:
        return work
    work.try_regions()
    beam = work.try_addresses()
    if min(work.found.values()) > explained:
        beam = [*work.try_offsets(), *beam]
    if min(work.found.values()) > explained:
        work.try_noise_on_addresses()
        work.try_data_pairs()
        work.try_address_pairs(beam)
    return work
