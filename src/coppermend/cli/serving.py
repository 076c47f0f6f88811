"""``coppermend serve``: the bench, in a browser."""

from __future__ import annotations

import gc
import socket
import ssl
import sys
from importlib import import_module
from pathlib import Path
from threading import Thread
from types import FrameType
from typing import Annotated, Any
from urllib.parse import urlsplit

import typer
import uvicorn

from coppermend.cli.record import DataOption, LinkOption, ShopOption
from coppermend.cli.tree import examples
from coppermend.errors import InputError
from coppermend.job.people import People
from coppermend.job.store import Store

_HOST, _PORT = "127.0.0.1", 8390
_WAITING = 128
_LOCAL = ("127.0.0.1", "localhost", "::1")
_UNSEALED = (
    "Passphrases cross this network in the clear, and phones lend no camera to such a page; "
    "give --certificate and --key for https."
)


@examples(
    "coppermend serve",
    "coppermend serve --host 0.0.0.0 --certificate bench.pem --key bench.key --data /srv/bench",
)
def serve(
    data: DataOption,
    host: Annotated[
        str,
        typer.Option("--host", help="Address to listen on; 0.0.0.0 lets people of the shop in who sign in."),
    ] = _HOST,
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="Port to listen on.")] = _PORT,
    shop: ShopOption = "",
    bench_url: LinkOption = "",
    certificate: Annotated[
        Path | None, typer.Option("--certificate", metavar="FILE", help="Certificate (PEM), for https.")
    ] = None,
    key: Annotated[
        Path | None, typer.Option("--key", metavar="FILE", help="Private key of the certificate (PEM).")
    ] = None,
) -> int:
    """Open the bench in a browser; it runs until Ctrl-C."""
    local = host in _LOCAL
    if not local:
        _check_door(data)
    _check_certificate(certificate, key)
    # Pages and commands are siblings that never import each other: the pages are found by their name.
    pages = import_module("coppermend.web.app").create_app(
        data, shop=shop, bench_url=bench_url, named=not local, hosts=_names(bench_url) if local else ()
    )
    listening = _listen(host, port)
    scheme = "https" if certificate else "http"
    print(f"The bench is open at {scheme}://{host}:{port}/  (stop with Ctrl-C)", file=sys.stderr, flush=True)
    if not local and not certificate:
        print(_UNSEALED, file=sys.stderr, flush=True)
    Thread(target=_get_ready, args=(pages.state.desk,), daemon=True).start()
    _Bench(uvicorn.Config(pages, log_level="warning", ssl_certfile=certificate, ssl_keyfile=key)).run(
        sockets=[listening]
    )
    return 0


def _get_ready(desk: Any) -> None:
    """Work out beside the first pages what later ones rest on; what stays is then left out of rubbish collection.

    A full collection over all of it takes some 200 ms of a page's time now and then.
    """
    desk.get_ready()
    gc.collect()
    gc.freeze()


def _check_door(data: Path) -> None:
    """See that somebody can sign in before the network is let in.

    Raises:
        InputError: If nobody can.
    """
    with Store.open(data) as store:
        if not People(store.engine).all():
            raise InputError(
                "nobody may sign in yet, and on a network the bench is not open to everybody",
                expected='at least one person: coppermend people add "NAME"',
            )


def _check_certificate(certificate: Path | None, key: Path | None) -> None:
    """See that certificate and key belong together.

    Raises:
        InputError: If one is missing or they cannot be used.
    """
    if certificate is None and key is None:
        return
    if certificate is None or key is None:
        raise InputError("only one of --certificate and --key is given", expected="both")
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key)
    except (OSError, ssl.SSLError) as error:
        reason = error.strerror or str(error)
        raise InputError(
            f"certificate and key cannot be used: {reason}",
            where=str(certificate),
            expected="a PEM certificate and the PEM key that belongs to it",
        ) from None


def _names(bench_url: str) -> tuple[str, ...]:
    named = urlsplit(bench_url).hostname
    return (*_LOCAL, named) if named else _LOCAL


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
