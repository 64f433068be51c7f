"""Serves the application in a thread of the tests' own process."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import httpx
import uvicorn

from service.settings import Settings
from service.web.app import create_app
from service.web.serve import config_for


@contextmanager
def serving(settings: Settings) -> Iterator[httpx.Client]:
    server = uvicorn.Server(config_for(create_app(settings), settings.model_copy(update={"port": 0})))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the service did not start"
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=30.0) as client:
            yield client
    finally:
        server.should_exit = True
        thread.join()


def refused(answer: httpx.Response, status: int) -> str:
    """Return the message of an error, once it is in the one shape."""
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/json"
    error = answer.json()["error"]
    assert set(answer.json()) == {"error"}
    assert {"status", "message", "what_to_do"} <= set(error) <= {"status", "message", "field", "what_to_do"}
    assert error["status"] == status
    assert "\n" not in error["message"]
    assert error["what_to_do"]
    return str(error["message"])
