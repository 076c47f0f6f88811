"""What an entry holds, from words, JSON and files on the command line; refused when the board has no such thing."""

from __future__ import annotations

import json
import mimetypes
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coppermend.board.finding import listed
from coppermend.board.model import Board
from coppermend.board.packages import with_package_pads
from coppermend.cli.inputs import board_at, read_area, read_bytes
from coppermend.damage.area import area_to_geojson, parse_area
from coppermend.errors import InputError, UnknownName
from coppermend.job.assess import Assessment
from coppermend.job.entry import EntryKind
from coppermend.job.state import JobState
from coppermend.job.store import Store
from coppermend.job.validate import FIELDS
from coppermend.proving.described import shown_proofs
from coppermend.quantity import parse_quantity

_WORDS = {"yes": True, "no": False}


def json_object(text: str) -> dict[str, Any]:
    """The object in ``--body``; {} without one.

    Raises:
        InputError: If it is no JSON object.
    """
    if not text:
        return {}
    expected = 'a JSON object such as {"text": "..."}'
    try:
        made = json.loads(text)
    except json.JSONDecodeError as error:
        raise InputError(
            f"broken JSON: {error.msg}", expected=expected, where="--body", line=error.lineno
        ) from None
    except (ValueError, RecursionError):  # a number of thousands of digits, or brackets without end
        raise InputError("JSON that no entry needs", expected=expected, where="--body") from None
    if not isinstance(made, dict):
        raise InputError("no JSON object", expected=expected, where="--body")
    return made


def body_from_words(kind: EntryKind, words: Sequence[str]) -> dict[str, Any]:
    """The body written as ``key=value`` words; each value becomes what its key takes: text, a number, yes or no.

    Raises:
        InputError: If a word has no ``=``, or no key before it.
    """
    body: dict[str, Any] = {}
    for word in words:
        key, equals, value = word.partition("=")
        if not (key.strip() and equals):
            keys = ", ".join(FIELDS[kind])
            raise InputError(f"{word!r:.60} is no KEY=VALUE", expected=f"for kind {kind}: {keys}")
        body[key.strip()] = _value(kind, key.strip(), value)
    return body


def _value(kind: EntryKind, key: str, text: str) -> Any:
    """``text`` as what the key takes; as it is when nothing fits, for the record's own check to refuse."""
    field = FIELDS[kind].get(key)
    if field is None or field.fits(text):
        return text
    return next((value for value in _readings_of(text) if field.fits(value)), text)


def _readings_of(text: str) -> list[Any]:
    values: list[Any] = []
    if text.lower() in _WORDS:
        values.append(_WORDS[text.lower()])
    if text.upper() == "OL":
        values.append("OL")
    with suppress(ValueError, RecursionError):  # what fits nothing is for the record's own check to refuse
        values.append(json.loads(text))
    with suppress(InputError):
        values.append(parse_quantity(text, "Ω"))
    return values


@dataclass(frozen=True, slots=True)
class Files:
    """Files that stand for a part of an entry: a board folder, a damaged area, a picture."""

    board: Path | None = None
    area: Path | None = None
    file: Path | None = None

    def _given(self) -> dict[str, str]:
        """Option given -> the kind of entry it belongs to."""
        pairs = {
            "--board": (self.board, "board"),
            "--area": (self.area, "damage"),
            "--file": (self.file, "photo"),
        }
        return {option: kind for option, (path, kind) in pairs.items() if path}

    def refuse_other_kind(self, kind: EntryKind) -> None:
        """Refuse a file that does not go with this kind of entry."""
        for option, home in self._given().items():
            if home != kind:
                raise InputError(f"{option} goes with kind {home}, not {kind}")

    def refuse_without_kind(self, body: str) -> None:
        """Refuse what would be added when no kind says as what."""
        for option, home in (*self._given().items(), *((("--body", "note"),) if body else ())):
            raise InputError(
                f"{option} needs a kind of entry", expected=f"a kind after the job, such as {home}"
            )


def entry_files(store: Store, state: JobState, files: Files) -> dict[str, Any]:
    """The part of an entry's body that a file stands for; boards and pictures are kept in the record first."""
    if files.board:
        loaded = board_at(files.board)
        return {"name": loaded.name, "sha256": store.add_board(loaded)}
    if files.area:
        if state.board is None:
            raise InputError(f"job {state.number} has no board to lay an area on", where=str(files.area))
        parsed = parse_area(read_area(files.area), store.board(state.board.sha256), str(files.area))
        return {"area": area_to_geojson(parsed)}
    if files.file:
        media_type = mimetypes.guess_type(files.file.name)[0] or ""
        if not media_type.startswith("image/"):
            raise InputError(
                "is no picture by its name", expected="such as .jpg or .png", where=str(files.file)
            )
        sha256 = store.attach(read_bytes(files.file, "a picture"), files.file.name, media_type)
        return {"sha256": sha256, "name": files.file.name, "media_type": media_type}
    return {}


def refuse_absent(
    kind: EntryKind, body: Mapping[str, Any], board: Board, assessed: Callable[[], Assessment]
) -> None:
    """Refuse an entry about points, parts, remedies or proofs that the job's board does not have.

    Args:
        kind: Kind of the entry.
        body: What it holds, its form already checked.
        board: The job's board.
        assessed: What follows from the record so far; asked only when the kind needs it.

    Raises:
        UnknownName: If the board has no such thing.
        InputError: If a jumper does not join two points of its net, or a described test shows nothing of this board.
    """
    if kind in ("reading", "jumper"):
        index = with_package_pads(board).index
        nets = {index.place(body[end]).net for end in ("a", "b")}
        if kind == "jumper" and nets != {body["net"]}:
            raise InputError(f"{body['a']} and {body['b']} are not both on net {body['net']}")
    elif kind in ("strip", "refit") and body["refdes"] not in board.index.parts:
        found = assessed()  # sockets, and parts that a remedy brings, are on the lists only
        on_lists = {*(item.refdes for item in found.strip), *(item.refdes for item in found.refit)}
        if body["refdes"] not in on_lists:
            raise UnknownName("part", body["refdes"], f"{board.name} and on the job's lists")
    elif kind == "remedy" and body["chosen"]:
        _refuse_unknown("remedy", body["id"], [remedy.id for remedy in assessed().remedies])
    elif kind == "proof" and body["offered"]:
        shown_proofs(assessed().proofs, body["shows"])
    elif kind == "evidence":
        _refuse_unknown("proof", body["proof"], [proof.id for proof in assessed().proofs])


def _refuse_unknown(what: str, name: str, known: Sequence[str]) -> None:
    if name not in known:
        raise UnknownName(what, name, hint=f"known are {listed(known, 8) or 'none'}")
