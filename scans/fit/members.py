"""Stem, limbs and stubs as one smooth shape: its value anywhere, and how that changes with its numbers.

Each member runs along a curved centre line of its own. At knots along it stand a frame square to the line, and the
radius as a Fourier series of the angle round it; between knots both go over straight, so that each place is on one
slice across the line. Members are joined by the polynomial smooth minimum (common practice in shape modelling, no
source), so that a limb grows out of a stem in a hollow. The value is the distance off the surface, roughly: negative
within the wood.
"""

from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scans.log import FloatArray, IntArray

ORDERS = 10
"""Orders 0 to 9 of the Fourier series. What lobes and root swellings the series cannot follow where they were seen, it
would carry on round the unseen side as something else: with 7 orders, to several times the true error."""

TERMS = 2 * ORDERS - 1
"""Numbers at a knot: order 0, then cosine and sine of each order."""


@dataclass(frozen=True, eq=False)
class Members:
    """M members, the stem first.

    centres_m : (M, K, 3) the centre line at each knot; K the most knots.
    frames : (M, K, 3, 3) rows along the line there, and two across.
    lengths_m : (M,) along the line. counts : (M,) knots, evenly spaced from 0 to the length.
    terms_m : (M, K, TERMS) the radius's series.
    blends_m : (M,) width over which a member joins those before it.
    sawn : (M, 2) whether it goes on straight beyond its start and its end, where a saw cut it; else it is
        rounded there.
    cuts_m : (M, 2, 3) planes of the sawn ends, in the frame of the first and the last knot: the place along it, from
        the member's start, and its slope in the two directions across.
    """

    centres_m: FloatArray
    frames: FloatArray
    lengths_m: FloatArray
    counts: IntArray
    terms_m: FloatArray
    blends_m: FloatArray
    sawn: NDArray[np.bool_]
    cuts_m: FloatArray

    @property
    def count(self) -> int:
        """How many members there are."""
        return len(self.lengths_m)

    def with_terms(self, terms_m: FloatArray) -> "Members":
        """Return the same with other radii."""
        return replace(self, terms_m=terms_m)

    def values_m(self, points_m: FloatArray) -> FloatArray:
        """Value (N,) at points (N, 3), sawn ends reckoned in. [m]."""
        values = np.empty(len(points_m))
        _values(np.ascontiguousarray(points_m), *self._plain(), self.cuts_m, values)
        return values

    def values_on_grid_m(self, low_m: FloatArray, edge_m: float, shape: tuple[int, int, int]) -> NDArray[np.float32]:
        """Value at each point of a grid from `low_m`, `edge_m` apart; far from the surface only roughly. [m]."""
        values = np.empty(shape, dtype=np.float32)
        _on_grid(low_m, edge_m, *self._plain(), self.cuts_m, values)
        return values

    def places(self, points_m: FloatArray) -> "Places":
        """Where points (N, 3) stand by each member, its side going on beyond sawn ends."""
        count = len(points_m)
        along, angle = np.empty((count, self.count)), np.empty((count, self.count))
        off, share = np.empty((count, self.count)), np.empty((count, self.count))
        values = np.empty(count)
        _places(np.ascontiguousarray(points_m), *self._plain(), along, angle, off, share, values)
        return Places(along, angle, off, share, values)

    def outward(self, points_m: FloatArray) -> FloatArray:
        """Return the way (N, 3) in which each point moves when the surface moves outwards by 1.

        Square to the member's axis, a unit long on its side and shorter towards its middle, so that end faces
        stay flat and whole.
        """
        at = self.places(points_m)
        ways = np.zeros_like(points_m)
        for m in range(self.count):
            frames = self.frames_at(m, at.along_m[:, m])
            ring = np.cos(at.angle[:, m, None]) * frames[:, 1] + np.sin(at.angle[:, m, None]) * frames[:, 2]
            radius = np.maximum(self.radius_m(m, at.along_m[:, m]), 1e-6)
            part = np.clip(1.0 + at.off_m[:, m] / radius, 0.0, 1.0)
            ways += (at.share[:, m] * part)[:, None] * ring
        return ways

    def line_m(self, member: int, along_m: FloatArray) -> FloatArray:
        """Points (N, 3) of a member's middle, the first order of its radius reckoned in. [m]."""
        count, length = int(self.counts[member]), self.lengths_m[member]
        aside = self.terms_m[member, :count, 1:3]
        middles = self.centres_m[member, :count] + np.einsum("kj,kji->ki", aside, self.frames[member, :count, 1:])
        knots = np.linspace(0.0, length, count)
        inside = np.stack([np.interp(along_m, knots, middles[:, k]) for k in range(3)], axis=1)
        before, beyond = np.minimum(along_m, 0.0), np.maximum(along_m - length, 0.0)
        ends = self.frames[member, [0, count - 1], 0]
        return np.asarray(inside + before[:, None] * ends[0] + beyond[:, None] * ends[1])

    def frames_at(self, member: int, along_m: FloatArray) -> FloatArray:
        """Frames (N, 3, 3) at places along a member, rows as in `frames`."""
        count = int(self.counts[member])
        place = np.clip(along_m / self.lengths_m[member], 0.0, 1.0) * (count - 1)
        i = np.minimum(place.astype(np.int64), count - 2)
        t = (place - i)[:, None, None]
        return np.asarray((1.0 - t) * self.frames[member, i] + t * self.frames[member, i + 1])

    def end_frame(self, member: int, end: int) -> tuple[FloatArray, FloatArray, float]:
        """Centre (3,), frame (3, 3) and place along the member of its first or its last knot."""
        knot = int(self.counts[member]) - 1 if end else 0
        return self.centres_m[member, knot], self.frames[member, knot], float(self.lengths_m[member]) if end else 0.0

    def by_end_m(self, member: int, end: int, points_m: FloatArray) -> FloatArray:
        """Points (N, 3) in the frame of a member's first or last knot, the place along it from the member's start."""
        centre, frame, place = self.end_frame(member, end)
        return np.asarray((points_m - centre) @ frame.T + [place, 0.0, 0.0])

    def radius_m(self, member: int, along_m: FloatArray) -> FloatArray:
        """Mean radius (N,) of a member. [m]."""
        knots = np.linspace(0.0, self.lengths_m[member], self.counts[member])
        return np.interp(along_m, knots, self.terms_m[member, : len(knots), 0])

    def _plain(
        self,
    ) -> tuple[FloatArray, FloatArray, FloatArray, IntArray, FloatArray, FloatArray, NDArray[np.bool_]]:
        return self.centres_m, self.frames, self.lengths_m, self.counts, self.terms_m, self.blends_m, self.sawn


