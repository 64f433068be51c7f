"""The side of a log that was not seen: one model of stem and limbs, fitted to the side that was.

Radii are unknown functions of the place along a member and the angle round it, smooth as logs are, known
before the scan only to be near a straight taper; what was seen makes them nearly certain there, and less so
with distance from it. All members are fitted together through their smooth union, so that wood at the
crotch is reckoned once.

The first fit leaves the lowest fifth out, the second takes back what lies within 2 cm of it. The series round a member
has ten orders: lobes that it cannot follow where they were seen it would carry on round the unseen side as something
else. The invented logs are joined by the same smooth union and blend, so that their crotches are easier than real ones.
"""

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, solve_triangular

from scans.fit.members import ORDERS, TERMS, Members
from scans.log import FloatArray, IntArray

LONG_M, SHORT_M, SHORT_SHARE = 1.5, 0.3, 0.2
"""How far along a log its form keeps: most of it far, some of it near (common practice, no source)."""

_FORM = np.array([0.06, 0.08, *(0.03 * (2.0 / k) ** 1.5 for k in range(2, ORDERS))])
"""How far a radius may lie off a straight taper, as its share, for each order round the girth."""

SIGMA_M = 0.012
"""How far a place of the sample may lie off the smooth form, noise, drift and bark together. [m]"""

_CUTS_M = (0.12, 0.08, 0.05, 0.04, 0.035, 0.03, 0.03)
"""Places farther off than this do not count, round after round: stubs, ends, what is no log. [m]"""

_COARSE = 4
"""Until the last rounds only one place in so many is looked at."""


@dataclass(frozen=True, eq=False)
class Fit:
    """Members as fitted, and how sure: `precision` (P, P) of all numbers, rows as in `index`.

    index : (M,) first row of each member's numbers; a member has its knots times TERMS.
    """

    members: Members
    precision: FloatArray
    index: IntArray

    def unpacked(self, numbers: FloatArray) -> FloatArray:
        """Numbers (P,) in the shape of terms_m."""
        terms = np.zeros_like(self.members.terms_m)
        for m, first in enumerate(self.index):
            knots = self.members.counts[m]
            terms[m, :knots] = numbers[first : first + knots * TERMS].reshape(knots, TERMS)
        return terms


def modes_m(fit: Fit, members: Members, points_m: FloatArray, count: int) -> NDArray[np.float32]:
    """Return how far the surface at points (N, 3) may move outwards in `count` ways (N, count). [m].

    members : those fitted, sawn ends and all. The ways are draws from what the fit leaves open, so that sums of them
    with weights of unit spread spread as it does; the more, the nearer.
    """
    rng = np.random.default_rng(0)
    draws = solve_triangular(np.linalg.cholesky(fit.precision).T, rng.normal(size=(len(fit.precision), count)))
    index = np.concatenate([fit.index, [len(fit.precision)]]).astype(np.int64)
    at = members.places(points_m)
    found = np.zeros((len(points_m), count))
    _spread(
        at.along_m, at.angle, at.share, members.lengths_m, members.counts, index, np.ascontiguousarray(draws), found
    )
    return (found / np.sqrt(count)).astype(np.float32)


def smooth_precision(at_m: FloatArray) -> FloatArray:
    """Inverse (K, K) of how numbers at places along a member go together, for a spread of 1."""
    apart = at_m[:, None] - at_m
    kernel = (1.0 - SHORT_SHARE) * np.exp(-0.5 * (apart / LONG_M) ** 2) + SHORT_SHARE * np.exp(
        -0.5 * (apart / SHORT_M) ** 2
    )
    return np.asarray(np.linalg.inv(kernel + 1e-4 * np.eye(len(at_m))), dtype=np.float64)


