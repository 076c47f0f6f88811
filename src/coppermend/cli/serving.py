"""``coppermend serve``: the bench, in a browser."""

from __future__ import annotations

import socket
import sys
from importlib import import_module
from types import FrameType
from typing import Annotated

import typer
import uvicorn

from coppermend.cli.record import DataOption, LinkOption, ShopOption
from coppermend.cli.tree import examples
from coppermend.errors import InputError

_HOST, _PORT = "127.0.0.1", 8390
_WAITING = 128


@examples(
    "coppermend serve",
    "coppermend serve --host 0.0.0.0 --data /srv/bench --bench-url http://bench.local:8390",
)
def serve(
    data: DataOption,
    host: Annotated[
        str, typer.Option("--host", help="Address to listen on; 0.0.0.0 lets phones of the shop in.")
    ] = _HOST,
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="Port to listen on.")] = _PORT,
    shop: ShopOption = "",
    bench_url: LinkOption = "",
) -> int:
    """Open the bench in a browser; it runs until Ctrl-C."""
    # Pages and commands are siblings that never import each other: the pages are found by their name.
    pages = import_module("coppermend.web.app").create_app(data, shop=shop, bench_url=bench_url)
    listening = _listen(host, port)
    print(f"The bench is open at http://{host}:{port}/  (stop with Ctrl-C)", file=sys.stderr, flush=True)
    _Bench(uvicorn.Config(pages, log_level="warning")).run(sockets=[listening])
    return 0


class _Bench(uvicorn.Server):
    """A server that, when stopped, first lets go of the pages that wait for news; it would wait for them for ever."""

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Stop, as asked by the signal ``sig``."""
        self.config.app.state.desk.closing.set()  # type: ignore[union-attr]
        super().handle_exit(sig, frame)


def _listen(host: str, port: int) -> socket.socket:
    """A socket that takes callers already.

    Raises:
        InputError: If the address is not this computer's, or the port is taken.
    """
    try:
        return socket.create_server(
            (host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET, backlog=_WAITING
        )
    except OSError as error:
        reason = (error.strerror or str(error)).partition(" (while")[0].lower()
        raise InputError(
            f"cannot listen on {host}, port {port}: {reason}",
            expected="an address of this computer and a free port; choose others with --host and --port",
        ) from None