@dataclass(frozen=True, eq=False)
class Places:
    """Where N points stand by M members.

    along_m : (N, M) along each centre line. angle : (N, M) round the centre line. off_m : (N, M) off the member's own
    surface. share : (N, M) how much the joint value changes with each member's. values_m : (N,) the joint value.
    """

    along_m: FloatArray
    angle: FloatArray
    off_m: FloatArray
    share: FloatArray
    values_m: FloatArray


@njit(cache=True, nogil=True)
def _ahead(x, y, z, m, knot, centres, frames):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """How far a point is ahead of the slice at a knot."""
    return (
        (x - centres[m, knot, 0]) * frames[m, knot, 0, 0]
        + (y - centres[m, knot, 1]) * frames[m, knot, 0, 1]
        + (z - centres[m, knot, 2]) * frames[m, knot, 0, 2]
    )


@njit(cache=True, nogil=True)
def _member(x, y, z, m, centres, frames, lengths, counts, terms, sawn):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Place along, angle, and distance off one member."""
    length, last = lengths[m], counts[m] - 1
    ax, ay, az = (
        centres[m, last, 0] - centres[m, 0, 0],
        centres[m, last, 1] - centres[m, 0, 1],
        centres[m, last, 2] - centres[m, 0, 2],
    )
    dx, dy, dz = x - centres[m, 0, 0], y - centres[m, 0, 1], z - centres[m, 0, 2]
    share = (dx * ax + dy * ay + dz * az) / (ax * ax + ay * ay + az * az)
    # From about the right slice on, to the two that the point is between.
    i = min(int(min(max(share, 0.0), 1.0) * last), last - 1)
    before, after = _ahead(x, y, z, m, i, centres, frames), _ahead(x, y, z, m, i + 1, centres, frames)
    while after > 0.0 and i < last - 1:
        i += 1
        before, after = after, _ahead(x, y, z, m, i + 1, centres, frames)
    while before < 0.0 and i > 0:
        i -= 1
        before, after = _ahead(x, y, z, m, i, centres, frames), before
    if before <= 0.0:
        t, s = 0.0, before
    elif after >= 0.0:
        t, s = 1.0, length + after
    else:
        t = before / (before - after)
        s = (i + t) * length / last
    dx = x - (1.0 - t) * centres[m, i, 0] - t * centres[m, i + 1, 0]
    dy = y - (1.0 - t) * centres[m, i, 1] - t * centres[m, i + 1, 1]
    dz = z - (1.0 - t) * centres[m, i, 2] - t * centres[m, i + 1, 2]
    v, w = 0.0, 0.0
    for k, d in enumerate((dx, dy, dz)):
        v += d * ((1.0 - t) * frames[m, i, 1, k] + t * frames[m, i + 1, 1, k])
        w += d * ((1.0 - t) * frames[m, i, 2, k] + t * frames[m, i + 1, 2, k])
    rho = np.sqrt(v * v + w * w)
    cosine, sine = (v / rho, w / rho) if rho > 1e-9 else (1.0, 0.0)
    radius = (1.0 - t) * terms[m, i, 0] + t * terms[m, i + 1, 0]
    c, d = 1.0, 0.0
    for k in range(1, (terms.shape[2] + 1) // 2):
        c, d = c * cosine - d * sine, c * sine + d * cosine
        radius += c * ((1.0 - t) * terms[m, i, 2 * k - 1] + t * terms[m, i + 1, 2 * k - 1])
        radius += d * ((1.0 - t) * terms[m, i, 2 * k] + t * terms[m, i + 1, 2 * k])
    beyond = 0.0
    if s < 0.0 and not sawn[m, 0]:
        beyond = -s
    elif s > length and not sawn[m, 1]:
        beyond = s - length
    return s, np.arctan2(sine, cosine), np.sqrt(rho * rho + beyond * beyond) - radius


@njit(cache=True, nogil=True)
def _joint(x, y, z, centres, frames, lengths, counts, terms, blends, sawn, cuts):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    total = 1e9
    for m in range(centres.shape[0]):
        _, _, off = _member(x, y, z, m, centres, frames, lengths, counts, terms, sawn)
        for end in range(2):
            if not sawn[m, end]:
                continue
            knot = counts[m] - 1 if end else 0
            dx, dy, dz = x - centres[m, knot, 0], y - centres[m, knot, 1], z - centres[m, knot, 2]
            s = frames[m, knot, 0, 0] * dx + frames[m, knot, 0, 1] * dy + frames[m, knot, 0, 2] * dz
            v = frames[m, knot, 1, 0] * dx + frames[m, knot, 1, 1] * dy + frames[m, knot, 1, 2] * dz
            w = frames[m, knot, 2, 0] * dx + frames[m, knot, 2, 1] * dy + frames[m, knot, 2, 2] * dz
            s += lengths[m] if end else 0.0
            up, aside = cuts[m, end, 1], cuts[m, end, 2]
            beyond = (s - cuts[m, end, 0] - up * v - aside * w) / np.sqrt(1.0 + up * up + aside * aside)
            off = max(off, beyond if end else -beyond)
        blend = blends[m]
        share = max(blend - abs(total - off), 0.0) / blend
        total = min(total, off) - 0.25 * share * share * blend
    return total


@njit(cache=True, nogil=True)
def _values(points, centres, frames, lengths, counts, terms, blends, sawn, cuts, values):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    for n in range(points.shape[0]):
        values[n] = _joint(
            points[n, 0], points[n, 1], points[n, 2], centres, frames, lengths, counts, terms, blends, sawn, cuts
        )


@njit(cache=True, nogil=True)
def _on_grid(low, edge, centres, frames, lengths, counts, terms, blends, sawn, cuts, values):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    nx, ny, nz = values.shape
    for i in range(nx):
        for j in range(ny):
            k = 0
            while k < nz:
                value = _joint(
                    low[0] + i * edge,
                    low[1] + j * edge,
                    low[2] + k * edge,
                    centres,
                    frames,
                    lengths,
                    counts,
                    terms,
                    blends,
                    sawn,
                    cuts,
                )
                # Far off only the sign counts, and values change by little more than the way gone.
                onward = k + max(1, int(0.4 * abs(value) / edge) - 2)
                while k < min(onward, nz):
                    values[i, j, k] = value
                    k += 1


@njit(cache=True, nogil=True)
def _places(points, centres, frames, lengths, counts, terms, blends, sawn, along, angle, offs, shares, values):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    for n in range(points.shape[0]):
        total = 1e9
        for m in range(centres.shape[0]):
            s, turn, off = _member(
                points[n, 0], points[n, 1], points[n, 2], m, centres, frames, lengths, counts, terms, sawn
            )
            along[n, m], angle[n, m], offs[n, m] = s, turn, off
            blend = blends[m]
            half = 0.5 * max(blend - abs(total - off), 0.0) / blend
            own = 1.0 - half if off < total else half
            for before in range(m):
                shares[n, before] *= 1.0 - own
            shares[n, m] = own
            total = min(total, off) - half * half * blend
        values[n] = total
