"""Attachments as files named by the SHA-256 of their content. Knows no jobs and no database."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from coppermend.errors import RecordError, UnknownName
from coppermend.job.atomic import TEMPORARY, clear_disk_errors, sync_folder, write_atomically


def sha256_of(data: bytes) -> str:
    """The content's name: 64 lower-case hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


@dataclass(frozen=True, slots=True)
class AttachmentFiles:
    """The folder of attachments: ``ab/abcd...`` holds the content whose SHA-256 is ``abcd...``."""

    folder: Path

    def path(self, sha256: str) -> Path:
        """Where the content called ``sha256`` lies, whether or not it is there."""
        return self.folder / sha256[:2] / sha256

    def put(self, data: bytes) -> str:
        """Keep ``data`` and return its name once it is on the disk; the same content is kept only once.

        A file that was damaged on disk is replaced by the sound content.

        Raises:
            RecordError: If the disk refuses.
        """
        sha256 = sha256_of(data)
        path = self.path(sha256)
        with clear_disk_errors(f"keep attachment {sha256[:12]}"):
            if self._holds(path, sha256):
                # It may have been written a moment ago by someone whose rename is not durable yet.
                sync_folder(path.parent)
                return sha256
            if not path.parent.is_dir():
                path.parent.mkdir(parents=True, exist_ok=True)
                sync_folder(self.folder)
        write_atomically(path, data)
        return sha256

    @staticmethod
    def _holds(path: Path, sha256: str) -> bool:
        return path.is_file() and sha256_of(path.read_bytes()) == sha256

    def get(self, sha256: str) -> bytes:
        """The content called ``sha256``, checked against its name.

        Raises:
            UnknownName: If there is no such file.
            RecordError: If the file no longer has the content it is named after.
        """
        try:
            data = self.path(sha256).read_bytes()
        except FileNotFoundError:
            raise UnknownName("attachment", sha256, "the record's attachments folder") from None
        except OSError as error:
            raise RecordError(f"cannot read attachment {sha256}: {error.strerror}") from error
        if sha256_of(data) != sha256:
            raise RecordError(f"attachment {sha256} is damaged on disk; restore it from a backup")
        return data

    def names(self) -> Iterator[str]:
        """Names of all files kept, in order; unfinished writes are left out."""
        for path in sorted(self.folder.glob("??/*")):
            if not path.name.endswith(TEMPORARY):
                yield path.name

    def sweep(self, older_than_s: float, now_s: float) -> int:
        """Remove what interrupted writes left behind and is older than ``older_than_s`` [s]; how many."""
        swept = 0
        with clear_disk_errors("sweep unfinished attachments"):
            for path in self.folder.glob(f"??/.*{TEMPORARY}"):
                with suppress(FileNotFoundError):  # its writer, or another sweep, was faster
                    if now_s - path.stat().st_mtime > older_than_s:
                        path.unlink()
                        swept += 1
        return swept
