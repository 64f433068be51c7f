"""A second scan of a log on its page, and over the API: sent, fitted by its job, refused, asked about, left out.

No job runs here but those that a test works off itself. What a job's reading gives is made up; the log is the invented
sample, taken for a scan. tests/scans/walks holds how scans are fitted.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from kept_pages import Pages, Planned, desk_of, keep_log, keep_plan, pages_of

from scans.log import WalkSeen
from scans.messages import named
from service.contract import job_state
from service.contract.documents import JobShown
from service.jobs import work
from service.jobs.work import Order, work_off
from service.settings import Settings
from service.store.log_file import pack_log
from service.store.records import LogRow
from service.typed.errors import InputError
from service.typed.log_reading import AboutLog, LogRead
from service.typed.more_walks import MoreWalks

FIRST, SECOND = "first.ply", "second.ply"
UNSURE = InputError(
    f"how far the log was rolled before scan 2 is not sure; say it: {named('rolled_deg', '150')}", field="rolled_deg"
)
OTHER = InputError("scan 2 and those before it do not make one log", "check that all are of one log")
READING_AGAIN = "it was read again since, and is not the same"
WALKS = (WalkSeen(9000, 0.625), WalkSeen(8000, 0.5, 277.0, 2.25, 0.004))


@pytest.fixture
def pages(tmp_path: Path) -> Iterator[Pages]:
    with pages_of(Settings(data_folder=tmp_path, slots=0, free_bytes=0)) as client:
        yield client


@pytest.fixture
def as_scan(planned: Planned) -> LogRead:
    """The sample as if a scan had shown it."""
    return replace(planned.read, source=planned.read.source.model_copy(update={"kind": "scan"}))


@pytest.fixture
def log_id(pages: Pages, as_scan: LogRead) -> str:
    log_id = keep_log(pages, as_scan)
    with desk_of(pages).store.database.writing() as session:
        session.get_one(LogRow, log_id).file_name = FIRST
    return log_id


class Reads:
    """Stands in for what reads a log's files: notes what it was asked for, and gives what it was told to."""

    def __init__(self, answer: LogRead | Exception) -> None:
        self.answer = answer
        self.walks: list[MoreWalks] = []
        self.about: list[AboutLog] = []

    def __call__(self, file: object, about: AboutLog, *, on_stage: object, walks: MoreWalks) -> LogRead:
        del file, on_stage
        self.walks.append(walks)
        self.about.append(about)
        if isinstance(self.answer, Exception):
            raise self.answer
        return self.answer


Worked = Callable[[LogRead | Exception], Reads]


@pytest.fixture
def worked(pages: Pages, monkeypatch: pytest.MonkeyPatch) -> Worked:
    """Work off the job that waits, whose reading gives what is said."""

    def off(answer: LogRead | Exception) -> Reads:
        reads = Reads(answer)
        monkeypatch.setattr(work, "read_log", reads)
        desk = desk_of(pages)
        job = desk.store.next_job()
        assert job is not None
        work_off(Order(desk.settings.database, str(desk.files.folder), job.id, job.attempt, 1))
        return reads

    return off


def send(pages: Pages, log_id: str, content: str = "a scan", **said: str) -> str:
    """Send a second scan; return the page that follows."""
    answer = pages.post(f"/logs/{log_id}/scans", files={"file": (SECOND, content)}, data=said)
    assert answer.status_code == 200
    return answer.text


def waiting(pages: Pages, log_id: str) -> JobShown:
    (job,) = [job for job in desk_of(pages).store.jobs(log_id) if job.kind == "walk" and not job.state.is_ended]
    return job


def turned(read: LogRead) -> LogRead:
    """The log as two scans show it: 5 cm more in front of the butt, and end for end."""
    matrix = np.diag([-1.0, -1.0, 1.0, 1.0])
    matrix[0, 3] = read.log.length_m
    log = replace(
        read.log,
        outer=read.log.outer.moved(matrix),
        wood=read.log.wood.moved(matrix),
        scan_to_log=matrix @ read.log.scan_to_log,
        walks=WALKS,
    )
    return replace(read, log=log)


