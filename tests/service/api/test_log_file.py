"""A log that was read comes back from its file as it went in."""

import dataclasses
import io

import numpy as np
import pytest
from small_log import STRAIGHT

from optimizer.documents.plan import Mark, Source
from scans.log import Fork, Log, SurfaceColours, SurfaceDoubt, WalkSeen
from service.desk import Desk, open_desk
from service.jobs.work import Order, work_off
from service.settings import Settings
from service.store.log_file import VERSION, pack_log, unpack_log
from service.store.records import LogRow
from service.typed.files import FileRead, read_sample
from service.typed.log_reading import AboutLog, LogRead, read_log


def same(a, b):
    if isinstance(a, np.ndarray):
        assert a.dtype == b.dtype
        assert a.shape == b.shape
        return bool((a == b).all())
    if dataclasses.is_dataclass(a):
        return type(a) is type(b) and all(
            same(getattr(a, field.name), getattr(b, field.name)) for field in dataclasses.fields(a)
        )
    if isinstance(a, tuple):
        return len(a) == len(b) and all(map(same, a, b))
    return a == b


@pytest.fixture(scope="module")
def forked():
    return read_log(read_sample("log.toml"), AboutLog())


def test_a_forked_log_with_bark(forked):
    assert len(forked.log.forks) == 1
    assert same(unpack_log(pack_log(forked)), forked)


def test_a_log_without_bark_whose_wood_is_its_outside():
    read = read_log(FileRead("log.toml", STRAIGHT.encode(), "0" * 64), AboutLog())
    back = unpack_log(pack_log(read))

    assert same(back, read)
    assert back.log.wood is back.log.outer


def test_a_scan_with_doubt_and_what_was_seen(forked):
    rng = np.random.default_rng(0)
    log, modes = forked.log, 3
    ways = [0.001 * rng.normal(size=solid.vertices_m.shape) for solid in (log.outer, log.wood)]
    sizes = [rng.normal(size=(len(way), modes)).astype(np.float32) for way in ways]
    read = dataclasses.replace(
        forked,
        source=Source(kind="scan", sha256="a" * 64),
        marks=(Mark(id="metal 1", kind="metal", x_m=1.0, y_m=0.1, z_m=0.2, radius_m=0.03, depth_m=0.1),),
        log=dataclasses.replace(
            log,
            walks=(WalkSeen(9000, 0.625), WalkSeen(8000, 0.5, 127.25, 2.5, 0.004)),
            face_seen=rng.random(len(log.outer.faces)) > 0.5,
            colours=SurfaceColours(
                rng.integers(0, 256, log.outer.vertices_m.shape, dtype=np.uint8),
                rng.random(len(log.outer.vertices_m)) > 0.5,
            ),
            doubt=SurfaceDoubt(ways[0], sizes[0], ways[1], sizes[1], 0.006, ("a", "b", "c"), (0.0, -1.5, 0.5)),
        ),
    )
    back = unpack_log(pack_log(read))

    assert same(back, read)
    assert same(back.log.sample(2, 7)[1].outer, read.log.sample(2, 7)[1].outer)


def test_every_field_of_a_log_is_looked_at():
    """A new field must be kept too: name it here once `log_file` keeps it."""
    names = {
        field.name for kind in (Log, Fork, SurfaceDoubt, SurfaceColours, WalkSeen) for field in dataclasses.fields(kind)
    }

    assert names == {
        "name", "outer", "wood", "bark_thickness_m", "hearts", "forks", "heart_radius_m", "scan_to_log", "face_seen",
        "doubt", "crotch_m", "normal", "direction", "diameter_m", "below_m", "above_m", "outer_ways", "outer_modes_m",
        "wood_ways", "wood_modes_m", "scale_spread", "kinds", "means", "colours", "rgb", "known",
        "walks", "points", "seen_share", "roll_deg", "known_within_deg", "apart_m",
    }  # fmt: skip


def of_version(number: int, read: LogRead) -> bytes:
    with np.load(io.BytesIO(pack_log(read))) as arrays:
        changed = dict(arrays)
    now = f'"version": {VERSION}'.encode()
    changed["words"] = np.frombuffer(
        changed["words"].tobytes().replace(now, f'"version": {number}'.encode()), dtype=np.uint8
    )
    stream = io.BytesIO()
    np.savez(stream, **changed)
    return stream.getvalue()


def test_a_file_of_another_version_is_refused(forked):
    with pytest.raises(ValueError, match="version 3, not 4"):
        unpack_log(of_version(3, forked))


def work_waiting(desk: Desk) -> None:
    job = desk.store.next_job()
    work_off(Order(desk.settings.database, str(desk.files.folder), job.id, job.attempt, 1))
    assert desk.store.job(job.id).state == "done"


def test_a_log_kept_in_a_form_from_before_is_read_again_and_keeps_its_marks(tmp_path):
    settings = Settings(data_folder=tmp_path, slots=0, free_bytes=0)
    desk = open_desk(settings)
    logs = [desk.add_sample().log, desk.add_scan(STRAIGHT.encode(), "log.toml").log]
    for _ in logs:
        work_waiting(desk)
    older = logs[0]
    read = desk.read_of(older.id)
    key = desk.files.add(of_version(VERSION - 1, read))
    with desk.store.database.writing() as session:
        session.get(LogRow, older.id).read_key = key
    desk.close()

    desk = open_desk(settings)

    assert [desk.store.log(log.id).state for log in logs] == ["reading", "ready"]
    work_waiting(desk)
    assert desk.store.next_job() is None
    assert same(desk.read_of(older.id), read)
    desk.close()
