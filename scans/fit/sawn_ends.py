"""Where the saw cut stem and limbs off: a plane across each sawn end."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from scans.fit.members import Members
from scans.log import FloatArray

_NEAR_M = 0.25
_FACING = 0.6
_WITHIN = 0.92
"""Only places within this share of the radius are of an end face; beyond it, bark hangs over the edge."""

_STEEPEST = np.tan(np.radians(40.0))
_LEAST_PLACES = 12
_STEPS_M = (0.08, 0.05, 0.03, 0.02, 0.02, 0.02)


def with_sawn_ends(members: Members, places_m: FloatArray, facing: FloatArray) -> Members:
    """Return the members cut off where the log's end faces were seen, or else where its sides end.

    places_m : (N, 3) of the seen surface. facing : (N, 3) unit normals of either sign.
    """
    cuts = members.cuts_m.copy()
    at = members.places(places_m)
    for m in range(members.count):
        for end in (int(e) for e in np.flatnonzero(members.sawn[m])):
            local = members.by_end_m(m, end, places_m)
            along = np.abs(facing @ members.end_frame(m, end)[1][0])
            cuts[m, end] = _cut(members, m, end, local, along, at.off_m[:, m], at.share[:, m])
    return replace(members, cuts_m=cuts)


def on_sawn_ends(members: Members, places_m: FloatArray, facing: FloatArray) -> NDArray[np.bool_]:
    """Which places (N,) are of the members' sawn ends, or splinters of them, and not of their sides."""
    at = members.places(places_m)
    on_end = np.zeros(len(places_m), dtype=np.bool_)
    for m in range(members.count):
        for end in (int(e) for e in np.flatnonzero(members.sawn[m])):
            local = members.by_end_m(m, end, places_m)
            along = np.abs(facing @ members.end_frame(m, end)[1][0]) > _FACING
            cut = members.cuts_m[m, end]
            beyond = local[:, 0] - cut[0] - local[:, 1:] @ cut[1:]
            beyond = beyond if end else -beyond
            off = at.off_m[:, m]
            on_end |= (beyond > -0.03) & (off < 0.02) & along
            on_end |= (beyond > -0.05) & (off < -0.02)
    return on_end


def _cut(
    members: Members, m: int, end: int, local: FloatArray, facing: FloatArray, off_m: FloatArray, share: FloatArray
) -> FloatArray:
    knot = members.counts[m] - 1 if end else 0
    sign = 1.0 if end else -1.0
    v, w = local[:, 1:].T
    own = (np.abs(off_m) < 0.03) & (share > 0.9) & (facing < 0.5)
    side = sign * local[own, 0]
    last = float(np.quantile(side, 0.998)) if own.sum() > 20 else sign * members.lengths_m[m] * end
    radius = float(members.terms_m[m, knot, 0])
    face = (
        (np.abs(sign * local[:, 0] - last) < _NEAR_M)
        & (off_m < -max(0.015, (1.0 - _WITHIN) * radius))
        & (np.hypot(v, w) < 1.3 * radius)
        & (facing > _FACING)
    )
    if face.sum() < _LEAST_PLACES:
        return np.array([sign * last, 0.0, 0.0])
    matrix = np.column_stack([np.ones(int(face.sum())), v[face], w[face]])
    values = local[face, 0]
    found = np.array([np.median(values), 0.0, 0.0])
    ridge = np.diag([0.0, 0.05 * radius, 0.05 * radius])
    for step in _STEPS_M:
        weight = np.clip(1.0 - ((values - matrix @ found) / (2.5 * step)) ** 2, 0.0, None) ** 2
        normal = matrix.T @ (weight[:, None] * matrix) + ridge
        found = np.linalg.solve(normal, matrix.T @ (weight * values))
        found[1:] = np.clip(found[1:], -_STEEPEST, _STEEPEST)
    return found
