"""The forms of logs that pages draw, kept in memory: to cut a solid across takes longer than to draw it."""

from dataclasses import replace
from threading import Lock

from cachetools import LRUCache, cached

from service.desk import Desk
from service.drawings.log_shape import LogShape, shape_of

_MOST_BYTES = 50_000_000
_CORNER_BYTES = 120
"""What a corner of a ring takes: two numbers, the pair of them, and its place in the ring."""
_SPACING_M = 0.15
"""Between the sections that a small picture shows (our own rule, no source)."""


def shape_kept(desk: Desk, log_id: str) -> LogShape:
    """Return the form of a log with the marks that it has now. Raises NotFoundError, NotReadyError."""
    marks = tuple(mark for _, mark in desk.store.marks(log_id))
    return replace(_unmarked(desk, log_id, desk.store.log_read_key(log_id)), marks=marks)


def _bytes_of(shape: LogShape) -> int:
    corners = sum(len(ring) for cut in shape.cuts for ring in (*cut.outer_m, *cut.wood_m))
    return _CORNER_BYTES * corners + sum(line.nbytes for line in shape.hearts)


_SHAPES = LRUCache[str | None, LogShape](_MOST_BYTES, _bytes_of)


@cached(_SHAPES, key=lambda _desk, _log_id, read_key: read_key, lock=Lock())
def _unmarked(desk: Desk, log_id: str, read_key: str | None) -> LogShape:
    del read_key
    return shape_of(desk.read_of(log_id).log, _SPACING_M, ())
