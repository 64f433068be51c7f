"""How much narrower a slab is once it is dry, by where in the log it lies. One rule, for the mesh and for the kernels.

A slab sawn through and through, its middle a height h above or below the heart, w wide over the heart: averaged over
the width, the rings lie so that it shrinks by

    S_R + (S_T - S_R) x (2 h / w) x atan(w / (2 h))

of its green width, S_R and S_T the radial and the tangential shrinkage from green to the book's moisture. Derived from
the small-strain transformation of the two (J. D. MacLean, FPL Report R1473, 1945, treats the same subject; no equation
is taken from it); round rings about one heart are assumed. Over the heart (h = 0) it is S_R, far from it S_T.

What is done with it, and it is an approximation: h is how far the middle of the layer lies above or below the mean
height of the heart lines over the usable stretch, in that lay, and where the log has no heart line the mean of S_R and
S_T is taken. One share holds for all of a slab: that of its green mean width over its length, uncapped, by the face
that the buyer counts. Where runs begin and end, and where a long one is crosscut, one share holds for all of a layer:
that of the green width which dries to just the minimum. Lengths are as sawn; along the grain wood shrinks by 0.1 to
0.2 % (FPL-GTR-190, p. 4-5), which is left out.
"""

from math import atan, isnan

import numba

ROUNDS = 6
"""Each round brings the green width that dries to a given one fifty times nearer, or more."""


@numba.njit(cache=True, nogil=True)
def width_shrinkage(radial: float, tangential: float, off_heart_m: float, width_m: float) -> float:
    """Return the share of its green width that a slab loses.

    radial, tangential : shares lost across the rings and along them, in [0, 1). off_heart_m : how far its middle is
    from the heart's height, at least 0; nan where no heart is known. width_m : green, at least 0.
    """
    if radial == tangential:
        return radial
    if isnan(off_heart_m):
        return 0.5 * (radial + tangential)
    if off_heart_m <= 0.0:
        return radial if width_m > 0.0 else tangential
    half = 0.5 * width_m / off_heart_m
    return tangential if half <= 0.0 else radial + (tangential - radial) * atan(half) / half


@numba.njit(cache=True, nogil=True)
def green_width(dry_m: float, radial: float, tangential: float, off_heart_m: float) -> float:
    """Return the green width that dries to a width; see width_shrinkage. [m]."""
    green_m = dry_m
    if radial != 0.0 or tangential != 0.0:
        for _ in range(ROUNDS):
            green_m = dry_m / (1.0 - width_shrinkage(radial, tangential, off_heart_m, green_m))
    return green_m