def fitted(members: Members, places_m: FloatArray) -> Fit:
    """Return the members fitted to places on the log's side.

    members : what is known before: straight tapers along the centre lines. Of terms_m, order 0 is the mean.
    places_m : (N, 3), about evenly spread over what was seen. [m]
    """
    index = np.concatenate([[0], np.cumsum(members.counts * TERMS)])
    size = int(index[-1])
    prior = np.zeros((size, size))
    mean = members.terms_m.copy()
    for m in range(members.count):
        knots = int(members.counts[m])
        smooth = smooth_precision(np.linspace(0.0, members.lengths_m[m], knots))
        radius = mean[m, :knots, 0]
        for term in range(TERMS):
            sd = _FORM[(term + 1) // 2] * radius
            rows = index[m] + term + TERMS * np.arange(knots)
            prior[np.ix_(rows, rows)] = smooth / (sd[:, None] * sd)
    fit = Fit(members, prior, index[:-1])
    offset = np.zeros(size)
    precision = prior
    for cut in _CUTS_M:
        # Few say enough until the last rounds.
        every = 1 if cut <= _CUTS_M[-2] else _COARSE
        few = np.ascontiguousarray(places_m[::every])
        now = members.with_terms(mean + fit.unpacked(offset))
        places = now.places(few)
        weight = every * np.clip(1.0 - (places.values_m / cut) ** 2, 0.0, None) ** 2 / SIGMA_M**2
        precision, right = prior.copy(), np.zeros(size)
        _add(
            places.along_m, places.angle, places.share, places.values_m, weight,
            members.lengths_m, members.counts, index, precision, right,
        )  # fmt: skip
        precision += np.tril(precision, -1).T - np.triu(precision, 1)
        step = cho_solve(cho_factor(precision, lower=True), right - prior @ offset)
        offset = offset + step
    return Fit(members.with_terms(mean + fit.unpacked(offset)), precision, index[:-1])


@njit(cache=True, nogil=True)
def _slopes(n, along, angle, share, lengths, counts, index, rows, slope):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Write how the surface at a place moves outwards with the numbers, and which these are; return how many."""
    used = 0
    for m in range(along.shape[1]):
        if share[n, m] < 1e-3:
            continue
        place = min(max(along[n, m] / lengths[m], 0.0), 1.0) * (counts[m] - 1)
        i = min(int(place), counts[m] - 2)
        t = place - i
        for knot in range(2):
            part = share[n, m] * (t if knot else 1.0 - t)
            for term in range(TERMS):
                order = (term + 1) // 2
                wave = np.cos(order * angle[n, m]) if term % 2 or term == 0 else np.sin(order * angle[n, m])
                rows[used] = index[m] + (i + knot) * TERMS + term
                slope[used] = part * wave
                used += 1
    return used


@njit(cache=True, nogil=True)
def _add(along, angle, share, values, weight, lengths, counts, index, matrix, right):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Add what places say of the numbers to the normal equations of the fit, to the lower half of the matrix."""
    rows = np.empty(2 * TERMS * along.shape[1], dtype=np.int64)
    slope = np.empty(2 * TERMS * along.shape[1])
    for n in range(along.shape[0]):
        if weight[n] <= 0.0:
            continue
        used = _slopes(n, along, angle, share, lengths, counts, index, rows, slope)
        for a in range(used):
            wa = weight[n] * slope[a]
            # The value falls as the surface moves outwards.
            right[rows[a]] += wa * values[n]
            # Rows rise, so that this is the lower half.
            for b in range(a + 1):
                matrix[rows[a], rows[b]] += wa * slope[b]


@njit(cache=True, nogil=True)
def _spread(along, angle, share, lengths, counts, index, draws, found):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    rows = np.empty(2 * TERMS * along.shape[1], dtype=np.int64)
    slope = np.empty(2 * TERMS * along.shape[1])
    for n in range(along.shape[0]):
        used = _slopes(n, along, angle, share, lengths, counts, index, rows, slope)
        for a in range(used):
            for k in range(draws.shape[1]):
                found[n, k] += slope[a] * draws[rows[a], k]
