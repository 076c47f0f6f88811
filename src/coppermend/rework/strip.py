"""The strip list: which parts come off, why, in which order, and what becomes of them. Prices nothing."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from coppermend.board.atrisk import LIGHT, MODERATE, Touch, grade
from coppermend.board.cautions import PRACTICE, Caution, cautions_called
from coppermend.board.kinds import PASSIVE_KINDS, is_ic, kind_of, natural_key
from coppermend.board.model import Board, Part
from coppermend.board.packages import body_height_mm, with_package_pads
from coppermend.board.parttypes import PartKind, PartLibrary
from coppermend.rework.reach import REACH_MM, bodies_in_the_way, work_pieces
from coppermend.rework.records import Fate, Reason, Remedy, StripItem

# Common practice, no source: heights [mm] where the package says nothing.
_USUAL_HEIGHT_MM: dict[PartKind | None, float] = {
    "battery": 15.0, "supercapacitor": 9.0, "electrolytic": 12.0, "relay": 15.0, "connector": 9.0, "crystal": 12.0,
    "switch": 7.0, "transistor": 5.0, "regulator": 15.0, "trimmer": 8.0, "resistor": 2.6, "diode": 2.3,
    "capacitor": 5.0, "led": 8.0,
}  # fmt: skip
_TALL_MM = 6.0  # a passive taller than this shades its neighbours
_NAMED = 3  # points named in a sentence before "and n more"
# A program that exists nowhere else is worth a try even from a heavily corroded part.
_IRREPLACEABLE = frozenset({"rom"})
# Contacts and cells do not recover from moderate corrosion; the others may, and can be tried off the board.
_TESTABLE = frozenset({"crystal", "oscillator", "relay", "regulator", "transistor"})


def height_mm(part: Part, kind: PartKind | None) -> float:
    """How far a part stands above the board [mm], from its package, else usual for its kind."""
    return body_height_mm(part) or _USUAL_HEIGHT_MM.get(kind, 4.0)


def strip_list(
    board: Board, library: PartLibrary, touch: Touch, chosen: Sequence[Remedy] = ()
) -> tuple[StripItem, ...]:
    """What comes off the board, in the order in which it comes off.

    Corroded: body or pads in moderate or heavier damage. In the way: the body covers copper that has to be
    sanded or stands within 2.5 mm of it, on the same side. Known weak: the battery whenever there is
    damage; electrolytics and old sockets that are touched or in a touched section. Remedy: parts that a
    chosen remedy takes off; their sockets stay. Board-edge fingers and mounting holes never come off.

    Returns:
        Battery first, then parts lifted out of sockets, then tall parts and soldered chips from the
        tallest down, then low passives, then sockets; () for a board without damage and remedies.
    """
    facts = _Facts.gather(with_package_pads(board), library, touch, chosen)
    items = [item for part in board.index.parts.values() for item in _items(part, facts)]
    items.sort(key=lambda item: _rank(item, facts))
    return tuple(replace(item, order=number) for number, item in enumerate(items, 1))


@dataclass(frozen=True)
class _Facts:
    """What is known about the board before any part is judged."""

    board: Board
    library: PartLibrary
    severity: Mapping[str, float]
    bad_pads: Mapping[str, Sequence[str]]
    in_way: Mapping[str, tuple[tuple[str, bool], ...]]
    sections: Collection[str]
    remedy_of: Mapping[str, str]
    damaged: bool

    @classmethod
    def gather(cls, board: Board, library: PartLibrary, touch: Touch, chosen: Sequence[Remedy]) -> _Facts:
        bad_pads: dict[str, list[str]] = {}
        severity = dict(touch.severity_of_part)
        for pad in touch.pads:
            refdes = pad.point.rpartition(".")[0]
            severity[refdes] = max(severity.get(refdes, 0.0), pad.severity)
            if pad.severity >= MODERATE:
                bad_pads.setdefault(refdes, []).append(pad.point)
        touched = [board.index.parts[r] for r, s in severity.items() if s >= LIGHT and r in board.index.parts]
        return cls(
            board,
            library,
            severity,
            bad_pads,
            bodies_in_the_way(board, work_pieces(board, touch)),
            frozenset(part.section for part in touched if part.section),
            {refdes: remedy.title for remedy in chosen for refdes in remedy.parts_off},
            bool(touch.parts or touch.nets or touch.pads or touch.vias or touch.tracks or touch.area_mm2 > 0),
        )

    def kind(self, part: Part) -> PartKind | None:
        return kind_of(part, self.library)


def _stays(part: Part, facts: _Facts) -> bool:
    """Fingers, holes, logos and whatever else is on no net are no parts that can be taken off."""
    if part.refdes not in facts.board.index.pins_of_part and facts.kind(part) != "battery":
        return True
    return part.package.upper().startswith(("EDGE", "HOLE"))


def _items(part: Part, facts: _Facts) -> list[StripItem]:
    if _stays(part, facts):
        return []
    why = _whys(part, facts)
    if not why:
        return []
    socket = f"XU{part.refdes[1:]}" if part.refdes.startswith("U") else f"X{part.refdes}"
    if not part.socketed or socket in facts.board.index.parts or set(why) == {"remedy"}:
        return [_item(part, why, facts)]
    lifted: dict[Reason, str] = {reason: text for reason, text in why.items() if reason != "known weak"}
    lifted = lifted or {"in the way": f"it sits in the old socket {socket}, which comes off"}
    return [_item(part, lifted, facts), _socket_item(part, socket, why, facts)]


def _whys(part: Part, facts: _Facts) -> dict[Reason, str]:
    """Why ``part`` comes off: each reason with a clause that names its facts; {} when it stays."""
    why: dict[Reason, str] = {}
    severity = facts.severity.get(part.refdes, 0.0)
    if severity >= MODERATE:
        pads = facts.bad_pads.get(part.refdes, ())
        what = f"{_plural('pad', pads)} {_listed(pads)} {_lie(pads)}" if pads else "its body lies"
        why["corroded"] = f"{what} in {grade(severity)} damage"
    if near := facts.in_way.get(part.refdes):
        covered = [name for name, over in near if over]
        names = covered or [name for name, _ in near]
        verb = "its body covers" if covered else f"its body stands within {REACH_MM} mm of"
        why["in the way"] = f"{verb} damaged {_listed(names)}"
    if weak := _known_weak(part, facts):
        why["known weak"] = weak
    if part.refdes in facts.remedy_of:
        why["remedy"] = f'the remedy "{facts.remedy_of[part.refdes]}" replaces it'
    return why


def _known_weak(part: Part, facts: _Facts) -> str:
    kind = facts.kind(part)
    if kind == "battery":
        return (
            "a battery that stands on the board leaks again, and feeds it during the work"
            if facts.damaged
            else ""
        )
    here = part.section in facts.sections
    if not here and facts.severity.get(part.refdes, 0.0) < LIGHT:
        return ""
    where = f"in the touched section {part.section}" if here else "in the damage"
    if kind == "electrolytic":
        return (
            f"it is an electrolytic {where}: they dry out with age ({PRACTICE}), and MIL-HDBK-217F ranks them "
            "6.7 times a ceramic capacitor"
        )
    if part.socketed or kind == "socket":
        return f"it is an old socket {where}: they trap electrolyte and lose their spring ({PRACTICE})"
    return ""


def _fate(part: Part, kind: PartKind | None, why: Mapping[Reason, str], facts: _Facts) -> Fate:
    corroded, heavy = "corroded" in why, grade(facts.severity.get(part.refdes, 0.0)) == "heavy"
    if kind in _IRREPLACEABLE:
        return "test"
    if kind in ("battery", "electrolytic", "socket") or "remedy" in why:
        return "discard"
    if heavy:
        return "discard"
    if is_ic(part, facts.library) or (corroded and kind in _TESTABLE):
        return "test"
    return "discard" if corroded else "refit"


def _item(part: Part, why: dict[Reason, str], facts: _Facts) -> StripItem:
    kind = facts.kind(part)
    fate = _fate(part, kind, why, facts)
    clauses = list(why.values())
    if kind == "rom" and fate == "test":
        clauses.append("read its contents twice before anything else")
    return StripItem(
        order=0,
        refdes=part.refdes,
        part=part.refdes,
        type=part.type,
        value=part.value,
        reasons=tuple(why),
        why=_sentence(clauses),
        fate=fate,
        section=part.section,
        severity=facts.severity.get(part.refdes, 0.0),
        socket=kind == "socket",
        package=part.package,
        cautions=_cautions(part, kind, why, facts),
    )


def _socket_item(part: Part, name: str, why: dict[Reason, str], facts: _Facts) -> StripItem:
    return StripItem(
        order=0,
        refdes=name,
        part=part.refdes,
        type="socket",
        value="",
        reasons=tuple(why),
        why=_sentence([*why.values(), "a socket that was unsoldered is not fitted again"]),
        fate="discard",
        section=part.section,
        severity=facts.severity.get(part.refdes, 0.0),
        socket=True,
        package=part.package,
        cautions=cautions_called(
            *(("residue", "dust") if "corroded" in why else ()), "lead", "fumes", "iron"
        ),
    )


def _cautions(
    part: Part, kind: PartKind | None, why: Mapping[Reason, str], facts: _Facts
) -> tuple[Caution, ...]:
    codes = ["battery"] if kind == "battery" else []
    if "corroded" in why or kind == "battery":
        codes += ["residue", "dust"]
    if kind in ("electrolytic", "supercapacitor", "display"):
        codes += ["stored charge"]
    if is_ic(part, facts.library):
        codes += ["static"]
    if not part.socketed:
        codes += ["lead", "fumes", "iron"]
    return cautions_called(*codes)


def _rank(item: StripItem, facts: _Facts) -> tuple[object, ...]:
    part = facts.board.index.parts[item.part]
    kind = facts.kind(part)
    height = height_mm(part, kind)
    if kind == "battery":
        group = 0
    elif item.socket:
        group = 4
    elif part.socketed:
        group = 1
    else:
        group = 3 if kind in PASSIVE_KINDS and height <= _TALL_MM else 2
    return group, -height, item.section, natural_key(item.refdes)


def _listed(names: Sequence[str]) -> str:
    """``a``, ``a and b``, ``a, b, c and 2 more``."""
    shown, rest = list(names[:_NAMED]), len(names) - _NAMED
    if rest > 0:
        return f"{', '.join(shown)} and {rest} more"
    return " and ".join(filter(None, [", ".join(shown[:-1]), shown[-1]]))


def _plural(word: str, names: Sequence[str]) -> str:
    return word if len(names) == 1 else f"{word}s"


def _lie(names: Sequence[str]) -> str:
    return "lies" if len(names) == 1 else "lie"


def _sentence(clauses: Sequence[str]) -> str:
    text = "; ".join(clauses)
    return f"{text[0].upper()}{text[1:]}."
