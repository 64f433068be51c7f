"""The service that is soaked, as a process: started, watched, killed, and started again on the same folder."""

import os
import random
import re
import signal
import subprocess
import sys
import time
import uuid
from pathlib import Path
from threading import Event, Thread

import psutil
from soak_ledger import Faults

START_SECONDS = 90.0
END_SECONDS = 30.0
GONE_SECONDS = 15.0
_SAID = re.compile(r"http://127\.0\.0\.1:\d+")
_COMMAND = [sys.executable, "-c", "from service.cli.command_line import main; main()", "serve", "--port", "0"]


class Service:
    """A server on a folder of its own. generation : counts the lives, and changes before each is ended."""

    def __init__(self, folder: Path, faults: Faults) -> None:
        self.folder, self.data, self.faults = folder, folder / "data", faults
        self.temporary = folder / "tmp"
        self.temporary.mkdir()
        self.up = Event()
        self.address = ""
        self.generation = 0
        self._mark = uuid.uuid4().hex
        self._life = 0
        self._process: subprocess.Popen[bytes] | None = None
        root = Path(__file__).parents[2]
        own = {
            "XDG_CONFIG_HOME": str(folder / "home"), "PYTHONPATH": str(root), "PITHLINE_FREE_BYTES": "0",
            "PITHLINE_SLOTS": "2", "TMPDIR": str(self.temporary), "SOAK_MARK": self._mark,
        }  # fmt: skip
        self._environment = {k: v for k, v in os.environ.items() if not k.startswith("PITHLINE_")} | own

    @property
    def said_path(self) -> Path:
        """Where all that the server says on its standard error is kept."""
        return self.folder / "server.err"

    @property
    def process(self) -> psutil.Process:
        """The server."""
        return psutil.Process(self._process.pid)

    def has_ended(self) -> bool:
        """Whether the server is gone, by itself or not."""
        return self._process is None or self._process.poll() is not None

    def start(self) -> None:
        """Start the server, and wait until it answers. Raises RuntimeError where it does not."""
        self._life += 1
        out_path = self.folder / f"server_{self._life}.out"
        with out_path.open("wb") as out, self.said_path.open("ab") as err:
            self._process = subprocess.Popen(
                [*_COMMAND, "--data", str(self.data)],
                stdout=out, stderr=err, env=self._environment, cwd=self.folder, start_new_session=True,
            )  # fmt: skip
        until = time.monotonic() + START_SECONDS
        while (said := _SAID.search(out_path.read_text())) is None:
            if self.has_ended() or time.monotonic() > until:
                raise RuntimeError(f"the service did not start: {self.said_path.read_text()[-2000:]}")
            time.sleep(0.05)
        self.address = said[0]
        self.up.set()

    def workers(self) -> list[psutil.Process]:
        """Return the processes that the server started, and those that these did."""
        try:
            every = self.process.children(recursive=True)
        except psutil.NoSuchProcess:
            return []
        return [process for process in every if _works(process)]

    def all_marked(self) -> list[psutil.Process]:
        """Return all processes that come from this soak's servers, wherever they hang by now."""
        found = []
        for process in psutil.process_iter():
            try:
                is_ours = process.environ().get("SOAK_MARK") == self._mark
                if is_ours and process.status() != psutil.STATUS_ZOMBIE:
                    found.append(process)
            except (psutil.Error, OSError):
                continue
        return found

    def end(self, how: signal.Signals) -> None:
        """End the server, and see that all that it started is gone soon."""
        self.up.clear()
        self.generation += 1
        self._process.send_signal(how)
        try:
            code = self._process.wait(END_SECONDS)
        except subprocess.TimeoutExpired:
            self.faults.add("stuck", f"the server did not end within {END_SECONDS:g} s of SIG{how.name[3:]}")
            self._process.kill()
            code = self._process.wait()
        if how is signal.SIGTERM and code != 0:
            self.faults.add("unexpected", f"the server ended with {code} after SIGTERM, not 0")
        until = time.monotonic() + GONE_SECONDS
        while (left := self.all_marked()) and time.monotonic() < until:
            time.sleep(0.1)
        for process in left:
            self.faults.add(
                "orphans", f"process {process.pid} was left {GONE_SECONDS:g} s after its server: {_told(process)}"
            )

    def destroy(self) -> None:
        """Kill what is left of the server and of all that it started."""
        self.up.clear()
        self.generation += 1
        if not self.has_ended():
            os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait()
        for process in self.all_marked():
            try:
                process.kill()
            except psutil.NoSuchProcess:
                continue


class Killer(Thread):
    """Kills a random victim now and then. spares_server : whether workers alone are killed."""

    def __init__(self, service: Service, seconds: float, seed: int) -> None:
        super().__init__(daemon=True, name="killer")
        self._service, self._seconds, self._random = service, seconds, random.Random(seed)  # noqa: S311
        self.spares_server = False
        self.may_kill, self.is_idle, self.stopping = Event(), Event(), Event()
        self.kills = {"worker": 0, "server": 0, "told to end": 0}
        self.broke = ""
        self._deck: list[str] = []

    def run(self) -> None:
        """Kill until told to stop."""
        due = time.monotonic() + self._seconds
        while not self.stopping.wait(0.2):
            if not self.may_kill.is_set():
                self.is_idle.set()
                continue
            self.is_idle.clear()
            try:
                if self._service.has_ended():
                    self._service.faults.add(
                        "unexpected", f"the server ended by itself: life {self._service.generation}"
                    )
                    self._service.end(signal.SIGKILL)
                    self._service.start()
                elif time.monotonic() > due:
                    self._kill()
                    due = time.monotonic() + self._seconds
            except RuntimeError as error:
                self.broke = str(error)
                return

    def _kill(self) -> None:
        if not self._deck:
            # Each kind comes in turn, in an order of chance, so that a short soak has all of them too.
            self._deck = self._random.sample(sorted(self.kills), len(self.kills))
        victim = "worker" if self.spares_server else self._deck.pop()
        if victim == "worker":
            workers = self._service.workers()
            if not workers:
                return
            try:
                self._random.choice(workers).kill()
            except psutil.NoSuchProcess:
                return
        else:
            self._service.end(signal.SIGKILL if victim == "server" else signal.SIGTERM)
            self._service.start()
        self.kills[victim] += 1


def _works(process: psutil.Process) -> bool:
    """Whether a process is more than the keeper of the interpreter's own semaphores."""
    try:
        return process.status() != psutil.STATUS_ZOMBIE and "resource_tracker" not in " ".join(process.cmdline())
    except psutil.Error:
        return False


def _told(process: psutil.Process) -> str:
    try:
        return " ".join(process.cmdline())[:120]
    except psutil.Error:
        return "(gone by now)"
