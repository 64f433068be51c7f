"""Random numbers for invented logs and scans: values within a range, and smooth random courses."""

import numpy as np
from numpy.random import Generator

from scans.log import FloatArray

Range = tuple[float, float]
"""Least and greatest value; the same twice for a value that is not left to chance."""


def draw(rng: Generator, bounds: Range) -> float:
    """Return a value from a range, all equally likely."""
    return float(rng.uniform(bounds[0], bounds[1]))


def draw_count(rng: Generator, bounds: tuple[int, int]) -> int:
    """Return a whole number from a range, both ends included."""
    return int(rng.integers(bounds[0], bounds[1] + 1))


def wander(rng: Generator, share: FloatArray, waves: float) -> FloatArray:
    """Return a smooth random course (N,) of about unit size over `share` (N,), which runs from 0 to 1.

    waves : how many half waves the quickest part of it makes between 0 and 1.
    """
    count = max(2, int(np.ceil(waves)) + 1)
    order = np.linspace(0.0, max(waves, 0.5), count)
    phase = rng.uniform(0.0, 2.0 * np.pi, count)
    size = rng.normal(0.0, 1.0, count) * np.sqrt(2.0 / count)
    return np.asarray(np.cos(np.pi * share[:, None] * order + phase) @ size)
