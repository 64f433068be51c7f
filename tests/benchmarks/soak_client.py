"""One of the soak's clients: does something at random, again and again, and keeps a ledger of what it was told."""

import random
import time
from collections import Counter
from collections.abc import Callable, Collection
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from threading import Event, Thread
from typing import Any

import httpx
import soak_things as things
from soak_ledger import Faults, JobKept, Kept, Ledger, LogKept
from soak_service import Service

TIMEOUT_SECONDS = 60.0
MOST_LOGS = 7
MOST_JOBS_OF_LOG = 8
MOST_WAITING = 1
"""So many jobs of a client may wait or run: few slots work for all clients, and quiet checks wait for the last."""

_OWN = "own_log.toml"
"""A sheet of this name has a content that no other client sends."""


class NotSentError(Exception):
    """A request that was never sent, as nobody listened: nothing came of it."""


class Client(Thread):
    """A client. clients never touch each other's things, but files with the same content are of many."""

    def __init__(self, number: int, seed: int, service: Service, faults: Faults) -> None:
        super().__init__(daemon=True, name=f"client {number}")
        self.number, self._service, self._faults = number, service, faults
        self._random = random.Random(f"{seed} {number}")  # noqa: S311
        self.ledger = Ledger()
        self.statuses: Counter[str] = Counter()
        self.may_work, self.is_idle, self.stopping = Event(), Event(), Event()
        self.broke: Exception | None = None
        self._serial = 0
        self._waiting: list[tuple[LogKept, str]] = []
        # Each request has a connection of its own: on a kept one the server may hang up just as we send.
        self._http = httpx.Client(timeout=TIMEOUT_SECONDS, limits=httpx.Limits(max_keepalive_connections=0))
        self._actions: list[tuple[Callable[[], None], int]] = [
            (self.upload, 12), (self.upload_again, 5), (self.upload_broken, 3), (self.plan, 24), (self.price_way, 12),
            (self.add_mark, 8), (self.remove_mark, 4), (self.write_mill, 5), (self.write_prices, 4),
            (self.remove_mill_or_prices, 3), (self.rename, 4), (self.say_otherwise, 3), (self.remove_log, 2),
            (self.replace_log, 4),
            (self.remove_plan, 2), (self.read, 14), (self.tick, 8),
        ]  # fmt: skip

    def run(self) -> None:
        """Work until told to stop."""
        actions, weights = zip(*self._actions, strict=True)
        while not self.stopping.is_set():
            if not self.may_work.is_set():
                self.is_idle.set()
                self.may_work.wait(0.2)
                continue
            self.is_idle.clear()
            try:
                self._random.choices(actions, weights)[0]()
            except NotSentError:
                pass
            except Exception as error:  # noqa: BLE001 - a fault of the soak itself, which must not pass for a quiet client
                self.broke = error
                self.is_idle.set()
                return
            self.stopping.wait(self._random.uniform(0.0, 0.3))
        self._http.close()

    # Asking

    def ask(self, method: str, path: str, wants: set[int], **given: Any) -> httpx.Response | None:
        """Ask the service; return None where it is not known what came of it. Raises NotSentError."""
        if not self._service.up.wait(TIMEOUT_SECONDS):
            raise NotSentError
        life = self._service.generation
        try:
            answer = self._http.request(method, f"{self._service.address}{path}", **given)
        except httpx.ConnectError:
            if self._service.generation == life:
                self._faults.add_answer("unanswered", f"{method} {path}: nobody listens, though the server lives")
            raise NotSentError from None
        except httpx.HTTPError as error:
            if self._service.generation == life:
                self._faults.add_answer("unanswered", f"{method} {path}: {error!r}, though the server lives")
            self.statuses["none"] += 1
            return None
        self.statuses[str(answer.status_code)] += 1
        if answer.status_code >= 500:
            ending = "" if self._service.generation == life else " (while the server was being ended)"
            self._faults.add_answer("5xx", f"{answer.status_code} {method} {path}{ending}: {answer.text[:300]}")
            return None
        if answer.status_code not in wants | {429}:
            self._faults.add_answer("unexpected", f"{answer.status_code} {method} {path}: {answer.text[:300]}")
        return answer

    def _new_serial(self) -> int:
        self._serial += 1
        return 100_000 * self.number + self._serial

    def _new_name(self, what: str) -> str:
        return f"Invented {what} {self._new_serial()}"

    # Logs

    def upload(self) -> None:
        """Send a log: a sheet as TOML or JSON, a mesh, or a cloud, of a content that others may send too."""
        if not self._may_start():
            self.read()
            return
        if len(self.ledger.logs) >= MOST_LOGS:
            self.remove_log()
            return
        name, cost = self._new_name("log"), self._new_serial() % 1_000_000
        about: dict[str, Any] = {"cost": float(cost)}
        marked = False
        (kind,) = self._random.choices(("sheet", "own sheet", "typed", "stl", "ply", "cloud"), (8, 5, 3, 2, 2, 1))
        if kind == "typed":
            given = {"json": things.tomllib.loads(things.sheet(name, cost))}
            self._send_log(LogKept(None, [{"name": name, "about": {}}], path="/api/logs/sheet", upload=given))
            return
        if kind in {"stl", "ply"}:
            about["unit"] = "m"
            file = (f"log.{kind}", things.mesh_file(self._random.choice((0.2, 0.22)), kind))
        elif kind == "cloud":
            about["unit"] = "m"
            file = ("log.xyz", things.cloud_file(0.2, self._random.randrange(2)))
        else:
            marked = self._random.random() < 0.4
            shown = name if kind == "own sheet" else "Invented log of many"
            file = (
                _OWN if kind == "own sheet" else "log.toml",
                things.sheet(shown, 20, self._random.choice((16, 17)), marked=marked).encode(),
            )
        given = {"files": {"file": file}, "data": {"name": name, **{k: str(v) for k, v in about.items()}}}
        log = LogKept(
            None, [{"name": name, "about": about}], upload=given, marks_of_sheet=int(marked), is_heavy="unit" in about
        )
        self._send_log(log, twice=self._random.random() < 0.15)

    def _send_log(self, log: LogKept, *, twice: bool = False) -> None:
        """Send a log that was never sent before, perhaps by two connections at once."""
        answers = _at_once(*[partial(self.ask, "POST", log.path, {200, 202}, **log.upload)] * (1 + twice))
        ids = {answer.json()["log"]["id"] for answer in answers if _is_ok(answer)}
        if len(ids) > 1:
            self._faults.add("doubled", f"two uploads of {log.says[0]['name']} at once made two logs: {sorted(ids)}")
        log.id = next(iter(sorted(ids)), None)
        if ids or None in answers:
            self.ledger.logs.append(log)
        self._waiting += [(log, answer.json()["job"]["id"]) for answer in answers[:1] if _is_ok(answer)]

    def replace_log(self) -> None:
        """Remove a log while its file comes in anew with other words: the file belongs to the second then."""
        log = self._some_log(lambda log: log.upload is not None and _file_name(log) == _OWN)
        if log is None or not self._may_start():
            return
        name, cost = self._new_name("log"), float(self._new_serial() % 1_000_000)
        data = {"name": name, "cost": str(cost)}
        new = LogKept(
            None, [{"name": name, "about": {"cost": cost}}], upload=log.upload | {"data": data},
            marks_of_sheet=log.marks_of_sheet,
        )  # fmt: skip
        removed, _ = _at_once(partial(self.ask, "DELETE", f"/api/logs/{log.id}", {204}), partial(self._send_log, new))
        self._note_removed(log, removed)

    def upload_again(self) -> None:
        """Send the same again, as one does who has had no answer."""
        again = [log for log in self.ledger.logs if log.upload is not None and not log.perhaps_gone]
        if not again:
            return
        log = self._random.choice(again)
        answer = self.ask("POST", log.path, {200, 202}, **log.upload)
        if not _is_ok(answer):
            return
        found = answer.json()["log"]["id"]
        if log.id is not None and found != log.id:
            self._faults.add("doubled", f"the same upload again made another log: {log.id} and {found}")
            return
        log.id = found

    def upload_broken(self) -> None:
        """Send what cannot become a log."""
        if len(self.ledger.logs) >= MOST_LOGS:
            self.remove_log()
            return
        file_name, (data, statuses) = self._random.choice(sorted(things.broken_files().items()))
        name, about = self._new_name("broken log"), {"cost": float(self._new_serial() % 1_000_000)}
        given = {"files": {"file": (file_name, data)}, "data": {"name": name, "cost": str(about["cost"])}}
        answer = self.ask("POST", "/api/logs", statuses, **given)
        if answer is None or _is_ok(answer):
            log_id = None if answer is None else answer.json()["log"]["id"]
            self.ledger.logs.append(LogKept(log_id, [{"name": name, "about": about}], fails=True))

    def rename(self) -> None:
        """Give a log another name."""
        if (log := self._some_log()) is None:
            return
        name = self._new_name("renamed log")
        answer = self.ask("PATCH", f"/api/logs/{log.id}", {200}, json={"name": name})
        if answer is None or _is_ok(answer):
            log.changed({"name": name}, answered=answer is not None)

    def say_otherwise(self) -> None:
        """Say something else of a log, which reads it again."""
        if (log := self._some_log()) is None or log.fails:
            return
        about = log.says[-1]["about"] | {"cost": float(self._new_serial() % 1_000_000)}
        answer = self.ask("PATCH", f"/api/logs/{log.id}", {200}, json={"about": about})
        if answer is None or _is_ok(answer):
            log.upload = None
            log.changed({"about": about}, answered=answer is not None)
            for job in log.jobs:
                job.ends.add("cancelled")

    def remove_log(self) -> None:
        """Forget a log."""
        if (log := self._some_log()) is None:
            return
        self._note_removed(log, self.ask("DELETE", f"/api/logs/{log.id}", {204}))

    def _note_removed(self, log: LogKept, answer: Any) -> None:
        if answer is None:
            log.perhaps_gone = True
        elif _is_ok(answer):
            self.ledger.logs.remove(log)
            self.ledger.removed.add(log.id)

    def _some_log(self, fits: Callable[[LogKept], bool] = lambda _: True) -> LogKept | None:
        sure = [log for log in self.ledger.logs if log.is_sure and fits(log)]
        return self._random.choice(sure) if sure else None

    def _ready_log(self, fits: Callable[[LogKept], bool] = lambda _: True) -> LogKept | None:
        """Return a log that was read, or is soon."""
        if (log := self._some_log(lambda log: not log.fails and fits(log))) is None:
            return None
        for _ in range(20):
            answer = self.ask("GET", f"/api/logs/{log.id}", {200})
            state = answer.json().get("state") if _is_ok(answer) else None
            if state in {"ready", "failed"}:
                return log if state == "ready" else None
            if not self.may_work.is_set():
                return None
            time.sleep(0.4)
        return None

    # Plans and ways

    def plan(self) -> None:
        """Ask for a plan, and cancel some."""
        request = things.LONGER if self._random.random() < 0.2 else things.QUICK
        cancels = self._random.random() < (0.8 if request is things.LONGER else 0.15)
        mills = [mill for mill in self.ledger.mills if mill.is_sure and len(mill.says) == 1]
        mill = self._random.choice(mills) if mills and self._random.random() < 0.5 else None
        more = {} if mill is None else {"mill_id": mill.id}
        job = self._start("plans", request | more | {"seed": self._serial}, mill and mill.says[0]["name"])
        if job is not None and cancels:
            time.sleep(self._random.uniform(0.0, 1.0))
            job.ends.add("cancelled")
            self.ask("POST", f"/api/jobs/{job.id}/cancel", {200, 409})

    def price_way(self) -> None:
        """Price a way, now and then one that cannot be."""
        wrong = self._random.random() < 0.15
        heights = "7, 9" if wrong else things.WAY_HEIGHTS
        way = {"roll_deg": self._random.randrange(360), "heights": heights, "doubt": "off"}
        self._start("ways", way, None, wants={422, 409} if wrong else {202, 409})

    def _start(
        self, kind: str, request: dict[str, Any], mill: str | None, wants: Collection[int] = (202, 409)
    ) -> JobKept | None:
        if not self._may_start():
            self.read()
            return None
        takes_heavy = self._random.random() < 0.1
        log = self._ready_log(lambda log: len(log.jobs) < MOST_JOBS_OF_LOG and log.is_heavy <= takes_heavy)
        if log is None:
            return None
        answer = self.ask("POST", f"/api/logs/{log.id}/{kind}", set(wants), json=request)
        if answer is None:
            log.jobs_unanswered += 1
        elif _is_ok(answer):
            job = JobKept(answer.json()["id"], {"done"}, mill)
            log.jobs.append(job)
            self._waiting.append((log, job.id))
            return job
        return None

    def _may_start(self) -> bool:
        """Whether few enough jobs of this client wait or run that it may ask for another."""
        for log, job_id in list(self._waiting):
            is_here = log in self.ledger.logs and not log.perhaps_gone
            answer = self.ask("GET", f"/api/jobs/{job_id}", {200}) if is_here else None
            if not is_here or (_is_ok(answer) and answer.json()["ended_at"] is not None):
                self._waiting.remove((log, job_id))
        return len(self._waiting) < MOST_WAITING

    def remove_plan(self) -> None:
        """Forget a plan."""
        if (found := self._done_job()) is None:
            return
        _, job = found
        answer = self.ask("DELETE", f"/api/plans/{job.id}", {204})
        if answer is None or _is_ok(answer):
            job.plan_removed = None if answer is None else True

    def _done_job(self) -> tuple[LogKept, JobKept] | None:
        """Return a job that made a plan, which is there still."""
        every = [
            (log, job) for log in self.ledger.logs if log.is_sure for job in log.jobs
            if job.plan_removed is False and "done" in job.ends
        ]  # fmt: skip
        if not every:
            return None
        log, job = self._random.choice(every)
        answer = self.ask("GET", f"/api/jobs/{job.id}", {200})
        return (log, job) if _is_ok(answer) and answer.json()["state"] == "done" else None

    def tick(self) -> None:
        """Tick a pass as made, or take the tick back."""
        if (found := self._done_job()) is None:
            return
        log, job = found
        order, wanted = self._random.randint(1, 2), self._random.random() < 0.7
        path = f"/api/plans/{job.id}/ticks/1/pass-{order}"
        answer = self.ask("PUT" if wanted else "DELETE", path, {200, 201, 204} | (set() if wanted else {404}))
        before = log.ticks.setdefault(job.id, {}).get(order, {False})
        if answer is None:
            log.ticks[job.id][order] = before | {wanted}
        elif _is_ok(answer):
            log.ticks[job.id][order] = {wanted}

    # Marks

    def add_mark(self) -> None:
        """Put a mark on a log; its depth, which no other has, tells it from others."""
        if (log := self._ready_log()) is None:
            return
        depth_m = round(0.02 + self._new_serial() % 100_000 * 1e-5, 5)
        mark = {"kind": "knot", "at_m": 0.6, "toward_deg": self._random.randrange(360), "radius_m": 0.02}
        answer = self.ask("POST", f"/api/logs/{log.id}/marks", {201, 409}, json=mark | {"depth_m": depth_m})
        if answer is None or _is_ok(answer):
            log.marks.append(Kept(None if answer is None else answer.json()["mark_id"], [{"depth_m": depth_m}]))

    def remove_mark(self) -> None:
        """Take a mark off a log."""
        every = [(log, mark) for log in self.ledger.logs if log.is_sure for mark in log.marks if mark.is_sure]
        if not every:
            return
        log, mark = self._random.choice(every)
        answer = self.ask("DELETE", f"/api/logs/{log.id}/marks/{mark.id}", {204})
        if answer is None:
            mark.perhaps_gone = True
        elif _is_ok(answer):
            log.marks.remove(mark)
            self.ledger.removed.add(mark.id)

    # Mills and price books

    def write_mill(self) -> None:
        """Add a mill, or write over one."""
        said = {"name": self._new_name("mill"), "inches": self._random.randint(40, 60)}
        self._write("/api/mills", self.ledger.mills, things.mill(said["name"], said["inches"]), said)

    def write_prices(self) -> None:
        """Add a price book, or write over one."""
        said = {"name": self._new_name("book"), "price": self._random.randint(4, 9)}
        self._write("/api/price-books", self.ledger.price_books, things.prices(said["name"], said["price"]), said)

    def _write(self, path: str, kept: list[Kept], document: dict[str, Any], said: dict[str, Any]) -> None:
        sure = [one for one in kept if one.is_sure]
        if sure and (len(kept) > 3 or self._random.random() < 0.5):
            one = self._random.choice(sure)
            answer = self.ask("PUT", f"{path}/{one.id}", {200}, json=document)
            if answer is None or _is_ok(answer):
                one.changed(said, answered=answer is not None)
            return
        answer = self.ask("POST", path, {201}, json=document)
        if answer is None or _is_ok(answer):
            kept.append(Kept(None if answer is None else answer.json()["id"], [said]))

    def remove_mill_or_prices(self) -> None:
        """Forget a mill or a price book."""
        path, kept = self._random.choice(
            (("/api/mills", self.ledger.mills), ("/api/price-books", self.ledger.price_books))
        )
        sure = [one for one in kept if one.is_sure]
        if not sure:
            return
        one = self._random.choice(sure)
        answer = self.ask("DELETE", f"{path}/{one.id}", {204})
        if answer is None:
            one.perhaps_gone = True
        elif _is_ok(answer):
            kept.remove(one)
            self.ledger.removed.add(one.id)

    # Reading

    def read(self) -> None:
        """Look at a page or a document."""
        paths = ["/", "/mills", "/prices", "/words", "/healthz", "/logs/new", "/api/logs", "/api/plans", "/api/jobs"]
        if (found := self._done_job()) is not None:
            plan_id = found[1].id
            paths += [f"/plans/{plan_id}", f"/plans/{plan_id}/1", f"/plans/{plan_id}/1/cut-list"]
            paths += [f"/api/plans/{plan_id}", f"/api/plans/{plan_id}/text", f"/plans/{plan_id}/1/slabs.bin"]
        wants = {200}
        if (log := self._some_log()) is not None:
            paths += [f"/logs/{log.id}", f"/api/logs/{log.id}"]
            about = [f"/logs/{log.id}/picture.svg", f"/logs/{log.id}/solid.bin", f"/api/logs/{log.id}/solid.glb"]
            paths += about
        path = self._random.choice(paths)
        if log is not None and path.startswith((*about, "/plans/", "/api/plans/")):
            wants = {200, 409}  # a log that is being read, or cannot be
        self.ask("GET", path, wants)


def _at_once(*asks: Callable[[], Any]) -> list[Any]:
    """Ask several things at the same time; return the answers, or the error where one was never sent."""

    def answer(ask: Callable[[], Any]) -> Any:
        try:
            return ask()
        except NotSentError as error:
            return error

    with ThreadPoolExecutor(len(asks)) as pool:
        return list(pool.map(answer, asks))


def _file_name(log: LogKept) -> str | None:
    return log.upload.get("files", {}).get("file", (None,))[0]


def _is_ok(answer: Any) -> bool:
    return isinstance(answer, httpx.Response) and answer.is_success
