"""What a complaint says, word by word: which roles of nets it accuses or clears. No nets, no faults."""

from __future__ import annotations

import re
from dataclasses import dataclass

from coppermend.errors import InputError

# Words of a complaint -> roles of the nets that misbehave; "boot" is the CPU and all it needs to run.
_WORDS: dict[str, tuple[str, ...]] = {
    "boot": ("boot",), "boots": ("boot",), "start": ("boot",), "starts": ("boot",), "dead": ("boot",),
    "lamp": ("lamp",), "lamps": ("lamp",), "light": ("lamp",), "lights": ("lamp",),
    "solenoid": ("solenoid",), "solenoids": ("solenoid",), "coil": ("solenoid",), "coils": ("solenoid",),
    "display": ("display",), "displays": ("display",), "digit": ("display",), "segment": ("display",),
    "switch": ("switch", "strobe", "return"), "switches": ("switch", "strobe", "return"),
    "matrix": ("strobe", "return"), "strobe": ("strobe",), "return": ("return",),
    "sound": ("sound",), "option": ("option",), "options": ("option",),
    "clock": ("clock",), "reset": ("reset",), "resets": ("reset",), "interrupt": ("interrupt",),
    "memory": ("data",), "settings": ("data",), "forgets": ("data",),
    "output": ("",), "function": ("",), "wrong": ("",), "bad": ("",), "fails": ("",), "failed": ("",),
}  # fmt: skip
_CLEARED = frozenset({"works", "work", "ok", "fine", "good"})
_BOOT_SOUND = frozenset({"boots", "starts"})
_DENIED = re.compile(r"(?:n't|\bnot\b|\bno\b|\bnever\b|\bwon\W?t\b|\bdoes\W?n\W?t\b|\bfails?\b)")
SYMPTOM_WORDS: tuple[str, ...] = tuple(sorted(_WORDS))


@dataclass(frozen=True, slots=True)
class Symptom:
    """Roles that a complaint is about, and whether they misbehave (True) or are said to work."""

    roles: frozenset[str]
    bad: bool


def read_symptom(text: str) -> Symptom:
    """What a complaint in words says.

    Args:
        text: Such as "no boot", "won't boot", "lamp", "display dead", "switches work", "resets".

    Raises:
        InputError: If no word of it is known.

    >>> read_symptom("it won't boot").bad, read_symptom("lamps work").bad
    (True, False)
    """
    lower = text.lower()
    words = re.findall(r"[a-z]+", lower)
    found = [word for word in words if word in _WORDS]
    if not found and set(words) & _CLEARED:
        return Symptom(frozenset({""}), bad=bool(_DENIED.search(lower)))
    if not found:
        raise InputError(
            f"symptom {text!r:.60} says nothing that is known",
            expected=f"one of the words {', '.join(SYMPTOM_WORDS)}, perhaps with works",
        )
    roles = frozenset(role for word in found for role in _WORDS[word])
    if len(roles) > 1 and "boot" in roles and "dead" in words:
        roles -= {"boot"}  # "display dead" is about the display
    denied = bool(_DENIED.search(lower))
    sound = bool(set(words) & _CLEARED) or set(found) <= _BOOT_SOUND
    return Symptom(roles, bad=denied or not sound)
