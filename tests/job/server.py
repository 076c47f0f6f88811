"""A PostgreSQL server of our own for the tests: temporary folder, UNIX socket only, an ordinary user."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from pathlib import Path

import psycopg

_PLACES = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda place: int(place.parent.name))


def programs() -> Path | None:
    """The folder with initdb and pg_ctl, of the newest version; None when there is none."""
    if _PLACES and (_PLACES[-1] / "initdb").exists():
        return _PLACES[-1]
    found = shutil.which("initdb")
    return Path(found).resolve().parent if found else None


class Server:
    """A running server; ``url`` names a database in it. Durable, as a shop's server would be."""

    def __init__(self) -> None:
        home = programs()
        assert home is not None
        self._pg_ctl = home / "pg_ctl"
        self._user: list[str] = []
        # A UNIX socket's path holds at most 107 bytes, so the folder stands outside of pytest's own.
        self.folder = Path(tempfile.mkdtemp(prefix="cm-pg-"))
        if os.geteuid() == 0:  # the server refuses to run as root
            owner = pwd.getpwnam("postgres" if _has_user("postgres") else "nobody")
            os.chown(self.folder, owner.pw_uid, owner.pw_gid)
            self._user = ["setpriv", f"--reuid={owner.pw_uid}", f"--regid={owner.pw_gid}", "--clear-groups"]
        self._run(
            home / "initdb",
            "-D",
            self.folder / "data",
            "-N",
            "-U",
            "bench",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--locale=C",
        )
        settings = f"-c listen_addresses= -c unix_socket_directories={self.folder} -c max_connections=60"
        self._run(
            self._pg_ctl, "-D", self.folder / "data", "-w", "-l", self.folder / "log", "-o", settings, "start"
        )

    def _run(self, *command: object) -> None:
        words = [*self._user, *map(str, command)]
        # Its output goes to a file: the server would keep a pipe open.
        with (self.folder.parent / f"{self.folder.name}.out").open("ab") as out:
            subprocess.run(words, check=True, stdout=out, stderr=out, cwd=self.folder)

    def url(self, name: str) -> str:
        """A URL under which ``name``, a new and empty schema, is all there is: much quicker than a new database."""
        plain = f"postgresql://bench@/postgres?host={self.folder}"
        with psycopg.connect(plain, autocommit=True) as connection:
            connection.execute(f'CREATE SCHEMA "{name}"')
        return f"{plain}&options=-csearch_path%3D{name}"

    def stop(self) -> None:
        """Stop the server and remove its folder."""
        self._run(self._pg_ctl, "-D", self.folder / "data", "-m", "immediate", "-w", "stop")
        shutil.rmtree(self.folder, ignore_errors=True)
        (self.folder.parent / f"{self.folder.name}.out").unlink(missing_ok=True)


def _has_user(name: str) -> bool:
    return any(entry.pw_name == name for entry in pwd.getpwall())
