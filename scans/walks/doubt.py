"""The doubt of a log that several walks show: none of their scales is sure, and they do not lie exactly as one."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from scans.fit.surface_noise import DRIFT_LENGTH_M, field_modes_m
from scans.log import FloatArray, SurfaceDoubt

OFF_TO_MISFIT = 0.65
"""How far the surface lies off, beside what the fit of all points says, to the misfit of the walks.

The drift of each walk moves all that it saw, so that more points do not lessen it: of five invented logs it was 0.51 to
0.74 of the misfit (our measurement, tests/benchmarks/walks.py, seeds 400-405)."""

_SEED = 2
"""Another than those of a scan's own noise."""


def doubt_of_walks(
    doubt: SurfaceDoubt, outer_m: FloatArray, wood_m: FloatArray, misfit_m: float, walks: int, *, is_taped: bool
) -> SurfaceDoubt:
    """Return the doubt of a log whose points came from so many walks.

    doubt : as if one walk had seen them all. outer_m (V, 3), wood_m (W, 3) : its vertices. misfit_m : of the walks.
    is_taped : whether the scale is the tape's; else it is the mean of the walks' own.
    """

    def with_field(modes: NDArray[np.float32], points_m: FloatArray) -> NDArray[np.float32]:
        field = field_modes_m(points_m, modes.shape[1], OFF_TO_MISFIT * misfit_m, DRIFT_LENGTH_M, _SEED)
        return (modes + field).astype(np.float32)

    outer = with_field(doubt.outer_modes_m, outer_m)
    return replace(
        doubt,
        outer_modes_m=outer,
        wood_modes_m=outer if doubt.wood_modes_m is doubt.outer_modes_m else with_field(doubt.wood_modes_m, wood_m),
        scale_spread=doubt.scale_spread if is_taped else doubt.scale_spread / float(np.sqrt(walks)),
    )
