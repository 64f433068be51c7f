"""A log that was read comes back from its file as it went in."""

import dataclasses
import io

import numpy as np
import pytest
from small_log import STRAIGHT

from optimizer.documents.plan import Mark, Source
from scans.fit.surface_noise import noise_modes_m
from scans.log import Fork, Log, SurfaceColours, SurfaceDoubt
from service.store.log_file import pack_log, unpack_log
from service.typed.files import FileRead, read_sample
from service.typed.log_reading import AboutLog, read_log


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
    names = {field.name for kind in (Log, Fork, SurfaceDoubt, SurfaceColours) for field in dataclasses.fields(kind)}

    assert names == {
        "name", "outer", "wood", "bark_thickness_m", "hearts", "forks", "heart_radius_m", "scan_to_log", "face_seen",
        "doubt", "crotch_m", "normal", "direction", "diameter_m", "below_m", "above_m", "outer_ways", "outer_modes_m",
        "wood_ways", "wood_modes_m", "scale_spread", "kinds", "means", "colours", "rgb", "known",
    }  # fmt: skip


def test_a_file_from_before_colours_were_kept_still_opens(forked):
    with np.load(io.BytesIO(pack_log(forked))) as arrays:
        older = dict(arrays)
    older["words"] = np.frombuffer(older["words"].tobytes().replace(b'"version": 3', b'"version": 1'), np.uint8)
    stream = io.BytesIO()
    np.savez(stream, **older)

    assert not any(name.startswith("colours") for name in older)
    assert same(unpack_log(stream.getvalue()), forked)


def test_the_doubt_of_a_scan_kept_before_is_what_it_would_be_now(forked):
    log = forked.log
    rng = np.random.default_rng(0)
    sizes = [rng.normal(size=(len(solid.vertices_m), 3)).astype(np.float32) for solid in (log.outer, log.wood)]
    ways = [np.ones_like(solid.vertices_m) for solid in (log.outer, log.wood)]
    doubt = SurfaceDoubt(ways[0], sizes[0], ways[1], sizes[1], 0.006)
    packed = pack_log(dataclasses.replace(forked, log=dataclasses.replace(log, doubt=doubt)))
    with np.load(io.BytesIO(packed)) as arrays:
        older = dict(arrays)
    older["words"] = np.frombuffer(older["words"].tobytes().replace(b'"version": 3', b'"version": 2'), np.uint8)
    stream = io.BytesIO()
    np.savez(stream, **older)

    back = unpack_log(stream.getvalue()).log.doubt

    # It was twice what the fit says, and is 1.25 times that, with the noise of what was seen.
    for solid, size, found in ((log.outer, sizes[0], back.outer_modes_m), (log.wood, sizes[1], back.wood_modes_m)):
        assert found == pytest.approx(1.25 / 2.0 * size + noise_modes_m(solid.vertices_m, 3), abs=1e-6)
    assert same(unpack_log(packed).log.doubt, doubt)


def test_a_file_of_another_version_is_refused(forked):
    with np.load(io.BytesIO(pack_log(forked))) as arrays:
        changed = dict(arrays)
    changed["words"] = np.frombuffer(changed["words"].tobytes().replace(b'"version": 3', b'"version": 9'), np.uint8)
    stream = io.BytesIO()
    np.savez(stream, **changed)

    with pytest.raises(ValueError, match="version 9, not 1 or 2 or 3"):
        unpack_log(stream.getvalue())
