"""Exact widths of pieces by the face that a buyer counts, from the sections of both faces.

A face's wood belongs to the piece of the outline that it meets. Where one stretch of wood across a face meets several
pieces, as one that is joined already where the crotch divides the other face, it is parted half-way between them.
"""

from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from optimizer.bed.outlines import WidthProfile
from scans.log import FloatArray, IntArray

Face = Literal["both", "narrow", "wide", "mean"]
SAME_PLACE_M = 1e-9
"""Places along the bed so near each other are one."""
_FAR = 1e3
"""Farther apart than any two places across a log. [m]"""


class _Stretches(NamedTuple):
    """Wood across strips of the bed between neighbouring breakpoints, in order of strip and y.

    strip, piece : (Q,). low, high : (Q, 2) where it begins and ends in y, at the strip's left and right border. [m]
    """

    strip: IntArray
    piece: IntArray
    low: FloatArray
    high: FloatArray

    @property
    def middle(self) -> FloatArray:
        """Where its middle lies, in one order over all strips."""
        found: FloatArray = _FAR * self.strip + 0.25 * (self.low + self.high).sum(axis=1)
        return found


def counted_profiles(
    pieces: Sequence[BaseGeometry], upper: Sequence[BaseGeometry], lower: Sequence[BaseGeometry], face: Face
) -> list[WidthProfile | None]:
    """Return the width of each piece by the face that counts, straight between breakpoints; None for one without wood.

    pieces : parts of the outline, which the two faces share. upper, lower : all wood on each face, seen in plan. [m]
    """
    parts = [_edges(shapes) for shapes in (pieces, upper, lower)]
    places = np.unique(np.concatenate([edges[:, [0, 2]].ravel() for edges, _ in parts]))
    x = places[np.concatenate([[True], np.diff(places) > SAME_PLACE_M])] if len(places) else places
    outline, *faces = (_stretches(x, *part) for part in parts)
    strips = (len(pieces), max(len(x) - 1, 0), 2)

    def summed(width: FloatArray) -> FloatArray:
        found = np.zeros(strips)
        np.add.at(found, (outline.piece, outline.strip), width)
        return found

    there = np.zeros(strips[:2], dtype=np.bool_)
    there[outline.piece, outline.strip] = True
    if face == "both":
        widths = [summed(outline.high - outline.low)] * 2
    else:
        widths = [summed(_own_width(outline, one)) for one in faces]
    return [_profile(x, there[k], widths[0][k], widths[1][k], face) for k in range(len(pieces))]


def _edges(shapes: Sequence[BaseGeometry]) -> tuple[FloatArray, IntArray]:
    """Return the edges (E, 4), x and y of both ends, from left to right, and of which shape each is (E,)."""
    found, owner = [np.zeros((0, 4))], [np.zeros(0, dtype=np.int64)]
    for k, shape in enumerate(shapes):
        for part in getattr(shape, "geoms", [shape]):
            if part.geom_type != "Polygon" or part.is_empty:
                continue
            turned = orient(part)
            for ring in (turned.exterior, *turned.interiors):
                corners = shapely.get_coordinates(ring)
                found.append(np.concatenate([corners[:-1], corners[1:]], axis=1))
                owner.append(np.full(len(corners) - 1, k))
    edges = np.concatenate(found)
    back = edges[:, 0] > edges[:, 2]
    edges[back] = edges[back][:, [2, 3, 0, 1]]
    return edges, np.concatenate(owner)


def _stretches(x: FloatArray, edges: FloatArray, owner: IntArray) -> _Stretches:
    """Return what the edges enclose across each strip between neighbouring places x."""
    first, last = (np.searchsorted(x, edges[:, k] - SAME_PLACE_M) for k in (0, 2))
    count = np.maximum(last - first, 0)
    which = np.repeat(np.arange(len(edges)), count)
    strip = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)
    x0, y0, x1, y1 = edges[which].T
    y = np.stack([y0 + (y1 - y0) * (x[strip + k] - x0) / (x1 - x0) for k in (0, 1)], axis=1)
    order = np.lexsort((y.sum(axis=1), strip))
    strip, y, which = strip[order], y[order], which[order]
    # A ring is closed, so that each strip has an even number of edges: wood lies between the first and second, and on.
    return _Stretches(strip[::2], owner[which[::2]], y[::2], y[1::2])


def _own_width(outline: _Stretches, face: _Stretches) -> FloatArray:
    """Return (Q, 2) how wide a face is that belongs to each stretch of the outline. [m]."""
    if len(face.strip) == 0:
        return np.zeros((len(outline.strip), 2))
    # The face that an outline lies in is the last one that begins below its middle.
    begins = _FAR * face.strip + 0.5 * face.low.sum(axis=1)
    meets = np.clip(np.searchsorted(begins, outline.middle, side="right") - 1, 0, len(begins) - 1)
    low, high = face.low[meets], face.high[meets]
    beside = np.flatnonzero((meets[1:] == meets[:-1]) & (outline.strip[1:] == outline.strip[:-1]))
    half_way = 0.5 * (outline.high[beside] + outline.low[beside + 1])
    high[beside], low[beside + 1] = half_way, half_way
    found: FloatArray = np.where((face.strip[meets] == outline.strip)[:, None], np.maximum(0.0, high - low), 0.0)
    return found


def _profile(x: FloatArray, there: FloatArray, a: FloatArray, b: FloatArray, face: Face) -> WidthProfile | None:
    """Return a piece's width from those of its two faces, (S, 2) at the borders of each strip."""
    at = np.flatnonzero(there)
    if len(at) == 0:
        return None
    strips = slice(at[0], at[-1] + 1)
    x, a, b = x[at[0] : at[-1] + 2], a[strips], b[strips]
    if face in ("both", "mean"):
        mean = 0.5 * (a + b)
        return WidthProfile(x, mean[:, 0], mean[:, 1])
    # Where the one face grows wider than the other, the profile bends.
    off = a - b
    cross = np.flatnonzero(off[:, 0] * off[:, 1] < 0.0)
    share = off[cross, 0] / (off[cross, 0] - off[cross, 1])
    bend = x[cross] + share * (x[cross + 1] - x[cross])
    width = (a[cross, 0] + share * (a[cross, 1] - a[cross, 0]))[:, None]
    chosen = np.minimum(a, b) if face == "narrow" else np.maximum(a, b)
    left, right = chosen[:, 0].copy(), chosen[:, 1].copy()
    left = np.insert(left, cross + 1, width[:, 0])
    right = np.insert(right, cross, width[:, 0])
    return WidthProfile(np.insert(x, cross + 1, bend), left, right)
