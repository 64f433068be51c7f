"""How a surface may lie off what a scan shows of it: its own roughness, and the slow drift of the phone.

Doubt is modes of the surface: draws of what the fit leaves open, moved onto the vertices and made a quarter wider, with
this noise on what was seen, and the phone's scale, 0.6 %, or 0.2 % with a taped length.
"""

import numpy as np
from numpy.typing import NDArray

from scans.log import FloatArray

ROUGH_M, ROUGH_LENGTH_M = 0.0015, 0.03
"""Bark, dirt and the scan's noise: spread, and how far apart two places are that hardly go together."""

DRIFT_M, DRIFT_LENGTH_M = 0.001, 0.5
"""What the phone's drift leaves, likewise.

Learnt from how far, and over what distances, the seen side of 24 invented scans lay off the truth, their size and place
made that of the truth (our measurement, tests/benchmarks/surfaces.py, seeds 100-111 and 744-755).
"""


def noise_modes_m(points_m: FloatArray, count: int) -> NDArray[np.float32]:
    """Return how far the surface at points (N, 3) may move outwards, in ways (N, count), always the same. [m]."""
    found = np.zeros((len(points_m), count))
    for seed, (spread_m, length_m) in enumerate(((ROUGH_M, ROUGH_LENGTH_M), (DRIFT_M, DRIFT_LENGTH_M))):
        found += field_modes_m(points_m, count, spread_m, length_m, seed)
    return found.astype(np.float32)


def field_modes_m(points_m: FloatArray, count: int, spread_m: float, length_m: float, seed: int) -> FloatArray:
    """Return the ways (N, count) of a random field at points (N, 3). [m].

    Sums of the ways with weights of unit spread are normal, of spread `spread_m`, and go together as
    exp(-d^2 / (2 length^2)) at a distance d: waves of random direction, length and phase (random Fourier features,
    Rahimi and Recht 2007; from memory). Ways of other seeds are independent of these.
    """
    rng = np.random.default_rng(seed)
    waves = rng.normal(size=(3, count)) / length_m
    phases = rng.uniform(0.0, 2.0 * np.pi, count)
    return np.asarray(spread_m * np.sqrt(2.0 / count) * np.cos(points_m @ waves + phases))
