"""What can be repaired, numbered, and where: the units of a list of faults and their sites. No weights."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

from coppermend.isolate.faults import Fault, Unit


class Units:
    """The units of a list of faults, numbered, with the faults of each."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        of_fault = [fault.unit for fault in faults]
        self.units: tuple[Unit, ...] = tuple(dict.fromkeys(of_fault))
        self.number = {unit: i for i, unit in enumerate(self.units)}
        self.of_fault: list[int] = [self.number[unit] for unit in of_fault]

    @cached_property
    def sites(self) -> list[Unit]:
        """Where one repairs: a part and its socket are one site, since taking the part out tries both."""
        made = [Unit("part", u.name) if u.kind == "socket" else u for u in self.units]
        return list(dict.fromkeys(made))

    @cached_property
    def site_of_unit(self) -> list[int]:
        """The number of each unit's site."""
        number = {site: k for k, site in enumerate(self.sites)}
        return [number[Unit("part", u.name) if u.kind == "socket" else u] for u in self.units]
