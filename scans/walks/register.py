"""How the log of one walk lies in that of another: rolled, moved, perhaps end for end, and a little larger or smaller.

It starts from what is known: both log frames. Every roll is tried from both ends; the best few are brought together,
point to plane, with ever tighter cuts (Tukey's biweight; Chen and Medioni 1992, from memory), sizes with them. A place
counts where the other walk saw, or ought to have seen, the surface: what only one of them saw says nothing.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from scans.log import FloatArray, IntArray, moved
from scans.neighbours import nearest
from scans.walks.witness import Witness

ROLL_STEP_DEG = 4.0
_CANDIDATES, _APART_DEG = 6, 14.0
_COARSE_CUTS_M = (0.08, 0.08, 0.08, 0.05, 0.05, 0.03, 0.03)
_FINE_CUTS_M = (0.02, 0.02, 0.02, 0.012, 0.012, 0.012)

_CLIP_M = 0.03
"""No place counts for more than this, and one that the other walk ought to have seen and did not counts for it. [m]"""

_REACH_M = 0.08
"""What lies farther off a surface than this is not on it, whether that was seen or guessed. [m]"""

_ALIKE = 0.5
"""Cosine between normals of places that may be the same."""

_PLACE_SPREAD_M = 0.015
"""How little one place says of the size, as those near it are off with it. [m]"""

SCALES_APART = 0.008
"""Standard deviation of one walk's scale over another's, each within 1 % mostly (common practice, no source)."""

_LEAST_TOLD_M = 0.002
"""Misfits below this differ by noise alone. [m]"""

_LEAST_PAIRS = 20
_LOCKED_CUTS_M = (0.02, 0.02, 0.012, 0.012)
_LOCKED_DEG = (1.0, 2.0, 4.0, 8.0, 12.0)
_WIDER = 1.12
"""A roll may be the true one where the misfit is at most so many times its least."""


@dataclass(frozen=True, eq=False)
class Registration:
    """Where the second walk's log lies in the first's, and how sure that is.

    matrix : (4, 4) from the second's log frame to the first's, its scale reckoned in. scale : of that matrix.
    roll_deg : how far the log was rolled from the first walk to the second, clockwise seen from the butt.
    swapped : whether the walks took other ends for the butt.
    misfit_m : how far places that both ought to have seen lie apart, in the mean, none more than 3 cm. [m]
    shared : share of what each walk saw that the other saw too, the less of the two.
    known_within_deg : how far off the roll may be, by the misfit where it is held fast so far off; at most the last
    of those tried. other_roll, other_end : misfit of the next best that is another roll, or end for end, as a multiple;
    infinite where all rolls tried led to this one.
    """

    matrix: FloatArray
    scale: float
    roll_deg: float
    swapped: bool
    misfit_m: float
    shared: float
    known_within_deg: float
    other_roll: float
    other_end: float


def registered(one: Witness, two: Witness, rolled_deg: float | None = None, within_deg: float = 20.0) -> Registration:
    """Return how the second walk's log lies in the first's, the best of all; `Registration` says how sure it is.

    rolled_deg : how far the user rolled it, clockwise seen from the butt; only rolls within `within_deg` of that are
    tried. Deterministic.
    """
    started = []
    for swapped in (False, True):
        for roll in np.arange(0.0, 360.0, ROLL_STEP_DEG):
            if rolled_deg is not None and abs(_turn(roll - rolled_deg)) > within_deg:
                continue
            matrix = _start(one, two, float(roll), swapped=swapped)
            started.append((_misfit(one, two, matrix, is_coarse=True)[0], roll, swapped, matrix))
    started.sort(key=lambda start: start[0])
    kept: list[tuple[float, float, bool, FloatArray]] = []
    for start in started:
        if all(start[2] != other[2] or abs(_turn(start[1] - other[1])) >= _APART_DEG for other in kept):
            kept.append(start)
        if len(kept) == _CANDIDATES:
            break
    # However well one end fits, the other is brought near too, so that its misfit is known.
    kept += [next(start for start in started if start[2] is end) for end in (False, True) if not _has(kept, end=end)]
    brought = []
    for _, _, swapped, matrix in kept:
        near = _brought(one, two, matrix, _COARSE_CUTS_M, is_coarse=True)
        fine = _brought(one, two, near, _FINE_CUTS_M)
        brought.append((_misfit(one, two, fine)[0], swapped, fine))
    brought.sort(key=lambda end: end[0])
    misfit, swapped, best = brought[0]
    ends = [other[0] for other in brought if other[1] != swapped]
    rolls = [
        other[0]
        for other in brought
        if other[1] == swapped and abs(_turn(_roll_deg(other[2]) - _roll_deg(best))) >= 0.5 * _APART_DEG
    ]
    return Registration(
        matrix=best,
        scale=float(np.cbrt(np.linalg.det(best[:3, :3]))),
        roll_deg=_roll_deg(best),
        swapped=swapped,
        misfit_m=misfit,
        shared=_misfit(one, two, best)[1],
        known_within_deg=_known_within_deg(one, two, best, misfit),
        other_roll=max(min(rolls, default=np.inf), _LEAST_TOLD_M) / max(misfit, _LEAST_TOLD_M),
        other_end=max(min(ends), _LEAST_TOLD_M) / max(misfit, _LEAST_TOLD_M),
    )


def _has(kept: list[tuple[float, float, bool, FloatArray]], *, end: bool) -> bool:
    return any(start[2] is end for start in kept)


def _turn(angle_deg: float) -> float:
    """Return an angle within half a turn each way."""
    return float((angle_deg + 180.0) % 360.0 - 180.0)


def _back(matrix: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _start(one: Witness, two: Witness, roll_deg: float, *, swapped: bool) -> FloatArray:
    """Matrix (4, 4) that undoes a roll, the middles of both logs at one place."""
    turn = Rotation.from_euler("x", -roll_deg, degrees=True).as_matrix()
    if swapped:
        turn = turn @ np.diag([-1.0, -1.0, 1.0])
    matrix = np.eye(4)
    matrix[:3, :3] = turn
    middle = np.array([0.5, 0.0, 0.0])
    matrix[:3, 3] = one.length_m * middle - turn @ (two.length_m * middle)
    return matrix


def _roll_deg(matrix: FloatArray) -> float:
    """Return the roll that a matrix undoes, whichever ends it brings together. [deg]."""
    return float(np.degrees(np.arctan2(matrix[1, 2], matrix[2, 2])))


def _misfit(one: Witness, two: Witness, matrix: FloatArray, *, is_coarse: bool = False) -> tuple[float, float]:
    """Return how far both lie apart, over places that both ought to have seen, and what share of each they share."""
    total, count, shared = 0.0, 0, 1.0
    for source, target, there in ((two, one, matrix), (one, two, _back(matrix))):
        met = _met(source, target, there, source.coarse if is_coarse else source.fine)
        off = np.where(met.is_same, np.minimum(np.abs(met.off_m), _CLIP_M), _CLIP_M)[met.counts]
        total += float((off**2).sum())
        count += int(met.counts.sum())
        shared = min(shared, float(met.is_same.mean()))
    return (float(np.sqrt(total / count)) if count else _CLIP_M), shared


class _Met(NamedTuple):
    """What places (R,) of one walk meet on the other's surface.

    moved_m : (R, 3) where they lie there. [m] near : (R,) rows of the places nearest to them. off_m : (R,) how far they
    lie off along the normals there. is_same : whether both walks saw it. counts : whether the other ought to have seen.
    """

    moved_m: FloatArray
    near: IntArray
    off_m: FloatArray
    is_same: NDArray[np.bool_]
    counts: NDArray[np.bool_]


def _met(source: Witness, target: Witness, matrix: FloatArray, rows: IntArray) -> _Met:
    points, normals = _moved(source, matrix, rows)
    apart, found = nearest(target.tree, points, 1, _REACH_M)
    is_near = apart[:, 0] <= _REACH_M
    near = np.where(is_near, found[:, 0], 0)
    across = target.normals[near]
    off = np.einsum("ri,ri->r", points - target.places_m[near], across)
    seen = is_near & target.is_seen[near]
    same = seen & (np.einsum("ri,ri->r", normals, across) > _ALIKE)
    # What was not seen was guessed, never so far off.
    return _Met(points, near, off, same, seen | ~is_near)


def _moved(source: Witness, matrix: FloatArray, rows: IntArray) -> tuple[FloatArray, FloatArray]:
    """Places (R, 3) and normals (R, 3) under a matrix that may change their size."""
    turn = matrix[:3, :3] / np.cbrt(np.linalg.det(matrix[:3, :3]))
    return moved(source.places_m[rows], matrix), source.normals[rows] @ turn.T


def _pairs(
    one: Witness, two: Witness, matrix: FloatArray, *, is_coarse: bool
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return places (P, 3) that both saw, normals (P, 3), and how far the second's lies off the first's. [m]."""
    rows = two.coarse if is_coarse else two.fine
    met = _met(two, one, matrix, rows)
    same = met.is_same
    places, across, off = met.moved_m[same], one.normals[met.near[same]], met.off_m[same]
    rows = one.coarse if is_coarse else one.fine
    met = _met(one, two, _back(matrix), rows)
    same = met.is_same
    other_places, other_across = _moved(two, matrix, met.near[same])
    other_off = np.einsum("ri,ri->r", other_places - one.places_m[rows[same]], other_across)
    return (
        np.concatenate([places, other_places]),
        np.concatenate([across, other_across]),
        np.concatenate([off, other_off]),
    )


