"""Hearts level: butt heart and both limb hearts at one height, the way to the best feather."""

import numpy as np

from optimizer.bed.pricing import Priced
from optimizer.problem import Problem
from optimizer.search.lays import price_scouted, scout


def hearts_level(problem: Problem) -> Priced | None:
    """Return the better of the two lays that put the three hearts level.

    None for a log without a fork of two limbs whose hearts are known, where shims or posts forbid both
    lays, or where neither pays.
    """
    hearts = problem.log.hearts
    if len(problem.log.forks) != 1 or len(hearts) != 3:
        return None
    butt, first, second = hearts[0][0], hearts[1][-1], hearts[2][-1]
    normal = np.cross(first - butt, second - butt)
    if np.linalg.norm(normal) == 0.0:
        return None
    normal /= np.linalg.norm(normal)
    found: list[Priced] = []
    for up in (normal, -normal):
        # The roll brings the plane's normal over the axis, the tilt upright.
        roll_deg = float(np.degrees(np.arctan2(up[1], up[2])) % 360.0)
        tilt_deg = float(np.degrees(np.arctan2(up[0], np.hypot(up[1], up[2]))))
        rolled = problem.supports.turned(roll_deg)
        limits = problem.tilt_range_deg(rolled)
        if limits is None or not limits[0] <= tilt_deg <= limits[1]:
            continue
        priced = price_scouted(problem, scout(problem, problem.fine, rolled, tilt_deg, exact=True))
        if priced is not None:
            found.append(priced)
    return max(found, key=lambda priced: priced.net, default=None)
