"""Stateless analysis: board and readings in, answer out, so that a shop can script it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from coppermend.board.atrisk import Touch, grade
from coppermend.board.cautions import Caution, merged
from coppermend.board.model import Board
from coppermend.board.parttypes import PartLibrary
from coppermend.cli.evidence import parse_evidence
from coppermend.cli.inputs import AreaOption, BoardArgument, TypesOption, board_at, library_with, read_bytes
from coppermend.cli.output import JsonFlag, emit, say, table
from coppermend.copper.plan import plan_probes
from coppermend.copper.readings import Reading, parse_readings
from coppermend.damage.area import DamageArea, area_to_geojson, parse_area
from coppermend.damage.touch import touch, touch_to_json
from coppermend.job.assess import Assessment, assess
from coppermend.job.state import JobState, ReadingLine
from coppermend.rework.refit import kit, refit_list
from coppermend.rework.remedies import choose, remedies
from coppermend.rework.strip import strip_list

damage_app = typer.Typer(help="What the damage touched.", no_args_is_help=True)
copper_app = typer.Typer(help="Prove that at-risk connections survived.", no_args_is_help=True)
prove_app = typer.Typer(help="Proofs, and the gate: is anything touched left unproven?", no_args_is_help=True)

ReadingsOption = Annotated[
    Path | None, typer.Option("--readings", metavar="FILE", help="Readings so far: CSV a,b,ohms (OL = open).")
]
RemedyOption = Annotated[
    list[str] | None, typer.Option("--remedy", metavar="ID", help="A remedy that is carried out; may repeat.")
]


def _board_and_area(
    board: Path, area: Path, types: list[Path] | None
) -> tuple[Board, PartLibrary, DamageArea]:
    loaded = board_at(board)
    return loaded, library_with(types), parse_area(read_bytes(area), loaded, str(area))


def _readings(path: Path | None) -> Sequence[Reading]:
    return parse_readings(read_bytes(path).decode("utf-8", "replace"), str(path)) if path else ()


def _say_cautions(cautions: Sequence[Caution]) -> None:
    say(*(f"caution: {caution}" for caution in cautions))


@damage_app.command("touch")
def damage_touch(
    board: BoardArgument, area: AreaOption, types: TypesOption = None, as_json: JsonFlag = False
) -> int:
    """What the damage touched: parts, pads, vias, tracks, nets and what they do."""
    loaded, library, damaged = _board_and_area(board, area, types)
    touched = touch(loaded, library, damaged)
    document = touch_to_json(touched, loaded)

    def show() -> None:
        say(f"{touched.area_mm2:.0f} mm² damaged")
        table(
            "by section",
            ("section", "parts", "nets"),
            [(s["section"] or "-", s["parts"], s["nets"]) for s in document["sections"]],
        )
        _show_touch(touched)
        say(*touched.notes)

    emit(document, as_json, show)
    return 0


def _show_touch(touched: Touch) -> None:
    rows = [(n.net, n.role, n.does, grade(n.severity), n.pads, n.vias, n.tracks) for n in touched.nets]
    table("nets", ("net", "role", "what it does", "damage", "pads", "vias", "tracks"), rows)
    parts = [
        (p.refdes, p.type, p.section, grade(p.severity), f"{p.share:.0%}", p.pads) for p in touched.parts
    ]
    table("parts", ("part", "type", "section", "damage", "share", "pads"), parts)
    table("vias", ("via", "net", "damage"), [(v.name, v.net, grade(v.severity)) for v in touched.vias])


def strip(
    board: BoardArgument, area: AreaOption, types: TypesOption = None, as_json: JsonFlag = False
) -> int:
    """What comes off, in which order, why, and what becomes of it."""
    loaded, library, damaged = _board_and_area(board, area, types)
    items = strip_list(loaded, library, touch(loaded, library, damaged))
    document = {"strip": [item.to_json() for item in items], "counts": {"strip": len(items)}}

    def show() -> None:
        _say_cautions(merged(*(item.cautions for item in items)))
        rows = [(i.order, i.refdes, i.value or i.type, i.reasons, i.fate, i.why) for i in items]
        table("strip list", ("", "part", "what", "reason", "fate", "why"), rows)

    emit(document, as_json, show)
    return 0


def refit(
    board: BoardArgument, area: AreaOption, remedy: RemedyOption = None, types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Remedies on offer with their checks, what goes back or comes new, and the kit."""
    loaded, library, damaged = _board_and_area(board, area, types)
    touched = touch(loaded, library, damaged)
    offered = remedies(loaded, library, touched)
    chosen = choose(offered, remedy or ())
    items = refit_list(loaded, library, strip_list(loaded, library, touched), chosen)
    lines = kit(items)
    document: dict[str, Any] = {
        "remedies": [{**r.to_json(), "chosen": r in chosen} for r in offered],
        "refit": [item.to_json() for item in items],
        "kit": [line.to_json() for line in lines],
    }

    def show() -> None:
        for offer in offered:
            say(f"remedy {offer.id}: {offer.title}", f"  {offer.why}")
            table(
                "",
                ("check", "value", "limit", "ok"),
                [(c.name, c.value, c.limit, _yes(c.ok)) for c in offer.checks],
            )
        rows = [(i.order, i.refdes, i.value or i.type, i.source, i.polarity) for i in items]
        table("refit list", ("", "part", "what", "old or new", "polarity"), rows)
        table(
            "kit",
            ("quantity", "what", "package", "for"),
            [(k.quantity, k.value or k.type, k.package, k.refdes) for k in lines],
        )

    emit(document, as_json, show)
    return 0


