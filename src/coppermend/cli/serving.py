"""``coppermend serve``: the bench, in a browser."""

from __future__ import annotations

import os
import socket
import sys
from typing import Annotated

import typer
import uvicorn

from coppermend.cli.record import DataOption
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.job.home import DATA_VARIABLE
from coppermend.job.store import Store

_HOST, _PORT = "127.0.0.1", 8390
_WAITING = 128


@examples("coppermend serve", "coppermend serve --host 0.0.0.0 --port 8390 --data /srv/bench")
def serve(
    data: DataOption,
    host: Annotated[
        str, typer.Option("--host", help="Address to listen on; 0.0.0.0 lets phones of the shop in.")
    ] = _HOST,
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="Port to listen on.")] = _PORT,
) -> int:
    """Open the bench in a browser; it runs until Ctrl-C."""
    Store.open(data).close()  # an unusable record is told before anything listens
    listening = _listen(host, port)
    # Pages and commands are siblings: the server is told by name what to run, and where the record is.
    os.environ[DATA_VARIABLE] = str(data)
    print(f"The bench is open at http://{host}:{port}/  (stop with Ctrl-C)", file=sys.stderr, flush=True)
    config = uvicorn.Config("coppermend.web.app:app_from_environment", factory=True, log_level="warning")
    uvicorn.Server(config).run(sockets=[listening])
    return 0


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
