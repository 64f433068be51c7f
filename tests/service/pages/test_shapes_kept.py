"""Forms of logs that are kept to be drawn again: no more than memory is meant for, the last asked for longest."""

from collections import OrderedDict
from types import SimpleNamespace

import pytest

from service.drawings.log_shape import shape_of
from service.pages import shapes_kept


@pytest.fixture
def made(planned, monkeypatch):
    """Return the names of logs whose forms were made, in turn; two forms may be kept."""
    made, shape = [], shape_of(planned.read.log, 0.5, ())

    def noted(log_id, *_):
        made.append(log_id)
        return shape

    monkeypatch.setattr(shapes_kept, "_kept", OrderedDict())
    monkeypatch.setattr(shapes_kept, "_MOST_BYTES", int(2.5 * shapes_kept._bytes_of(shape)))
    monkeypatch.setattr(shapes_kept, "shape_of", noted)
    monkeypatch.setattr(shapes_kept.at, "read_of", lambda _, log_id: SimpleNamespace(log=log_id))
    return made


def test_what_was_not_asked_for_longest_is_made_anew(made):
    desk = SimpleNamespace(store=SimpleNamespace(log_read_key=lambda log_id: log_id, marks=lambda _: []))
    for log_id in ("a", "b", "a", "c", "a", "b"):
        shapes_kept.shape_kept(desk, log_id)

    assert made == ["a", "b", "c", "b"]
    assert list(shapes_kept._kept) == ["a", "b"]


def test_a_form_takes_about_what_is_counted(planned):
    shape = shape_of(planned.read.log, 0.15, ())
    corner = shape.cuts[0].outer_m[0][0]
    corners = sum(len(ring) for cut in shape.cuts for ring in (*cut.outer_m, *cut.wood_m))
    corner_bytes = corner.__sizeof__() + sum(number.__sizeof__() for number in corner) + 8

    assert shapes_kept._bytes_of(shape) == pytest.approx(corners * corner_bytes, rel=0.3)
