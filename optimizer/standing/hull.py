"""How far inside the hull of its supports a body's mass centre lies, seen from above."""

import numba
import numpy as np

from scans.log import FloatArray


@numba.njit(cache=True, nogil=True)
def _turns_left(hull: FloatArray, count: int, x: float, y: float) -> bool:
    ax, ay = hull[count - 2, 0], hull[count - 2, 1]
    bx, by = hull[count - 1, 0], hull[count - 1, 1]
    return bool((bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0.0)


@numba.njit(cache=True, nogil=True)
def hull_of_spans(x_m: FloatArray, low_m: FloatArray, high_m: FloatArray) -> FloatArray:
    """Return the convex hull (P, 2) of spans across the bed, anticlockwise from its first bunk's right end. [m].

    x_m : (B,) of the bunks, rising, no two alike. low_m, high_m : (B,) the least and greatest y of what holds there;
    a low above its high: nothing does. Fewer than three points where all lies on one line.
    """
    count = len(x_m)
    hull = np.zeros((4 * count + 1, 2))
    size = 0
    # Below from the butt to the top, then above and back: the points come in order, so nothing is sorted.
    for k in range(count):
        if low_m[k] <= high_m[k]:
            while size >= 2 and not _turns_left(hull, size, x_m[k], low_m[k]):
                size -= 1
            hull[size, 0], hull[size, 1] = x_m[k], low_m[k]
            size += 1
    below = size
    for k in range(count - 1, -1, -1):
        if low_m[k] <= high_m[k]:
            if size > 0 and hull[size - 1, 0] == x_m[k] and hull[size - 1, 1] == high_m[k]:
                continue
            while size >= below + 1 and size >= 2 and not _turns_left(hull, size, x_m[k], high_m[k]):
                size -= 1
            hull[size, 0], hull[size, 1] = x_m[k], high_m[k]
            size += 1
    while size > 1 and hull[size - 1, 0] == hull[0, 0] and hull[size - 1, 1] == hull[0, 1]:
        size -= 1
    return hull[:size]


@numba.njit(cache=True, nogil=True)
def inside_by_m(hull: FloatArray, x_m: float, y_m: float) -> float:
    """Return how far a point lies inside a convex hull (P, 2), anticlockwise; below 0 outside. [m].

    Inside, the distance to the nearest edge; outside, less the distance to the hull. A hull that is a line or a
    point has no inside; without points the answer is minus infinity.
    """
    size = len(hull)
    if size == 0:
        return -np.inf
    inside, nearest = size > 2, np.inf
    for k in range(size):
        ax, ay = hull[k, 0], hull[k, 1]
        dx, dy = hull[(k + 1) % size, 0] - ax, hull[(k + 1) % size, 1] - ay
        square = dx * dx + dy * dy
        px, py = x_m - ax, y_m - ay
        if dx * py - dy * px < 0.0:
            inside = False
        share = min(1.0, max(0.0, (px * dx + py * dy) / square)) if square > 0.0 else 0.0
        nearest = min(nearest, np.hypot(px - share * dx, py - share * dy))
    return nearest if inside else -nearest
