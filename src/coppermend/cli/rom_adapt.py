"""``coppermend rom adapt``: one modern device in place of old sockets, wired pin by pin and verified."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated

import typer

from coppermend.board.packages import with_package_pads
from coppermend.cli.inputs import BoardArgument, TypesOption, board_at, library_with, read_text
from coppermend.cli.output import JsonFlag, emit, say, table
from coppermend.cli.rom_inputs import assigned, bytes_at, write_image
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.quantity import parse_quantity
from coppermend.rom.adapt import plan_adapter
from coppermend.rom.adapter import (
    Adapter,
    Verification,
    adapter_image,
    apply_adapter,
    parse_wiring,
    replace_wires,
    verify_adapter,
    wires_with_nets,
)
from coppermend.rom.checksums import sums
from coppermend.rom.devices import get_device
from coppermend.rom.readmap import Socket, socket_of
from coppermend.rom.timing import AccessMargin, access_margin

_SEED = 28


@examples(
    "coppermend rom adapt boards/control U2,U3 --device 2764",
    "coppermend rom adapt boards/control U2,U3 --device 27256 --image U2=u2.bin --image U3=u3.bin -o burn.bin",
)
def adapt(
    board: BoardArgument,
    sockets: Annotated[str, typer.Argument(metavar="REFDES,REFDES", help="The old memories.")],
    device: Annotated[str, typer.Option("--device", metavar="NAME", help="The new device.")],
    host: Annotated[str, typer.Option("--host", metavar="REFDES", help="Socket that takes it; else the last.")] = "",
    image: Annotated[
        list[str] | None, typer.Option("--image", metavar="REFDES=FILE", help="Contents of an old memory; may repeat.")
    ] = None,
    level: Annotated[
        list[str] | None,
        typer.Option("--level", metavar="POINT=LEVEL", help="Level that selects, for mask ROMs: U2.20=low; may repeat."),
    ] = None,
    wiring: Annotated[
        Path | None, typer.Option("--wiring", metavar="CSV", help="Verify this wiring instead: rows pin,net.")
    ] = None,
    clock: Annotated[str, typer.Option("--clock", metavar="HZ", help="The CPU's clock; else the board's.")] = "",
    out: Annotated[Path | None, typer.Option("-o", "--out", metavar="FILE", help="Write the image to burn.")] = None,
    types: TypesOption = None, as_json: JsonFlag = False,
) -> int:  # fmt: skip
    """Plan an adapter pin by pin, verify it at all 65,536 CPU addresses, and say how much access time is left.

    Nets are chosen by what they do, not by their names. Without images the wiring is verified with random contents.
    Status 1 when the CPU would read anything else than before, or the device is too slow.
    """
    loaded, library = with_package_pads(board_at(board)), library_with(types)
    levels = {
        point: _is_high(word) for point, word in assigned(level or [], "POINT=low or POINT=high").items()
    }
    old = [socket_of(loaded, library, name.strip(), levels) for name in sockets.split(",") if name.strip()]
    planned = plan_adapter(loaded, library, old, get_device(device), host)
    wired = _as_wired(planned, wiring) if wiring else planned
    given = _images(image or [], old)
    checked = verify_adapter(loaded, library, wired, given or _random_contents(old))
    hertz = parse_quantity(clock, "Hz") if clock else None
    margin = access_margin(apply_adapter(loaded, library, wired), library, wired.host, wired.device, hertz)
    burnt = adapter_image(wired, given) if given else None
    if out:
        if burnt is None:
            raise InputError("--out without images", expected="--image REFDES=FILE for each old memory")
        write_image(out, burnt, 0)
    document = {
        **wired.to_json(), "verification": {**checked.to_json(), "contents": "given" if given else "random"},
        "access": margin.to_json(), "sums": sums(burnt) if burnt else None, "file": str(out) if out else None,
    }  # fmt: skip
    emit(document, as_json, lambda: _show(wired, checked, margin, burnt, out))
    return 0 if checked.passed and margin.margin_ns >= 0 else 1


def _is_high(word: str) -> bool:
    if word not in ("low", "high"):
        raise InputError(f"level {word!r}", expected="low or high")
    return word == "high"


def _images(words: Sequence[str], sockets: Sequence[Socket]) -> dict[str, bytes]:
    """Contents by refdes; {} when none is given, an error when only some are."""
    files = assigned(words, "REFDES=FILE, each once")
    names = {socket.refdes for socket in sockets}
    if files and set(files) != names:
        raise InputError(
            f"images for {', '.join(files)}", expected=f"one for each of {', '.join(sorted(names))}"
        )
    made = {}
    for socket in sockets:
        if socket.refdes in files:
            data = bytes_at(Path(files[socket.refdes]))
            if len(data) != socket.device.bytes:
                raise InputError(
                    f"holds {len(data):,} bytes", expected=f"{socket.device.bytes:,}, all of a {socket.device.name}",
                    where=files[socket.refdes],
                )  # fmt: skip
            made[socket.refdes] = data
    return made


def _random_contents(sockets: Sequence[Socket]) -> Mapping[str, bytes]:
    # Any two wirings that differ at some address read differently from random bytes, all but surely.
    rng = random.Random(_SEED)
    return {socket.refdes: rng.randbytes(socket.device.bytes) for socket in sockets}


def _as_wired(planned: Adapter, path: Path) -> Adapter:
    nets = parse_wiring(read_text(path, "rows pin,net (CSV)"), planned.device, str(path))
    return replace_wires(planned, wires_with_nets(planned, nets))


def _show(
    adapter: Adapter, checked: Verification, margin: AccessMargin, burnt: bytes | None, out: Path | None
) -> None:
    say(
        f"a {adapter.device.name} in place of {', '.join(s.refdes for s in adapter.sockets)}, in socket {adapter.host}"
    )
    slots = [(s.refdes, f"{s.cpu_first:04X}", f"{s.cpu_last:04X}", f"{s.offset:04X}") for s in adapter.slots]
    table("images", ("from", "CPU from", "to", "offset"), slots)
    rows = [
        (w.pin, w.name, w.net or "-", w.source or "-", w.how, f"{w.length_mm:.0f}" if w.length_mm else "")
        for w in adapter.wires
    ]
    table("wires", ("pin", "name", "net", "from", "how", "mm"), rows)
    table(
        "gates",
        ("gate", "type", "inputs", "output"),
        [(g.refdes, g.type, g.inputs, g.output) for g in adapter.gates],
    )
    say(*(f"note: {note}" for note in adapter.notes))
    wrong = [(f"{a:04X}", _byte(b), _byte(c)) for a, b, c in checked.first_wrong]
    table("wrong", ("address", "before", "after"), wrong)
    say(
        f"simulated 65,536 addresses: {checked.right:,} of {checked.intended:,} bytes right, {checked.wrong:,} addresses "
        f"wrong, {checked.driven_on_write:,} driven during writes"
    )
    paths = [
        (p.name, p.through or "-", f"{p.delay_ns:g}", f"{p.device_ns:g}", f"{p.total_ns:g}")
        for p in margin.paths
    ]
    table(
        f"access time, {margin.available_ns:.0f} ns available",
        ("path", "through", "logic ns", "device ns", "ns"),
        paths,
    )
    say(f"margin {margin.margin_ns:.0f} ns, worst case ({margin.source})")
    if burnt and out:
        say(f"image to burn written to {out}; sum16 {sums(burnt)['sum16']}")
    say("verified" if checked.passed else "NOT verified: do not fit it like this")


def _byte(value: int) -> str:
    return f"{value:02X}" if value >= 0 else {-1: "silent", -2: "not known", -3: "conflict"}[value]
