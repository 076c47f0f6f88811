"""Resistances of rails to ground as recorded, whether as readings between points or as evidence. No verdict."""

from __future__ import annotations

from collections.abc import Callable, Collection

from coppermend.job.state import EvidenceLine, JobState
from coppermend.proving.powerup import SHORT_OHM
from coppermend.proving.supply import resistance_id


def rails_ohm(
    rails: Collection[str], grounds: Collection[str], net_of_point: Callable[[str], str], state: JobState
) -> dict[str, float | None]:
    """The last recorded resistance of each rail to ground [Ω]; None for open. Rails without one are left out.

    A reading between any point of the rail and any point of a ground counts, and so does the ``ohms`` value of
    evidence for the rail's resistance proof. A failed proof without a short to show for it takes earlier
    readings back.
    """
    noted: list[tuple[int, str, float | None, bool]] = []
    for line in state.readings:
        nets = {net_of_point(line.a), net_of_point(line.b)}
        noted += [(line.seq, rail, line.ohms, True) for rail in nets & set(rails) if nets & set(grounds)]
    for rail in rails:
        if line_ := state.evidence.get(resistance_id(rail)):
            known, ohm = _measured(line_)
            short = ohm is not None and ohm < SHORT_OHM
            if known or not line_.passed:
                noted.append((line_.seq, rail, ohm, line_.passed or short))
    found: dict[str, float | None] = {}
    for _, rail, ohm, counts in sorted(noted, key=lambda note: note[0]):
        if counts:
            found[rail] = ohm
        else:
            found.pop(rail, None)
    return found


def _measured(line: EvidenceLine) -> tuple[bool, float | None]:
    """Whether the evidence carries a resistance, and which."""
    ohms = line.values.get("ohms")
    if isinstance(ohms, (int, float)) and not isinstance(ohms, bool):
        return True, float(ohms)
    return ohms == "OL", None
