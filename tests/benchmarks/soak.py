"""A soak: the real service under clients that do everything at once, while its processes are killed.

    python tests/benchmarks/soak.py --minutes 30 [--seed S] [--clients 6] [--kill-every 20] [--keep]

Starts `pithline serve` on 127.0.0.1, on a port that the system picks and a data folder under a temporary one. One job
warms it up. Then the clients upload logs (sheets, meshes, clouds; repeated, doubled, broken), ask for plans and cancel
some, price ways, add and remove marks, mills, price books, logs and plans, tick passes, and
read pages and documents. Every so often a random victim is killed: a worker process with SIGKILL, or the server with
SIGKILL or SIGTERM, which is started again on the same folder. In the last third of the time workers alone are
killed, so that one server lives long enough for its memory to be compared.

The minutes are those that clients work; quiet checks and the warm-up come on top. The service has two slots.

Each client keeps a ledger of what it was told. A request that had no answer may have happened or not. At each quiet
check (every 5 minutes, twice at least) clients and kills pause, the queue drains, and all is compared:

    lost        confirmed and not there: logs, marks, mills, price books, plans, jobs, ticks, names, removals
    doubled     made once and there twice, or there though nobody made it; a job that left more plans than it may
    stuck       jobs that wait or run though nothing works; a server that does not end
    orphans     files that no record names, records without their file, temporary files, processes without a server
    5xx         answers, and jobs that ended with such a status; but for jobs given up since we killed them thrice
    unanswered  requests without an answer though the server lived on
    unexpected  other answers than the request called for, a server that ended by itself or with the wrong exit code

Columns: minute; logs, jobs and plans that are there, and marks; requests so far, and those without an answer; how long
the queue took to drain [s]; files kept; the server's resident memory [MB] and open file descriptors; its life (1 for
the first server, one more for each after a kill).

Rule for growth, from the last but one quiet check to the last, and from the first to the last: the server's resident
memory may grow by 25 % and 40 MB, which leaves room for allocators, where it was the same server and 4 minutes old by
the earlier check; by 25 % and 200 MB else, as a young one still fills caches that have a bound (of the forms of 200
logs). Its open descriptors may grow by 16.

Exit 1 where anything of that is not as it should be. All logs, mills and prices are invented. Ends by itself: twice the
asked time and twenty minutes are its bound; nothing is left running, and the folder goes unless --keep is given and
something failed.
"""

import argparse
import shutil
import signal
import sys
import tempfile
import time
from math import ceil
from pathlib import Path
from typing import Any

import httpx
import soak_things as things
from soak_check import Baseline, Figures, baseline_of, check, drain, find_orphans
from soak_client import Client
from soak_ledger import FAULTS, Faults
from soak_service import Killer, Service

CHECK_MINUTES = 5.0
PAUSE_SECONDS = 90.0
WARM_SECONDS = 600.0
GROWTH_SHARE = 0.25
GROWTH_BYTES, GROWTH_BYTES_YOUNG = 40_000_000, 200_000_000
YOUNG_SECONDS = 240.0
GROWTH_DESCRIPTORS = 16


def main() -> int:
    """Soak; return the exit code."""
    options = _options()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    signal.signal(signal.SIGALRM, _too_long)
    signal.alarm(int(120.0 * options.minutes + 1200.0))
    folder = Path(tempfile.mkdtemp(prefix="pithline-soak-"))
    faults = Faults()
    service = Service(folder, faults)
    is_good = False
    try:
        is_good = _Soak(options, service, faults).run()
    finally:
        service.destroy()
        if is_good or not options.keep:
            shutil.rmtree(folder, ignore_errors=True)
        else:
            print(f"kept {folder}")
    return 0 if is_good else 1


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Soak the service; the module's docstring says how.")
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--clients", type=int, default=6)
    parser.add_argument("--kill-every", type=float, default=20.0, help="seconds")
    parser.add_argument("--keep", action="store_true", help="keep the folder where something failed")
    return parser.parse_args()


def _too_long(*_: Any) -> None:
    raise TimeoutError("the soak took longer than twice its time and twenty minutes")


