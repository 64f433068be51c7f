"""What hangs together, found as one goes along: parts that are joined name one of them, their root."""

import numba

from scans.log import IntArray


@numba.njit(cache=True, nogil=True)
def root_of(parent: IntArray, k: int) -> int:
    """Return the part that a part was joined to at last. parent : (P,) what each was joined to, itself at first."""
    while parent[k] != k:
        parent[k] = parent[parent[k]]
        k = parent[k]
    return k
