"""What the pages work on: the store, the part types, and what is worth remembering between requests."""

from __future__ import annotations

import gzip
import hashlib
from collections import OrderedDict
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from threading import Event, Lock

from fastapi import Request

from coppermend.board.check import check_board
from coppermend.board.draw import draw_board
from coppermend.board.finding import Finding
from coppermend.board.model import LAYERS, Board, Layer
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import PartLibrary, standard_library
from coppermend.board.roles import NetRole, net_roles
from coppermend.errors import CoppermendError
from coppermend.isolate.trial import Report
from coppermend.job.assess import Assessment, assess
from coppermend.job.earlierfaults import FaultHistory, history_for
from coppermend.job.entry import Entry
from coppermend.job.number import check_number
from coppermend.job.people import People
from coppermend.job.shop import Shop, read_shop
from coppermend.job.state import JobState, fold, readable
from coppermend.job.store import Store
from coppermend.web.errands import Errands
from coppermend.web.language import LANGUAGES
from coppermend.web.sentences import book

_LARGE_PARTS, _LARGE_PADS = 500, 3_000
_JOBS_REMEMBERED, _BOARDS_REMEMBERED, _MADE_READY, _TRIALS_REMEMBERED = 64, 16, 12, 16


@dataclass(frozen=True)
class Job:
    """One job as a page sees it; ``board`` and ``found`` are None until a board is chosen.

    ``trouble`` says why the board could not be assessed, for example after a damaged area of another board.
    """

    state: JobState
    entries: tuple[Entry, ...]
    board: Board | None = None
    found: Assessment | None = None
    trouble: str = ""

    @property
    def number(self) -> str:
        """The job's number as printed."""
        return self.state.number

    @property
    def sha256(self) -> str:
        """The board's archive; "" without a board."""
        return self.state.board.sha256 if self.state.board else ""

    def entry(self, seq: int) -> Entry | None:
        """The entry numbered ``seq``, if there is one."""
        return self.entries[seq - 1] if 1 <= seq <= len(self.entries) else None


@dataclass(frozen=True)
class Drawn:
    """One side of a board as it is sent: the SVG, the same packed by gzip, and a tag that changes with it."""

    svg: bytes
    packed: bytes
    tag: str

    @classmethod
    def of(cls, svg: str) -> Drawn:
        """Packed once, since a large board takes a while (1.3 MB of SVG: 30 ms)."""
        plain = svg.encode()
        digest = hashlib.sha256(plain).hexdigest()[:32]
        return cls(plain, gzip.compress(plain, compresslevel=5, mtime=0), f'"{digest}"')


class _Record:
    """A job's entries and its state as they were read last; of a record that has grown only the new ones are read."""

    def __init__(self, number: str) -> None:
        self.number = number
        self.told: tuple[tuple[Entry, ...], JobState] | None = None
        self._unreadable: frozenset[int] = frozenset()
        self._lock = Lock()

    def up_to(self, store: Store, last_seq: int) -> tuple[tuple[Entry, ...], JobState]:
        """Entries and state, read anew unless the entry ``last_seq`` was the last; erasing adds an entry as well.

        Raises:
            UnknownName: If there is no such job.
        """
        with self._lock:
            known = self.told[0] if self.told else ()
            read = known[-1].seq if known else 0
            if self.told and read == last_seq:
                return self.told
            new = store.entries(self.number, after=read)
            if read > last_seq or any(entry.kind == "erased" for entry in new):  # not what it was any more
                known, new, self._unreadable = (), store.entries(self.number), frozenset()
            self._unreadable |= {entry.seq for entry in new if not readable(entry)}
            entries = (*known, *new)
            self.told = entries, fold(entries, self._unreadable)
            return self.told


class Trials:
    """The last trials of the search on planted faults, by board, number of faults and seed; safe for threads."""

    def __init__(self) -> None:
        self._held: OrderedDict[tuple[str, int, int], Report] = OrderedDict()

    def get(self, key: tuple[str, int, int]) -> Report | None:
        """What came of a trial, if it is still held."""
        return self._held.get(key)

    def hold(self, key: tuple[str, int, int], report: Report) -> None:
        """Keep it; of more than a few the oldest goes."""
        self._held[key] = report
        while len(self._held) > _TRIALS_REMEMBERED:
            self._held.popitem(last=False)


