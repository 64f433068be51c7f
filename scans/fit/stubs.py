"""Branch stubs: what stands out of stem and limbs, as short members of their own."""

from itertools import pairwise

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from scans.fit.arcs import arcs_in
from scans.fit.line_frames import evenly, frames_along, lengths_along
from scans.fit.members import TERMS, Members
from scans.log import FloatArray
from scans.solids.frame import axes_from

STANDS_OUT_M = 0.025
_JOINED_M = 0.045
_LEAST_PLACES = 25
_RADII_M = (0.02, 0.25)
_LEAST_OUT_M = 0.04
_BLEND_M = 0.03
_LEAN = np.cos(np.radians(65.0))
_KNOT_M = 0.08
_LEAST_SEEN = 0.28
"""Of a stub's girth; bark that stands off, or the edge of a hollow, shows less of a circle."""

_OF_HOST = 0.75
"""A stub is thinner than this share of what it stands on."""

_LONGEST_M = 1.0
"""What stands out farther is a limb, or no part of the log: a beam under it looks round where little was seen."""

_UP = np.array([0.0, 0.0, 1.0])


def with_stubs(members: Members, places_m: FloatArray, normals: FloatArray) -> Members:
    """Return the members and one more for each stub that the places (N, 3) show on them.

    normals : (N, 3) unit, of either sign. What stands out but is not round is left out.
    """
    off = members.values_m(places_m)
    out = np.flatnonzero(off > STANDS_OUT_M)
    if len(out) < _LEAST_PLACES:
        return members
    pairs = cKDTree(places_m[out]).query_pairs(_JOINED_M, output_type="ndarray")
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(out), len(out)))
    names = connected_components(graph, directed=False)[1]
    found = []
    for name in np.flatnonzero(np.bincount(names) >= _LEAST_PLACES):
        rows = out[names == name]
        if off[rows].max() >= _LEAST_OUT_M:
            stub = _stub(members, places_m[rows], normals[rows])
            if stub is not None:
                found.append(stub)
    return _added(members, found) if found else members


_Stub = tuple[FloatArray, FloatArray]
"""Centre line (K, 3) and radii (K,), evenly spaced."""


def _stub(members: Members, places: FloatArray, normals: FloatArray) -> _Stub | None:
    outward = _outward(members, places.mean(axis=0))
    along = outward
    for _ in range(4):
        side = np.abs(normals @ along) < 0.6
        if side.sum() < 10:
            return None
        spread = np.einsum("ni,nj->ij", normals[side], normals[side]) / side.sum()
        # Where few of the stub's sides were seen, it is taken to stand straight out.
        along = np.linalg.eigh(spread - 0.1 * np.outer(outward, outward))[1][:, 0]
        along = along * np.sign(along @ outward)
        if along @ outward < _LEAN:
            along = outward
    axes = axes_from(along, _UP)
    side = np.abs(normals @ along) < 0.7
    local = (places - places.mean(axis=0)) @ axes.T
    across = (normals @ axes.T)[:, 1:]
    length = float(np.ptp(np.quantile(local[:, 0], [0.01, 0.99])))
    count = max(1, int(length / 0.12))
    edges = np.linspace(float(np.quantile(local[:, 0], 0.005)), float(np.quantile(local[:, 0], 0.995)), count + 1)
    rng = np.random.default_rng(0)
    at, middles, radii = [], [], []
    host = members.places(places.mean(axis=0)[None])
    thickest = _OF_HOST * float(
        members.radius_m(int(host.share[0].argmax()), host.along_m[0, [host.share[0].argmax()]])[0]
    )
    for low, high in pairwise(edges):
        inside = side & (local[:, 0] >= low) & (local[:, 0] <= high)
        if inside.sum() < 10:
            continue
        flat = across[inside] / np.linalg.norm(across[inside], axis=1)[:, None]
        arcs = arcs_in(local[inside, 1:], flat, _RADII_M, rng, most=1)
        if arcs and arcs[0].seen_share >= _LEAST_SEEN and arcs[0].radius_m <= thickest:
            at.append(0.5 * (low + high))
            middles.append(arcs[0].middle_m)
            radii.append(arcs[0].radius_m)
    if not at:
        return None
    radius = float(np.median(radii))
    within = np.hypot(*(local[:, 1:] - np.mean(middles, axis=0)).T) < 1.2 * radius
    if within.sum() < 10:
        return None
    tip = float(np.quantile(local[within, 0], 0.97))
    start = _root(members, places.mean(axis=0) + np.array([0.0, *middles[0]]) @ axes, along, at[0], radius)
    if tip - float(edges[0]) > _LONGEST_M:
        return None
    knots = np.linspace(start, tip, max(4, int(np.ceil((tip - start) / _KNOT_M)) + 1))
    middle = np.stack([np.interp(knots, at, np.array(middles)[:, k]) for k in range(2)], axis=1)
    line = places.mean(axis=0) + np.column_stack([knots, middle]) @ axes
    return evenly(line, len(line)), np.interp(knots, at, radii)


def _root(members: Members, point: FloatArray, along: FloatArray, first: float, radius: float) -> float:
    """Place along the line through a point at which a stub begins: within the wood that it grows out of."""
    steps = first - 0.03 * np.arange(31)
    depths = -members.values_m(point + steps[:, None] * along)
    deep = np.flatnonzero(depths > radius)
    return float(steps[deep[0]] if len(deep) else steps[int(np.argmax(depths))])


def _outward(members: Members, point: FloatArray) -> FloatArray:
    """Return the unit vector (3,) in which the members' value grows."""
    step = 0.02
    shifted = np.concatenate([point + step * np.eye(3), point - step * np.eye(3)])
    values = members.values_m(shifted)
    slope = values[:3] - values[3:]
    return np.asarray(slope / max(float(np.linalg.norm(slope)), 1e-9))


def _added(members: Members, stubs: list[_Stub]) -> Members:
    counts = np.concatenate([members.counts, [len(radii) for _, radii in stubs]]).astype(np.int64)
    most = int(counts.max())

    def padded(array: FloatArray) -> FloatArray:
        return np.pad(array, ((0, most - len(array)), *((0, 0),) * (array.ndim - 1)))

    terms = [np.column_stack([radii, np.zeros((len(radii), TERMS - 1))]) for _, radii in stubs]
    lengths = np.array([lengths_along(line)[-1] for line, _ in stubs])
    cuts = np.zeros((len(stubs), 2, 3))
    cuts[:, 1, 0] = lengths
    return Members(
        np.stack([padded(line) for line in (*members.centres_m, *(line for line, _ in stubs))]),
        np.stack([padded(turn) for turn in (*members.frames, *(frames_along(line) for line, _ in stubs))]),
        np.concatenate([members.lengths_m, lengths]),
        counts,
        np.stack([padded(term) for term in (*members.terms_m, *terms)]),
        np.concatenate([members.blends_m, np.full(len(stubs), _BLEND_M)]),
        np.concatenate([members.sawn, np.tile([False, True], (len(stubs), 1))]),
        np.concatenate([members.cuts_m, cuts]),
    )
