"""Who may work at a bench that is open to the shop's network: names, passphrases, and who is signed in where."""

from __future__ import annotations

import hashlib
import re
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property

from argon2 import PasswordHasher
from argon2.exceptions import VerifyMismatchError
from sqlalchemy import Column, Connection, Engine, ForeignKey, String, Table, delete, insert, select, update

from coppermend.errors import InputError, UnknownName
from coppermend.job import tables
from coppermend.job.tables import Utc
from coppermend.job.validate import check_who

person = Table(
    "person",
    tables.metadata,
    Column("name", String, primary_key=True),
    Column("phrase_hash", String, nullable=False),
    Column("added", Utc, nullable=False),
)

signed_in = Table(
    "signed_in",
    tables.metadata,
    Column("token_sha256", String, primary_key=True),
    Column("person", ForeignKey("person.name"), nullable=False),
    Column("since", Utc, nullable=False),
    Column("used", Utc, nullable=False),
)

# NIST SP 800-63B-4, 3.1.1: at least 15 characters for a phrase that stands alone, no rules about its characters, at
# least 64 allowed. Longer ones than 256 would only cost time.
SHORTEST, LONGEST = 15, 256
# Common practice, no source: a shift, and a month.
IDLE, WHOLE = timedelta(hours=12), timedelta(days=30)
_NOTE_USE_AFTER = timedelta(minutes=5)
# Defaults of argon2-cffi: the second recommended option of RFC 9106, section 4 (64 MiB, 3 passes).
_HASHER = PasswordHasher()


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who may sign in."""

    name: str
    added: datetime


class People:
    """The people of one record; safe for threads and processes."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    @cached_property
    def _nobody(self) -> str:
        """The hash of a phrase that nobody knows; slow to make, so not before somebody signs in."""
        return _HASHER.hash(secrets.token_hex(16))

    def all(self) -> tuple[Person, ...]:
        """Everybody who may sign in, by name."""
        query = select(person.c.name, person.c.added).order_by(person.c.name)
        with tables.reading(self.engine) as connection:
            return tuple(Person(row.name, row.added) for row in connection.execute(query))

    def add(self, name: str, phrase: str, at: datetime) -> None:
        """Let somebody sign in.

        Raises:
            InputError: If the name is taken or malformed, or the phrase too short or too long.
        """
        name, phrase_hash = check_who(name), _HASHER.hash(check_phrase(phrase))
        with tables.writing(self.engine) as connection:
            if _hash_of(connection, name) is not None:
                raise InputError(
                    f"{name} may sign in already", expected="another name, or: coppermend people phrase"
                )
            connection.execute(insert(person).values(name=name, phrase_hash=phrase_hash, added=at))

    def set_phrase(self, name: str, phrase: str) -> None:
        """Give somebody a new passphrase; whoever is signed in under the name has to sign in again.

        Raises:
            UnknownName: If nobody has that name.
            InputError: If the phrase is too short or too long.
        """
        phrase_hash = _HASHER.hash(check_phrase(phrase))
        with tables.writing(self.engine) as connection:
            self._known(connection, name)
            connection.execute(update(person).where(person.c.name == name).values(phrase_hash=phrase_hash))
            connection.execute(delete(signed_in).where(signed_in.c.person == name))

    def remove(self, name: str) -> None:
        """Let somebody sign in no longer; entries under the name stay.

        Raises:
            UnknownName: If nobody has that name.
        """
        with tables.writing(self.engine) as connection:
            self._known(connection, name)
            connection.execute(delete(signed_in).where(signed_in.c.person == name))
            connection.execute(delete(person).where(person.c.name == name))

    def sign_in(self, name: str, phrase: str, at: datetime) -> str | None:
        """A token for the browser, or None when name and phrase do not belong together.

        Only the token's hash is kept: who reads the database can sign in as nobody.
        """
        with tables.reading(self.engine) as connection:
            known = _hash_of(connection, name.strip())
        try:
            # An unknown name must take as long as a wrong phrase, or names could be found out.
            nobody = self._nobody
            _HASHER.verify(known or nobody, phrase[: LONGEST + 1])
        except VerifyMismatchError:
            return None
        token = secrets.token_urlsafe(32)
        with tables.writing(self.engine) as connection:
            connection.execute(delete(signed_in).where(_expired(at)))
            connection.execute(
                insert(signed_in).values(token_sha256=_digest(token), person=name.strip(), since=at, used=at)
            )
        return token

    def who(self, token: str, at: datetime) -> str | None:
        """Whose token this is; None for one that is unknown or has run out."""
        ours = signed_in.c.token_sha256 == _digest(token)
        with tables.reading(self.engine) as connection:
            row = connection.execute(select(signed_in).where(ours, ~_expired(at))).one_or_none()
        if row is None:
            return None
        if at - row.used > _NOTE_USE_AFTER:
            with tables.writing(self.engine) as connection:
                connection.execute(update(signed_in).where(ours).values(used=at))
        return str(row.person)

    def sign_out(self, token: str) -> None:
        """Forget a token."""
        with tables.writing(self.engine) as connection:
            connection.execute(delete(signed_in).where(signed_in.c.token_sha256 == _digest(token)))

    def _known(self, connection: Connection, name: str) -> None:
        if _hash_of(connection, name) is None:
            raise UnknownName("person", name, "the record", "list them with: coppermend people list")


def check_phrase(phrase: str) -> str:
    """A passphrase that will do.

    Raises:
        InputError: If it is too short, too long, or one piece repeated.
    """
    if not SHORTEST <= len(phrase) <= LONGEST:
        raise InputError(
            f"the passphrase has {len(phrase)} characters",
            expected=f"{SHORTEST} to {LONGEST}; four or five words that belong to nobody are easy to keep",
        )
    if re.fullmatch(r"(.{1,4})\1+.{0,3}", phrase):
        raise InputError("the passphrase repeats itself", expected="several different words")
    return phrase


def _hash_of(connection: Connection, name: str) -> str | None:
    found: str | None = connection.scalar(select(person.c.phrase_hash).where(person.c.name == name))
    return found


def _expired(at: datetime):  # type: ignore[no-untyped-def]
    return (signed_in.c.used < at - IDLE) | (signed_in.c.since < at - WHOLE)


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
