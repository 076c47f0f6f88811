"""The usual cautions, each with its source, and the steps at which they are shown. No wording of pages.

They remind a trained technician at the step where they matter; they defer to local codes and to licensed
practice and never replace them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from coppermend.errors import UnknownName

PRACTICE = "common practice, no source"
# IEC 62368-1, energy source class ES1 (from memory): above these a voltage is treated as hazardous.
HAZARDOUS_VOLTS_RMS, HAZARDOUS_VOLTS_PEAK, HAZARDOUS_VOLTS_DC = 30.0, 42.4, 60.0


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: a stable ``code``, one or two sentences, and where they come from."""

    code: str
    text: str
    source: str

    def __str__(self) -> str:
        return self.text

    def to_json(self) -> dict[str, str]:
        """``code``, ``text``, ``source``."""
        return {"code": self.code, "text": self.text, "source": self.source}


_ALL = (
    Caution(
        "residue",
        "Leaked electrolyte of nickel-cadmium and alkaline cells is caustic (potassium hydroxide) and burns eyes "
        "and skin: wear goggles and gloves.",
        "published repair articles on leaked cells; eye protection: common practice, no source",
    ),
    Caution(
        "neutralise",
        "Neutralise alkaline residue with a mild acid, rinse well with deionised water, displace with alcohol, "
        "dry; bicarbonate is wrong here.",
        "published repair articles, reported practice; no standard",
    ),
    Caution(
        "dust",
        "Corrosion and glass-epoxy dust: abrade wet, wear a respirator, vacuum with a HEPA filter, never blow.",
        PRACTICE,
    ),
    Caution(
        "lead",
        "Tin-lead solder and its corroded salts are toxic: gloves, wash hands, no food or drink at the bench.",
        "OSHA 29 CFR 1910.1025 (from memory)",
    ),
    Caution("iron", "The iron and fresh joints burn; mind the cord, and let joints cool.", PRACTICE),
    Caution(
        "fumes",
        "Rosin flux fume is a respiratory sensitiser: extract it at the source.",
        "HSE leaflet INDG249 (from memory)",
    ),
    Caution(
        "static",
        "MOS parts are damaged by static: wrist strap, earthed mat, conductive foam.",
        "IEC 61340-5-1 (from memory)",
    ),
    Caution(
        "stored charge",
        "Capacitors hold charge after power-off: discharge through a resistor, then measure before touching.",
        "energy is ½CV²; measuring afterwards: common practice, no source",
    ),
    Caution(
        "display supply",
        "Display supplies of tens to hundreds of volts stay charged: one hand, rated probes, never plug while "
        "live, no bench supply into them.",
        "above 60 V dc hazardous: IEC 62368-1 ES1 (from memory); handling: common practice, no source",
    ),
    Caution(
        "mains",
        "Mains in the cabinet: unplug before working inside; for tests isolating transformer and current limit, "
        "earth verified. A residual-current device does not act behind an isolating transformer. Follow local "
        "codes and leave mains work to licensed practice.",
        PRACTICE,
    ),
    Caution(
        "solenoid",
        "A stuck driver burns a coil in seconds: fuse the rail, check the flyback diode first, keep pulses short.",
        PRACTICE,
    ),
    Caution(
        "moving parts",
        "Solenoids and motors move without warning: keep hands clear of the mechanism.",
        PRACTICE,
    ),
    Caution(
        "primary cell",
        "Never charge a primary lithium cell: remove the charge path before one is fitted.",
        "cell makers' application notes for UL recognition: blocking diode and current-limiting resistor",
    ),
    Caution(
        "battery",
        "Take the battery off first: it feeds the board while it is worked on and goes on leaking. Recycle it.",
        PRACTICE,
    ),
    Caution(
        "polarity",
        "Electrolytics, supercapacitors and tantalums fitted the wrong way round vent or burn: check twice.",
        PRACTICE,
    ),
    Caution(
        "heat",
        "Bake a loaded board at 70 °C at most, with no cell, supercapacitor, display or label fitted.",
        PRACTICE,
    ),
)
BY_CODE = {caution.code: caution for caution in _ALL}

DEFERENCE = "Follow local codes; leave mains and high-voltage work to licensed practice."

# What is shown at a step. Stages of the job come first, then finer steps within them.
_STEPS: dict[str, tuple[str, ...]] = {
    "receive": ("residue",),
    "inspect": ("residue", "stored charge"),
    "isolate": ("stored charge", "display supply", "mains"),
    "plan": ("primary cell",),
    "strip": ("battery", "residue", "dust", "lead", "iron", "fumes", "static"),
    "copper": ("residue", "neutralise", "dust"),
    "refit": ("polarity", "iron", "fumes", "lead", "static", "primary cell"),
    "prove": ("stored charge", "display supply", "solenoid", "moving parts", "mains"),
    "return": ("mains",),
    "clean": ("residue", "neutralise", "dust", "heat"),
    "solder": ("iron", "fumes", "lead"),
    "battery": ("battery", "residue"),
    "bench power": ("stored charge",),
    "machine power": ("mains", "display supply"),
    "solenoid test": ("solenoid", "moving parts", "mains"),
    "display test": ("display supply", "mains"),
}
STEPS = tuple(_STEPS)


def cautions_for(step: str) -> tuple[Caution, ...]:
    """The cautions of a step, most pressing first.

    Args:
        step: A stage of the job ("strip") or a finer step ("solenoid test"); see ``STEPS``.

    Raises:
        UnknownName: If there is no such step.
    """
    try:
        return cautions_called(*_STEPS[step])
    except KeyError:
        raise UnknownName("step", step, hint=f"one of {', '.join(STEPS)}") from None


def cautions_called(*codes: str) -> tuple[Caution, ...]:
    """The cautions with these codes, in the order given.

    Raises:
        KeyError: If a code does not exist, which is a mistake in the program.
    """
    return tuple(BY_CODE[code] for code in codes)


def merged(*groups: Iterable[Caution]) -> tuple[Caution, ...]:
    """Several groups as one, each caution once, at its first place."""
    return tuple(dict.fromkeys(caution for group in groups for caution in group))
