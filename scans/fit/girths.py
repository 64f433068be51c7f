"""Girths that a tape found along the trunk, fitted with the points: the side that nobody saw is moved to agree.

What points and tape say is weighed by how far off each may be (linear Gaussian estimation; a textbook's Kalman update).
The seen side, which is nearly certain, stays; the scan's scale, which no tape set, gives way a little.
"""

from dataclasses import dataclass, replace

import numpy as np
from manifold3d import Manifold
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.spatial import ConvexHull

from scans.errors import ScanError
from scans.fit.hidden import Fit
from scans.fit.members import TERMS, Members
from scans.log import FloatArray
from scans.messages import Note, long_length, named, short_length

CONTRADICTS = 3.0
"""A girth that lies off what the scan and the other girths say by more than so many standard deviations of all of them
is left out, and told."""

_RING = 180
_STEP_M = 0.001
_LINE_M = 0.02
_OUTSIDE = 0.9
"""So much of a girth must be the trunk's own: at a fork a tape goes round two limbs, or hangs over the hollow."""


@dataclass(frozen=True)
class GirthTaped:
    """A girth as a tape found it: at_m along the log from the butt end, around_m round it, bark and all. [m].

    error_m : standard deviation of around_m. [m]
    """

    at_m: float
    around_m: float
    error_m: float


@dataclass(frozen=True, eq=False)
class GirthsFitted:
    """A fit with girths weighed in, its members with sawn ends.

    factor : what the scan's size is corrected by. spread : standard deviation of that, as a share.
    """

    fit: Fit
    members: Members
    factor: float
    spread: float
    notes: tuple[Note, ...]


def with_girths(
    fit: Fit,
    members: Members,
    body: Manifold,
    to_log: FloatArray,
    girths: tuple[GirthTaped, ...],
    *,
    factor: float,
    spread: float,
    holds_scale: bool,
    widened: float,
) -> GirthsFitted:
    """Return a fit with girths weighed in.

    members : those fitted, sawn ends and all. body : their closed surface. to_log : (4, 4) to the log frame, the
    scan's size kept. factor, spread : what makes a log of its true size of it, and how far off that is, as a share.
    holds_scale : whether a tape gave the length, so that girths do not change it. widened : how many times as far off
    as the fit says the members are.

    Raises ScanError for a place that is not on the trunk.
    """
    along = [_along_m(members, to_log, girth, factor) for girth in girths]
    seen_m = np.array([_around_body_m(members, body, s) for s in along])
    slopes = np.stack([_slopes(fit, members, s) for s in along])
    covariance = widened**2 * cho_solve(cho_factor(fit.precision, lower=True), slopes.T)
    error_m = np.array([girth.error_m for girth in girths]) / factor
    off_m = np.array([girth.around_m for girth in girths]) / factor - seen_m
    tape = np.diag(error_m**2) + spread**2 * np.outer(seen_m, seen_m)
    fits, expected_m = _that_fit(off_m, slopes @ covariance + tape)
    notes = [_contradicts(girth, factor * (seen_m[k] + expected_m[k])) for k, girth in enumerate(girths) if not fits[k]]
    if not fits.any():
        return GirthsFitted(fit, members, factor, spread, tuple(notes))
    slopes, covariance, tape = slopes[fits], covariance[:, fits], tape[np.ix_(fits, fits)]
    seen_m, off_m = seen_m[fits], off_m[fits]
    weighed = np.linalg.solve(slopes @ covariance + tape, np.column_stack([off_m, seen_m]))
    step = fit.unpacked(covariance @ weighed[:, 0])
    precision = fit.precision + widened**2 * slopes.T @ np.linalg.solve(tape, slopes)
    scale = 0.0 if holds_scale else spread**2 * float(seen_m @ weighed[:, 0])
    known = 0.0 if holds_scale else spread**2 * float(seen_m @ weighed[:, 1])
    left = spread * float(np.sqrt(1.0 - min(known, 1.0)))
    moved = members.with_terms(members.terms_m + step)
    used = [girth for girth, is_used in zip(girths, fits, strict=True) if is_used]
    notes.insert(0, _used(used, factor * off_m, scale))
    return GirthsFitted(
        replace(fit, members=fit.members.with_terms(fit.members.terms_m + step), precision=precision),
        moved, factor * (1.0 + scale), left, tuple(notes),
    )  # fmt: skip


