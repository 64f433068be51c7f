"""The same input and seed give the same plan, byte for byte: whoever asks, with whatever workers, in whatever process.

What names a run (its id, when it was made, how long it took) is left out.
"""

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pytest

from optimizer.documents.mill import Mill
from optimizer.documents.prices import PriceBook
from optimizer.planning import Run, SearchSettings, plan_log
from service.contract.documents import PlanRequest, WayRequest
from service.contract.log_given import log_given
from service.desk import Desk, open_desk
from service.jobs.work import Order, work_off
from service.settings import Settings
from service.typed import files
from service.typed.files import MILL_FILE, PRICES_FILE, parse_document, read_file, read_sample
from service.typed.log_reading import AboutLog, read_log

SHEET = """
name = "Invented crook"
species = "sugar maple"
length = "5 ft"
end_trim = "1 in"
section = [{at = "0 in", wide = "16 in"}, {at = "30 in", wide = "15 in"}, {at = "5 ft", wide = "14 in"}]
mark = [
  {kind = "knot", at = "1 ft", toward_deg = 100, radius = "1 in", depth = "3 in"},
  {kind = "knot", at = "2 ft", toward_deg = 200, radius = "1 in", depth = "3 in"},
  {kind = "rot", at = "3 ft", toward_deg = 20, radius = "1 in", depth = "3 in"},
  {kind = "crack", at = "4 ft", toward_deg = 70, radius = "1 in", depth = "2 in"},
  {kind = "knot", at = "50 in", toward_deg = 300, radius = "1 in", depth = "3 in"},
]
"""
LAYS = 6
WAY = {"roll_deg": 20, "heights": "12, 9, 6", "made": 1, "seen": ("1: 9 in x 4 ft",)}


def without_run(document: str | bytes) -> str:
    """Return a plan document's JSON as it is, without what names its run."""
    plan: dict[str, Any] = json.loads(document)
    del plan["id"], plan["made_at"], plan["work"]["seconds"]
    return json.dumps(plan)


@dataclass(frozen=True)
class Asked:
    """Ways to have the same log planned, in a folder of its own where nothing is kept yet."""

    folder: Path

    def typed(self, hash_seed: int, *arguments: str) -> str:
        """Type a command in a fresh process."""
        home = {"HOME": str(self.folder), "XDG_CONFIG_HOME": str(self.folder / "own")}
        done = subprocess.run(
            [sys.executable, "-c", "from service.cli.command_line import main; main()", *arguments, "--json", "-"],
            cwd=self.folder,
            env={**os.environ, **home, "PYTHONHASHSEED": str(hash_seed), "PYTHONPATH": os.pathsep.join(sys.path)},
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return without_run(done.stdout)

    def called(self, workers: int) -> str:
        """Call the optimizer."""
        mill, prices = (
            parse_document(read_sample(name), kind) for name, kind in ((MILL_FILE, Mill), (PRICES_FILE, PriceBook))
        )
        read = read_log(read_file(self.folder / "log.toml"), AboutLog())
        run = Run("", "", f"pithline {version('pithline')}", time.monotonic)
        settings = SearchSettings(lays=LAYS, workers=workers, doubt=True)
        document = plan_log(log_given(read, mill, prices), mill, prices, settings=settings, run=run)
        return without_run(document.model_dump_json())


@dataclass(frozen=True)
class Service:
    """A service's desk, whose jobs are done in this process. log_id : of the log, which was read."""

    desk: Desk
    log_id: str

    def work(self, cores: int) -> str:
        """Do the job that waits; return its id."""
        job = self.desk.store.next_job()
        assert job is not None
        work_off(Order(self.desk.settings.database, str(self.desk.files.folder), job.id, job.attempt, cores))
        done = self.desk.store.job(job.id)
        assert done.state == "done", done.error
        return job.id

    def planned(self, asked: PlanRequest | WayRequest, cores: int) -> str:
        """Return what the service plans."""
        start: Any = self.desk.start_plan if isinstance(asked, PlanRequest) else self.desk.start_way
        start(self.log_id, asked)
        return without_run(self.desk.plan_document(self.work(cores)).model_dump_json())


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Asked]:
    folder = tmp_path_factory.mktemp("work")
    (folder / "log.toml").write_text(SHEET)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setattr(files, "users_folder", lambda: folder / "own")
        yield Asked(folder)


@pytest.fixture
def service(asked: Asked, tmp_path: Path) -> Iterator[Service]:  # noqa: ARG001
    desk = open_desk(Settings(data_folder=tmp_path / "data", slots=0, free_bytes=0))
    added = desk.add_scan(SHEET.encode(), "log.toml")
    service = Service(desk, added.log.id)
    service.work(1)
    yield service
    desk.close()


def test_a_search_gives_the_same_plan_whoever_asks(asked: Asked, service: Service) -> None:
    typed = asked.typed(1, "plan", "log.toml", "--lays", str(LAYS), "--workers", "1")

    assert '"doubt": null' not in typed
    assert asked.typed(2, "plan", "log.toml", "--lays", str(LAYS), "--workers", "2") == typed
    assert asked.called(workers=2) == typed
    assert service.planned(PlanRequest(lays=LAYS), cores=2) == typed
    assert service.planned(PlanRequest(lays=LAYS), cores=1) == typed


def test_a_way_of_ones_own_gives_the_same_plan_whoever_asks(asked: Asked, service: Service) -> None:
    way = ("--roll", "20", "--heights", WAY["heights"], "--made", "1", "--seen", WAY["seen"][0])
    typed = asked.typed(1, "price", "log.toml", *map(str, way))

    assert '"doubt": null' not in typed
    assert asked.typed(2, "price", "log.toml", *map(str, way)) == typed
    assert service.planned(WayRequest.model_validate(WAY), cores=1) == typed
    assert service.planned(WayRequest.model_validate(WAY), cores=2) == typed


def test_marks_of_a_sheet_keep_their_order(asked: Asked, tmp_path: Path) -> None:
    kept = read_log(read_file(asked.folder / "log.toml"), AboutLog()).marks
    for k in range(4):  # their ids are drawn, so that once would prove little
        desk = open_desk(Settings(data_folder=tmp_path / str(k), slots=0, free_bytes=0))
        service = Service(desk, desk.add_scan(SHEET.encode(), "log.toml").log.id)
        service.work(1)
        assert tuple(mark for _, mark in desk.store.marks(service.log_id)) == kept
        desk.close()
