"""Whether lays stand, by the thousand: the fast twin of standing.standing_of, within a few millimetres of it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from math import ceil, cos, floor, radians, sin, tan
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from optimizer.bed.bodies import manifold_of, mass_centre
from optimizer.bed.lay import STEEPEST_TILT_DEG
from optimizer.standing.parts import Lows, Parts, Touches, lows_of, parts_of, touches_of
from optimizer.standing.supports import SupportRules, thirds_m
from optimizer.standing.sweep import Spans, sweep
from optimizer.stations.chords import Chords, chord_table, turn_rings
from scans.log import FloatArray, Log
from scans.messages import exact_length

SPACING_M = 0.05
ROW_M = 0.015
_STEEPEST = radians(STEEPEST_TILT_DEG)
_STRIDE = radians(3.0)
_TILT_ERROR = 1e-6


@dataclass(frozen=True, eq=False)
class LayStanding:
    """How a lay stands at every height; heights in the bed frame, after a flip in the second one.

    is_possible : whether butt third and top third each have a support. row_zero_m, row_m : entry r of the arrays is
    for what lies below row_zero_m + (r + 1) row_m. inside_m, spare_m : (R,) the least of how far mass centres lie
    inside the hulls of their supports, and that less the margins; infinite where nothing there is too big to be held by
    hand, minus infinite where something has no support. volume_m3 : of all.
    """

    is_possible: bool
    row_zero_m: float
    row_m: float
    inside_m: FloatArray
    spare_m: FloatArray
    volume_m3: float

    def stands_by_m(self, blade_heights_m: Sequence[float] | FloatArray = ()) -> float:
        """Return the least, before the first pass and after passes at these heights. [m]."""
        return min(float(self.inside_m[-1]), float(np.min(self._at(self.inside_m, blade_heights_m), initial=np.inf)))

    def spares_m(self, blade_heights_m: Sequence[float] | FloatArray) -> FloatArray:
        """Return how much more than the margin there is once a pass is made, (H,); below 0 it does not stand. [m].

        What stays after a pass does not depend on the passes above it: so each height can be judged by itself.
        """
        return self._at(self.spare_m, blade_heights_m)

    def insides_m(self, blade_heights_m: Sequence[float] | FloatArray) -> FloatArray:
        """Return how far mass centres lie inside the hulls of their supports once a pass is made, (H,). [m]."""
        return self._at(self.inside_m, blade_heights_m)

    def stands(self, blade_heights_m: Sequence[float] | FloatArray = ()) -> bool:
        """Whether it stands before the first pass and after passes at these heights."""
        return bool(self.spare_m[-1] >= 0.0 and (self.spares_m(blade_heights_m) >= 0.0).all())

    def _at(self, values: FloatArray, heights_m: Sequence[float] | FloatArray) -> FloatArray:
        # Between two rows the worse of both; what is below the first row is next to nothing.
        place = (np.asarray(heights_m, dtype=np.float64) - self.row_zero_m) / self.row_m - 1.0
        padded = np.concatenate([[np.inf], values])
        below = np.clip(np.floor(place + 1e-9).astype(np.int64) + 1, 0, len(values))
        above = np.clip(np.ceil(place - 1e-9).astype(np.int64) + 1, 0, len(values))
        return np.minimum(padded[below], padded[above])


@dataclass(frozen=True, eq=False)
class StandingTable:
    """A bolt ready to be asked how it stands at any roll and tilt. centre_m : its mass centre, log frame.

    Gaps and mass centres are good to a few millimetres; a height is judged by the rows around it.
    """

    parts: Parts
    rules: SupportRules
    row_m: float
    centre_m: tuple[float, float, float]

    @classmethod
    def of(
        cls,
        log: Log,
        stretch_m: tuple[float, float] | None,
        rules: SupportRules,
        spacing_m: float = SPACING_M,
        row_m: float = ROW_M,
    ) -> "StandingTable":
        """Cut a bolt, bark included. stretch_m : from where to where in log x; None for the whole log. [m]."""
        outer = manifold_of(log.outer)
        if stretch_m is not None:
            outer = outer.trim_by_plane((1.0, 0.0, 0.0), stretch_m[0]).trim_by_plane((-1.0, 0.0, 0.0), -stretch_m[1])
        return cls(parts_of(outer, spacing_m), rules, row_m, mass_centre(outer))

    def at(self, roll_rad: float) -> "RollStanding":
        """Return the bolt at a roll."""
        return RollStanding(self, roll_rad)


@dataclass(frozen=True, eq=False)
class RollStanding:
    """A bolt at a roll; tilts in radians, lifts and heights in the bed frame."""

    table: StandingTable
    roll_rad: float
    _boxes: dict[float, tuple[float, float, float, float]] = field(default_factory=dict)

    @cached_property
    def _lows(self) -> Lows:
        return lows_of(self.table.parts, self.roll_rad)

    @cached_property
    def _hull_m(self) -> FloatArray:
        x, y, z = self.table.parts.hull_m.T
        return np.stack([x, y * sin(self.roll_rad) + z * cos(self.roll_rad)])

    def lift_m(self, tilt_rad: float) -> float:
        """Return the lift that sets the bolt's lowest point at z = 0, past the last bunk too. [m]."""
        return float(-self._heights_m(tilt_rad)[0])

    def _box_m(self, tilt_rad: float) -> tuple[float, float, float, float]:
        """Return from where to where it lies along the bed, and its lowest and highest point without a lift. [m]."""
        found = self._boxes.get(tilt_rad)
        if found is None:
            (along, up), c, s = self._hull_m, cos(tilt_rad), sin(tilt_rad)
            x, z = along * c - up * s, along * s + up * c
            found = float(x.min()), float(x.max()), float(z.min()), float(z.max())
            self._boxes[tilt_rad] = found
        return found

    def _heights_m(self, tilt_rad: float) -> tuple[float, float]:
        return self._box_m(tilt_rad)[2:]

    def ends_m(self, tilt_rad: float) -> tuple[float, float]:
        """Return from where to where the bolt lies along the bed. [m]."""
        return self._box_m(tilt_rad)[:2]

    def bunks_m(self, tilt_rad: float) -> FloatArray:
        """Return the bed x (B,) of the bunks under the bolt. [m]."""
        return self.table.rules.bunks_m(*self.ends_m(tilt_rad))

    def touches(self, tilt_rad: float, lift_m: float | None = None) -> Touches:
        """Return where members come down onto the bunks, all gaps, even those higher than any prop."""
        lift_m = self.lift_m(tilt_rad) if lift_m is None else lift_m
        return touches_of(self.table.parts, self._lows, self.bunks_m(tilt_rad), tilt_rad, lift_m)

    def third_gaps_m(self, tilt_rad: float, lift_m: float | None = None) -> tuple[float, float]:
        """Return the lowest gap in the butt third and in the top third; infinite where no bunk is. [m]."""
        touches = self.touches(tilt_rad, lift_m)
        butt_m, top_m = thirds_m(*self.ends_m(tilt_rad))
        x_m = self.bunks_m(tilt_rad)[touches.bunk]
        return (
            float(touches.gap_m[x_m <= butt_m].min(initial=np.inf)),
            float(touches.gap_m[x_m >= top_m].min(initial=np.inf)),
        )

    def _gap_difference(self, tilt_rad: float) -> float:
        butt, top = self.third_gaps_m(tilt_rad)
        return butt - top

    @cached_property
    def resting_tilt_rad(self) -> float:
        """The tilt at which the lowest gaps of both thirds are equal; 0 where a third lies over no bunk.

        Where there are several, the nearest to level on the way that the log would come down.
        """
        before, difference = 0.0, self._gap_difference(0.0)
        if not np.isfinite(difference) or difference == 0.0:
            return 0.0
        way = 1.0 if difference > 0.0 else -1.0
        while abs(before) < _STEEPEST:
            tilt_rad = before + way * _STRIDE
            after = self._gap_difference(tilt_rad)
            if not np.isfinite(after):
                return before
            if way * after <= 0.0:
                return float(brentq(self._gap_difference, before, tilt_rad, xtol=_TILT_ERROR))
            before = tilt_rad
        return before

    def tilts_within_rad(self, spare_m: float) -> tuple[float, float] | None:
        """Return the least and greatest tilt at which both thirds have a support; None where none is.

        spare_m : how much there must be between the lowest gaps and the highest support, but at the resting tilt.
        """
        rest = self.resting_tilt_rad
        highest_m, resting_m = self.table.rules.highest_m, max(self.third_gaps_m(rest))
        if resting_m > highest_m:
            return None
        highest_m = max(resting_m, highest_m - spare_m)
        limits = []
        for end, steep in ((0, -_STEEPEST), (1, _STEEPEST)):

            def over(tilt_rad: float, end: int = end) -> float:
                return min(1.0, self.third_gaps_m(tilt_rad)[end] - highest_m)

            if over(steep) <= 0.0:
                limits.append(steep)
            elif over(rest) >= 0.0:
                limits.append(rest)
            else:
                limits.append(float(brentq(over, rest, steep, xtol=_TILT_ERROR)))
        return limits[0], limits[1]

    def lay(self, tilt_rad: float, lift_m: float | None = None) -> LayStanding:
        """Return how the bolt stands at a tilt, at every height, before a flip."""
        lift_m = self.lift_m(tilt_rad) if lift_m is None else lift_m
        row_m, rules = self.table.row_m, self.table.rules
        low_m, high_m = (height + lift_m for height in self._heights_m(tilt_rad))
        row_zero_m = floor(low_m / row_m) * row_m
        chords = self._chords(tilt_rad, lift_m, row_zero_m, ceil((high_m - row_zero_m) / row_m))
        touches = self.touches(tilt_rad, lift_m)
        allowed = touches.gap_m <= rules.highest_m
        first_row = np.maximum(0, np.floor((touches.gap_m[allowed] - row_zero_m) / row_m)).astype(np.int64)
        spans = Spans(
            touches.bunk[allowed],
            touches.station[allowed],
            first_row,
            touches.y_m[allowed],
            touches.from_m[allowed],
            touches.to_m[allowed],
        )
        middles_m = row_zero_m + row_m * (np.arange(len(chords.counts)) + 0.5)
        possible = max(self.third_gaps_m(tilt_rad, lift_m)) <= rules.highest_m
        return self._swept(chords, middles_m, tilt_rad, lift_m, spans, possible, row_zero_m)

    def flipped(self, tilt_rad: float, face_m: float, lift_m: float | None = None) -> LayStanding:
        """Return how what is left below a face stands once it is flipped onto it, at every height of the second frame.

        Only what the sawn face itself holds is counted: a member under the face is taken as hanging free.
        """
        lift_m = self.lift_m(tilt_rad) if lift_m is None else lift_m
        row_m, parts = self.table.row_m, self.table.parts
        rows = ceil((face_m - self._heights_m(tilt_rad)[0] - lift_m) / row_m)
        if rows < 1:
            raise ValueError(f"face_m: {exact_length(face_m)} lies below all wood; give a face through the log")
        chords = self._chords(tilt_rad, lift_m, face_m - rows * row_m, rows)
        chords = Chords(chords.counts[::-1], chords.y[::-1], chords.most)
        middles_m = face_m - row_m * (np.arange(rows) + 0.5)
        x_m = (self.bunks_m(tilt_rad) + (face_m - lift_m) * tan(tilt_rad)) * cos(tilt_rad)
        found = [
            (bunk, station, 0, 0.5 * (low + high), low, high)
            for bunk, x in enumerate(x_m)
            for station, low, high in _face_spans(chords, parts.x_m, float(x))
        ]
        whole = np.array([row[:3] for row in found], dtype=np.int64).reshape(-1, 3).T.copy()
        real = np.array([row[3:] for row in found], dtype=np.float64).reshape(-1, 3).T.copy()
        spans = Spans(whole[0], whole[1], whole[2], real[0], real[1], real[2])
        return self._swept(chords, middles_m, tilt_rad, lift_m, spans, True, 0.0)

    def stands_by_m(self, tilt_rad: float, blade_heights_m: Sequence[float] | FloatArray = ()) -> float:
        """Return the least that it stands by, before the first pass and after each of these. [m]."""
        return self.lay(tilt_rad).stands_by_m(blade_heights_m)

    def _chords(self, tilt_rad: float, lift_m: float, row_zero_m: float, rows: int) -> Chords:
        parts, row_m = self.table.parts, self.table.row_m
        turned = turn_rings(
            parts.offsets, parts.segments, parts.x_m, self.roll_rad, tilt_rad, lift_m, row_zero_m, row_m
        )
        return chord_table(parts.offsets, turned, rows, 0.5)

    def _swept(
        self,
        chords: Chords,
        middles_m: NDArray[Any],
        tilt_rad: float,
        lift_m: float,
        spans: Spans,
        possible: bool,
        row_zero_m: float,
    ) -> LayStanding:
        parts, row_m = self.table.parts, self.table.row_m
        inside_m, spare_m, volume_m3 = sweep(
            chords.counts,
            chords.y,
            parts.x_m / cos(tilt_rad),
            (lift_m - middles_m) * tan(tilt_rad),
            parts.cell_m * row_m / cos(tilt_rad),
            spans,
            self.bunks_m(tilt_rad),
            self.table.rules.loose_m3,
        )
        return LayStanding(possible, row_zero_m, row_m, inside_m, spare_m, volume_m3)


def _face_spans(chords: Chords, stations_m: FloatArray, x_m: float) -> list[tuple[int, float, float]]:
    place = float(np.clip((x_m - stations_m[0]) / (stations_m[1] - stations_m[0]), 0.0, len(stations_m) - 1.0))
    here = round(place)
    other = ceil(place) if here == floor(place) else floor(place)
    count = int(chords.counts[0, here])
    y_m = chords.y[0, :count, here].astype(np.float64)
    if chords.counts[0, other] == count:
        y_m += abs(place - here) * (chords.y[0, :count, other] - y_m)
    return [(here, float(y_m[k]), float(y_m[k + 1])) for k in range(0, count, 2)]
