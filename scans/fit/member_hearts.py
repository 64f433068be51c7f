"""Hearts and fork of a log's stem and limbs: the pith is taken to run through the middle of the wood."""

from itertools import combinations

import numpy as np

from scans.fit.members import Members
from scans.log import FloatArray, Fork

_EVERY_M = 0.1


def hearts_and_forks(
    members: Members, main: int, matrix: FloatArray
) -> tuple[tuple[FloatArray, ...], tuple[Fork, ...]]:
    """Return hearts and forks as of `scans.log.Log`.

    members : the stem, and the limbs among the first `main`, in their own frame. matrix : (4, 4) from there to the
    log frame.
    """
    lines = [_line_m(members, m, matrix) for m in range(main)]
    if main == 1:
        line = lines[0]
        return (line if line[0, 0] < line[-1, 0] else line[::-1],), ()
    fork = _fork(members, main, lines, matrix)
    return tuple(_rising(line) for line in lines), (fork,)


def _line_m(members: Members, m: int, matrix: FloatArray) -> FloatArray:
    low = members.cuts_m[m, 0, 0] if members.sawn[m, 0] else 0.0
    high = members.cuts_m[m, 1, 0] if members.sawn[m, 1] else members.lengths_m[m]
    line = members.line_m(m, np.linspace(low, high, max(2, int(np.ceil((high - low) / _EVERY_M)) + 1)))
    return np.asarray(line @ matrix[:3, :3].T + matrix[:3, 3])


def _rising(line: FloatArray) -> FloatArray:
    """Return a line without the points at which x does not rise."""
    kept = np.concatenate([[True], line[1:, 0] > np.maximum.accumulate(line[:, 0])[:-1] + 1e-4])
    return line[kept]


def _fork(members: Members, main: int, lines: list[FloatArray], matrix: FloatArray) -> Fork:
    """Return the fork of the two limbs with the widest angle between them."""
    meeting = lines[0][-1]
    reach = min(float(np.linalg.norm(line[-1] - meeting)) for line in lines[1:])
    directions = []
    for line in lines[1:]:
        far = np.linalg.norm(line - meeting, axis=1)
        tip = line[int(np.argmin(np.abs(far - min(reach, 1.2))))] - meeting
        directions.append(tip / np.linalg.norm(tip))
    one, two = min(combinations(range(main - 1), 2), key=lambda pair: float(directions[pair[0]] @ directions[pair[1]]))
    both = np.concatenate([lines[1 + one], lines[1 + two]]) - meeting
    normal = np.linalg.eigh(both.T @ both)[1][:, 0]
    normal = normal * np.sign(normal @ np.cross(directions[one], directions[two]))
    radii = [float(members.radius_m(1 + k, np.array([0.0]))[0]) for k in (one, two)]
    # The middle line runs where the two limbs' sides would meet, were they not grown together.
    middle = radii[1] * directions[one] + radii[0] * directions[two]
    middle -= (middle @ normal) * normal
    middle /= np.linalg.norm(middle)
    steps = np.arange(0.0, 3.0 * reach, 0.002)
    back = np.linalg.inv(matrix)
    along = (meeting + steps[:, None] * middle) @ back[:3, :3].T + back[:3, 3]
    outside = members.values_m(along) > 0.0
    height = float(steps[np.argmax(outside)]) if outside.any() else reach
    stem = float(members.radius_m(0, np.array([members.lengths_m[0]]))[0])
    return Fork.over_hearts(meeting, middle, height, normal, 2.0 * stem)