def _that_fit(off_m: FloatArray, spread_m2: FloatArray) -> tuple[NDArray[np.bool_], FloatArray]:
    """Return which girths (N,) agree with the scan and one another, and what these let one expect of each (N,). [m].

    off_m : (N,) how much more they are than the scan alone shows. spread_m2 : (N, N) how such differences spread, by
    scan, tape and scale. The one farthest off goes first, until all agree.
    """
    fits, expected = np.ones(len(off_m), dtype=np.bool_), np.zeros(len(off_m))
    while fits.any():
        inverse = np.linalg.inv(spread_m2[np.ix_(fits, fits)])
        # What is left of one once the scan and all others are known, and its spread, are in the inverse.
        left = inverse @ off_m[fits] / np.diag(inverse)
        deviations = np.abs(left) * np.sqrt(np.diag(inverse))
        worst = int(np.argmax(deviations))
        if deviations[worst] <= CONTRADICTS:
            break
        place = int(np.flatnonzero(fits)[worst])
        fits[place], expected[place] = False, off_m[place] - left[worst]
    return fits, expected


def _along_m(members: Members, to_log: FloatArray, girth: GirthTaped, factor: float) -> float:
    """Place along the trunk's line of a girth. [m]. Raises ScanError where there is none, or the trunk divides."""
    length_m = float(members.lengths_m[0])
    ends = members.cuts_m[0, :, 0]
    low = min(0.0, float(ends[0])) if members.sawn[0, 0] else 0.0
    high = max(length_m, float(ends[1])) if members.sawn[0, 1] else length_m
    along = np.linspace(low, high, max(2, int((high - low) / _LINE_M)))
    x_m = factor * (members.line_m(0, along) @ to_log[0, :3] + to_log[0, 3])
    if x_m[0] > x_m[-1]:
        along, x_m = along[::-1], x_m[::-1]
    is_trunk = np.array([_is_trunk(members, s) for s in along])
    last_m = float(x_m[is_trunk].max(initial=0.0))
    place = float(np.interp(girth.at_m, x_m, along))
    if girth.at_m > last_m + _LINE_M or not _is_trunk(members, place):
        raise ScanError(
            f"{named('girth')}: {long_length(girth.at_m)} from the butt is not on the trunk, which ends or begins to "
            f"divide at about {long_length(last_m)}",
            "measure around the trunk below that, from the butt end",
            field="girth",
        )
    return place


def _ring(terms: FloatArray) -> FloatArray:
    """Points (N, 2) round the trunk, across its line. terms : (TERMS,) of its radius there. [m]."""
    angle = np.arange(_RING) / _RING * 2.0 * np.pi
    orders = (np.arange(TERMS) + 1) // 2
    waves = np.where(np.arange(TERMS) % 2 == 0, np.sin(angle[:, None] * orders), np.cos(angle[:, None] * orders))
    waves[:, 0] = 1.0
    radius = waves @ terms
    return np.asarray(radius[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1))


def _knots(members: Members, along_m: float) -> tuple[int, float]:
    """Knot before a place along the trunk, and the share of the way to the next."""
    last = int(members.counts[0]) - 1
    place = min(max(along_m / float(members.lengths_m[0]), 0.0), 1.0) * last
    knot = min(int(place), last - 1)
    return knot, place - knot


