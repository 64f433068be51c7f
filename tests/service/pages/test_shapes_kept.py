"""Forms of logs that are kept to be drawn again: no more than memory is meant for, the last asked for longest."""

import pytest

from service.drawings.log_shape import shape_of
from service.pages import shapes_kept


def test_what_was_not_asked_for_longest_is_let_go(planned):
    shape = shape_of(planned.read.log, 0.5, ())
    kept = type(shapes_kept._SHAPES)(2.5 * shapes_kept._bytes_of(shape), shapes_kept._bytes_of)
    for name in ("a", "b", "a", "c"):
        if name not in kept:
            kept[name] = shape
        assert kept[name] is shape

    assert set(kept) == {"a", "c"}
    assert shapes_kept._SHAPES.getsizeof(shape) == shapes_kept._bytes_of(shape)


def test_a_form_takes_about_what_is_counted(planned):
    shape = shape_of(planned.read.log, 0.15, ())
    corner = shape.cuts[0].outer_m[0][0]
    corners = sum(len(ring) for cut in shape.cuts for ring in (*cut.outer_m, *cut.wood_m))
    corner_bytes = corner.__sizeof__() + sum(number.__sizeof__() for number in corner) + 8

    assert shapes_kept._bytes_of(shape) == pytest.approx(corners * corner_bytes, rel=0.3)
