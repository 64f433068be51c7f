"""What a slab is like after drying: how far it may cup, and how thick it is once it is flat again."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from optimizer.documents.mill import Mill
from optimizer.documents.plan import Slab
from optimizer.documents.prices import PriceBook, drop_steps
from optimizer.wood.cup import cup_m, mean_thickness_strain
from optimizer.wood.moisture import shrinkage_pct
from optimizer.wood.woods import Wood
from scans.log import FloatArray
from scans.units import INCH_M

EVERY_M = 0.05
"""How far apart along a slab it is looked at."""
SHORT_M = INCH_M / 8.0
"""A slab that finishes so much thinner than what it is sold as is not full thickness any more: dry lumber from 2 in up
may be 1/8 in scant (NHLA rules for kiln-dried lumber)."""


@dataclass(frozen=True)
class AfterDrying:
    """What slabs of a wood are dried to. radial, tangential : shrinkage to that moisture, as shares."""

    radial: float
    tangential: float
    allowance_m: float
    mill: Mill

    @classmethod
    def of(cls, wood: Wood, prices: PriceBook, mill: Mill) -> "AfterDrying":
        """Return what a price book dries a wood to."""
        radial, tangential = (
            shrinkage_pct(total, prices.finish.moisture_pct) / 100.0
            for total in (wood.shrinkage_radial_pct, wood.shrinkage_tangential_pct)
        )
        return cls(radial, tangential, prices.finish.allowance_m, mill)

    def told(self, slab: Slab, hearts: Sequence[FloatArray]) -> Slab:
        """Return a slab with its cup, the thickness it likely finishes at, and what to saw for the full one.

        hearts : (P, 3) each, in the bed frame of the slab. [m] Without hearts, or where none runs beside the slab but
        within it, nothing is known. Both faces are looked at over the wood that they share, all along the slab; the
        worst counts.
        """
        left, right, heart_y, heart_z = _places(slab, hearts)
        if not len(left):
            return slab
        left, right = left - heart_y, right - heart_y
        faces = (slab.upper_face_m, slab.lower_face_m)
        cups = np.max([cup_m(left, right, face - heart_z, self.radial, self.tangential) for face in faces], axis=0)
        middle = 0.5 * sum(faces) - heart_z
        kept = 1.0 - mean_thickness_strain(left, right, middle, self.radial, self.tangential)
        finish_m = float((slab.green_thickness_m * kept - cups - self.allowance_m).min())
        sold_m = slab.quarters * INCH_M / 4.0
        saw_m = None
        if finish_m < sold_m - SHORT_M:
            wanted_m = float(((sold_m + cups + self.allowance_m) / kept).max())
            saw_m = drop_steps(wanted_m, self.mill) * self.mill.height_step_m - self.mill.kerf_m
        return slab.model_copy(
            update={"cup_m": float(cups.max()), "finish_m": max(finish_m, 0.0), "saw_for_full_m": saw_m}
        )


def _places(slab: Slab, hearts: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return where a slab is looked at: (N,) its left and right edge, and the nearest heart's y and z there. [m]."""
    from_m, to_m = slab.span_m
    at = np.linspace(from_m, to_m, max(2, int(np.ceil((to_m - from_m) / EVERY_M)) + 1))[1:-1]
    shell, *holes = slab.outline_m
    piece = Polygon(shell, holes)
    low, high = piece.bounds[1] - 1.0, piece.bounds[3] + 1.0
    lines = shapely.linestrings([[(x, low), (x, high)] for x in at]) if len(at) else np.array([])
    parts, owner = shapely.get_parts(shapely.intersection(piece, lines), return_index=True)
    is_across = shapely.get_type_id(parts) == shapely.GeometryType.LINESTRING
    bounds = shapely.bounds(parts[is_across])
    x, left, right = at[owner[is_across]], bounds[:, 1], bounds[:, 3]
    y, z = _nearest(x, 0.5 * (left + right), 0.5 * (slab.upper_face_m + slab.lower_face_m), hearts)
    # Wood that holds its heart opens there when it dries, and does not cup: rings close about no free piece.
    holds = (z > slab.lower_face_m) & (z < slab.upper_face_m) & (y > left) & (y < right)
    known = np.isfinite(y) & ~holds
    return left[known], right[known], y[known], z[known]


def _nearest(
    x: FloatArray, y: FloatArray, height_m: float, hearts: Sequence[FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Return the y and z of the heart line that runs nearest to each place; nan where none does."""
    best_y, best_z = np.full_like(x, np.nan), np.full_like(x, np.nan)
    nearest = np.full_like(x, np.inf)
    for line in hearts:
        order = np.argsort(line[:, 0], kind="stable")
        xs, ys, zs = line[order].T
        there = (x >= xs[0]) & (x <= xs[-1])
        heart_y, heart_z = np.interp(x, xs, ys), np.interp(x, xs, zs)
        off = np.hypot(heart_y - y, heart_z - height_m)
        nearer = there & (off < nearest)
        best_y[nearer], best_z[nearer], nearest[nearer] = heart_y[nearer], heart_z[nearer], off[nearer]
    return best_y, best_z