class _Soak:
    def __init__(self, options: argparse.Namespace, service: Service, faults: Faults) -> None:
        self._options, self._service, self._faults = options, service, faults
        self._figures: list[Figures] = []
        self._clients: list[Client] = []
        self._start = 0.0

    def run(self) -> bool:
        """Soak; return whether all was as it should be."""
        print(f"seed {self._options.seed}; everything in it is invented", flush=True)
        self._service.start()
        with self._asking() as http:
            _warm_up(http)
            baseline = baseline_of(self._service, http)
        self._clients = [
            Client(number, self._options.seed, self._service, self._faults)
            for number in range(1, self._options.clients + 1)
        ]
        killer = Killer(self._service, self._options.kill_every, self._options.seed)
        for thread in (killer, *self._clients):
            thread.start()
        self._start = time.monotonic()
        _head()
        periods = max(2, ceil(self._options.minutes / CHECK_MINUTES))
        for period in range(1, periods + 1):
            killer.spares_server = period > periods - ceil(periods / 3)
            self._work_for(60.0 * self._options.minutes / periods, killer)
            self._look(killer, baseline)
        killer.stopping.set()
        for client in self._clients:
            client.stopping.set()
        self._service.end(signal.SIGTERM)
        find_orphans(self._service, self._faults, baseline)
        return self._verdict(killer)

    def _asking(self) -> httpx.Client:
        return httpx.Client(base_url=self._service.address, timeout=60.0)

    def _work_for(self, seconds: float, killer: Killer) -> None:
        until = time.monotonic() + seconds
        for thread in (killer, *self._clients):
            (killer.may_kill if thread is killer else thread.may_work).set()
        while time.monotonic() < until:
            self._fail_where_broken(killer)
            time.sleep(0.1)

    def _fail_where_broken(self, killer: Killer) -> None:
        if killer.broke:
            raise RuntimeError(killer.broke)
        for client in self._clients:
            if client.broke is not None:
                raise RuntimeError(f"{client.name} broke") from client.broke

    def _look(self, killer: Killer, baseline: Baseline) -> None:
        """Pause all, and compare."""
        # The killer first: it may have to start the server that a client waits for.
        _pause([killer], "may_kill")
        _pause(self._clients, "may_work")
        self._fail_where_broken(killer)
        with self._asking() as http:
            start = time.monotonic()
            drain(self._service, http, self._faults)
            drained_s = time.monotonic() - start
            counts = check(self._service, http, [one.ledger for one in self._clients], self._faults, baseline)
        server = self._service.process
        figures = Figures(
            minutes=(time.monotonic() - self._start) / 60.0, drained_s=drained_s, rss_bytes=server.memory_info().rss,
            descriptors=server.num_fds(), life=self._service.generation + 1,
            age_s=time.time() - server.create_time(), **counts,
        )  # fmt: skip
        self._figures.append(figures)
        self._row(figures)

    def _row(self, figures: Figures) -> None:
        asked = sum(sum(client.statuses.values()) for client in self._clients)
        none = sum(client.statuses["none"] for client in self._clients)
        counts = self._faults.counts()
        print(
            f"{figures.minutes:>6.1f}{figures.logs:>6}{figures.jobs:>6}{figures.plans:>7}{figures.marks:>7}{asked:>9}"
            f"{none:>6}{figures.drained_s:>7.1f}{figures.files:>7}{figures.rss_bytes / 1e6:>8.0f}"
            f"{figures.descriptors:>5}{figures.life:>6}" + "".join(f"{counts[kind]:>12}" for kind in FAULTS),
            flush=True,
        )

    def _verdict(self, killer: Killer) -> bool:
        statuses = sum((client.statuses for client in self._clients), start=type(self._clients[0].statuses)())
        print("answers:", ", ".join(f"{status} {count}" for status, count in sorted(statuses.items())))
        print("kills:", ", ".join(f"{victim} {count}" for victim, count in sorted(killer.kills.items())))
        first, before, last = self._figures[0], self._figures[-2], self._figures[-1]
        grew = [
            f"memory grew from {low.rss_bytes / 1e6:.0f} to {last.rss_bytes / 1e6:.0f} MB since {since}"
            for low, since in ((before, "the last but one check"), (first, "the first check"))
            if last.rss_bytes > _most_memory(low, last)
        ]
        if last.descriptors > before.descriptors + GROWTH_DESCRIPTORS:
            grew.append(f"open descriptors grew from {before.descriptors} to {last.descriptors}")
        resident = ", ".join(f"{one.rss_bytes / 1e6:.0f}" for one in (first, before, last))
        print(f"memory at the first, the last but one ({before.age_s:.0f} s old) and the last check: {resident} MB")
        print(f"descriptors: {before.descriptors} and {last.descriptors}; files: {first.files} and {last.files}")
        traces = self._service.said_path.read_text().count("Traceback (most recent call last)")
        print(f"stack traces in what the server said, for information: {traces}")
        print("totals:", ", ".join(f"{kind} {count}" for kind, count in self._faults.counts().items()))
        found = self._faults.lines() + grew
        print("\n".join(found) if found else "nothing was lost, doubled or left over")
        return not found


def _most_memory(before: Figures, after: Figures) -> float:
    """Return the most that a server's memory may have come to."""
    is_grown = before.life == after.life and before.age_s >= YOUNG_SECONDS
    return (1.0 + GROWTH_SHARE) * before.rss_bytes + (GROWTH_BYTES if is_grown else GROWTH_BYTES_YOUNG)


def _pause(threads: Any, name: str) -> None:
    for thread in threads:
        thread.is_idle.clear()
        getattr(thread, name).clear()
    until = time.monotonic() + PAUSE_SECONDS
    for thread in threads:
        if not thread.is_idle.wait(max(0.1, until - time.monotonic())):
            raise RuntimeError(f"{thread.name} did not pause within {PAUSE_SECONDS:g} s")


def _warm_up(http: httpx.Client) -> None:
    """Have one log read, planned and shown, so that what is compiled at first use is there before time counts."""
    added = http.post("/api/logs", files={"file": ("log.toml", things.sheet("Invented warm-up log", 20, 18))}).json()
    _until_ended(http, added["job"]["id"])
    job = http.post(f"/api/logs/{added['log']['id']}/plans", json=things.QUICK).json()
    _until_ended(http, job["id"])
    for path in ("", "/1", "/1/cut-list"):
        http.get(f"/plans/{job['id']}{path}").raise_for_status()


def _until_ended(http: httpx.Client, job_id: str) -> None:
    until = time.monotonic() + WARM_SECONDS
    while (job := http.get(f"/api/jobs/{job_id}").json())["ended_at"] is None:
        if time.monotonic() > until:
            raise RuntimeError(f"the first job did not end: {job}")
        time.sleep(0.1)
    if job["state"] != "done":
        raise RuntimeError(f"the first job failed: {job}")


def _head() -> None:
    print(
        f"{'minute':>6}{'logs':>6}{'jobs':>6}{'plans':>7}{'marks':>7}{'requests':>9}{'none':>6}{'drain':>7}{'files':>7}"
        f"{'RSS MB':>8}{'fds':>5}{'life':>6}" + "".join(f"{kind:>12}" for kind in FAULTS),
        flush=True,
    )


if __name__ == "__main__":
    sys.exit(main())
