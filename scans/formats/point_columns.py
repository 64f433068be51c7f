"""Columns of a table of points that are colours or normals, and the end of such a table."""

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.number_text import shown
from scans.log import FloatArray
from scans.messages import Note

_LAST_LINES = 50
_NO_END = Note(
    "no_end", "The last line of the file has no end, as in a file that is cut off: check that the scan is whole."
)


def unit_normals(found: NDArray[np.floating], points: FloatArray) -> FloatArray | None:
    """Return normals (N, 3) made one long; None where a point (N, 3) that is there has none, as all are wanted.

    At points that are not finite numbers, as holes of a grid have them, normals are not finite either.
    """
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        size = np.linalg.norm(found.astype(np.float64), axis=1)
        is_good = np.isfinite(size) & (size > 1e-6)
        if not is_good.any() or not (is_good | ~np.isfinite(points).all(axis=1)).all():
            return None
        return np.where(is_good[:, None], found / np.where(is_good, size, 1.0)[:, None], np.nan)


def eight_bit(found: NDArray[np.floating]) -> NDArray[np.uint8] | None:
    """Return colours (N, 3) in 8 bits: whole numbers to 255 as they are, to 65535 by their upper byte, shares of 1.

    None where they are none of these. Whole numbers that are all 0 or 1 are taken for bytes.
    """
    if not len(found) or not np.isfinite(found).all() or found.min() < 0.0:
        return None
    most, is_whole = float(found.max()), bool((found == np.rint(found)).all())
    if is_whole and most <= 65535.0:
        return (found // 256.0 if most > 255.0 else found).astype(np.uint8)
    return np.rint(found * 255.0).astype(np.uint8) if most <= 1.0 else None


def last_line_notes(text: bytes) -> tuple[Note, ...]:
    """Return a note where nothing ends the last line of a text, though others are; refuse one that is surely cut off.

    Where all of the lines before write their last number with equally many decimals, a last one with fewer, and
    without a newline after it, is what a file has that was cut off within it.

    Raises ScanError.
    """
    if text.endswith(b"\n") or b"\n" not in text:
        return ()
    rows = [row.split() for row in text[-100 * _LAST_LINES :].split(b"\n")[1:]]
    words = [row[-1] for row in rows if row]
    if len(words) < 4:
        return (_NO_END,)
    decimals = {len(word.partition(b".")[2]) for word in words[:-1]}
    last = words[-1]
    if len(decimals) == 1 and len(last.partition(b".")[2]) < max(decimals):
        raise ScanError(
            f"the last line of the file breaks off at {shown(last)}: it is cut off; copy or export it again"
        )
    return (_NO_END,)