def _brought(
    one: Witness,
    two: Witness,
    matrix: FloatArray,
    cuts_m: tuple[float, ...],
    *,
    is_coarse: bool = False,
    is_roll_locked: bool = False,
) -> FloatArray:
    """Return a matrix brought nearer by Gauss-Newton steps of turn, place and size, but for a roll that is locked."""
    middle = np.array([0.5 * one.length_m, 0.0, 0.0])
    for cut in cuts_m:
        places, across, off = _pairs(one, two, matrix, is_coarse=is_coarse)
        weight = np.clip(1.0 - (off / cut) ** 2, 0.0, None) ** 2
        if (weight > 0.0).sum() < _LEAST_PAIRS:
            break
        arms = places - middle
        rows = np.column_stack([np.cross(arms, across), across, np.einsum("ri,ri->r", arms, across)])
        normal = (rows * weight[:, None]).T @ rows
        # What was seen of a round stem tells neither its roll nor its place along it: hardly any step is best then.
        normal[np.arange(6), np.arange(6)] += 1e-3
        normal[6, 6] += (_PLACE_SPREAD_M / SCALES_APART) ** 2
        right = -(rows * weight[:, None]).T @ off
        right[6] -= (_PLACE_SPREAD_M / SCALES_APART) ** 2 * np.log(np.cbrt(np.linalg.det(matrix[:3, :3])))
        if is_roll_locked:
            normal[0, 0] += 1e9
        step = np.linalg.solve(normal, right)
        change = np.eye(4)
        change[:3, :3] = np.exp(step[6]) * Rotation.from_rotvec(step[:3]).as_matrix()
        change[:3, 3] = middle + step[3:6] - change[:3, :3] @ middle
        matrix = change @ matrix
    return matrix


def _known_within_deg(one: Witness, two: Witness, best: FloatArray, least_m: float) -> float:
    """Return how far the roll may be off: up to where the misfit, the roll held and the rest brought near, grows."""
    widest, most = 0.0, _WIDER * max(least_m, _LEAST_TOLD_M)
    middle = np.array([0.5 * one.length_m, 0.0, 0.0])
    for way in (-1.0, 1.0):
        before, at = least_m, 0.0
        for off_deg in _LOCKED_DEG:
            turned = np.eye(4)
            turned[:3, :3] = Rotation.from_euler("x", way * off_deg, degrees=True).as_matrix()
            turned[:3, 3] = middle - turned[:3, :3] @ middle
            locked = _brought(one, two, turned @ best, _LOCKED_CUTS_M, is_coarse=True, is_roll_locked=True)
            misfit = _misfit(one, two, locked)[0]
            if misfit > most:
                at += (off_deg - at) * (most - before) / (misfit - before)
                break
            before, at = misfit, off_deg
        widest = max(widest, at)
    return widest