class Desk:
    """The open record with what is computed from it; safe for threads. ``closing`` is set when the bench shuts."""

    def __init__(self, store: Store, library: PartLibrary, shop: str = "", bench_url: str = "") -> None:
        self.store, self.library, self.shop, self.bench_url = store, library, shop, bench_url
        self.closing = Event()
        self.errands = Errands()
        self.people = People(store.engine)
        self.trials = Trials()
        self._read = lru_cache(maxsize=_JOBS_REMEMBERED)(_Record)
        self._assessed = lru_cache(maxsize=_JOBS_REMEMBERED)(self._assess)
        self.board = lru_cache(maxsize=_BOARDS_REMEMBERED)(self._board)
        self.drawing = lru_cache(maxsize=2 * _BOARDS_REMEMBERED)(self._draw)
        self.findings = lru_cache(maxsize=_BOARDS_REMEMBERED)(self._findings)

    @classmethod
    def open(cls, data_folder: Path, shop: str = "", bench_url: str = "") -> Desk:
        """The desk over the record in ``data_folder``, which is created when there is none."""
        return cls(Store.open(data_folder), standard_library(), shop, bench_url)

    def job(self, number: str) -> Job:
        """A job, its board, and what follows from them.

        Raises:
            UnknownName: If there is no such job.
            InputError: If the number is malformed.
        """
        number = check_number(number)
        entries, state = self._read(number).up_to(self.store, self.store.last_seq(number))
        if state.board is None:
            return Job(state, entries)
        board = self.board(state.board.sha256)
        history = history_for(self.store, board, state)
        found, trouble = self._assessed(_Key(state, history, state.board.sha256))
        return Job(state, entries, board, found, trouble)

    def is_large(self, number: str) -> bool:
        """Whether a job's board is so large that working a page out may take a while (some 500 parts, common practice).

        Where the job was looked at before, the board that it had then says so: the record is not asked again.

        Raises:
            UnknownName: If there is no such job.
        """
        record = self._read(number)
        _, state = record.told or record.up_to(self.store, self.store.last_seq(number))
        if state.board is None:
            return False
        board = self.board(state.board.sha256)
        return len(board.parts) > _LARGE_PARTS or len(board.pads) > _LARGE_PADS

    def get_ready(self, most: int = _MADE_READY) -> None:
        """Work out what the jobs in the shop rest on, the most urgent first, so that no page waits for it later."""
        language = self.settings().language
        for spoken in [language] if language else LANGUAGES:
            book(spoken)
        for job in self.store.queue(most):
            if self.closing.is_set():
                return
            try:
                sha256 = self.job(job.number).sha256
                for side in LAYERS if sha256 else ():
                    self.drawing(sha256, side)
            except CoppermendError:  # its own page tells what is wrong with it
                continue

    def settings(self) -> Shop:
        """What the shop has set, as it stands."""
        return read_shop(self.store)

    def _assess(self, key: _Key) -> tuple[Assessment | None, str]:
        try:
            return assess(self.board(key.board), self.library, key.state, key.history), ""
        except CoppermendError as error:  # the record stays readable whatever it holds
            return None, str(error)

    def _board(self, sha256: str) -> Board:
        return with_package_pads(self.store.board(sha256))

    def _draw(self, sha256: str, side: Layer) -> Drawn:
        return Drawn.of(draw_board(self.board(sha256), side=side, library=self.library, prefix=side))

    def roles(self, sha256: str) -> dict[str, NetRole]:
        """What each net of a board is for; remembered by the board room."""
        return net_roles(self.board(sha256), self.library)

    def _findings(self, sha256: str) -> tuple[Finding, ...]:
        return check_board(self.board(sha256), self.library)


class _Key:
    """A job's state as a cache key: the same job, number of entries, history and board give the same answer."""

    def __init__(self, state: JobState, history: FaultHistory, board: str) -> None:
        self.state, self.history, self.board = state, history, board
        self._key = (state.number, state.seq, history, board)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and self._key == other._key

    def __hash__(self) -> int:
        return hash(self._key)


def desk_of(request: Request) -> Desk:
    """The desk of the running bench."""
    desk: Desk = request.app.state.desk
    return desk
