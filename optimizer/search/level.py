"""The two lays that put the hearts of a fork level: butt heart and both limb hearts at one height."""

import numpy as np

from optimizer.problem import Problem
from optimizer.standing.rolled import Rolled


def level_lays(problem: Problem) -> list[tuple[Rolled, float]]:
    """Return the two rolls, each with its tilt [deg]; none for a log without a fork of two limbs with known hearts.

    Whether the mill can take them is not asked.
    """
    hearts = problem.log.hearts
    if len(problem.log.forks) != 1 or len(hearts) != 3:
        return []
    butt, first, second = hearts[0][0], hearts[1][-1], hearts[2][-1]
    normal = np.cross(first - butt, second - butt)
    if np.linalg.norm(normal) == 0.0:
        return []
    normal /= np.linalg.norm(normal)
    found = []
    for up in (normal, -normal):
        # The roll brings the plane's normal over the axis, the tilt upright.
        roll_deg = float(np.degrees(np.arctan2(up[1], up[2])) % 360.0)
        found.append((problem.supports.turned(roll_deg), float(np.degrees(np.arctan2(up[0], np.hypot(up[1], up[2]))))))
    return found
