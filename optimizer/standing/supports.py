"""Where a log can bear on the bunks: on the bunk itself, on a shim, or on a prop under a limb.

Bed frame: x along the bed, z = 0 on top of the bunks, z up, y left.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, pi, sqrt
from typing import Literal

import numba
import numpy as np
import shapely
from manifold3d import Manifold
from shapely import Polygon, box

from optimizer.bed.bodies import polygons_of
from scans.log import FloatArray

BEARS_M = 0.001
"""A gap under this is none."""
REACH_SHARE = 0.3
"""How far to either side of its lowest point a support holds a member, as a share of the member's radius: the low end
of what is given for the friction of green bark on wood or rusty steel. Bunks and wedges push on a round log towards
its centre, so that only friction keeps it from turning."""
MARGIN_M = 0.0508
"""The mass centre keeps so far from the edge of what holds the log: 2 in (common practice, no source)."""
MARGIN_SHARE = 0.5
"""But no more than this share of how far a support reaches: a round log of a radius under 17 cm would else never stand,
and it does so on every mill."""
LEAST_RADIUS_M = 0.025
"""A branch stub thinner than this bears nothing."""
BESIDE_M = 0.0508
STEEPEST_SLOPE = 1.25
"""A bunk bears a member whose underside goes on so far to both sides of it, 2 in (common practice, no source), and is
nowhere steeper: no limb is, but a sawn end's face is. On a bunk under its very end it would slip off."""
LOOSE_M3 = 0.02
"""A body cut off smaller than this, about 50 lb of green wood, is an offcut that one person holds (NIOSH Pub. 94-110:
51 lb at best); it is told, and the lay stands all the same."""
LEVEL_M = 1e-5
"""Points of a member no higher than this above its lowest one lie on a flat face with it, but for rounding."""

Kind = Literal["bears", "shim", "prop", "blocks"]


@dataclass(frozen=True)
class SupportRules:
    """What a mill puts under a log.

    first_bunk_m : from the butt end of the bolt on the bed to the first bunk. bunk_spacing_m : from bunk to bunk.
    max_shim_m, max_prop_m : the highest shim, and the highest blocks under a limb. clamps_hold : whether clamps may
    hold a log that does not stand. loose_m3 : a body cut off smaller than this need not stand.
    """

    first_bunk_m: float
    bunk_spacing_m: float
    max_shim_m: float
    max_prop_m: float = 0.3048
    clamps_hold: bool = False
    loose_m3: float = LOOSE_M3

    def __post_init__(self) -> None:
        if not self.bunk_spacing_m > 0.0:
            raise ValueError(
                f"bunk_spacing_m: must be above 0, not {self.bunk_spacing_m}; give the way from bunk to bunk"
            )

    @property
    def highest_m(self) -> float:
        """The highest gap that a support may fill. [m]."""
        return max(BEARS_M, self.max_shim_m, self.max_prop_m)

    def bunks_m(self, from_m: float, to_m: float) -> FloatArray:
        """Return the bed x (B,) of the bunks under a bolt that lies between two places along the bed. [m]."""
        count = ceil((to_m - from_m - self.first_bunk_m) / self.bunk_spacing_m - 1e-9)
        return np.array([from_m + self.first_bunk_m + self.bunk_spacing_m * k for k in range(count)], dtype=np.float64)

    def kind_of(self, gap_m: float) -> Kind:
        """Return what fills a gap: nothing, a shim or a prop; blocks where it is higher than any prop."""
        if gap_m <= BEARS_M:
            return "bears"
        if gap_m <= self.max_shim_m:
            return "shim"
        return "prop" if gap_m <= self.max_prop_m else "blocks"


@dataclass(frozen=True)
class Support:
    """Where a member can be held on a bunk; bed frame.

    bunk : counts from 0 at the butt end. member : of the parts that cross this bunk, from 0 at the left.
    x_m, y_m, height_m : the member's lowest point there, or the middle of a flat that is its lowest; the height is what
    a shim or a prop fills. from_y_m, to_y_m : where it holds the member: REACH_SHARE of its radius to either side, or
    all of a wider flat. A member with two flats at one height has two supports. [m]
    """

    bunk: int
    member: int
    x_m: float
    y_m: float
    height_m: float
    from_y_m: float
    to_y_m: float
    kind: Kind

    @property
    def reach_m(self) -> float:
        """Half the width over which it holds. [m]."""
        return 0.5 * (self.to_y_m - self.from_y_m)

    @property
    def is_allowed(self) -> bool:
        """Whether the mill has what fills the gap."""
        return self.kind != "blocks"


