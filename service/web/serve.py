"""Runs the service on this machine: `pithline serve` and `pithline passphrase`."""

import signal
import socket
import sys
from pathlib import Path
from typing import Any

import typer
import uvicorn
from fastapi import FastAPI
from pydantic import ValidationError

from optimizer.documents.typed import one_line
from scans.messages import named
from service.settings import Settings
from service.store.passphrase import check_reach, keep_passphrase
from service.typed.errors import InputError
from service.web.slow_clients import PatientProtocol

_GRACE_SECONDS = 1
"""What is being answered when the service is told to end may take so long (our own rule, no source)."""
_KEEP_ALIVE_SECONDS = 10
"""So long an idle connection is kept (our own rule, no source)."""
_MORE_CONNECTIONS = 300
"""Beside the event streams, which hold one each (our own rule, no source)."""
_MOST_HEADER_BYTES = 32_768
"""Of one request's headers (our own rule, no source)."""


def settings_from(given: dict[str, Any]) -> Settings:
    """Return the settings of the environment, with what was typed before them. Raises InputError."""
    try:
        return Settings(**{name: value for name, value in given.items() if value is not None})
    except ValidationError as error:
        raise InputError(f"{one_line(error)} (a setting; pithline serve --settings lists all)") from None
    except ValueError as error:  # what cannot be parsed in the environment
        raise InputError(f"a PITHLINE_ variable cannot be read: {error}") from None


def serve(given: dict[str, Any]) -> None:
    """Serve until the process is told to end. Raises InputError."""
    settings = settings_from(given)
    check_reach(settings)
    with _listen(settings.host, settings.port) as listening:
        from service.desk import open_desk  # noqa: PLC0415
        from service.web.app import create_app  # noqa: PLC0415 - a second that what is wrong need not wait for

        desk = open_desk(settings)
        try:
            app = create_app(settings, desk)
        except InputError:
            desk.close()
            raise
        host, port = listening.getsockname()[:2]
        shown = f"[{host}]" if ":" in host else host
        scheme = "https" if settings.certificate_file else "http"
        # What ends a service in the usual way is no error.
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
        said = (
            f"Open {scheme}://{shown}:{port} in your browser. Your logs are in {settings.data_folder}. Ctrl-C stops it."
        )
        server = _Server(config_for(app, settings), app, said)
        server.run(sockets=[listening])


class _Server(uvicorn.Server):
    """Says where it is once it can be asked, and tells jobs and streams at once when it is to end."""

    def __init__(self, config: uvicorn.Config, app: FastAPI, said: str) -> None:
        super().__init__(config)
        self._app, self._said = app, said

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start, and say so."""
        await super().startup(sockets)
        if self.started:
            typer.echo(self._said)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End; open streams would keep it as long as it may be kept."""
        self._app.state.streams.closing = True
        self._app.state.runner.stop_taking()
        await super().shutdown(sockets)


def config_for(app: FastAPI, settings: Settings) -> uvicorn.Config:
    """Return how the server is to run."""
    return uvicorn.Config(
        app,
        host=settings.host,
        port=settings.port,
        log_level="warning",
        lifespan="on",
        http=PatientProtocol,
        timeout_keep_alive=_KEEP_ALIVE_SECONDS,
        # Streams hold a connection each; uploads and pages need some beside them.
        limit_concurrency=settings.most_streams + _MORE_CONNECTIONS,
        h11_max_incomplete_event_size=_MOST_HEADER_BYTES,
        server_header=False,
        proxy_headers=settings.behind_https,
        timeout_graceful_shutdown=_GRACE_SECONDS,
        ssl_certfile=settings.certificate_file,
        ssl_keyfile=settings.key_file,
    )


def _listen(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # With the protocol named, the event loop sends small answers at once, which else wait 40 ms for an acknowledgement.
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError as error:
        listening.close()
        raise InputError(
            f"port {port} of {host} cannot be had: {error.strerror or error}; name another with {named('port')}"
        ) from None
    return listening


def settings_text() -> str:
    """Return all settings: name, default, what each is for."""
    lines = ["Set these as environment variables. The default is in brackets:"]
    for name, field in Settings.model_fields.items():
        default = "" if field.default is None or field.is_required() else field.get_default(call_default_factory=True)
        shown = " ".join(map(str, default)) if isinstance(default, tuple) else str(default)
        lines += [f"PITHLINE_{name.upper()}" + (f"  [{shown}]" if shown else ""), f"    {field.description}"]
    return "\n".join(lines) + "\n"


def set_passphrase(passphrase: str, data: Path | None) -> None:
    """Keep a new passphrase. Raises InputError."""
    keep_passphrase(passphrase, settings_from({"data_folder": data}).data_folder)
    typer.echo(
        "The new passphrase is set. Stop `pithline serve` and start it again to use it; then everybody signs in again."
    )
