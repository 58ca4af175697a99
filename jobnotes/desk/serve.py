"""The desk served: one process, uvicorn, the workshop's own thread for hearing beside it."""

from __future__ import annotations

import socket
import ssl
import threading
from collections.abc import Callable
from pathlib import Path

import uvicorn

from jobnotes.desk.app import make_app
from jobnotes.desk.guard import LOOPBACK
from jobnotes.desk.hearing import HearingThread
from jobnotes.desk.patience import PatientProtocol, allow_many_connections
from jobnotes.desk.state import Desk
from jobnotes.errors import JobnotesError
from jobnotes.files import reason
from jobnotes.store import Workshop


def serve(
    folder: Path | None,
    *,
    host: str,
    port: int,
    tls: tuple[Path, Path] | None,
    speech_model: str | None,
    show: Callable[[str], None],
    tell: Callable[[str], None],
) -> None:
    """Serves until Ctrl-C or a signal to end. `show` is given the address once it can be opened.

    Raises JobnotesError where the address is taken or the certificate can't be used.
    """
    allow_many_connections()
    listening = _listening(host, port)
    port = listening.getsockname()[1]
    with Workshop(folder) as workshop:
        workshop.sweep()
        hearing = HearingThread(workshop, speech_model=speech_model)
        desk = Desk(workshop, hearing, secure=tls is not None)
        app = make_app(desk, hosts=None if tls else {*LOOPBACK, _bracketed(host)})
        server = uvicorn.Server(_config(app, tls))
        first = not workshop.people.any()
        address = f"{'https' if tls else 'http'}://{_bracketed(host)}:{port}/"
        show(f"The desk is open: {address}" + (f"set-up?code={desk.set_up_code}" if first else ""))
        if first:
            tell("Nobody has an account yet: the address makes the first one, of the owner.")
        hearing.start()
        threading.Thread(target=desk.warm_up, name="warm-up", daemon=True).start()
        try:
            server.run(sockets=[listening])
        finally:
            hearing.stop()


def _config(app: object, tls: tuple[Path, Path] | None) -> uvicorn.Config:
    assert callable(app)
    config = uvicorn.Config(
        app,
        http=PatientProtocol,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        ws="none",
        timeout_keep_alive=20,
        timeout_graceful_shutdown=2,
        ssl_certfile=None if tls is None else str(tls[0]),
        ssl_keyfile=None if tls is None else str(tls[1]),
    )
    if tls is not None:
        try:
            config.load()
        except (ssl.SSLError, OSError, ValueError) as error:
            raise JobnotesError(
                f"{tls[0]} and {tls[1]} can't be used as certificate and key: {error}."
            ) from error
    return config


def _listening(host: str, port: int) -> socket.socket:
    bare = host.strip("[]")
    family = socket.AF_INET6 if ":" in bare else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((bare, port))
        # From here on a browser that comes too early waits, and is not turned away.
        listening.listen(128)
    except OSError as error:
        listening.close()
        raise JobnotesError(
            f"{host}, port {port} can't be served: {reason(error)}; another desk may be open, or give --port."
        ) from error
    return listening


def _bracketed(host: str) -> str:
    bare = host.strip("[]")
    return f"[{bare}]" if ":" in bare else bare
