"""What a file of a scan holds, as arrays, before anything is made of it; and how much may be read."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scans.log import FloatArray, IntArray
from scans.messages import Note


@dataclass(frozen=True)
class ReadingLimits:
    """The most that a file may ask for; what is over is refused before memory is taken for it.

    points, faces : in the file. archive_bytes : all that an archive unpacks to. archive_ratio : unpacked
    over packed size. archive_files : entries in an archive. text_bytes : of a text format. seconds, memory_bytes :
    of all the reading, where it is done in a process of its own (`scans.formats.reading_apart`).
    """

    points: int = 60_000_000
    faces: int = 5_000_000
    archive_bytes: int = 2_000_000_000
    archive_ratio: float = 200.0
    archive_files: int = 2_000
    text_bytes: int = 4_000_000_000
    seconds: float = 300.0
    memory_bytes: int = 8_000_000_000


@dataclass(frozen=True, eq=False)
class Scan:
    """Points, perhaps faces and colours, in the file's own unit and axes.

    points : (N, 3) float64, all finite. faces : (F, 3) int64, rows of `points`; none for a cloud.
    colours : (N, 3) uint8, or None. normals : (N, 3) float64 unit vectors, or None.
    unit_m : the file's unit, where its format says it. [m] up : the axis that points up, "x", "y" or "z",
    where its format says it. notes : one for each thing that is odd about the file.
    """

    points: FloatArray
    faces: IntArray = field(default_factory=lambda: np.zeros((0, 3), dtype=np.int64))
    colours: NDArray[np.uint8] | None = None
    normals: FloatArray | None = None
    unit_m: float | None = None
    up: str | None = None
    notes: tuple[Note, ...] = ()
