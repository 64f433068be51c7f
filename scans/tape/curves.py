"""A curve through measured values that neither oscillates nor overshoots."""

import numpy as np

from scans.log import FloatArray


def limited_slopes(at: FloatArray, values: FloatArray) -> FloatArray:
    """Slopes at the stations for a cubic through (S,) values at (S,) rising stations.

    Each slope is that of the parabola through a station and its two neighbours (the non-uniform
    Catmull-Rom choice), made flat at a peak or a dip and held to three times the flatter neighbouring
    chord, so that between two stations the curve stays between their values (the monotonicity region
    of Fritsch and Carlson, Monotone piecewise cubic interpolation, SIAM J. Numer. Anal. 17, 1980).
    One station gives slope 0, two give their chord.
    """
    if len(at) == 1:
        return np.zeros(1)
    steps = np.diff(at)
    chords = np.diff(values) / steps
    if len(at) == 2:
        return np.repeat(chords, 2)
    slopes = np.zeros(len(at))
    before, after = chords[:-1], chords[1:]
    parabola = (steps[1:] * before + steps[:-1] * after) / (steps[:-1] + steps[1:])
    bound = 3.0 * np.minimum(np.abs(before), np.abs(after))
    slopes[1:-1] = np.where(before * after > 0.0, np.clip(parabola, -bound, bound), 0.0)
    slopes[0] = _end_slope(steps[0], steps[1], chords[0], chords[1])
    slopes[-1] = _end_slope(steps[-1], steps[-2], chords[-1], chords[-2])
    return slopes


def _end_slope(step: float, next_step: float, chord: float, next_chord: float) -> float:
    """Return the end slope of the parabola through the three stations at an end, limited as inside."""
    slope = ((2.0 * step + next_step) * chord - step * next_chord) / (step + next_step)
    if slope * chord <= 0.0:
        return 0.0
    return float(np.clip(slope, -3.0 * abs(chord), 3.0 * abs(chord)))


def through_stations(at: FloatArray, values: FloatArray, wanted: FloatArray) -> FloatArray:
    """Value at each of `wanted` (N,) of the curve through (S,) values at (S,) rising stations.

    Outside the stations the curve goes on straight, at its end slope.
    """
    if len(at) == 1:
        return np.full(len(wanted), values[0])
    slopes = limited_slopes(at, values)
    inside = np.clip(wanted, at[0], at[-1])
    left = np.clip(np.searchsorted(at, inside, side="right") - 1, 0, len(at) - 2)
    step = at[left + 1] - at[left]
    t = (inside - at[left]) / step
    curve = (
        (1.0 + 2.0 * t) * (1.0 - t) ** 2 * values[left]
        + t * (1.0 - t) ** 2 * step * slopes[left]
        + t**2 * (3.0 - 2.0 * t) * values[left + 1]
        - t**2 * (1.0 - t) * step * slopes[left + 1]
    )
    beyond = np.where(wanted < at[0], slopes[0], slopes[-1]) * (wanted - inside)
    return curve + beyond