def test_a_second_scan_is_fitted_by_a_job_and_the_log_stays_until_then(
    pages: Pages, log_id: str, as_scan: LogRead, worked: Worked, planned: Planned
) -> None:
    desk = desk_of(pages)
    plan_id = keep_plan(pages, log_id, planned.document)
    before, marks = desk.store.log(log_id), desk.store.marks(log_id)
    assert READING_AGAIN not in pages.get(f"/plans/{plan_id}").text

    text = send(pages, log_id)

    assert "Fitting the new scan to the log" in text
    during = desk.store.log(log_id)
    assert (during.state, during.facts, during.scans[0].state) == ("ready", before.facts, "fitting")
    assert "Fitting second.ply now" in pages.get(f"/logs/{log_id}").text
    assert desk.read_of(log_id).log.walks == ()

    two = turned(as_scan)
    reads = worked(replace(two, wood=as_scan.wood, log=two.log.scaled(1.02)))

    assert [(file.shown, file.data) for file in reads.walks[0].files] == [(SECOND, b"a scan")]
    assert reads.walks[0].rolled_deg == (None,)
    after = desk.store.log(log_id)
    assert (after.state, after.scans[0].state, after.scans[0].error) == ("ready", "part", None)
    assert after.facts is not None
    assert [scan.roll_deg for scan in after.facts.scans] == [0.0, 277.0]
    text = pages.get(f"/logs/{log_id}").text
    told = (
        "(second.ply): the log was rolled 83 degrees counterclockwise, looking at the butt, known to within 2 degrees"
    )
    assert told in text
    assert "saw 50% of the surface, in 8,000 points" in text
    assert READING_AGAIN in pages.get(f"/plans/{plan_id}").text
    # Marks stay where they are on the wood, though the other end is the butt now.
    for (mark_id, was), (same_id, mark) in zip(marks, desk.store.marks(log_id), strict=True):
        assert mark_id == same_id
        there = 1.02 * np.array([as_scan.log.length_m - was.x_m, -was.y_m, was.z_m])
        assert np.allclose([mark.x_m, mark.y_m, mark.z_m], there, atol=1e-9)
    assert desk.store.unnamed({before.file_sha256, after.scans[0].file_sha256}) == set()
    assert desk.files.has(before.file_sha256)
    assert desk.files.has(after.scans[0].file_sha256)


def test_where_the_roll_is_not_sure_the_page_asks_and_the_file_need_not_be_sent_again(
    pages: Pages, log_id: str, as_scan: LogRead, worked: Worked
) -> None:
    desk = desk_of(pages)
    send(pages, log_id)
    worked(UNSURE)

    text = pages.get(f"/logs/{log_id}").text
    assert "second.ply was not added: how far the log was rolled before scan 2 is not sure" in text
    assert "say it: 150 under “How far did you roll it, degrees”" in text
    assert "The log is as it was." in text
    (scan,) = desk.store.log(log_id).scans
    assert (scan.state, scan.error and scan.error.field) == ("refused", "rolled_deg")
    assert desk.read_of(log_id).log.walks == ()

    path = f"/logs/{log_id}/scans/{scan.id}"
    assert pages.get(path).url.path == f"/logs/{log_id}"
    for typed, says in (("far", "must be a number of degrees, got far"), ("400", "360")):
        answer = pages.post(path, data={"rolled_deg": typed, "roll_side": "clockwise"})
        assert answer.status_code == 422
        assert says in answer.text
        assert f'value="{typed}"' in answer.text
    assert pages.post(path, data={"rolled_deg": "80", "roll_side": "counterclockwise"}).status_code == 200
    assert worked(turned(as_scan)).walks[0].rolled_deg == (-80.0,)
    (scan,) = desk.store.log(log_id).scans
    assert (scan.state, scan.rolled_deg) == ("part", -80.0)


def test_a_scan_of_another_log_leaves_the_log_as_it_was_and_can_be_removed(
    pages: Pages, log_id: str, worked: Worked
) -> None:
    desk = desk_of(pages)
    before = desk.store.log(log_id)
    send(pages, log_id)
    worked(OTHER)

    after = desk.store.log(log_id)
    assert after.model_copy(update={"scans": ()}) == before
    (scan,) = after.scans
    assert desk.files.has(scan.file_sha256)
    text = pages.get(f"/logs/{log_id}").text
    assert "second.ply was not added: scan 2 and those before it do not make one log; check that all are" in text
    assert "How far did you roll it" not in text

    assert pages.post(f"/logs/{log_id}/scans/{scan.id}/remove").status_code == 200
    assert desk.store.log(log_id) == before
    assert not desk.files.has(scan.file_sha256)
    assert desk.files.has(before.file_sha256)


def test_a_scan_that_was_stopped_can_be_fitted_again(pages: Pages, log_id: str) -> None:
    desk = desk_of(pages)
    send(pages, log_id)
    pages.post(f"/jobs/{waiting(pages, log_id).id}/cancel")

    text = pages.get(f"/logs/{log_id}").text
    assert "second.ply was not added, as you stopped it." in text
    assert "Try it again" in text
    (scan,) = desk.store.log(log_id).scans
    assert pages.post(f"/logs/{log_id}/scans/{scan.id}").status_code == 200
    assert waiting(pages, log_id).id == desk.store.log(log_id).scans[0].job_id


