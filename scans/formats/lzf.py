"""Unpacks LZF, the small dictionary coder that compressed PCD files are packed by."""

import numpy as np
from numba import njit
from numpy.typing import NDArray


def unpacked_lzf(packed: bytes, size: int) -> bytes | None:
    """Return what LZF data unpacks to; None where it is damaged or unpacks to another size.

    packed : control bytes under 32 are followed by that many bytes and one more; others copy from what was
    unpacked before: 3 bits of length less 2 (7: a byte with more follows), 13 bits of how far back, less 1.
    size : the bytes that must come out.

    Layout: from memory of the public description of liblzf, no source at hand.
    """
    if size > 264 * (len(packed) // 3 + 1):  # the longest copy takes three bytes
        return None
    out = np.zeros(size, dtype=np.uint8)
    return out.tobytes() if _unpack(np.frombuffer(packed, dtype=np.uint8), out) == size else None


@njit(cache=True, nogil=True)
def _unpack(packed: NDArray[np.uint8], out: NDArray[np.uint8]) -> int:
    """Fill `out`; return how many bytes it got, or -1 where the data reaches outside of itself or of `out`."""
    at, to = 0, 0
    while at < len(packed):
        control = int(packed[at])
        at += 1
        if control < 32:
            run = control + 1
            if at + run > len(packed) or to + run > len(out):
                return -1
            for _ in range(run):
                out[to] = packed[at]
                at += 1
                to += 1
            continue
        run = control >> 5
        if run == 7:
            if at >= len(packed):
                return -1
            run += int(packed[at])
            at += 1
        if at >= len(packed):
            return -1
        back = to - ((control & 31) << 8) - int(packed[at]) - 1
        at += 1
        run += 2
        if back < 0 or to + run > len(out):
            return -1
        for _ in range(run):
            out[to] = out[back]
            back += 1
            to += 1
    return to
