"""Compares what the service holds, once all is quiet, with what its clients were told."""

import sqlite3
import time
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import Any

import httpx
import psutil
import soak_things as things
from soak_ledger import Faults, JobKept, Kept, Ledger, LogKept
from soak_service import GONE_SECONDS, Service

STILL_SECONDS = 30.0
MOST_DRAIN_SECONDS = 300.0
_MOST_LISTED = 1000
_GIVEN_UP = "it is not tried again"
_MAY_COME = {"pithline.db-wal", "pithline.db-shm", "trash"}
"""SQLite's journals, and what a start moved aside: files that came while their server was killed."""


@dataclass(frozen=True)
class Figures:
    """What a quiet check counted. drained_s : how long the queue took. life, age_s : which server, and for how long."""

    minutes: float
    drained_s: float
    logs: int
    jobs: int
    plans: int
    marks: int
    rss_bytes: int
    descriptors: int
    files: int
    life: int
    age_s: float


def drain(service: Service, http: httpx.Client, faults: Faults) -> None:
    """Wait until no job waits or runs, for as long as something works; what is left then is stuck."""
    start = last = time.monotonic()
    before: Any = None
    while True:
        # Jobs that have not ended are the newest, or close.
        left = [job for job in http.get("/api/jobs", params={"limit": _MOST_LISTED}).json() if job["ended_at"] is None]
        if not left:
            return
        now = time.monotonic()
        seen = (
            [(job["id"], job["state"], job["attempt"], job["stage"], job["done"]) for job in left],
            _worked(service),
        )
        if seen != before:
            before, last = seen, now
        if now - last > STILL_SECONDS or now - start > MOST_DRAIN_SECONDS:
            for job in left:
                what = f"job {job['id']} ({job['kind']}) is {job['state']} ({job['stage']}, attempt {job['attempt']})"
                faults.add("stuck", f"{what} after {now - start:.0f} s of quiet, {now - last:.0f} s without work")
            return
        time.sleep(0.25)


def _worked(service: Service) -> dict[int, int]:
    """Return whole seconds of processor time by worker."""
    worked = {}
    for process in service.workers():
        try:
            worked[process.pid] = int(sum(process.cpu_times()[:2]))
        except psutil.Error:
            continue
    return worked


def check(
    service: Service,
    http: httpx.Client,
    ledgers: Sequence[Ledger],
    faults: Faults,
    baseline: "Baseline",
) -> dict[str, int]:
    """Compare all, and let the ledgers know what had no answer; return how many of each thing there are."""
    _Comparison(http, ledgers, faults, baseline).run()
    files = find_orphans(service, faults, baseline)
    _find_strays(service, faults, baseline)
    logs = http.get("/api/logs", params={"limit": _MOST_LISTED}).json()
    jobs = http.get("/api/jobs", params={"limit": _MOST_LISTED}).json()
    plans = http.get("/api/plans", params={"limit": _MOST_LISTED}).json()
    marks = sum(len(log.marks) + log.marks_of_sheet for ledger in ledgers for log in ledger.logs)
    return {"logs": len(logs), "jobs": len(jobs), "plans": len(plans), "marks": marks, "files": files}


@dataclass(frozen=True)
class Baseline:
    """What was there once the service was warm, before any client came."""

    ids: frozenset[str]
    in_data: frozenset[str]
    workers: int


def baseline_of(service: Service, http: httpx.Client) -> Baseline:
    """Note what is there now."""
    ids = [one["id"] for path in ("/api/logs", "/api/mills", "/api/price-books") for one in http.get(path).json()]
    return Baseline(frozenset(ids), frozenset(_in_data(service)), len(service.workers()))