def test_what_is_said_of_the_log_meanwhile_is_read_without_the_scan(
    pages: Pages, log_id: str, as_scan: LogRead, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = desk_of(pages)
    send(pages, log_id)
    job = desk.store.next_job()
    assert job is not None

    def packed(read: LogRead) -> bytes:
        pages.patch(f"/api/logs/{log_id}", json={"about": {"cost": 5}})
        return pack_log(read)

    monkeypatch.setattr(work, "read_log", Reads(turned(as_scan)))
    monkeypatch.setattr(work, "pack_log", packed)
    work_off(Order(desk.settings.database, str(desk.files.folder), job.id, job.attempt, 1))

    log = desk.store.log(log_id)
    assert (log.state, log.scans[0].state) == ("reading", "refused")
    assert desk.store.walks(log_id) == []


def test_a_log_that_is_read_again_is_read_from_all_its_scans(
    pages: Pages, log_id: str, as_scan: LogRead, worked: Worked
) -> None:
    send(pages, log_id, rolled_deg="90", roll_side="clockwise")
    worked(turned(as_scan))
    pages.patch(f"/api/logs/{log_id}", json={"about": {"cost": 5}})

    (walks,) = worked(turned(as_scan)).walks

    assert [file.data for file in walks.files] == [b"a scan"]
    assert walks.rolled_deg == (90.0,)


@pytest.mark.parametrize(
    ("content", "said", "status", "says"),
    [
        (None, {}, 422, "holds the same scan as a file before it"),
        ("a scan", {"rolled_deg": "400"}, 422, "rolled_deg"),
        ("a scan", {"rolled_deg": "nan"}, 422, "rolled_deg"),
        ("a scan", {"rolled": "40"}, 422, "did you mean rolled_deg"),
        ("", {}, 422, "is empty"),
    ],
)
def test_what_cannot_be_another_scan_is_one_line_and_nothing_is_kept(
    pages: Pages, log_id: str, content: str | None, said: dict[str, str], status: int, says: str
) -> None:
    desk = desk_of(pages)
    before = desk.store.log(log_id)
    sent = desk.files.read(before.file_sha256).decode() if content is None else content
    answer = pages.post(f"/api/logs/{log_id}/scans", files={"file": (SECOND, sent)}, data=said)

    assert answer.status_code == status
    assert says in answer.json()["error"]["message"]
    assert "\n" not in answer.json()["error"]["message"]
    assert desk.store.log(log_id) == before
    assert set(desk.files.keys()) == desk.store.named()


def test_the_api_says_what_the_page_does(pages: Pages, log_id: str, as_scan: LogRead, worked: Worked) -> None:
    path = f"/api/logs/{log_id}/scans"
    sent = pages.post(path, content=b"a scan", params={"file_name": SECOND, "rolled_deg": 40})
    assert sent.status_code == 202
    scan_id = sent.json()["scan_id"]
    assert (sent.json()["job"]["kind"], sent.json()["job"]["plan_id"]) == ("walk", None)
    assert pages.patch(f"{path}/{scan_id}", json={}).status_code == 409  # it is being fitted
    assert pages.post(path, files={"file": ("third.ply", "third")}).status_code == 409
    assert worked(UNSURE).walks[0].rolled_deg == (40.0,)

    again = pages.patch(f"{path}/{scan_id}", json={"rolled_deg": -80})
    assert (again.status_code, again.json()["log"]["scans"][0]["rolled_deg"]) == (202, -80.0)
    worked(turned(as_scan))
    log = pages.get(f"/api/logs/{log_id}").json()
    assert (log["scans"][0]["state"], log["facts"]["scans"][1]["known_within_deg"]) == ("part", 2.25)
    assert pages.get(f"/api/jobs/{again.json()['job']['id']}").json()["plan_id"] is None
    assert pages.delete(f"{path}/{scan_id}").status_code == 409  # the log is made of it
    assert pages.patch(f"{path}/{scan_id}", json={}).status_code == 409
    assert pages.delete(f"{path}/{'0' * 32}").status_code == 404
    assert pages.delete(f"/api/logs/{log_id}").status_code == 204
    assert desk_of(pages).files.keys() == []


def test_girths_by_the_tape_are_said_on_the_page_and_the_log_is_read_again_with_them(
    pages: Pages, log_id: str, as_scan: LogRead, worked: Worked
) -> None:
    path = f"/logs/{log_id}/about"
    wrong = pages.post(path, data={"girth": "71 in"})
    assert wrong.status_code == 422
    assert "“Girths by your tape” must say where and how far around, got 71 in" in wrong.text
    assert desk_of(pages).store.log(log_id).state == "ready"

    pages.post(path, data={"girth": "8 ft = 71 in, 4 ft = 80 in"})

    assert [about.girth for about in worked(as_scan).about] == ["8 ft = 71 in, 4 ft = 80 in"]
    assert 'value="8 ft = 71 in, 4 ft = 80 in"' in pages.get(f"/logs/{log_id}").text


def test_a_log_sheet_takes_no_scan(pages: Pages, planned: Planned) -> None:
    log_id = keep_log(pages, planned.read)

    assert "Scans of this log" not in pages.get(f"/logs/{log_id}").text
    answer = pages.post(f"/logs/{log_id}/scans", files={"file": (SECOND, "a scan")})
    assert answer.status_code == 422
    answer = pages.post(f"/api/logs/{log_id}/scans", files={"file": (SECOND, "a scan")})
    assert "is a log sheet, which goes with no scan" in answer.json()["error"]["message"]


def test_a_backup_holds_every_scan_of_a_log(pages: Pages, log_id: str) -> None:
    send(pages, log_id)
    job = desk_of(pages).store.step_job(waiting(pages, log_id).id, job_state.cancel_asked)
    assert job is not None

    assert desk_of(pages).store.log(log_id).scans[0].file_sha256 in desk_of(pages).store.named()
