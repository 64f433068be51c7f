"""A little site of pages, scripts and solids, whose answers a test can change or stop; it notes what it was asked."""

import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

from service.pages import static_files
from service.web.wrapping import HEADERS

_KINDS = {".js": "text/javascript", ".css": "text/css", ".bin": "application/octet-stream"}


class SmallSite:
    """What is served: paths to texts or bytes; scripts come from the pages' own folder."""

    def __init__(self) -> None:
        self.served: dict[str, str | bytes] = {}
        self.broken: set[str] = set()
        self.slow: dict[str, float] = {}
        self.breaks_off: set[str] = set()
        self.asked: list[tuple[str, str]] = []
        self.address = ""
        self._server: ThreadingHTTPServer | None = None

    def start(self, port: int = 0) -> None:
        """Serve; at the port it had before, if it had one."""
        site = self

        class Handler(BaseHTTPRequestHandler):
            def log_message(self, *_: object) -> None:
                """Say nothing."""

            def do_GET(self) -> None:
                site._answer(self)

            def do_POST(self) -> None:
                self.rfile.read(int(self.headers.get("content-length", 0)))
                site._answer(self)

        self._server = ThreadingHTTPServer(("127.0.0.1", port), Handler)
        self._server.daemon_threads = True
        self.address = f"http://127.0.0.1:{self._server.server_port}"
        Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()

    def stop(self) -> None:
        """Refuse connections, as where there is no network."""
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None

    def start_again(self) -> None:
        """Serve at the same address."""
        self.start(int(self.address.rsplit(":", 1)[1]))

    @staticmethod
    def script(name: str) -> bytes:
        """Return one of the pages' own scripts."""
        return (static_files.FOLDER / name).read_bytes()

    def _answer(self, handler: BaseHTTPRequestHandler) -> None:
        path = handler.path.split("?")[0]
        self.asked.append((handler.command, path))
        time.sleep(self.slow.get(path, 0.0))
        if path in self.breaks_off:
            handler.close_connection = True  # it was taken, and no answer comes
            return
        found: str | bytes | None = self.served.get(path)
        if path.startswith("/static/"):
            found = self.script(path.removeprefix("/static/"))
        status = 503 if path in self.broken else 200 if found is not None else 404
        body = found if status == 200 and found is not None else b"no"
        data = body.encode() if isinstance(body, str) else body
        with suppress(ConnectionError):  # a browser that was closed meanwhile
            self._send(handler, status, path, data)

    @staticmethod
    def _send(handler: BaseHTTPRequestHandler, status: int, path: str, data: bytes) -> None:
        handler.send_response(status)
        for name, value in HEADERS.items():
            handler.send_header(name, value)
        handler.send_header("Content-Type", _KINDS.get(Path(path).suffix, "text/html; charset=utf-8"))
        handler.send_header("Content-Length", str(len(data)))
        handler.send_header("Cache-Control", "private, no-cache")
        handler.end_headers()
        handler.wfile.write(data)


@contextmanager
def small_site() -> Iterator[SmallSite]:
    """Serve while it is needed."""
    site = SmallSite()
    site.start()
    yield site
    site.stop()
