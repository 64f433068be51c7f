"""From a scan to a Log: its place, its unit, the log in it, the tape's scale and its colours, in one way for all."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from scans.errors import OpenSolidError, ScanError
from scans.fit.scanned_log import STAGES, log_from_points
from scans.formats.reading_apart import read_scan_apart
from scans.formats.scan import ReadingLimits, Scan
from scans.locate.ground import find_log
from scans.locate.placing import PlacedScan, place_scan
from scans.locate.scan_surface import merged_corners, points_and_values_on_faces
from scans.log import FloatArray, Log
from scans.messages import Note, long_length, named
from scans.solids.colours import coloured
from scans.solids.log_from_mesh import BarkRatio, log_from_mesh

READING_STAGES = ("reading the file", "finding the log among its points", *STAGES)
"""What reading a scan goes through, in order; a closed mesh ends after the first."""
OnStage = Callable[[str], None]

_ON_FACES = 400_000
_FAR_M = 1_000.0
_USUAL_LIMITS = ReadingLimits()


@dataclass(frozen=True)
class ScanChoices:
    """What the user says of a scan; None leaves it to the scan.

    unit, up : as of `scans.units.place_scan`. butt : "other" for the end that would not be taken for the butt end.
    taped_length_m : the log's length by the tape. [m] pick : which of several logs, the largest first, from 1 on.
    """

    unit: str | None = None
    up: str | None = None
    butt: Literal["other"] | None = None
    taped_length_m: float | None = None
    pick: int | None = None


_NOTHING_SAID = ScanChoices()


def log_of_file(
    data: bytes,
    suffix: str,
    name: str,
    bark_ratio: BarkRatio,
    choices: ScanChoices = _NOTHING_SAID,
    limits: ReadingLimits = _USUAL_LIMITS,
    on_stage: OnStage = lambda _: None,
) -> tuple[Log, tuple[Note, ...]]:
    """Return the Log in a scan's file, and one note for each choice made: `read_scan_apart`, then `log_of_scan`.

    Raises ScanError, as these do.
    """
    on_stage(READING_STAGES[0])
    return log_of_scan(read_scan_apart(data, suffix, limits), name, bark_ratio, choices, on_stage)


def log_of_scan(
    scan: Scan,
    name: str,
    bark_ratio: BarkRatio,
    choices: ScanChoices = _NOTHING_SAID,
    on_stage: OnStage = lambda _: None,
) -> tuple[Log, tuple[Note, ...]]:
    """Return the Log that a scan shows, and one note for each choice made on the way.

    A closed mesh is the log's surface itself; of an open one, and of a cloud, the log is found among the points.

    bark_ratio : as of `scans.solid.log_from_mesh`.
    on_stage : is told each of READING_STAGES after the first as it begins; what it raises ends the work.

    Raises ScanError, in one line, where no log comes of it or a choice does not fit.
    """
    at = place_scan(scan, choices.unit, choices.up, choices.taped_length_m)
    try:
        log, notes = _of_closed(at, scan, name, bark_ratio, choices)
    except OpenSolidError:
        log, notes = _of_points(at, scan, name, bark_ratio, choices, on_stage)
    return log, (*scan.notes, *at.notes, *notes)


def _of_closed(
    at: PlacedScan, scan: Scan, name: str, bark_ratio: BarkRatio, choices: ScanChoices
) -> tuple[Log, tuple[Note, ...]]:
    # Corners that stand at one place are one, as many formats write each face's own.
    points_m, faces = merged_corners(at.points_m, scan.faces)
    log, notes = log_from_mesh(points_m, faces, name, bark_ratio, choices.butt or "auto", choices.taped_length_m)
    if choices.pick not in {None, 1}:
        raise ScanError(f"{named('pick')} must be 1, got {choices.pick}: a closed mesh holds one log", field="pick")
    return coloured(log, at.points_m, scan.colours), notes


def _of_points(
    at: PlacedScan, scan: Scan, name: str, bark_ratio: BarkRatio, choices: ScanChoices, on_stage: OnStage
) -> tuple[Log, tuple[Note, ...]]:
    points_m, normals, faces, colours = at.points_m, at.normals, scan.faces, scan.colours
    if len(faces):
        # Faces may be large, so that corners alone would not show the surface.
        values = points_m if colours is None else colours.astype(np.float64)
        points_m, values = points_and_values_on_faces(points_m, values, faces, max(_ON_FACES, len(points_m)))
        colours = None if colours is None else np.round(values).astype(np.uint8)
        normals, faces = None, faces[:0]
    far = _far(points_m)
    if far.any():
        points_m = points_m[~far]
        normals = None if normals is None else normals[~far]
        colours = None if colours is None else colours[~far]
    on_stage(READING_STAGES[1])
    found = find_log(points_m, normals, faces=faces, pick=choices.pick or 1)
    own_m = points_m[found.mask]
    log, notes = log_from_points(
        own_m, found.outline, name, bark_ratio, choices.butt or "auto", choices.taped_length_m, on_stage=on_stage
    )
    return coloured(log, own_m, None if colours is None else colours[found.mask]), (*_told(far), *found.notes, *notes)


def _far(points_m: FloatArray) -> NDArray[np.bool_]:
    """Return which points (N,) are so far from most others that no grid could hold both."""
    if np.ptp(points_m, axis=0).max() <= _FAR_M:
        return np.zeros(len(points_m), dtype=np.bool_)
    return np.asarray((np.abs(points_m - np.median(points_m, axis=0)) > _FAR_M).any(axis=1))


def _told(far: NDArray[np.bool_]) -> tuple[Note, ...]:
    if not far.any():
        return ()
    text = f"We left out {far.sum()} points more than {long_length(_FAR_M)} from most others."
    return (Note("far_points", text),)
