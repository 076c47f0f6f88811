"""Cleaning and protection after a leak, as steps with times and when to stop. Materials by class, never by brand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coppermend.board.cautions import PRACTICE, Caution, cautions_called

_REPAIR = "published repair articles and archive threads, reported practice; no standard"


@dataclass(frozen=True, slots=True)
class CleaningStep:
    """One step: ``how`` to do it, with which class of ``materials``, and the sign to ``stop`` at.

    ``seconds`` is what a timer is set to, None for a step that takes as long as it takes.
    """

    id: str
    title: str
    how: str
    materials: str
    stop: str
    source: str
    seconds: int | None = None
    cautions: tuple[Caution, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """id, title, how, materials, stop, seconds, source, cautions."""
        return {
            "id": self.id, "title": self.title, "how": self.how, "materials": self.materials, "stop": self.stop,
            "seconds": self.seconds, "source": self.source, "cautions": [str(c) for c in self.cautions],
        }  # fmt: skip


STEPS: tuple[CleaningStep, ...] = (
    CleaningStep(
        "protect", "Protect yourself and the bench",
        "Goggles, gloves, respirator; tray under the board, extraction on; batteries and supercapacitors off the board.",
        "nitrile gloves, particle respirator", "Nothing on the board can hold a charge: measured, not assumed.",
        PRACTICE, cautions=cautions_called("residue", "dust", "stored charge"),
    ),
    CleaningStep(
        "loose", "Take loose crust off", "Wet the crust, then lift and vacuum it; never blow, never dry-brush.",
        "deionised water, vacuum with HEPA filter", "No loose powder left.", PRACTICE,
        cautions=cautions_called("dust"),
    ),
    CleaningStep(
        "neutralise", "Neutralise",
        "Dab dilute acid on the leak zone and under where parts were; keep it wet. For an alkaline leak only: "
        "after an acid leak use bicarbonate instead, which is wrong for potassium hydroxide.",
        "dilute acetic acid (household vinegar and water, half and half)",
        "It no longer fizzes, and a pH strip pressed on the wet board reads 7 or less.", _REPAIR, 1200,
        cautions_called("neutralise", "residue"),
    ),
    CleaningStep(
        "rinse", "Rinse", "Flood with water, then with fresh deionised water; catch the last of it.", "deionised water",
        "The water that runs off reads pH 6.5 to 7.5.", PRACTICE, 300,
    ),
    CleaningStep(
        "abrade", "Bare the copper",
        "Abrade wet, along the track, only where mask is lifted or copper is dark.",
        "glass-fibre pen or fine abrasive, kept wet", "Bright copper; stop earlier where a track gets thin.", PRACTICE,
        cautions=cautions_called("dust"),
    ),
    CleaningStep(
        "wash", "Wash", "Scrub the whole zone and both sides, also under sockets that stayed.",
        "isopropyl alcohol, soft brush", "A white cloth stays white.", PRACTICE, 300,
    ),
    CleaningStep(
        "rinse-2", "Rinse again", "Fresh deionised water, then push it out with alcohol.",
        "deionised water, then isopropyl alcohol", "The water that runs off reads pH 6.5 to 7.5.", PRACTICE, 180,
    ),
    CleaningStep(
        "dry", "Dry",
        "Warm air of at most 60 to 70 °C, hours to a day; no lithium cell, supercapacitor, display, label or battery "
        "fitted. Bare boards stand more (105 °C, 8 to 12 h), loaded old ones do not.",
        "oven or warm box with a thermometer", "No damp under parts; insulation between neighbours no longer climbs.",
        f"{PRACTICE}; bare boards: industry panel answers, IPC-1601 owns the subject", 7200,
    ),
    CleaningStep(
        "inspect", "Inspect",
        "Ten times magnification, slanting light, both sides. Green, white or dull spots: back to neutralising.",
        "magnifier",
        "No residue seen. An ionic reading (1.56 µg/cm² sodium chloride equivalent) is process control only: the "
        "limit is declared obsolete.",
        "IPC-WP-019B on IPC-TM-650 2.3.25",
    ),
    CleaningStep(
        "prove", "Prove the copper", "Make the probes of the copper plan, and fit the jumpers, before anything is covered.",
        "meter with nulled leads", "Every net at risk is proven.", PRACTICE,
    ),
    CleaningStep(
        "mask", "Mask", "Cover sockets, connectors, trimmers, switches and test points.", "removable tape or latex mask",
        "Nothing that must make contact is bare to the coat.", "coating guides",
    ),
    CleaningStep(
        "coat", "Coat",
        "One thin coat, 0.03 to 0.13 mm dry; acrylic can be taken off again with solvent. Never over residue.",
        "conformal coating of type AR (acrylic)", "An even film, no bubbles, seen under ultraviolet if it has a tracer.",
        "IPC-CC-830 types; J-STD-001 table of dry film; never over residue: " + PRACTICE, 900,
        cautions_called("fumes"),
    ),
    CleaningStep(
        "cure", "Cure", "Leave it flat and free of dust; the maker's sheet goes before this time.", "none",
        "Dry to the touch, no smell of solvent.", PRACTICE, 86400,
    ),
)  # fmt: skip


def cleaning_steps(*, coat: bool = True) -> tuple[CleaningStep, ...]:
    """The steps in their order; without the coating when ``coat`` is False."""
    return tuple(step for step in STEPS if coat or step.id not in ("mask", "coat", "cure"))
