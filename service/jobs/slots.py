"""Where jobs run: a slot does one job at a time, and can be stopped alone.

By default each slot is a pool of one process of its own: in a shared pool one killed process would break every
job. Any other `concurrent.futures.Executor` serves too, such as that of a cluster; there a job is stopped by the
flag in the database alone, as nothing here can reach its process.
"""

import importlib
import logging
import multiprocessing
import os
import signal
import threading
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from multiprocessing.connection import wait
from multiprocessing.context import SpawnContext, SpawnProcess
from typing import Any, Protocol

from service.jobs.work import Order, work_off
from service.process_memory import takes_over
from service.settings import Settings
from service.typed.errors import InputError

_NICENESS = 10
"""Whoever looks at a page goes before a search that takes all cores."""
_LOGGER = logging.getLogger(__name__)


class Slot(Protocol):
    """Where one job at a time runs."""

    def is_ready(self) -> bool:
        """Whether it can take a job."""

    def submit(self, order: Order) -> Future[None]:
        """Begin a job."""

    def takes_over(self, most_bytes: int) -> bool:
        """Whether what runs takes more memory than that, as far as can be told."""

    def stop(self) -> bool:
        """End what runs, at once; return whether that was possible."""

    def close(self) -> None:
        """End what runs, and take no more."""


class _Context(SpawnContext):
    """Keeps the process that a pool starts, as a pool hands it to nobody, and it must be killed while it starts too."""

    started: SpawnProcess | None = None

    def Process(self, *args: Any, **named: Any) -> SpawnProcess:  # type: ignore[override]  # noqa: N802 - its name there
        """Make the process."""
        self.started = SpawnProcess(*args, **named)
        return self.started


class ProcessSlot:
    """A process of its own, in a process group of its own, so that what it started is stopped with it."""

    def __init__(self) -> None:
        self._begin()

    def _begin(self) -> None:
        self._context = _Context()
        self._pool = ProcessPoolExecutor(1, mp_context=self._context, initializer=_lead_own_group)
        self._pid = self._pool.submit(os.getpid)

    def is_ready(self) -> bool:
        """Whether the process is up; one that died while idle is made anew."""
        if not self._pid.done():
            return False
        if self._pid.exception() is not None or self._is_broken():
            self._renew()
            return False
        return True

    def _is_broken(self) -> bool:
        try:
            os.kill(self._pid.result(), 0)
        except ProcessLookupError:
            return True
        return False

    @property
    def pid(self) -> int | None:
        """The process's id; None until it is up."""
        up = self._pid.done() and self._pid.exception() is None
        return self._pid.result() if up else None

    def submit(self, order: Order) -> Future[None]:
        """Begin a job."""
        return self._pool.submit(work_off, order)

    def takes_over(self, most_bytes: int) -> bool:
        """Whether the process takes more memory than that, with all that it started."""
        return self.pid is not None and takes_over(self.pid, most_bytes)

    def stop(self) -> bool:
        """Kill the process with all that it started, and make another."""
        self._kill()
        self._renew()
        return True

    def close(self) -> None:
        """Kill the process with all that it started."""
        self._kill()
        self._pool.shutdown(wait=False, cancel_futures=True)

    def _renew(self) -> None:
        self._pool.shutdown(wait=False, cancel_futures=True)
        self._begin()

    def _kill(self) -> None:
        process = self._context.started
        if process is None or process.pid is None:
            return
        _kill_group(process.pid)
        # Before it is up it leads no group.
        process.kill()


class ExecutorSlot:
    """A place in some other executor, which several slots may share."""

    def __init__(self, executor: Executor) -> None:
        self._executor = executor

    def is_ready(self) -> bool:
        """Whether it can take a job: the executor may let it wait."""
        return True

    def submit(self, order: Order) -> Future[None]:
        """Begin a job."""
        return self._executor.submit(work_off, order)

    def takes_over(self, most_bytes: int) -> bool:  # noqa: ARG002
        """Never, as it cannot be told."""
        return False

    def stop(self) -> bool:
        """Leave it to the flag in the database."""
        return False

    def close(self) -> None:
        """Take no more; what runs elsewhere goes on until it looks at the database."""
        self._executor.shutdown(wait=False, cancel_futures=True)


def slots_for(settings: Settings) -> list[Slot]:
    """Return the slots that the settings ask for. Raises InputError for an executor that cannot be had."""
    if settings.executor is None:
        return [ProcessSlot() for _ in range(settings.slots)]
    executor = _executor(settings.executor)
    return [ExecutorSlot(executor) for _ in range(settings.slots)]


def _executor(name: str) -> Executor:
    module, _, function = name.partition(":")
    try:
        make = getattr(importlib.import_module(module), function)
    except (ImportError, AttributeError, ValueError) as error:
        raise InputError(
            f"executor must be module:function of something installed, got {name}: {error}; {_MEND_EXECUTOR}"
        ) from None
    try:
        made = make()
    except Exception as error:  # whatever somebody else's function raises
        raise InputError(f"executor {name} could not be made: {error!r}; {_MEND_EXECUTOR}") from error
    if not isinstance(made, Executor):
        raise InputError(f"executor {name} must return a concurrent.futures.Executor, got {made!r}; {_MEND_EXECUTOR}")
    return made


_MEND_EXECUTOR = "fix PITHLINE_EXECUTOR"


def _lead_own_group() -> None:
    """Prepare a worker: away from the terminal's keys, and gone when the server is gone."""
    if hasattr(os, "setsid"):
        os.setsid()
        os.nice(_NICENESS)
    logging.basicConfig(level=logging.WARNING)
    parent = multiprocessing.parent_process()
    if parent is None:
        return
    sentinel = parent.sentinel

    def leave_with_server() -> None:
        # The server may be killed: nobody would stop the job then, and the next server begins it anew.
        wait([sentinel])
        _kill_group(os.getpid())

    threading.Thread(target=leave_with_server, daemon=True).start()


def _kill_group(leader: int) -> None:
    try:
        if hasattr(os, "killpg"):
            os.killpg(leader, signal.SIGKILL)
        else:
            os.kill(leader, signal.SIGTERM)
    except ProcessLookupError:
        _LOGGER.debug("process %s is gone already", leader)
