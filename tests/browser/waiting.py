"""What the tests in a browser wait for: a log that is read, a plan that is made."""

import re
import time
from collections.abc import Callable
from typing import Any

from kept_pages import Pages


def until(is_so: Callable[[], bool]) -> None:
    """Wait until something is so."""
    for _ in range(3000):
        if is_so():
            return
        time.sleep(0.1)
    raise AssertionError("it did not come to that")


def sample_planned(service: Pages, **asked: Any) -> tuple[str, str]:
    """Return the ids of the invented log, put in as a form does, and of a quick plan of it. asked : of the plan."""
    found = re.search(r"[0-9a-f]{32}", str(service.post("/logs/sample").url))
    assert found is not None
    log_id = found[0]
    until(lambda: service.get(f"/api/logs/{log_id}").json()["state"] == "ready")
    job = service.post(f"/api/logs/{log_id}/plans", json=asked).json()["id"]
    until(lambda: service.get(f"/api/jobs/{job}").json()["state"] == "done")
    return log_id, job
