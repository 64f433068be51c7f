"""The logs that this one may turn out to be, as they come to lie on the bed: drawn from what is not known of them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import cos, pi, radians, sin

import numba
import numpy as np
from numpy.typing import NDArray

from optimizer.bed.bucking import kept_zones
from optimizer.bed.cut_back import CutBack
from optimizer.bed.lay import Lay
from optimizer.bed.zones import Zone, feather
from optimizer.problem import Problem
from optimizer.stations.stations import Stations, stations_of
from optimizer.stations.terms import REACH_SPARE_M
from scans.log import FloatArray, Fork, IntArray, Log, Solid, SurfaceDoubt, SurfaceDraw

UNSEEN, SURFACE, SIZE = "unseen side", "seen surface", "size"
BARK, HEART, MARKS = "bark", "heart", "marks"
ROLL, SHIMS, BLADE = "roll", "shims", "blade"
OF_SET_UP = (ROLL, SHIMS, BLADE)

SPACING_M = 0.04
"""Stations of a possible log: as for scouting, since what they are off is far less than what is not known."""

MESH_SIZE_SPREAD = 0.003
MESH_SURFACE_M = 0.002
"""Of a closed mesh that says nothing of its doubt: standard deviation of its size, as a share, and of its surface, all
of it outwards or inwards together (common practice, no source)."""

BARK_SPREAD = 0.2
"""Standard deviation of the bark's thickness, as its share: tables give a mean of many trees (common practice, no
source)."""

HEART_SHARE, HEART_MARKED_M = 0.06, 0.01
"""How far the heart lies from where it is taken to be, standard deviation each way: a share of the log's mean diameter,
or where it was pointed out on the ends (common practice, no source)."""

MARK_OFF_M = 0.015
FORK_OFF_DEG = 4.0
"""How far a mark, and the plane of a fork, may be off, standard deviation (common practice, no source)."""

MOST_PASSES = 64
_DIRECTIONS = 64
"""In which a log's supports are looked for, round each station."""


@dataclass(frozen=True, eq=False)
class Draw:
    """What one possible log is made of, each of unit spread.

    form : (K,) changes of the surface. hearts : (L + 1, 2) across, of the butt end and of each line's far end.
    marks : (Z, 3). blade : (MOST_PASSES,), one a pass.
    """

    size: float
    form: FloatArray
    bark: float
    hearts: FloatArray
    forks: FloatArray
    marks: FloatArray
    roll: float
    shims: FloatArray
    blade: FloatArray


@dataclass(frozen=True, eq=False)
class PossibleLog:
    """A log as it may be, and as it may be set: what a plan is tried on.

    made : makes its solids, which few ask for and nobody has room to keep. supports_m : (P, 3) points that it can rest
    on. roll_off_deg, tilt_off_deg : how far off it is set. blade_off_m : (MOST_PASSES,) how far off each pass is made.
    reach_spare_m : how far under the throat a pass fails.
    """

    made: Callable[[], Log]
    draw: Draw
    stations: Stations
    supports_m: FloatArray
    roll_off_deg: float
    tilt_off_deg: float
    blade_off_m: FloatArray
    reach_spare_m: float

    @cached_property
    def log(self) -> Log:
        """The log itself."""
        return self.made()

    def lay(self, roll_deg: float, tilt_deg: float) -> Lay:
        """Return how it lies where it was meant to lie so: set a little off, and lifted anew."""
        roll, tilt = roll_deg + self.roll_off_deg, tilt_deg + self.tilt_off_deg
        return Lay(roll, tilt, -_lowest_m(self.supports_m, radians(roll), radians(tilt)))

    def width_m(self, roll_deg: float) -> float:
        """Return how wide it is at stations, bark included, where it was meant to lie so. [m]."""
        return float(_width_m(self.stations.outer.segments, radians(roll_deg + self.roll_off_deg)))


