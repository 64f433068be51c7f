"""The pixels of a picture that comes with a scan, or why there are none."""

import io
import warnings

import numpy as np
from numpy.typing import NDArray

from scans.log import FloatArray
from scans.messages import Note

MOST_PIXELS = 200_000_000
"""Of all pictures of a scan: a few of the largest that phones take."""
_KINDS = ("PNG", "JPEG", "WEBP", "BMP", "TIFF", "TGA")


def opened(data: bytes, name: str, most_pixels: int, notes: list[Note]) -> NDArray[np.uint8] | None:
    """Return a picture's sRGB pixels (height, width, 3), its top row first; None, with a note, where it has none."""
    from PIL import Image  # noqa: PLC0415 - few scans come with a picture

    try:
        with warnings.catch_warnings():
            # Sizes are checked here, and odd pictures only warned of are read.
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=_KINDS) as picture:
                if 0 < picture.width * picture.height <= most_pixels:
                    return np.asarray(picture.convert("RGB"), dtype=np.uint8)
                notes.append(
                    Note(
                        "picture_unread",
                        f"The picture {name} has more pixels than are read, so it gives no colors.",
                    )
                )
    except Exception as error:  # noqa: BLE001 - decoders raise whatever they meet, and the points are whole
        notes.append(
            Note(
                "picture_unread",
                f"The picture {name} could not be read ({type(error).__name__}), so it gives no colors.",
            )
        )
    return None


def pixels_at(picture: NDArray[np.uint8], places: FloatArray) -> NDArray[np.uint8]:
    """Return the colours (N, 3) at places (N, 2) across and up a picture, both from 0 to 1, beyond which it repeats."""
    with np.errstate(all="ignore"):
        # A place at the very end of the picture is its last pixel, not its first again.
        share = np.nan_to_num(np.where(places == 1.0, 1.0, places % 1.0))
    share[:, 1] = 1.0 - share[:, 1]
    size = np.array([picture.shape[1], picture.shape[0]])
    column, row = np.minimum((share * size).astype(np.int64), size - 1).T
    return picture[row, column]
