"""The service in a thread of the tests' own process, asked over 127.0.0.1; its jobs run in processes as always."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from served import serving
from small_log import MILL, PRICES, STRAIGHT

from service.settings import Settings
from service.typed import files

WAIT_SECONDS = 300.0


@pytest.fixture(scope="module")
def own_files(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Start with the mill and prices of the small log as the user's own."""
    folder = tmp_path_factory.mktemp("own")
    (folder / files.MILL_FILE).write_text(MILL)
    (folder / files.PRICES_FILE).write_text(PRICES)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(files, "users_folder", lambda: folder)
        yield folder


@pytest.fixture(scope="module")
def client(own_files: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:  # noqa: ARG001
    """A service with one slot, empty but for a mill and a price book."""
    with serving(Settings(data_folder=tmp_path_factory.mktemp("data"), free_bytes=0)) as client:
        yield client


Ended = Callable[[str], dict[str, Any]]


@pytest.fixture(scope="module")
def ended(client: httpx.Client) -> Ended:
    """Wait for a job to end, and return it."""

    def wait(job_id: str) -> dict[str, Any]:
        until = time.monotonic() + WAIT_SECONDS
        while time.monotonic() < until:
            job: dict[str, Any] = client.get(f"/api/jobs/{job_id}").json()
            if job["ended_at"] is not None:
                return job
            time.sleep(0.05)
        raise AssertionError(f"the job did not end within {WAIT_SECONDS:g} s: {job}")

    return wait


@pytest.fixture(scope="module")
def log_id(client: httpx.Client, ended: Ended) -> str:
    """A small log that was read."""
    added = client.post("/api/logs", files={"file": ("log.toml", STRAIGHT)}).json()
    assert ended(added["job"]["id"])["state"] == "done"
    return str(added["log"]["id"])