class _Comparison:
    def __init__(self, http: httpx.Client, ledgers: Sequence[Ledger], faults: Faults, baseline: Baseline) -> None:
        self._http, self._ledgers, self._faults, self._baseline = http, ledgers, faults, baseline

    def _get(self, path: str, **params: Any) -> Any:
        answer = self._http.get(path, params=params)
        if answer.status_code != 200:
            self._faults.add(
                "5xx" if answer.status_code >= 500 else "lost", f"{answer.status_code} GET {path}: {answer.text[:300]}"
            )
            return None
        return answer.json()

    def run(self) -> None:
        logs = self._get("/api/logs", limit=_MOST_LISTED) or []
        found = {log["id"]: {"name": log["name"], "about": _said(log["about"])} for log in logs}
        self._settle("log", [ledger.logs for ledger in self._ledgers], found)
        keys = [(log["file_sha256"], sorted(_said(log["about"]).items())) for log in logs]
        for log, key in zip(logs, keys, strict=True):
            if keys.count(key) > 1:
                self._faults.add("doubled", f"log {log['id']} ({log['name']}) has the file and the words of another")
        by_id = {log["id"]: log for log in logs}
        for ledger in self._ledgers:
            for log in ledger.logs:
                self._check_log(log, by_id[log.id], ledger.removed)
        mills = self._get("/api/mills") or []
        self._settle(
            "mill",
            [ledger.mills for ledger in self._ledgers],
            {one["id"]: {"name": one["name"], "inches": round(one["mill"]["throat_m"] / 0.0254)} for one in mills},
        )
        books = self._get("/api/price-books") or []
        self._settle(
            "price book",
            [ledger.price_books for ledger in self._ledgers],
            {one["id"]: {"name": one["name"], "price": one["prices"]["per_board_foot"][0]["price"]} for one in books},
        )

    def _settle(self, what: str, kept_by: Sequence[list[Any]], found: dict[str, dict[str, Any]]) -> None:
        """Compare things of one kind, and settle those that had no answer."""
        left = {key: says for key, says in found.items() if key not in self._baseline.ids}
        for kept in kept_by:
            self._settle_known(what, kept, left)
        for kept in kept_by:
            self._settle_unanswered(what, kept, left)
        removed = set().union(*(ledger.removed for ledger in self._ledgers))
        for key, says in left.items():
            if key in removed:
                self._faults.add("lost", f"the removal of {what} {key} {says}")
            else:
                self._faults.add("doubled", f"{what} {key} {says} is there, and nobody made it")

    def _settle_known(self, what: str, kept: list[Kept], left: dict[str, dict[str, Any]]) -> None:
        for one in [one for one in kept if one.id is not None]:
            says = left.pop(one.id, None)
            if says is None:
                kept.remove(one)
                if not one.perhaps_gone:
                    self._faults.add("lost", f"{what} {one.id} {one.says}")
                continue
            if says not in one.says:
                self._faults.add("lost", f"what was said of {what} {one.id}: it holds {says}, not one of {one.says}")
            one.says, one.perhaps_gone = [says], False

    def _settle_unanswered(self, what: str, kept: list[Kept], left: dict[str, dict[str, Any]]) -> None:
        for one in [one for one in kept if one.id is None]:
            ids = [key for key, says in left.items() if says in one.says]
            if len(ids) > 1:
                self._faults.add("doubled", f"{what} {one.says[0]} was sent once, and is there as {ids}")
            if not ids:
                kept.remove(one)
                continue
            one.id = ids[0]
            for key in ids:
                one.says = [left.pop(key)]

    def _check_log(self, log: LogKept, shown: dict[str, Any], removed: set[str]) -> None:
        error = shown["error"] or {}
        if _GIVEN_UP not in error.get("message", ""):
            wanted = "failed" if log.fails else "ready"
            if shown["state"] != wanted or (log.fails and error.get("status") != 422):
                self._blame(
                    error.get("status"), f"log {log.id} {log.says[0]} is {shown['state']}, not {wanted}: {error}"
                )
        self._check_marks(log, removed, is_read=shown["state"] == "ready")
        self._check_jobs(log)

    def _blame(self, status: int | None, what: str) -> None:
        self._faults.add("5xx" if (status or 0) >= 500 else "lost", what)

    def _check_marks(self, log: LogKept, removed: set[str], *, is_read: bool) -> None:
        marks = self._get(f"/api/logs/{log.id}/marks") or []
        found = {one["mark_id"]: {"depth_m": round(one["mark"]["depth_m"], 5)} for one in marks}
        of_sheet = {key for key, says in found.items() if says["depth_m"] == things.SHEET_MARK_DEPTH_M}
        if is_read and len(of_sheet) != log.marks_of_sheet:
            kind = "lost" if len(of_sheet) < log.marks_of_sheet else "doubled"
            self._faults.add(
                kind, f"log {log.id} has {len(of_sheet)} marks of its sheet, which has {log.marks_of_sheet}"
            )
        left = {key: says for key, says in found.items() if key not in of_sheet}
        self._settle_known(f"mark on log {log.id}", log.marks, left)
        self._settle_unanswered(f"mark on log {log.id}", log.marks, left)
        for key in left:
            kind, what = ("lost", "the removal of mark") if key in removed else ("doubled", "nobody made mark")
            self._faults.add(kind, f"{what} {key} on log {log.id}")

    def _check_jobs(self, log: LogKept) -> None:
        jobs = {job["id"]: job for job in self._get("/api/jobs", log_id=log.id, limit=_MOST_LISTED) or []}
        lines = [line["id"] for line in self._get("/api/plans", log_id=log.id, limit=_MOST_LISTED) or []]
        for job in jobs.values():
            error = job["error"] or {}
            if error.get("status", 0) >= 500 and _GIVEN_UP not in error["message"]:
                self._faults.add("5xx", f"job {job['id']} ({job['kind']}) of log {log.id}: {error}")
        known = {job.id for job in log.jobs}
        extra = [job for job in jobs.values() if job["kind"] != "read" and job["id"] not in known]
        if len(extra) > log.jobs_unanswered:
            self._faults.add(
                "doubled",
                f"log {log.id} has {len(extra)} jobs that nobody was told of, for {log.jobs_unanswered} requests",
            )
        log.jobs += [JobKept(job["id"], {"done", "failed", "cancelled"}) for job in extra]
        log.jobs_unanswered = 0
        for kept in list(log.jobs):
            if kept.id not in jobs:
                self._faults.add("lost", f"job {kept.id} of log {log.id}")
                log.jobs.remove(kept)
            else:
                self._check_job(log, kept, jobs[kept.id], lines.count(kept.id))
        for line in set(lines) - set(jobs):
            self._faults.add("doubled", f"plan {line} of log {log.id} has no job")

    def _check_job(self, log: LogKept, kept: JobKept, job: dict[str, Any], plans: int) -> None:
        what = f"job {kept.id} ({job['kind']}) of log {log.id}"
        error = job["error"] or {}
        if job["ended_at"] is None:
            return  # it was told of as stuck
        if job["state"] not in kept.ends and _GIVEN_UP not in error.get("message", ""):
            self._blame(error.get("status"), f"{what} is {job['state']}, not one of {sorted(kept.ends)}: {error}")
        wanted = {False: {1}, True: {0}, None: {0, 1}}[kept.plan_removed] if job["state"] == "done" else {0}
        if plans > max(wanted):
            kind = "lost" if kept.plan_removed else "doubled"
            self._faults.add(kind, f"{what} is {job['state']} and left {plans} plans, not {max(wanted)}")
        elif plans < min(wanted):
            self._faults.add("lost", f"the plan of {what}")
        elif plans == 1:
            self._check_plan(log, kept, what)
        if kept.plan_removed is None:
            kept.plan_removed = plans == 0

    def _check_plan(self, log: LogKept, kept: JobKept, what: str) -> None:
        document = self._get(f"/api/plans/{kept.id}")
        if document is None:
            return
        if document["id"] != kept.id or (kept.mill is not None and document["mill"]["name"] != kept.mill):
            self._faults.add(
                "lost", f"{what} was asked for on {kept.mill}; plan {document['id']} is on {document['mill']['name']}"
            )
        if kept.id in log.ticks:
            ticked = orders_in(self._get(f"/api/plans/{kept.id}/ticks"))
            for order, may_be in log.ticks[kept.id].items():
                if (order in ticked) not in may_be:
                    self._faults.add(
                        "lost", f"the tick of pass {order} of plan {kept.id}: {order in ticked}, not {may_be}"
                    )
                log.ticks[kept.id][order] = {order in ticked}


