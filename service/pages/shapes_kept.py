"""The forms of logs that pages draw, kept in memory: to cut a solid across takes longer than to draw it."""

from collections import OrderedDict
from dataclasses import replace
from threading import Lock

from service import desk as at
from service.desk import Desk
from service.drawings.log_shape import LogShape, shape_of

_MOST_BYTES = 50_000_000
_CORNER_BYTES = 120
"""What a corner of a ring takes: two numbers, the pair of them, and its place in the ring."""
_SPACING_M = 0.15
_kept: OrderedDict[str, LogShape] = OrderedDict()
_lock = Lock()


def shape_kept(desk: Desk, log_id: str) -> LogShape:
    """Return the form of a log with the marks that it has now. Raises NotFoundError, NotReadyError."""
    key = desk.store.log_read_key(log_id) or ""
    marks = tuple(mark for _, mark in desk.store.marks(log_id))
    with _lock:
        shape = _kept.get(key)
        if shape is not None:
            _kept.move_to_end(key)
    if shape is None:
        shape = shape_of(at.read_of(desk, log_id).log, _SPACING_M, ())
        with _lock:
            _kept[key] = shape
            while sum(map(_bytes_of, _kept.values())) > _MOST_BYTES:
                _kept.popitem(last=False)
    return replace(shape, marks=marks)


def _bytes_of(shape: LogShape) -> int:
    corners = sum(len(ring) for cut in shape.cuts for ring in (*cut.outer_m, *cut.wood_m))
    return _CORNER_BYTES * corners + sum(line.nbytes for line in shape.hearts)