def upended(body: Manifold, log_to_bed: FloatArray) -> Manifold:
    """Return a body of the log frame as it lies on the bed, but with the axes (bed y, bed z, bed x).

    The library slices across its third axis only.
    """
    return body.transform(log_to_bed[[1, 2, 0], :])


def supports_under(standing: Manifold, bunks_m: FloatArray, rules: SupportRules) -> tuple[Support, ...]:
    """Return every support that an upended body can have, from the butt end, at each bunk from the left.

    After a flip the sawn face is flat, so that its whole width holds.
    """
    found = []
    for bunk, x_m in enumerate(bunks_m):
        here, before, after = (polygons_of(standing.slice(float(x_m) + by_m)) for by_m in (0.0, -BESIDE_M, BESIDE_M))
        parts = [
            part
            for part in here
            if radius_m(part) >= LEAST_RADIUS_M and _goes_on(part, before) and _goes_on(part, after)
        ]
        parts.sort(key=lambda part: -part.centroid.x)
        for member, part in enumerate(parts):
            found += _supports(part, bunk, member, float(x_m), rules)
    return tuple(found)


def _goes_on(part: Polygon, beside: Sequence[Polygon]) -> bool:
    rise_m = STEEPEST_SLOPE * BESIDE_M
    return any(abs(other.bounds[1] - part.bounds[1]) <= rise_m and part.intersects(other) for other in beside)


def radius_m(part: Polygon) -> float:
    """Return the radius of a member from its section: of the circle of equal area, or half of its extent, if less. [m].

    Where two limbs are still one section, each of them turns about its own centre, not about that of both.
    """
    left, low, right, high = part.bounds
    return min(sqrt(Polygon(part.exterior).area / pi), 0.5 * (right - left), 0.5 * (high - low))


def _supports(part: Polygon, bunk: int, member: int, x_m: float, rules: SupportRules) -> list[Support]:
    left, gap_m, right, _ = part.bounds
    reach_m = REACH_SHARE * radius_m(part)
    flats = part.intersection(box(left - 1.0, gap_m - 1.0, right + 1.0, gap_m + LEVEL_M))
    found = []
    for flat in shapely.get_parts(flats):
        from_m, _, to_m, _ = (float(bound) for bound in flat.bounds)
        y_m = 0.5 * (from_m + to_m)
        span = min(from_m, y_m - reach_m), max(to_m, y_m + reach_m)
        found.append(Support(bunk, member, x_m, y_m, max(0.0, gap_m), *span, rules.kind_of(gap_m)))
    return found


@numba.njit(cache=True, nogil=True)
def margin_of_reach_m(reach_m: float) -> float:
    """Return how far from the edge of the hull of supports that reach so far a mass centre has to keep. [m].

    2 in, or less where no support reaches far: the doubt of where the mass centre lies shrinks with the log.
    """
    return min(MARGIN_M, MARGIN_SHARE * reach_m)


def margin_m(supports: Sequence[Support]) -> float:
    """Return how far from the edge of the hull of such supports a mass centre has to keep. [m]."""
    return float(margin_of_reach_m(max((support.reach_m for support in supports), default=0.0)))


def thirds_m(from_m: float, to_m: float) -> tuple[float, float]:
    """Return where along the bed the butt third of a bolt ends and its top third begins. [m]."""
    return from_m + (to_m - from_m) / 3.0, to_m - (to_m - from_m) / 3.0


def is_possible(supports: Sequence[Support], from_m: float, to_m: float) -> bool:
    """Whether the butt third and the top third of a bolt between two places along the bed each have a support."""
    butt_m, top_m = thirds_m(from_m, to_m)
    allowed = [support for support in supports if support.is_allowed]
    return any(s.x_m <= butt_m for s in allowed) and any(s.x_m >= top_m for s in allowed)