def _said(about: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in about.items() if value is not None}


def orders_in(ticks: Any) -> set[int]:
    """Return the passes of the best plan that are ticked."""
    steps = [one["step"] for one in ticks or [] if one["way"] == "1" and one["is_ticked"]]
    return {int(step.removeprefix("pass-")) for step in steps if step.startswith("pass-")}


def find_orphans(service: Service, faults: Faults, baseline: Baseline) -> int:
    """Look for files that no record names, records without their file, and what is left half-written.

    Return how many files are kept. What is removed just now has a moment to go.
    """
    until = time.monotonic() + 3.0
    while (found := _orphans(service, baseline)) and time.monotonic() < until:
        time.sleep(0.2)
    for what in found:
        faults.add("orphans", what)
    return len(_kept_files(service))


def _kept_files(service: Service) -> dict[str, str]:
    root = service.data / "files" / "kept"
    return {path.name: str(path.relative_to(root)) for path in root.rglob("*") if path.is_file()}


def _in_data(service: Service) -> set[str]:
    """Return what stands in the data folder, and in that of the files."""
    return {path.name for folder in (service.data, service.data / "files") for path in folder.iterdir()}


def _orphans(service: Service, baseline: Baseline) -> list[str]:
    with closing(sqlite3.connect(f"file:{service.data / 'pithline.db'}?mode=ro", uri=True)) as database:
        rows = database.execute("select id, name, file_sha256, read_key from logs").fetchall()
        broken = database.execute("pragma foreign_key_check").fetchall()
    named = {key: f"log {row[0]} ({row[1]})" for row in rows for key in row[2:] if key is not None}
    kept = _kept_files(service)
    found = [f"file {path} is named by no record" for name, path in kept.items() if name not in named]
    found += [f"the file {key} of {log} is missing" for key, log in named.items() if key not in kept]
    found += [f"a row of {row[0]} names a row of {row[2]} that is gone" for row in broken]
    found += [f"temporary file {path.relative_to(service.folder)}" for path in service.temporary.rglob("*")]
    found += [f"half-written file {path.name}" for path in (service.data / "files" / "incoming").iterdir()]
    found += [f"{name} in the data folder" for name in sorted(_in_data(service) - baseline.in_data - _MAY_COME)]
    return found


def _find_strays(service: Service, faults: Faults, baseline: Baseline) -> None:
    until = time.monotonic() + GONE_SECONDS
    while True:
        tree = {service.process.pid} | {process.pid for process in service.process.children(recursive=True)}
        strays = [process for process in service.all_marked() if process.pid not in tree]
        workers = service.workers()
        if (not strays and len(workers) <= baseline.workers) or time.monotonic() > until:
            break
        time.sleep(0.3)
    for process in strays:
        faults.add("orphans", f"process {process.pid} belongs to no server")
    if len(workers) > baseline.workers:
        faults.add("orphans", f"{len(workers)} workers are there though nothing is to do, {baseline.workers} at first")
