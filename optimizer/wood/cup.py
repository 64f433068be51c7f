"""How far a flat-sawn face cups in drying, and how much thinner it dries, by where it lies to the heart.

Rings are round about the heart, and every point of them moves by r' = r (1 - S_R), angle' = k angle, k = (1 - S_T) /
(1 - S_R): radii shrink by the radial shrinkage, arcs by the tangential one, with no stress in a piece that is open.
Published models of cupping are polar too: Mitchell 2016, "Modeling the cupping of lumber", BioResources 11(3),
6416-6425. The algebra here is derived, for a face that need not lie square over the heart. It is the free value: weight
on a stack holds it, drying from one side adds to it.
"""

import numpy as np

from scans.log import FloatArray

_PLACES = 33
"""Places across a face; where the heart lies under it, one of them is right over it."""
_HAIR_M = 1e-9
"""What is nearer than this is at one place."""


def cup_m(left_m: FloatArray, right_m: FloatArray, off_m: FloatArray, radial: float, tangential: float) -> FloatArray:
    """Return how far faces cup: the most that one lies off the straight line between its edges. [m].

    left_m, right_m : (N,) its edges across, from the heart. off_m : (N,) how far above or below the heart it lies. [m]
    radial, tangential : shrinkage to the moisture that it is dried to, as shares.
    """
    at = np.linspace(0.0, 1.0, _PLACES)
    across = left_m[:, None] + at * (right_m - left_m)[:, None]
    over_heart = np.clip(0.0, left_m, right_m)
    across = np.sort(np.concatenate([across, over_heart[:, None]], axis=1), axis=1)
    off = np.abs(off_m)[:, None]
    radius = np.hypot(across, off) * (1.0 - radial)
    angle = np.arctan2(across, off) * (1.0 - tangential) / (1.0 - radial)
    y, z = radius * np.sin(angle), radius * np.cos(angle)
    along_y, along_z = y[:, -1:] - y[:, :1], z[:, -1:] - z[:, :1]
    straight = np.maximum(np.hypot(along_y, along_z), _HAIR_M)
    off_line = np.abs((y - y[:, :1]) * along_z - (z - z[:, :1]) * along_y) / straight
    found: FloatArray = off_line.max(axis=1)
    return found


def mean_thickness_strain(
    left_m: FloatArray, right_m: FloatArray, off_m: FloatArray, radial: float, tangential: float
) -> FloatArray:
    """Return by what share a layer dries thinner, averaged across; arguments as of cup_m, at its middle height.

    Where rings stand at an angle phi to the face, thickness shrinks by S_R cos^2 phi + S_T sin^2 phi, tan phi = y / h
    (small strains; MacLean 1945, FPL Report R1473, treats the same). Averaged over y that is S_T - (S_T - S_R) h
    (atan(right / h) - atan(left / h)) / (right - left).
    """
    off = np.maximum(np.abs(off_m), _HAIR_M)
    width = np.maximum(right_m - left_m, _HAIR_M)
    flat = off * (np.arctan(right_m / off) - np.arctan(left_m / off)) / width
    found: FloatArray = tangential - (tangential - radial) * flat
    return found
