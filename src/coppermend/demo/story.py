"""What happens in the sample job, in words and figures. All of it is invented."""

from __future__ import annotations

from typing import Any

SHOP = "Fen Lane Board Works"
WHO = "R. Tansy"
HEADER = {
    "customer": "O. Penhallow",
    "contact": "o.penhallow@example.org",
    "machine": "Saltmarsh Ramble",
    "serial": "SR-00231",
    "marks": "white paint dot beside the battery",
    "complaint": "It will not boot: lamps glow dimly, displays stay dark, coils are quiet.",
    "condition": "Battery swollen and leaking, green crust down the left edge, one corner bent.",
}
ARRIVAL_NOTE = "Came in a padded box; edge connector clean; no earlier tag on it."

# Where the leak went: heavy at the battery, moderate through the reset section, light over the switch returns.
_ZONES: tuple[tuple[float, tuple[tuple[float, float], ...]], ...] = (
    (0.80, ((8, 206), (44, 206), (62, 196), (64, 176), (50, 171), (12, 172), (6, 186))),
    (0.55, ((12, 172), (50, 171), (54, 156), (46, 143), (24, 140), (11, 150))),
    (0.30, ((8, 140), (24, 140), (30, 131), (26, 114), (12, 108), (6, 118))),
)


def damage_area() -> dict[str, Any]:
    """The damaged area as a GeoJSON FeatureCollection in board mm."""
    return {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"severity": severity},
                "geometry": {
                    "type": "Polygon",
                    "coordinates": [[list(map(float, p)) for p in (*ring, ring[0])]],
                },
            }
            for severity, ring in _ZONES
        ],
    }


# Nets whose copper the leak has eaten through, and where.
EATEN_NETS = ("VRAM", "RES_N", "RETURN2")
EATEN_AT_MM = (34.0, 172.0)

REMEDIES = ("supercapacitor-BT1", "reset-supervisor", "supply-capacitors", "turned-pin-sockets")

FINDINGS = (
    "Before any work: +5 V present at J1, reset line stays at 0.4 V; the CPU never starts.",
    "VRAM reads open towards the memory sockets.",
)
CLEANING = (
    "Abraded wet under extraction, neutralised with dilute vinegar, rinsed with deionised water until neutral, "
    "displaced with isopropanol, dried at 60 °C for three hours; solder mask touched up afterwards."
)
# One proof fails at first, so that the sample shows how a failure is kept and cured.
FIRST_FAILURE = "closure:"
FIRST_FAILURE_NOTE = "No response: dry joint at RN1, resoldered."
# Every rail to ground before power: well away from a short.
RAIL_OHM = 180.0
