"""What is worked out once per board and once per damage, and remembered. Knows nothing of the record."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

from coppermend.board.atrisk import Touch
from coppermend.board.model import Board, PinRef
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import PartLibrary
from coppermend.board.roles import net_roles
from coppermend.board.same import Same
from coppermend.board.subject import Subject
from coppermend.damage.area import DamageArea, parse_area
from coppermend.damage.touch import touch
from coppermend.isolate.isolation import Isolation
from coppermend.job.remedying import offered_remedies
from coppermend.proving.proofs import Proof, net_points, proofs_for, unprovable
from coppermend.rework.records import Remedy
from coppermend.underway import tell

_BOARDS, _DAMAGES = 8, 32


@dataclass(frozen=True, eq=False)
class BoardFacts:
    """A board with its proofs and the roles of its nets; ``board`` has pads, from its packages if need be."""

    board: Board
    library: PartLibrary

    @cached_property
    def proofs(self) -> tuple[Proof, ...]:
        """Every proof that the board offers."""
        return proofs_for(self.board, self.library)

    @cached_property
    def unprovable(self) -> Mapping[Subject, str]:
        """What no proof exercises, and why."""
        return unprovable(self.board, self.library, self.proofs)

    @cached_property
    def net_points(self) -> Mapping[str, frozenset[str]]:
        """Points that prove a net together."""
        return net_points(self.board, self.library)

    @cached_property
    def _by_role(self) -> Mapping[str, frozenset[str]]:
        roles = net_roles(self.board, self.library)
        return {kind: frozenset(n for n, r in roles.items() if r.role == kind) for kind in ("rail", "ground")}

    @property
    def rails(self) -> frozenset[str]:
        """Supply nets."""
        return self._by_role["rail"]

    @property
    def grounds(self) -> frozenset[str]:
        """Ground nets."""
        return self._by_role["ground"]

    def has_points(self, *names: str) -> bool:
        """Whether the board has a pad or via of each name."""
        index = self.board.index
        return all(name in index.vias or _pin(name) in index.pads for name in names)

    def net_of_point(self, name: str) -> str:
        """The net at a point; "" for a point that is on none or that the board does not have."""
        index = self.board.index
        via = index.vias.get(name)
        return via.net if via else index.net_of_pin.get(_pin(name), "")


def _pin(name: str) -> PinRef:
    refdes, _, pin = name.rpartition(".")
    return PinRef(refdes, pin)


def board_facts(board: Board, library: PartLibrary) -> BoardFacts:
    """The facts of ``board``, remembered for the boards asked about last."""
    return _facts(Same(board), Same(library))


@lru_cache(maxsize=_BOARDS)
def _facts(board: Same[Board], library: Same[PartLibrary]) -> BoardFacts:
    return BoardFacts(with_package_pads(board.thing), library.thing)


@dataclass(frozen=True)
class Shop:
    """What a shop knows besides: (refdes or net, times it was the fault here), (refdes, times that a part of its type
    was), and what was just worked on.
    """

    comebacks: tuple[tuple[str, int], ...] = ()
    same_type: tuple[tuple[str, int], ...] = ()
    reworked: tuple[str, ...] = ()


def isolation_base(
    board: Board, library: PartLibrary, damage: Mapping[str, Any] | None, shop: Shop | None = None
) -> Isolation:
    """A search for the fault that has seen nothing, with the damage and what the shop knows in its priors; remembered.

    Raises:
        InputError: If the damage does not lie on the board.
    """
    text = json.dumps(damage) if damage and damage.get("features") else ""
    return _isolation(Same(board), Same(library), text, shop or Shop())


@lru_cache(maxsize=_BOARDS)
def _isolation(board: Same[Board], library: Same[PartLibrary], text: str, shop: Shop) -> Isolation:
    touched = _touched(board, library, text)[0] if text else None
    tell(0, 1, "Following the signals")
    return Isolation(
        _facts(board, library).board, library.thing, touch=touched, comebacks=dict(shop.comebacks),
        same_type=dict(shop.same_type), reworked=shop.reworked,
    )  # fmt: skip


def touched_by(
    board: Board, library: PartLibrary, damage: Mapping[str, Any] | None
) -> tuple[Touch, tuple[Remedy, ...]]:
    """What the recorded damage touches, and the remedies on offer; remembered.

    Args:
        board: The board.
        library: Part types.
        damage: GeoJSON FeatureCollection in board mm; None, or one without features, touches nothing.

    Raises:
        InputError: If the damage does not lie on the board.
    """
    text = json.dumps(damage) if damage and damage.get("features") else ""
    return _touched(Same(board), Same(library), text)


@lru_cache(maxsize=_DAMAGES)
def _touched(board: Same[Board], library: Same[PartLibrary], text: str) -> tuple[Touch, tuple[Remedy, ...]]:
    based = _facts(board, library).board
    area = parse_area(text.encode(), based, "the recorded damage") if text else DamageArea()
    found = touch(based, library.thing, area)
    return found, offered_remedies(based, library.thing, found)
