"""The forms of logs that pages draw, kept in memory: to cut a solid across takes longer than to draw it."""

from collections import OrderedDict
from dataclasses import replace
from threading import Lock

from service.desk import Desk
from service.drawings.log_shape import LogShape, shape_of

_MOST = 200
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
        shape = shape_of(desk.read_of(log_id).log, _SPACING_M, ())
        with _lock:
            _kept[key] = shape
            while len(_kept) > _MOST:
                _kept.popitem(last=False)
    return replace(shape, marks=marks)
