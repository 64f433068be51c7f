"""Volume of a log from its diameters, by the published rules; they need no scan.

All diameters are of the wood (inside the bark) or all of the outer surface, as the volume wanted. An
oval end counts with the diameter of a circle of its area, the root of widest x narrowest (geometry).
Of a scanned log the solid's own volume is better.
"""

import math


def _area_m2(diameter_m: float) -> float:
    return math.pi * diameter_m**2 / 4.0


def _check(**lengths_m: float) -> None:
    for name, value in lengths_m.items():
        if not 0.0 <= value < math.inf:
            raise ValueError(f"{name} must be a finite length of at least 0, got {value:g}")


def volume_smalian(large_diameter_m: float, small_diameter_m: float, length_m: float) -> float:
    """Return length x the mean of both end areas. [m3].

    Exact for a cylinder and a paraboloid frustum; too much for a flared butt.
    """
    _check(large_diameter_m=large_diameter_m, small_diameter_m=small_diameter_m, length_m=length_m)
    return length_m * (_area_m2(large_diameter_m) + _area_m2(small_diameter_m)) / 2.0


def volume_huber(mid_diameter_m: float, length_m: float) -> float:
    """Return length x the area at mid-length. [m3].

    Exact for a cylinder and a paraboloid frustum (from memory: standard forest mensuration).
    """
    _check(mid_diameter_m=mid_diameter_m, length_m=length_m)
    return length_m * _area_m2(mid_diameter_m)


def volume_newton(large_diameter_m: float, mid_diameter_m: float, small_diameter_m: float, length_m: float) -> float:
    """Return length x (large end + 4 mid + small end) / 6, of areas. [m3].

    Exact for frusta of cylinder, paraboloid, cone and neiloid (from memory: standard forest mensuration).
    """
    _check(
        large_diameter_m=large_diameter_m,
        mid_diameter_m=mid_diameter_m,
        small_diameter_m=small_diameter_m,
        length_m=length_m,
    )
    areas_m2 = _area_m2(large_diameter_m) + 4.0 * _area_m2(mid_diameter_m) + _area_m2(small_diameter_m)
    return length_m * areas_m2 / 6.0


def volume_frustum(large_diameter_m: float, small_diameter_m: float, length_m: float) -> float:
    """Return the volume of a straight-sided round log, a cone's frustum (geometry). [m3]."""
    _check(large_diameter_m=large_diameter_m, small_diameter_m=small_diameter_m, length_m=length_m)
    squares_m2 = large_diameter_m**2 + large_diameter_m * small_diameter_m + small_diameter_m**2
    return math.pi * length_m / 12.0 * squares_m2


def volume_cylinder_small_end(small_diameter_m: float, length_m: float) -> float:
    """Return the volume of the cylinder on the small end, with no taper counted. [m3]."""
    _check(small_diameter_m=small_diameter_m, length_m=length_m)
    return length_m * _area_m2(small_diameter_m)