def _terms(members: Members, along_m: float) -> FloatArray:
    knot, share = _knots(members, along_m)
    return np.asarray((1.0 - share) * members.terms_m[0, knot] + share * members.terms_m[0, knot + 1])


def _slopes(fit: Fit, members: Members, along_m: float) -> FloatArray:
    """How the girth at a place changes with the fit's numbers, (P,)."""
    knot, share = _knots(members, along_m)
    terms = _terms(members, along_m)
    around_m = _around_m(_ring(terms))
    found = np.zeros(len(fit.precision))
    for k in range(TERMS):
        more = terms.copy()
        more[k] += _STEP_M
        slope = (_around_m(_ring(more)) - around_m) / _STEP_M
        first = int(fit.index[0]) + knot * TERMS + k
        found[first], found[first + TERMS] = (1.0 - share) * slope, share * slope
    return found


def _around_m(points_m: FloatArray) -> float:
    """Return what a tape shows round points (N, 2): it lies on ridges alone. [m]."""
    # In the plane the "area" of a hull is its outline's length.
    return float(ConvexHull(points_m).area)


def _is_trunk(members: Members, along_m: float) -> bool:
    """Whether the trunk alone is at a place along it."""
    ring = _ring(_terms(members, along_m))
    centre, frame = _slice_at(members, along_m)
    share = members.places(centre + ring @ frame[1:]).share[:, 0]
    return bool((share > 0.5).mean() >= _OUTSIDE)


def _slice_at(members: Members, along_m: float) -> tuple[FloatArray, FloatArray]:
    """Centre (3,) and frame (3, 3) of the slice across the trunk at a place along it."""
    knot, share = _knots(members, along_m)
    length_m = float(members.lengths_m[0])
    centre = (1.0 - share) * members.centres_m[0, knot] + share * members.centres_m[0, knot + 1]
    frame = members.frames_at(0, np.array([along_m]))[0]
    return centre + (along_m - min(max(along_m, 0.0), length_m)) * frame[0], frame


def _around_body_m(members: Members, body: Manifold, along_m: float) -> float:
    """Girth of a body at a place along its trunk. [m]."""
    centre, frame = _slice_at(members, along_m)
    matrix = np.zeros((3, 4))
    matrix[:, :3] = frame[[1, 2, 0]]
    matrix[:, 3] = -matrix[:, :3] @ centre
    rings = [np.asarray(ring) for ring in body.transform(matrix).slice(0.0).to_polygons()]
    own = [ring for ring in rings if len(ring) > 2]
    if not own:
        return _around_m(_ring(_terms(members, along_m)))
    # Of several parts the one round the line is the trunk; a limb beside it lies farther out.
    return _around_m(min(own, key=lambda ring: float(np.linalg.norm(ring.mean(axis=0)))))


def _used(girths: list[GirthTaped], off_m: FloatArray, scale: float) -> Note:
    told = [
        f"{short_length(girth.around_m)} around at {long_length(girth.at_m)} ({_by(off)})"
        for girth, off in zip(girths, off_m, strict=True)
    ]
    size = f" Its size was corrected by {100.0 * scale:+.1f}%." if abs(scale) >= 0.0005 else ""
    return Note(
        "girths_fitted",
        f"By your tape the log is {', '.join(told)}. Where no scan saw it, it was moved toward that.{size}",
    )


def _by(off_m: float) -> str:
    return f"{short_length(abs(off_m))} {'more' if off_m > 0.0 else 'less'} than the scan alone"


def _contradicts(girth: GirthTaped, expected_m: float) -> Note:
    return Note(
        "girth_contradicts",
        f"By your tape the log is {short_length(girth.around_m)} around at {long_length(girth.at_m)}, by the scan "
        f"and what else you measured {short_length(expected_m)}: both cannot be right, and the girth was left out. "
        "Measure there again, beside any stub, bark and all; if the tape is right, scan the log again before you trust "
        "the plan.",
        bears_on_plan=True,
    )
