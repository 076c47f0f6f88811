"""``coppermend prove matrix`` and ``prove infer``: the walk through a switch matrix, and what odd reports mean."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from coppermend.cli.inputs import board_at, read_text
from coppermend.cli.output import JsonFlag, counted, emit, say, say_next, table
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.proving.infer import Inference, infer
from coppermend.proving.matrix import SwitchMatrix, matrix_of
from coppermend.proving.matrixfile import parse_matrix, parse_observations
from coppermend.proving.walk import Closure, Walk, walk_of

MatrixArgument = Annotated[
    Path,
    typer.Argument(
        metavar="FILE", help="Matrix (TOML: strobes, returns, positions, proven), or a board with one."
    ),
]


def _matrix_at(path: Path) -> SwitchMatrix:
    if path.suffix.lower() != ".zip" and not path.is_dir():
        return parse_matrix(read_text(path, "a matrix (TOML)"), str(path))
    found = matrix_of(board_at(path))
    if found is None:
        raise InputError("declares no matrix", expected="[matrix] with strobes and returns", where=str(path))
    return found


@examples("coppermend prove matrix matrix.toml")
def matrix_(file: MatrixArgument, as_json: JsonFlag = False) -> int:
    """List the fewest closures that prove every strobe and return, in the order to make them.

    Lines that a button in use has proven already are listed under proven in FILE and asked for no more. Further
    closures show shorts between neighbours that the others would leave unseen.
    """
    found = walk_of(_matrix_at(file))
    emit(found.to_json(), as_json, lambda: _show_walk(found, file))
    return 0


def _show_walk(walk: Walk, file: Path) -> None:
    if walk.closures:
        say("Start with everything open: nothing may be reported. Then, with one wire (through a diode, band to "
            "the strobe, where the switch has one):")  # fmt: skip
    for closure in (*walk.closures, *walk.extra):
        say(f"{closure.order:>3}  {_move(closure)}{f': {closure.name}' if closure.name else ''}")
        told = f"proves {' and '.join(closure.proves)}" if closure.proves else closure.why
        say(told or "proves its diode", indent=5)
    for name in walk.dedicated:
        say(f"  -  {name} to ground: a switch of its own")
    for left in walk.unreached:
        say(f"note: {' and '.join(left.lines)}: {left.reason}")
    say(
        f"{counted(len(walk.closures), 'closure')} and {len(walk.extra)} more to separate neighbours; "
        f"{counted(len(walk.proven_before), 'line')} proven before"
    )
    say("Write rows closed,reported to a CSV file, such as seen.csv.")
    say_next("prove", "infer", file, "--observations", "seen.csv")


def _move(closure: Closure) -> str:
    strobe, ret = closure.crossing
    return {
        "both": f"{strobe} to {ret}",
        "return": f"stay on {strobe}, other end to {ret}",
        "strobe": f"stay on {ret}, other end to {strobe}",
    }[closure.moves]


@examples("coppermend prove infer matrix.toml --observations seen.csv")
def infer_(
    file: MatrixArgument,
    observations: Annotated[
        Path,
        typer.Option(
            "--observations",
            metavar="FILE",
            help='What was closed and what was reported: CSV closed,reported, each a ";"-separated list of '
            "STROBE:RETURN.",
        ),
    ],
    as_json: JsonFlag = False,
) -> int:
    """Name the faults that explain what a switch matrix reported, and the closure that would tell most.

    In a lamp matrix closed is what was switched on, reported what lit. Exit status 1 when a fault is likelier
    than a sound matrix.
    """
    matrix = _matrix_at(file)
    seen = parse_observations(read_text(observations, "observations (CSV)"), matrix, str(observations))
    found = infer(matrix, seen)
    emit(found.to_json(), as_json, lambda: _show(found))
    return 1 if found.explanations[0].faults else 0


def _show(found: Inference) -> None:
    rows = [(f"{one.probability:.1%}", one.kind, one.lines, one.words) for one in found.explanations]
    table("what explains it", ("share", "fault", "at", "in words"), rows)
    for closed, ghosts in found.ghosts:
        say(
            f"note: with {', '.join(map(str, closed))} closed, {', '.join(map(str, ghosts))} is a ghost to be expected"
        )
    if found.next is None:
        say("No closure would tell these apart.")
    elif found.next.closed:
        names = [
            f"{c}{f' ({n})' if n else ''}" for c, n in zip(found.next.closed, found.next.names, strict=True)
        ]
        say(f"next: close {' and '.join(names)}, note what is reported, and ask again")
    else:
        say("next: open everything, note what is reported, and ask again")
