"""What a backup or an export says of itself: the manifest with the digest of every member. Knows no files."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from coppermend.errors import InputError
from coppermend.job.attachments import sha256_of
from coppermend.job.migrate import REVISIONS

FORMAT, FORMAT_VERSION = "coppermend record", 1
MANIFEST = "manifest.json"


@dataclass(frozen=True, slots=True)
class Kept:
    """What a backup or an export holds; ``digest`` is the same for equal records, wherever they are kept."""

    digest: str
    jobs: int
    entries: int
    attachments: int

    def to_json(self) -> dict[str, Any]:
        """The fields by name."""
        return {
            "digest": self.digest, "jobs": self.jobs, "entries": self.entries, "attachments": self.attachments,
        }  # fmt: skip


def digest_of(sums: Mapping[str, str]) -> str:
    """One digest for all members, from the SHA-256 of each by name; their order does not matter."""
    return sha256_of("".join(f"{sums[name]}  {name}\n" for name in sorted(sums)).encode())


def manifest_of(kept: Kept, sums: Mapping[str, str], made: datetime) -> bytes:
    """The manifest's JSON."""
    document = {
        "format": FORMAT, "version": FORMAT_VERSION, "schema": REVISIONS[-1], "made": made.isoformat(),
        **kept.to_json(), "sha256": dict(sums),
    }  # fmt: skip
    return json.dumps(document, indent=1).encode()


def parse_manifest(data: bytes, where: str) -> tuple[Kept, dict[str, str]]:
    """What a manifest promises: the whole, and the SHA-256 of every member by its name.

    Raises:
        InputError: If it is none, was made by a newer version, or its sums do not fit its digest.
    """
    try:
        made = json.loads(data)
        form, version, schema = made["format"], made["version"], made["schema"]
        well_made = isinstance(made["sha256"], dict) and all(
            isinstance(made[name], kind)
            for name, kind in (("digest", str), ("jobs", int), ("entries", int), ("attachments", int))
        )
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(f"{MANIFEST} cannot be read: {error}", expected="a backup", where=where) from None
    if form != FORMAT or not well_made:
        raise InputError(f"{MANIFEST} is not that of a record", expected="a backup", where=where)
    if version != FORMAT_VERSION or schema not in REVISIONS:
        raise InputError(
            f"was made by a newer version (format {version}, schema {schema})",
            expected=f"at most schema {REVISIONS[-1]}: use a newer version", where=where,
        )  # fmt: skip
    sums: dict[str, str] = made["sha256"]
    if digest_of(sums) != made["digest"]:
        raise InputError(f"{MANIFEST} is damaged: its sums do not fit its digest", where=where)
    return Kept(made["digest"], made["jobs"], made["entries"], made["attachments"]), sums
