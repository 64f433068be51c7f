"""How far the reading of a scan is: the steps that it goes through, told as they begin."""

import pytest
from kept_pages import Pages, desk_of

from scans.log_of_scan import READING_STAGES
from service.contract import job_state
from service.typed.errors import InputError
from service.typed.files import SHEET_FILE, FileRead, read_sample
from service.typed.invented_scan import SCAN_FILE, invented_scan
from service.typed.log_reading import AboutLog, read_log


def test_reading_tells_each_step_as_it_begins() -> None:
    told: list[str] = []
    read = read_log(FileRead(SCAN_FILE, invented_scan(), "0" * 64), AboutLog(), on_stage=told.append)
    assert tuple(told) == READING_STAGES
    assert read.source.kind == "scan"
    sheet: list[str] = []
    read_log(read_sample(SHEET_FILE), AboutLog(), on_stage=sheet.append)
    assert tuple(sheet) == READING_STAGES[:1]


def test_reading_ends_where_it_is_told_to() -> None:
    def stop(stage: str) -> None:
        if stage == READING_STAGES[1]:
            raise InputError("stopped")

    with pytest.raises(InputError, match="stopped"):
        read_log(FileRead(SCAN_FILE, invented_scan(), "0" * 64), AboutLog(), on_stage=stop)


def test_the_page_of_a_log_being_read_says_which_step_it_is_at(client: Pages) -> None:
    desk = desk_of(client)
    log = desk.add_scan(invented_scan()[:9000], SCAN_FILE, "Half a scan").log
    assert log.job_id is not None
    job = desk.store.step_job(log.job_id, job_state.started)
    assert job is not None
    desk.store.note_progress(job.id, job.attempt, READING_STAGES[2], 2, 6, None, share=0.25)
    text = client.get(f"/logs/{log.id}").text
    desk.remove_log(log.id)
    assert f"step 3 of 6: {READING_STAGES[2]}</p>" in text
    assert 'max="1" value="0.25"' in text
    assert "minute:" not in text