def sources_of(problem: Problem) -> tuple[str, ...]:
    """Return what a problem's numbers may be off for, in the order to name them."""
    log, set_up = problem.log if problem.whole is None else problem.whole.log, problem.mill.set_up
    doubt = doubt_of(log)
    found = [UNSEEN, SURFACE] if not doubt.kinds else list(dict.fromkeys(doubt.kinds))
    if not doubt.kinds and log.face_seen is None:
        found = [SURFACE]
    found.append(SIZE)
    if log.wood is not log.outer:
        found.append(BARK)
    if log.hearts and (problem.prices.deduct.heart > 0.0 or problem.prices.figure.feather_per_board_foot > 0.0):
        found.append(HEART)
    if any(not zone.feather for zone in problem.zones):
        found.append(MARKS)
    for name, error in zip(
        OF_SET_UP, (set_up.roll_error_deg, set_up.shim_error_m, set_up.thickness_error_m), strict=True
    ):
        if error > 0.0:
            found.append(name)
    return tuple(found)


def doubt_of(log: Log) -> SurfaceDoubt:
    """Return a log's own doubt; of a closed mesh that has none, the little that any mesh is off."""
    if log.doubt is not None:
        return log.doubt

    def part(solid: Solid) -> tuple[FloatArray, NDArray[np.float32]]:
        return _outward(solid), np.full((len(solid.vertices_m), 1), MESH_SURFACE_M, dtype=np.float32)

    outer = part(log.outer)
    wood = outer if log.wood is log.outer else part(log.wood)
    return SurfaceDoubt(*outer, *wood, MESH_SIZE_SPREAD)


