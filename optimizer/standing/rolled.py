"""A log as it would lie at a roll: how wide and high it is, which tilts its supports allow, and whether it stands."""

from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from math import cos, degrees, radians, sin

import numpy as np
from numpy.typing import NDArray

from optimizer.bed.lay import Lay, hull_points
from optimizer.standing.hull import hull_of_spans, inside_by_m
from optimizer.standing.parts import Touches
from optimizer.standing.supports import BEARS_M, SupportRules, margin_of_reach_m, thirds_m
from optimizer.standing.table import LayStanding, RollStanding, StandingTable
from scans.log import FloatArray, Log

SPARE_M = 0.006
"""The search counts a lay as standing, and a gap as filled, only where it would with so much to spare: gaps and mass
centres taken at stations are good to a few millimetres (tests hold the table to 12 mm of the solid itself)."""
_MOST_PLACED = 4


@dataclass(frozen=True, eq=False)
class Supports:
    """What a log can rest on, at any roll."""

    log: Log
    rules: SupportRules
    _rolled: dict[float, "Rolled"] = field(default_factory=dict)

    @cached_property
    def whole(self) -> FloatArray:
        """The points (P, 3) of its convex hull, bark included; log frame. [m]."""
        return hull_points(self.log.outer)

    @cached_property
    def table(self) -> StandingTable:
        """The log cut at stations, ready to be asked how it stands."""
        return StandingTable.of(self.log, None, self.rules)

    def turned(self, roll_deg: float) -> "Rolled":
        """Return the log at a roll; the same object for the same roll."""
        found = self._rolled.get(roll_deg)
        if found is None:
            found = self._rolled.setdefault(roll_deg, self._turned(roll_deg))
        return found

    def _turned(self, roll_deg: float) -> "Rolled":
        roll = radians(roll_deg)
        x, y, z = self.whole.T
        across = y * cos(roll) - z * sin(roll)
        outline = np.stack([x, y * sin(roll) + z * cos(roll)], axis=1)
        return Rolled(roll_deg, outline, float(np.ptp(across)), self.table.at(roll))


@dataclass(frozen=True, eq=False)
class Rolled:
    """A log at a roll.

    outline_m : (P, 2) x and rolled z of its hull's points. width_m : overall, bark included. [m]
    """

    roll_deg: float
    outline_m: FloatArray
    width_m: float
    standing: RollStanding
    _lays: dict[float, LayStanding] = field(default_factory=dict)
    _heights: dict[float, tuple[float, float]] = field(default_factory=dict)

    def lay(self, tilt_deg: float) -> Lay:
        """Return the lay at a tilt, lifted so that its lowest point is at z = 0."""
        return Lay(self.roll_deg, float(tilt_deg), -self._heights_m(tilt_deg)[0])

    def height_m(self, tilt_deg: float) -> float:
        """Return how high the log stands above the bunks. [m]."""
        low_m, high_m = self._heights_m(tilt_deg)
        return high_m - low_m

    def _heights_m(self, tilt_deg: float) -> tuple[float, float]:
        found = self._heights.get(tilt_deg)
        if found is None:
            t = radians(tilt_deg)
            heights_m: FloatArray = self.outline_m[:, 0] * sin(t) + self.outline_m[:, 1] * cos(t)
            found = self._heights[tilt_deg] = float(heights_m.min()), float(heights_m.max())
        return found

    def gaps_m(self, tilt_deg: float) -> tuple[float, float]:
        """Return the lowest gap over the bunks of the butt third and of the top third; infinite without a bunk. [m]."""
        butt_m, top_m = self.standing.third_gaps_m(radians(tilt_deg), self.lay(tilt_deg).lift_m)
        return max(0.0, butt_m), max(0.0, top_m)

    @cached_property
    def resting_tilt_deg(self) -> float:
        """The tilt at which both gaps are equal: 0 and 0, unless the belly is down. [deg]."""
        return degrees(self.standing.resting_tilt_rad)

    @cached_property
    def tilt_range_deg(self) -> tuple[float, float] | None:
        """The least and greatest tilt at which both thirds have a support; None where none is. [deg]."""
        limits = self.standing.tilts_within_rad(SPARE_M)
        return None if limits is None else (degrees(limits[0]), degrees(limits[1]))

    def stands_at(self, tilt_deg: float) -> LayStanding:
        """Return how it stands at a tilt, at every height."""
        found = self._lays.get(tilt_deg)
        if found is None:
            found = self.standing.lay(radians(tilt_deg), self.lay(tilt_deg).lift_m)
            self._lays[tilt_deg] = found
        return found

    def stands(self, tilt_deg: float) -> bool:
        """Whether it may lie so before the first pass: on its supports, or held by clamps."""
        lay = self.stands_at(tilt_deg)
        return lay.is_possible and bool(self._held(lay.spare_m[-1:], lay.inside_m[-1:])[0])

    def stands_after(self, tilt_deg: float, blade_heights_m: FloatArray) -> NDArray[np.bool_]:
        """Return (H,) whether it may lie so once a pass at a height is made."""
        lay = self.stands_at(tilt_deg)
        return self._held(lay.spares_m(blade_heights_m), lay.insides_m(blade_heights_m))

    def _held(self, spare_m: FloatArray, inside_m: FloatArray) -> NDArray[np.bool_]:
        # Clamps hold what would turn over, but nothing that has no support at all.
        return inside_m > -np.inf if self.standing.table.rules.clamps_hold else spare_m >= SPARE_M

    def placed(self, tilt_deg: float) -> int:
        """Return about how many shims and props hold the whole log at a tilt: the fewest that do.

        What passes leave of it may ask for more: winners are counted on the solid itself.
        """
        tilt, lift_m, rules = radians(tilt_deg), self.lay(tilt_deg).lift_m, self.standing.table.rules
        touches = self.standing.touches(tilt, lift_m)
        bunks_m = self.standing.bunks_m(tilt)
        gaps_m = touches.gap_m.tolist()
        bears = [k for k, gap_m in enumerate(gaps_m) if gap_m <= BEARS_M]
        others = [k for k, gap_m in enumerate(gaps_m) if BEARS_M < gap_m <= rules.highest_m]
        butt_m, top_m = thirds_m(*self.standing.ends_m(tilt))
        x_m = bunks_m[touches.bunk].tolist()
        centre_m = self.lay(tilt_deg).to_bed(np.array(self.standing.table.centre_m))[:2]
        for count in range(min(_MOST_PLACED, len(others)) + 1):
            for chosen in combinations(others, count):
                all_m = [x_m[k] for k in (*bears, *chosen)]
                at_both = bool(all_m) and min(all_m) <= butt_m and max(all_m) >= top_m
                if at_both and _holds(touches, bunks_m, bears + list(chosen), centre_m):
                    return count
        return min(_MOST_PLACED, len(others))


def _holds(touches: Touches, bunks_m: FloatArray, chosen: list[int], centre_m: FloatArray) -> bool:
    low_m, high_m = np.full(len(bunks_m), np.inf), np.full(len(bunks_m), -np.inf)
    reach_m = 0.0
    for k in chosen:
        bunk = touches.bunk[k]
        low_m[bunk] = min(low_m[bunk], touches.from_m[k])
        high_m[bunk] = max(high_m[bunk], touches.to_m[k])
        reach_m = max(reach_m, 0.5 * (touches.to_m[k] - touches.from_m[k]))
    inside_m = inside_by_m(hull_of_spans(bunks_m, low_m, high_m), float(centre_m[0]), float(centre_m[1]))
    return bool(inside_m >= margin_of_reach_m(reach_m))
