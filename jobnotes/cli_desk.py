"""The command of the desk: wiring only. What is heavy is imported inside it."""

from __future__ import annotations

import ipaddress
from pathlib import Path

import click

from jobnotes.cli_paths import SOMEWHERE
from jobnotes.cli_workshop import WORKSHOP
from jobnotes.errors import JobnotesError
from jobnotes.terminal import show, tell

PORT = 8765


@click.command()
@WORKSHOP
@click.option(
    "--port", type=click.IntRange(0, 65_535), default=PORT, show_default=True, help="0 takes a free one."
)
@click.option(
    "--host",
    metavar="ADDRESS",
    default="127.0.0.1",
    show_default=True,
    help="Where to serve. Others than this machine's own need --tls-cert and --tls-key.",
)
@click.option("--tls-cert", metavar="FILE", type=SOMEWHERE, help="The certificate, PEM.")
@click.option("--tls-key", metavar="FILE", type=SOMEWHERE, help="Its private key, PEM.")
@click.option(
    "--speech-model",
    metavar="NAME|FOLDER",
    envvar="JOBNOTES_SPEECH_MODEL",
    help="Another speech model, as for `jobnotes read`.",
)
def desk(
    folder: Path | None,
    port: int,
    host: str,
    tls_cert: Path | None,
    tls_key: Path | None,
    speech_model: str | None,
) -> None:
    """Serve the web pages on which memos are taken in, drafts put right, and sheets signed.

    Open the address that it shows in a browser. At the first run that address holds a code, with which the
    owner's account is made. Ctrl-C ends it; a memo that is being heard goes on at the next start.

    Only this machine reaches it, unless --host names another address; that needs a certificate, so that
    passwords and recordings are not read on the way.
    """
    _refuse_open(host, tls_cert, tls_key)
    from jobnotes.desk.serve import serve

    serve(
        folder,
        host=host,
        port=port,
        tls=(tls_cert, tls_key) if tls_cert and tls_key else None,
        speech_model=speech_model,
        show=show,
        tell=tell,
    )


def _refuse_open(host: str, cert: Path | None, key: Path | None) -> None:
    if (cert is None) != (key is None):
        raise click.UsageError("Give --tls-cert and --tls-key together.")
    for file in (cert, key):
        if file is not None and not file.is_file():
            raise JobnotesError(f"There is no file {file}.")
    if cert is None and not _is_loopback(host):
        raise click.UsageError(
            f"--host {host} can be reached from elsewhere; that needs --tls-cert and --tls-key."
        )


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False
