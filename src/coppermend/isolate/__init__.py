"""Isolating a fault: suspects from the circuit and all readings so far, and the most telling next measurement."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from coppermend.isolate.isolation import Isolation

__all__ = ["Isolation"]


def __getattr__(name: str) -> object:
    """``Isolation`` on first use, so that importing a sibling module does not load everything."""
    if name == "Isolation":
        from coppermend.isolate.isolation import Isolation  # noqa: PLC0415

        return Isolation
    raise AttributeError(name)
