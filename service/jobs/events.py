"""How far a job is, as server-sent events (HTML Living Standard, section 9.2)."""

import asyncio
from collections.abc import AsyncIterator

from fastapi.concurrency import run_in_threadpool

from service.contract.refusals import NotFoundError, TooManyError
from service.store.store import Store

LOOK_SECONDS = 0.25
"""Between looks at a job: a person takes it for at once (our own rule, no source)."""
SIGN_OF_LIFE_SECONDS = 15.0
"""Well under the 30 to 60 s after which proxies commonly close what is silent (our own rule, no source)."""


class Streams:
    """The event streams that are open. most : how many may be."""

    def __init__(self, store: Store, most: int) -> None:
        self._store, self._most = store, most
        self._open = 0
        self.closing = False

    def of_job(self, job_id: str) -> AsyncIterator[str]:
        """Return the events of a job, one for each change, until it ends. Raises TooManyError."""
        if self._open >= self._most:
            raise TooManyError(f"{self._open} event streams are open already, the most that may be")
        return self._events(job_id)

    async def _events(self, job_id: str) -> AsyncIterator[str]:
        self._open += 1
        try:
            yield "retry: 2000\n\n"
            shown, silent_s = None, 0.0
            while not self.closing:
                try:
                    job = await run_in_threadpool(self._store.job, job_id)
                except NotFoundError:
                    return
                if job != shown:
                    yield f"event: job\ndata: {job.model_dump_json()}\n\n"
                    shown, silent_s = job, 0.0
                if job.state.is_ended:
                    return
                await asyncio.sleep(LOOK_SECONDS)
                silent_s += LOOK_SECONDS
                if silent_s >= SIGN_OF_LIFE_SECONDS:
                    yield ": still here\n\n"
                    silent_s = 0.0
        finally:
            self._open -= 1
