"""Parts of a surface that a hollow crease divides, as where a stone, a boot or a bunk touches a log."""

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scans.log import FloatArray, IntArray
from scans.neighbours import nearest

NEIGHBOURS = 24
_RISE = np.sin(np.radians(14.0))
"""A neighbour that stands this much out of the surface is across a crease."""

_HOLLOW = np.cos(np.radians(28.0))
"""Normals that turn towards each other by more than this have a crease between them."""

_ROUGHEST = 0.06
"""A place whose neighbours spread out of their plane by a larger share of all spread leads nowhere."""


def near_places(places_m: FloatArray, reach_m: float) -> IntArray:
    """Rows (V, 24) of the nearest other places (V, 3) within reach, -1 where there are fewer."""
    near = nearest(cKDTree(places_m), places_m, NEIGHBOURS + 1, reach_m)[1][:, 1:]
    return np.where(near < len(places_m), near, -1)


def normals_and_roughness(places_m: FloatArray, near: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return unit normals (V, 3) of either sign of places, and the share (V,) of spread along them."""
    padded = np.where(near >= 0, near, np.arange(len(places_m))[:, None])
    around = np.concatenate([places_m[:, None], places_m[padded]], axis=1)
    weight = np.concatenate([np.ones((len(places_m), 1)), near >= 0], axis=1)[:, :, None]
    about = (around - (around * weight).sum(axis=1, keepdims=True) / weight.sum(axis=1, keepdims=True)) * weight
    values, vectors = np.linalg.eigh(np.einsum("nki,nkj->nij", about, about))
    # Two places near one another have no plane.
    alone = (near >= 0).sum(axis=1) < 4
    share = np.where(alone, 1.0, values[:, 0] / np.maximum(values.sum(axis=1), 1e-30))
    return np.ascontiguousarray(vectors[:, :, 0]), share


def smoothed_places(places_m: FloatArray, near: IntArray, normals: FloatArray) -> FloatArray:
    """Return places (V, 3) moved along their normals onto the planes of their neighbours: noise, not creases."""
    padded = np.where(near >= 0, near, np.arange(len(places_m))[:, None])
    off = np.einsum("nki,ni->nk", places_m[padded] - places_m[:, None], normals)
    count = (near >= 0).sum(axis=1) + 1
    return np.asarray(places_m + (off.sum(axis=1) / count)[:, None] * normals)


def smooth_parts(
    places_m: FloatArray, near: IntArray, normals: FloatArray, roughness: FloatArray, may_lead: NDArray[np.bool_]
) -> IntArray:
    """Return the part (V,) that each place belongs to, numbered by when it was begun; -1 for none.

    A part grows from a flat place that faces up, over convex edges and smooth surface, and stops at hollow
    creases, rough places and those that may not lead on.
    """
    part = np.full(len(places_m), -1, dtype=np.int64)
    leads = may_lead & (roughness < _ROUGHEST)
    order = np.argsort(-np.abs(normals[:, 2]) + roughness, kind="stable")
    edge = float(np.median(np.linalg.norm(places_m[near[:, 0]] - places_m, axis=1)[near[:, 0] >= 0]))
    _grow(places_m, near, normals.copy(), leads, order.astype(np.int64), edge, _RISE, _HOLLOW, part)
    return part


@njit(cache=True, nogil=True)
def _grow(places, near, normals, leads, order, edge, rise, hollow, part):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    count = places.shape[0]
    queue = np.empty(count, dtype=np.int64)
    smooth = np.zeros(count, dtype=np.int64)
    creased = np.zeros(count, dtype=np.int64)
    asked = np.zeros(count, dtype=np.int64)
    name = 0
    for seed in order:
        if part[seed] >= 0 or not leads[seed]:
            continue
        if normals[seed, 2] < 0.0:
            for k in range(3):
                normals[seed, k] = -normals[seed, k]
        part[seed] = name
        queue[0] = seed
        head, tail = 0, 1
        while head < tail:
            p = queue[head]
            head += 1
            for j in range(near.shape[1]):
                q = near[p, j]
                if q < 0:
                    break
                if part[q] >= 0:
                    continue
                dx, dy, dz = places[q, 0] - places[p, 0], places[q, 1] - places[p, 1], places[q, 2] - places[p, 2]
                dist = max(np.sqrt(dx * dx + dy * dy + dz * dz), edge)
                out = dx * normals[p, 0] + dy * normals[p, 1] + dz * normals[p, 2]
                cosine = normals[p, 0] * normals[q, 0] + normals[p, 1] * normals[q, 1] + normals[p, 2] * normals[q, 2]
                along = dx * normals[q, 0] + dy * normals[q, 1] + dz * normals[q, 2]
                sign = 1.0
                if cosine < -0.3 or (cosine < 0.3 and along < 0.0):
                    sign = -1.0
                if asked[q] != name + 1:
                    asked[q], smooth[q], creased[q] = name + 1, 0, 0
                fits = out <= rise * dist
                if fits and leads[q]:
                    fits = -sign * along <= rise * dist and (sign * along >= out or sign * cosine >= hollow)
                if not fits:
                    creased[q] += 1
                    continue
                smooth[q] += 1
                # One neighbour's word is not enough where others see a crease.
                first = tail < 40
                if not first and (smooth[q] < 3 or smooth[q] < 2 * creased[q]):
                    continue
                part[q] = name
                if leads[q]:
                    for k in range(3):
                        normals[q, k] *= sign
                    queue[tail] = q
                    tail += 1
        name += 1
