"""What a proof costs at the bench: minutes, rigs to set up, and how much its weakness leaves in doubt. No choice.

All figures are estimates of attended time (common practice, no source); waiting overnight costs nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from coppermend.proving.records import Proof

RIG_MINUTES: Mapping[str, float] = {"bench": 5.0, "scope": 4.0, "test program": 6.0, "machine": 20.0}
_MINUTES: Mapping[str, float] = {
    "discharge": 2, "resistance": 1, "rail": 4, "ripple": 3, "retention": 15, "clock": 2, "reset": 4, "program": 6,
    "ram": 3, "peripheral": 3, "interrupt": 3, "lamp": 1, "solenoid": 1.5, "sound": 2, "display": 4, "led": 0.5,
    "closure": 1, "option": 2, "switch": 1, "input": 1, "connector": 6, "chip": 6, "value": 2, "contact": 2,
    "attract": 6, "selftest": 3,
}  # fmt: skip
_UNKNOWN_MINUTES = 5.0
_RIGS: Mapping[str, tuple[str, ...]] = {
    "discharge": (), "resistance": (), "value": (), "contact": (), "ripple": ("scope",), "clock": ("scope",), "reset": ("scope",),
    "program": ("scope",), "interrupt": ("scope",), "connector": ("scope",), "chip": ("scope",),
    "ram": ("test program",), "peripheral": ("test program",), "lamp": ("test program",),
    "solenoid": ("test program",), "sound": ("test program",), "display": ("test program",),
    "attract": (), "selftest": (),
    "closure": ("test program",), "option": ("test program",), "input": ("test program",),
}  # fmt: skip
_NO_POWER = frozenset({"discharge", "resistance", "value", "contact"})
# What one touched thing left in doubt is worth: minutes a certain escape would cost, times the chance of it.
DOUBT_MINUTES = 1.0


def kind_of_proof(proof: Proof) -> str:
    """The word before the colon of its id."""
    return proof.id.partition(":")[0]


def minutes(proof: Proof) -> float:
    """Attended minutes that a proof takes once everything is set up [min]."""
    return _MINUTES.get(kind_of_proof(proof), _UNKNOWN_MINUTES)


def rigs(proof: Proof) -> frozenset[str]:
    """What must be set up for a proof."""
    kind = kind_of_proof(proof)
    return frozenset(_RIGS.get(kind, ())) | (frozenset() if kind in _NO_POWER else {proof.setup})


def doubt(proof: Proof, subjects: Collection[object]) -> float:
    """What the weakness of a proof costs when it has to speak for ``subjects`` [min]."""
    return DOUBT_MINUTES * (1 - proof.strength) * len(subjects)


def rig_minutes(names: Iterable[str]) -> float:
    """Time to set up these rigs, each once [min]."""
    return sum(RIG_MINUTES[name] for name in set(names))
