"""Records put straight into a service's store, so that pages show them without a job."""

import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import httpx
import uvicorn

from optimizer.documents.plan import PlanDocument
from service.contract import job_state
from service.contract.documents import PlanRequest
from service.contract.log_given import log_facts
from service.desk import Desk
from service.settings import Settings
from service.store.log_file import pack_log
from service.typed.files import SHEET_FILE, read_sample
from service.typed.log_reading import LogRead
from service.web.app import create_app
from service.web.serve import config_for

NASTY = "<script>alert('x')</script> & \"maple\""


@dataclass(frozen=True)
class Planned:
    """A log and what was planned of it."""

    read: LogRead
    document: PlanDocument


class Pages(httpx.Client):
    """Asks for pages of a service whose desk is at hand."""

    desk: Desk


@contextmanager
def pages_of(settings: Settings) -> Iterator[Pages]:
    """Serve the application in a thread of this process."""
    app = create_app(settings)
    server = uvicorn.Server(config_for(app, settings.model_copy(update={"port": 0})))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the service did not start"
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    try:
        with Pages(base_url=f"http://127.0.0.1:{port}", timeout=60.0, follow_redirects=True) as client:
            client.desk = app.state.desk
            yield client
    finally:
        server.should_exit = True
        thread.join()


def desk_of(client: Pages) -> Desk:
    return client.desk


def keep_log(client: Pages, read: LogRead, name: str = "Lane maple") -> str:
    """Put a log that was read into the store; return its id."""
    desk = desk_of(client)
    sample = read_sample(SHEET_FILE).data + f"# {name}".encode()
    log = desk.add_scan(sample, SHEET_FILE, name).log
    assert log.job_id is not None
    job = desk.store.step_job(log.job_id, job_state.started)
    assert job is not None
    desk.store.finish_read(job.id, job.attempt, desk.files.add(pack_log(read)), log_facts(read), read.marks)
    return log.id


def keep_plan(client: Pages, log_id: str, document: PlanDocument) -> str:
    """Put a plan into the store; return its id."""
    desk = desk_of(client)
    job = desk.store.step_job(desk.start_plan(log_id, PlanRequest()).id, job_state.started)
    assert job is not None
    desk.store.finish_plan(job.id, job.attempt, document.model_copy(update={"id": job.id}))
    return job.id


def wrongs(text: str) -> list[str]:
    """Return what a page says is wrong, field by field."""
    return [found.strip() for found in re.findall(r'<p class="wrong"[^>]*>([^<]*)</p>', text) if found.strip()]
