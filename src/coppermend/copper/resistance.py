"""What copper and leads add to a reading, and up to where a reading counts as sound copper. No graph.

Figures are for 20 °C; a bench is near enough.
"""

from __future__ import annotations

# International annealed copper standard, 100 % IACS (NBS Handbook 100): 0.017241 Ω·mm²/m at 20 °C.
COPPER_OHM_MM = 1.7241e-5
COPPER_UM = 35.0  # 1 oz/ft² as the industry rounds it (common practice, no source)
LEADS_OHM = 0.2  # two leads and two contacts, not nulled: 0.1 to 0.3 Ω (common practice, no source)
MARGIN_OHM = 1.0  # more than this above the expected reading is suspect (common practice, no source)
SHORT_OHM = 5.0  # copper or solder with leads and contacts reads less (common practice, no source)
UNSEEN_WIDTH_MM = 0.3  # our guess for copper that the board's files do not show
WIRE_OHM_PER_M = 0.3385  # AWG 30 wrapping wire, 0.2546 mm (diameter by ASTM B258), from the resistivity above


def track_resistance_ohm(length_mm: float, width_mm: float, copper_um: float = COPPER_UM) -> float:
    """Resistance of a straight track at 20 °C.

    Args:
        length_mm: Distance along the track [mm].
        width_mm: Finished width [mm], greater than zero.
        copper_um: Finished thickness [µm], greater than zero.

    Returns:
        End-to-end resistance [Ω].

    Raises:
        ValueError: If width or thickness is not positive.

    Reference: R = ρ L / (w t) with ρ of 100 % IACS copper, NBS Handbook 100.

    >>> round(track_resistance_ohm(100, 0.5), 5)
    0.09852
    """
    if width_mm <= 0 or copper_um <= 0:
        raise ValueError(f"a track must have copper: {width_mm} mm x {copper_um} µm")
    return COPPER_OHM_MM * length_mm / (width_mm * copper_um / 1000)


def limit_ohm(expect_ohm: float) -> float:
    """The highest reading [Ω] that still counts as sound copper where ``expect_ohm`` is expected [Ω].

    A reading above it counts as open even when the meter shows a value: parts in circuit conduct too.
    """
    return expect_ohm + MARGIN_OHM


def short_limit_ohm(expect_ohm: float | None) -> float:
    """The highest reading [Ω] between two nets that counts as a short where ``expect_ohm`` is expected, None for OL.

    Half of what the parts read, where they read little.

    >>> short_limit_ohm(None), short_limit_ohm(4700.2), short_limit_ohm(4.7)
    (5.0, 5.0, 2.35)
    """
    return SHORT_OHM if expect_ohm is None else min(SHORT_OHM, expect_ohm / 2)