def _yes(ok: bool) -> str:
    return "yes" if ok else "NO"


@copper_app.command("plan")
def copper_plan(
    board: BoardArgument, area: AreaOption, readings: ReadingsOption = None, types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """The probes that prove every at-risk net, and what the readings so far have shown."""
    loaded, library, damaged = _board_and_area(board, area, types)
    plan = plan_probes(loaded, library, touch(loaded, library, damaged), _readings(readings))
    document = plan.to_json()

    def show() -> None:
        rows = [
            (p["id"], p["net"], p["a"], p["where_a"], p["b"], p["where_b"], f"{p['expect_ohms']:.2f}")
            for p in document["probes"]
        ]
        table("probes", ("", "net", "A", "where", "B", "where", "expect Ω"), rows)
        table("opens", ("net", "between"), [(o["net"], o["between"]) for o in document["opens"]])
        jumpers = [
            (j["net"], j["a"], j["b"], j["side"], f"{j['length_mm']:.0f}") for j in document["jumpers"]
        ]
        table("jumpers", ("net", "from", "to", "side", "mm"), jumpers)
        counts = document["counts"]
        say(
            f"{counts['probes']} probes to make ({counts['naive_probes']} pad by pad), "
            f"{len(document['proven'])} nets proven, {len(document['opens'])} opens"
        )

    emit(document, as_json, show)
    return 0


def _assessed(
    board: Path, area: Path, types: list[Path] | None, readings: Path | None = None,
    evidence: Path | None = None, remedy: list[str] | None = None,
) -> Assessment:  # fmt: skip
    """A job as it would stand with this area, these readings and results, everything on its strip list off."""
    loaded, library, damaged = _board_and_area(board, area, types)
    items = strip_list(loaded, library, touch(loaded, library, damaged))
    lines = [
        ReadingLine(r.a, r.b, r.ohms, "", seq) for seq, r in enumerate(_readings(readings), 1) if not r.jumper
    ]
    results = parse_evidence(read_bytes(evidence), str(evidence)) if evidence else {}
    state = JobState(
        damage=area_to_geojson(damaged),
        strip={item.refdes: item.fate for item in items},
        readings=tuple(lines),
        evidence=results,
        remedies=tuple(remedy or ()),
    )
    return assess(loaded, library, state)


@prove_app.command("plan")
def prove_plan(
    board: BoardArgument, area: AreaOption, readings: ReadingsOption = None, remedy: RemedyOption = None,
    types: TypesOption = None, as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """The proofs of this board, and which of them are still needed."""
    found = _assessed(board, area, types, readings, None, remedy)
    needed = {proof for item in found.gate.open for proof in item.covered_by}
    document = {
        "proofs": [{**proof.to_json(), "needed": proof.id in needed} for proof in found.proofs],
        "gate": found.gate.to_json(),
    }

    def show() -> None:
        _say_cautions(merged(*(proof.cautions for proof in found.proofs)))
        rows = [(p.id, p.setup, p.title, "yes" if p.id in needed else "", p.how) for p in found.proofs]
        table("proofs", ("proof", "where", "what", "needed", "how"), rows)

    emit(document, as_json, show)
    return 0


@prove_app.command("gate")
def prove_gate(
    board: BoardArgument,
    area: AreaOption,
    readings: ReadingsOption = None,
    evidence: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Results so far: CSV proof,passed,note.")
    ] = None,
    remedy: RemedyOption = None,
    types: TypesOption = None,
    as_json: JsonFlag = False,
) -> int:
    """Is anything that was touched left unproven? Exit status 1 while it is."""
    gate = _assessed(board, area, types, readings, evidence, remedy).gate

    def show() -> None:
        rows = [
            (i.subject, "; ".join(c.note or c.why for c in i.concerns), i.covered_by[:4] or i.reason)
            for i in gate.open
        ]
        table("not proven", ("what", "why it matters", "what would prove it"), rows)
        say(*gate.notes)
        say(
            "passed: nothing touched is left unproven"
            if gate.passed
            else f"not passed: {len(gate.open)} open"
        )

    emit(gate.to_json(), as_json, show)
    return 0 if gate.passed else 1
