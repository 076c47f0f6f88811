"""Which straightened photo lies under the drawing of each side of a job's board. Shows nothing."""

from __future__ import annotations

from coppermend.board.model import LAYERS, Layer
from coppermend.web.desk import Job


def photos_under(job: Job) -> dict[Layer, str]:
    """For each side the straightened photo (its SHA-256) of the last damage that was found in a photo and still counts."""
    kept = [e.body for e in job.entries if e.kind == "damage" and e.seq not in job.state.voided]
    return {
        side: str(b["straight"])
        for b in kept
        if b.get("straight")
        for side in LAYERS
        if b.get("side") == side
    }
