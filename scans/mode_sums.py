"""How far each vertex moves where each mode of a surface moves by so much."""

import numba
import numpy as np
from numpy.typing import NDArray


@numba.njit(cache=True, nogil=True, fastmath=True)
def summed(modes: NDArray[np.float32], form: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return modes (V, K) times form (K,), (V,). [m].

    One thread for each log: a library's own threads, many times over, wait for one another.
    """
    out = np.zeros(len(modes), dtype=np.float32)
    for v in range(len(modes)):
        total = np.float32(0.0)
        for k in range(modes.shape[1]):
            total += modes[v, k] * form[k]
        out[v] = total
    return out
