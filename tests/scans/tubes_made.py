"""Members as straight tubes."""

import numpy as np

from scans.fit.members import TERMS, Members


def tubes(*radii, blend=0.1, apart=None):
    """Members along x, 2 m long, 0.3 m aside of one another unless said otherwise."""
    count, knots = len(radii), 21
    terms = np.zeros((count, knots, TERMS))
    terms[:, :, 0] = np.array(radii)[:, None]
    centres = np.zeros((count, knots, 3))
    centres[:, :, 0] = np.linspace(0.0, 2.0, knots)
    centres[:, :, 1] = np.arange(count)[:, None] * (0.3 if apart is None else apart)
    cuts = np.zeros((count, 2, 3))
    cuts[:, 1, 0] = 2.0
    return Members(
        centres, np.tile(np.eye(3), (count, knots, 1, 1)), np.full(count, 2.0), np.full(count, knots, dtype=np.int64),
        terms, np.full(count, blend), np.ones((count, 2), dtype=np.bool_), cuts,
    )  # fmt: skip