def _outward(solid: Solid) -> FloatArray:
    """Return unit directions (V, 3) outwards at a solid's vertices, mean of the faces around each."""
    a, b, c = (solid.vertices_m[solid.faces[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    ways = np.stack(
        [np.bincount(solid.faces.ravel(), np.repeat(normals[:, k], 3), len(solid.vertices_m)) for k in range(3)], axis=1
    )
    return np.asarray(ways / np.maximum(np.linalg.norm(ways, axis=1), 1e-12)[:, None])


@dataclass(frozen=True, eq=False)
class PossibleLogs:
    """Draws possible logs of a problem: its own, or of the log that its stretch is cut from.

    widened : by what all that is not known of the log itself is multiplied (DOUBT_WIDENED).
    """

    problem: Problem
    widened: float = 1.0

    @cached_property
    def whole(self) -> Problem:
        """The whole log's problem."""
        return self.problem if self.problem.whole is None else self.problem.whole

    @cached_property
    def sources(self) -> tuple[str, ...]:
        """What may be off."""
        return sources_of(self.problem)

    @cached_property
    def _log(self) -> Log:
        log = self.whole.log
        return replace(log, doubt=doubt_of(log))

    @cached_property
    def _cut_back(self) -> CutBack:
        return CutBack.of(self._log, self.problem.cuts)

    @cached_property
    def _wood_ways(self) -> FloatArray:
        return _outward(self._log.wood)

    def draw(self, seed: int, number: int) -> Draw:
        """Return the draws of one possible log; the same whatever else is drawn."""
        log, rng = self._log, np.random.default_rng([seed, number])
        modes = 0 if log.doubt is None else log.doubt.outer_modes_m.shape[1]
        return Draw(
            size=float(rng.normal()),
            form=rng.normal(size=modes),
            bark=float(rng.normal()),
            roll=float(rng.normal()),
            shims=rng.normal(size=2),
            blade=rng.normal(size=MOST_PASSES),
            hearts=rng.normal(size=(len(log.hearts) + 1, 2)),
            forks=rng.normal(size=len(log.forks)),
            marks=rng.normal(size=(len(self.whole.zones), 3)),
        )

    def some(self, seed: int, numbers: Sequence[int], sources: Sequence[str] | None = None) -> list[PossibleLog]:
        """Return the possible logs of these numbers; only what is in `sources` is off."""
        on = frozenset(self.sources if sources is None else sources)
        return [self.of(self.draw(seed, number), on) for number in numbers]

    def of(self, draw: Draw, on: frozenset[str]) -> PossibleLog:
        """Return one possible log, with the sources that are on."""
        length_m, stations, supports_m = self._as_given if on <= frozenset(OF_SET_UP) else self._cut(draw, on)
        set_up = self.problem.mill.set_up
        # Shims stand in the outer thirds, so about two thirds of the length apart.
        apart_m = 2.0 / 3.0 * length_m
        tilt = set_up.shim_error_m * (draw.shims[1] - draw.shims[0]) / apart_m if SHIMS in on else 0.0
        return PossibleLog(
            made=lambda: self._bolt(draw, on),
            draw=draw,
            stations=stations,
            supports_m=supports_m,
            roll_off_deg=set_up.roll_error_deg * draw.roll if ROLL in on else 0.0,
            tilt_off_deg=float(np.degrees(tilt)),
            # A thickness lies between two passes.
            blade_off_m=draw.blade * (set_up.thickness_error_m / np.sqrt(2.0) if BLADE in on else 0.0),
            reach_spare_m=REACH_SPARE_M if self._may_bulge(on) else 0.0,
        )

    def _may_bulge(self, on: frozenset[str]) -> bool:
        """Tell whether there may be bumps that nobody saw; a mesh with no doubt of its own was seen all round."""
        doubt = self.whole.log.doubt
        return doubt is not None and not on.isdisjoint(doubt.kinds or (UNSEEN, SURFACE))

    @cached_property
    def _as_given(self) -> tuple[float, Stations, FloatArray]:
        return self._cut(self.draw(0, 0), frozenset())

    def _bolt(self, draw: Draw, on: frozenset[str]) -> Log:
        """Return a possible log, bucked as the problem's is."""
        whole = self._varied(draw, on)
        return whole if self.problem.whole is None else self._cut_back.made_on(whole)

    def _cut(self, draw: Draw, on: frozenset[str]) -> tuple[float, Stations, FloatArray]:
        """Return the length of a possible log, what it is at stations, and what it can rest on."""
        whole = self._varied(draw, on)
        zones = self._zones(whole, draw, on)
        log = whole
        if self.problem.whole is not None:
            log = self._cut_back.made_on(whole)
            zones = kept_zones(zones, whole.hearts, self.problem.cuts)
        stations = stations_of(log, self.problem.end_trim_m, SPACING_M, zones, like=self.problem.coarse)
        return log.length_m, stations, _supports(stations.outer.offsets, stations.outer.segments, stations.x_m)

    def _varied(self, draw: Draw, on: frozenset[str]) -> Log:
        log, doubt = self._log, self._log.doubt
        if doubt is None:
            return log
        form = doubt.form(draw.form, self.widened)
        if doubt.kinds:
            form *= np.array([kind in on for kind in doubt.kinds])
        seen = SURFACE in on or bool(doubt.kinds)
        unseen = UNSEEN in on or bool(doubt.kinds) or (log.face_seen is None and SURFACE in on)
        size = self.widened * draw.size if SIZE in on else 0.0
        varied = log.varied(SurfaceDraw(size, form, seen, unseen))
        if BARK in on:
            thicker_m = BARK_SPREAD * log.bark_thickness_m * draw.bark
            varied = replace(varied, wood=varied.wood.bent(varied.wood.vertices_m - thicker_m * self._wood_ways))
        if HEART in on:
            varied = replace(
                varied,
                hearts=_moved_hearts(varied.hearts, self.heart_off_m * draw.hearts),
                forks=tuple(
                    _turned(fork, FORK_OFF_DEG * off) for fork, off in zip(varied.forks, draw.forks, strict=True)
                ),
            )
        return varied

    @cached_property
    def heart_off_m(self) -> float:
        """How far the heart may lie from where it is taken to be, standard deviation each way. [m]."""
        if any(mark.kind == "pith" for mark in self.whole.marks):
            return HEART_MARKED_M
        log = self._log
        return HEART_SHARE * 2.0 * float(np.sqrt(log.wood.volume_m3 / max(log.length_m, 1e-9) / pi))

    def _zones(self, log: Log, draw: Draw, on: frozenset[str]) -> tuple[Zone, ...]:
        found, forks = [], iter(log.forks)
        for zone, off in zip(self.whole.zones, draw.marks, strict=True):
            if zone.feather:
                found.append(feather(next(forks)))
            else:
                off_m = MARK_OFF_M * off if MARKS in on else np.zeros(3)
                found.append(replace(zone, corners_m=zone.corners_m + off_m))
        return tuple(found)


def _moved_hearts(hearts: tuple[FloatArray, ...], off_m: FloatArray) -> tuple[FloatArray, ...]:
    """Return heart lines moved across the log at their ends by off_m (L + 1, 2), evenly between; limbs on the stem."""
    moved = []
    for k, line in enumerate(hearts):
        share = (line[:, 0] - line[0, 0]) / max(line[-1, 0] - line[0, 0], 1e-9)
        start = off_m[0] if k == 0 else off_m[1]
        across = start + share[:, None] * (off_m[k + 1] - start)
        moved.append(line + np.concatenate([np.zeros((len(line), 1)), across], axis=1))
    return tuple(moved)


def _turned(fork: Fork, off_deg: float) -> Fork:
    """Return a fork with its plane turned about its middle line."""
    across = np.cross(fork.direction, fork.normal)
    turn = radians(off_deg)
    return replace(fork, normal=cos(turn) * fork.normal + sin(turn) * across)


@numba.njit(cache=True, nogil=True)
def _supports(offsets: IntArray, segments: FloatArray, x_m: FloatArray) -> FloatArray:
    """Return the outermost points (P, 3) of the rings at each station, in directions all round."""
    n = len(x_m)
    points = np.zeros((n * _DIRECTIONS, 3))
    angles = 2.0 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    cosine, sine = np.cos(angles), np.sin(angles)
    best, at = np.empty(_DIRECTIONS), np.empty(_DIRECTIONS, dtype=np.int64)
    count = 0
    for i in range(n):
        if offsets[i + 1] == offsets[i]:
            continue
        best[:] = -np.inf
        for s in range(offsets[i], offsets[i + 1]):
            y, z = segments[s, 0], segments[s, 1]
            # All directions for one point, and no branch: a loop for vector instructions.
            for d in range(_DIRECTIONS):
                reach = cosine[d] * y + sine[d] * z
                further = reach > best[d]
                best[d] = reach if further else best[d]
                at[d] = s if further else at[d]
        before = -1
        for d in range(_DIRECTIONS):
            if at[d] != before:
                points[count, 0], points[count, 1], points[count, 2] = x_m[i], segments[at[d], 0], segments[at[d], 1]
                count += 1
                before = at[d]
    return points[:count].copy()


@numba.njit(cache=True, nogil=True)
def _lowest_m(points: FloatArray, roll: float, tilt: float) -> float:
    cr, sr, ct, st = np.cos(roll), np.sin(roll), np.cos(tilt), np.sin(tilt)
    lowest = np.inf
    for p in range(len(points)):
        z = points[p, 0] * st + (points[p, 1] * sr + points[p, 2] * cr) * ct
        lowest = min(lowest, z)
    return lowest


@numba.njit(cache=True, nogil=True)
def _width_m(segments: FloatArray, roll: float) -> float:
    cr, sr = np.cos(roll), np.sin(roll)
    low, high = np.inf, -np.inf
    for s in range(len(segments)):
        for end in (0, 2):
            y = segments[s, end] * cr - segments[s, end + 1] * sr
            low, high = min(low, y), max(high, y)
    return high - low
