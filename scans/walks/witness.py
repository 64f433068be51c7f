"""What one walk says of a log's surface, and of which places it says nothing."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scans.locate.scan_surface import points_and_values_on_faces
from scans.log import FloatArray, IntArray, Log

_ON_SURFACE = 60_000
"""A place to a square centimetre or so of a log of three metres."""

COARSE_M, FINE_M = 0.06, 0.03
_SEEN_SHARE = 0.5


@dataclass(frozen=True, eq=False)
class Witness:
    """The surface of the log that was made of one walk alone, in its own log frame.

    places_m : (N, 3) strewn evenly over it. [m] normals : (N, 3) unit, outwards. is_seen : (N,) whether the walk saw
    the place, or it was guessed. length_m : of the log. [m]
    """

    places_m: FloatArray
    normals: FloatArray
    is_seen: NDArray[np.bool_]
    length_m: float

    @cached_property
    def tree(self) -> cKDTree:
        """All places."""
        return cKDTree(self.places_m)

    @cached_property
    def coarse(self) -> IntArray:
        """Rows of places that were seen, COARSE_M apart or so."""
        return self._some(COARSE_M)

    @cached_property
    def fine(self) -> IntArray:
        """Rows of places that were seen, FINE_M apart or so."""
        return self._some(FINE_M)

    def _some(self, apart_m: float) -> IntArray:
        seen = np.flatnonzero(self.is_seen)
        cells = np.floor(self.places_m[seen] / apart_m).astype(np.int64)
        return np.asarray(seen[np.sort(np.unique(cells, axis=0, return_index=True)[1])])


def witness_of(log: Log) -> Witness:
    """Return what the walk says that a log was made of. The log's `face_seen` must be there."""
    solid = log.outer
    corners = solid.vertices_m[solid.faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    seen_faces = np.ones(len(solid.faces)) if log.face_seen is None else log.face_seen.astype(np.float64)
    values = np.zeros((len(solid.vertices_m), 4))
    around = np.zeros(len(solid.vertices_m))
    for k in range(3):
        np.add.at(values, solid.faces[:, k], np.column_stack([across, seen_faces]))
        np.add.at(around, solid.faces[:, k], 1.0)
    values[:, :3] /= np.maximum(np.linalg.norm(values[:, :3], axis=1), 1e-12)[:, None]
    values[:, 3] /= np.maximum(around, 1.0)
    places, there = points_and_values_on_faces(solid.vertices_m, values, solid.faces, _ON_SURFACE)
    normals = there[:, :3] / np.maximum(np.linalg.norm(there[:, :3], axis=1), 1e-12)[:, None]
    return Witness(places, normals, there[:, 3] >= _SEEN_SHARE, log.length_m)
