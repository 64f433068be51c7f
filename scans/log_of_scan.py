"""From a scan to a Log: its place, its unit, the log in it, the tape's scale and its colours, in one way for all."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from scans.errors import OpenSolidError, ScanError
from scans.fit.girths import GirthTaped
from scans.fit.scanned_log import STAGES, log_from_points
from scans.formats.reading_apart import read_scan_apart
from scans.formats.scan import ReadingLimits, Scan
from scans.locate.ground import find_log
from scans.locate.outline import LogOutline
from scans.locate.placing import PlacedScan, place_scan
from scans.locate.scan_surface import merged_corners, points_and_values_on_faces
from scans.log import FloatArray, Log, WalkSeen, moved
from scans.messages import Note, long_length, named, short_length
from scans.solids.colours import coloured
from scans.solids.log_from_mesh import BarkRatio, log_from_mesh
from scans.walks.doubt import doubt_of_walks
from scans.walks.join import joined, turn_said
from scans.walks.register import Registration
from scans.walks.seen import seen_shares

READING_STAGES = ("reading the file", "finding the log among its points", *STAGES)
"""What reading a scan goes through, in order; a closed mesh ends after the first."""
OnStage = Callable[[str], None]

_ON_FACES = 400_000
_FAR_M = 1_000.0
_USUAL_LIMITS = ReadingLimits()


@dataclass(frozen=True)
class ScanChoices:
    """What the user says of a scan; None leaves it to the scan.

    unit, up : as of `scans.locate.placing.place_scan`. butt : "other" for the end that would not be taken for the butt
    end. taped_length_m : the log's length by the tape. [m] pick : which of several logs, the largest first, from 1 on.
    girths : by the tape, along the trunk.
    """

    unit: str | None = None
    up: str | None = None
    butt: Literal["other"] | None = None
    taped_length_m: float | None = None
    pick: int | None = None
    girths: tuple[GirthTaped, ...] = ()


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

    bark_ratio : as of `scans.solids.log_from_mesh`.
    on_stage : is told each of READING_STAGES after the first as it begins; what it raises ends the work.

    Raises ScanError, in one line, where no log comes of it or a choice does not fit.
    """
    at = place_scan(scan, choices.unit, choices.up, choices.taped_length_m)
    try:
        log, notes = _of_closed(at, scan, name, bark_ratio, choices)
    except OpenSolidError:
        log, notes = _of_points(at, scan, name, bark_ratio, choices, on_stage)
    return log, (*scan.notes, *at.notes, *notes)


def log_of_scans(
    scans: Sequence[Scan],
    name: str,
    bark_ratio: BarkRatio,
    choices: ScanChoices = _NOTHING_SAID,
    rolled_deg: Sequence[float | None] = (),
    on_stage: OnStage = lambda _: None,
) -> tuple[Log, tuple[Note, ...]]:
    """Return the one Log that scans of it show, rolled and moved between them, and the notes of `log_of_scan`.

    Each is placed, and its log found, by itself; then it is fitted to those before it (`scans.walks`). All their points
    make the log, its size the mean of theirs; it lies as in the first. One scan alone is read as `log_of_scan` does.

    choices : for every scan alike. rolled_deg : how far the log was rolled from how it lay in the first scan, before
    the second, before the third and so on, clockwise seen from the butt, as far as the user says it.

    Raises ScanError, as log_of_scan does, for a closed mesh among several, and where scans do not make one log.
    """
    if len(scans) == 1:
        return log_of_scan(scans[0], name, bark_ratio, choices, on_stage)
    notes: list[Note] = []
    whole: _Own | None = None
    found: list[tuple[Registration, FloatArray]] = []
    counts: list[int] = []
    size = 1.0
    for number, scan in enumerate(scans, start=1):
        on_stage(READING_STAGES[1])
        with _said_of(number):
            own, told = _one_of_several(scan, choices)
        notes += (replace(note, text=f"Scan {number}: {note.text}") for note in told)
        counts.append(len(own.points_m))
        if whole is None:
            whole = replace(own, notes=())
            continue
        with _said_of(number - 1):
            before = _log_alone(whole, name, choices)
        with _said_of(number):
            here = _log_alone(own, name, choices)
        how = joined(before, here, number, rolled_deg[number - 2] if len(rolled_deg) > number - 2 else None)
        found.append((how, before.scan_to_log[0, :3]))
        factor = how.scale ** (-1.0 / number)
        size *= factor
        whole = _with(whole, own, np.linalg.inv(before.scan_to_log) @ how.matrix @ here.scan_to_log, factor)
    if whole is None:
        raise ScanError("no scan was named", "name one or more", field="log")
    log, more = _log_of_own(whole, name, bark_ratio, choices, on_stage)
    shares = seen_shares(log, np.split(whole.points_m, np.cumsum(counts)[:-1]))
    walks = [WalkSeen(counts[0], shares[0])]
    for (how, along), points, share in zip(found, counts[1:], shares[1:], strict=True):
        # The end that all scans together make the butt need not be that of the first alone.
        is_turned = bool(log.scan_to_log[0, :3] @ along < 0.0)
        roll_deg = (-how.roll_deg if is_turned else how.roll_deg) % 360.0
        walks.append(WalkSeen(points, share, roll_deg, how.known_within_deg, how.misfit_m))
        notes.append(_joined_note(how, walks))
    if log.doubt is not None:
        misfit_m = max(how.misfit_m for how, _ in found)
        # Girths set the scale too, by all the points.
        is_taped = choices.taped_length_m is not None or bool(choices.girths)
        vertices = log.outer.vertices_m, log.wood.vertices_m
        log = replace(log, doubt=doubt_of_walks(log.doubt, *vertices, misfit_m, len(scans), is_taped=is_taped))
    matrix = log.scan_to_log @ np.diag([size, size, size, 1.0])
    return replace(log, scan_to_log=matrix, walks=tuple(walks)), (*notes, *more)


@contextmanager
def _said_of(number: int) -> Iterator[None]:
    """Say of what is wrong which scan it is of."""
    try:
        yield
    except ScanError as error:
        raise ScanError(f"scan {number}: {error.text}", error.mend, field=error.field) from None


def _one_of_several(scan: Scan, choices: ScanChoices) -> tuple["_Own", tuple[Note, ...]]:
    at = place_scan(scan, choices.unit, choices.up, choices.taped_length_m)
    if _is_closed(at, scan):
        raise ScanError("it is a closed mesh, which is a whole log by itself", "name it alone")
    own = _own_points(at, scan, choices)
    return own, (*scan.notes, *at.notes, *own.notes)


def _is_closed(at: PlacedScan, scan: Scan) -> bool:
    if len(scan.faces) == 0:
        return False
    try:
        _of_closed(at, scan, "", 1.0, _NOTHING_SAID)
    except OpenSolidError:
        return False
    return True


def _log_alone(own: "_Own", name: str, choices: ScanChoices) -> Log:
    return log_from_points(own.points_m, own.outline, name, 1.0, choices.butt or "auto")[0]


def _with(whole: "_Own", own: "_Own", matrix: FloatArray, factor: float) -> "_Own":
    """Return the points of both, those of the second brought over by a matrix (4, 4), and then all so much larger."""
    colours = None
    if whole.colours is not None and own.colours is not None:
        colours = np.concatenate([whole.colours, own.colours])
    outline = replace(
        whole.outline,
        length_m=factor * whole.outline.length_m,
        diameter_m=factor * whole.outline.diameter_m,
        volume_m3=factor**3 * whole.outline.volume_m3,
        butt_m=factor * whole.outline.butt_m,
        top_m=factor * whole.outline.top_m,
    )
    return _Own(factor * np.concatenate([whole.points_m, moved(own.points_m, matrix)]), colours, outline, ())


def _joined_note(how: Registration, walks: Sequence[WalkSeen]) -> Note:
    """Return what is told of the last of some walks."""
    return Note(
        "walks_joined",
        f"Scan {len(walks)} shows the log rolled {turn_said(walks[-1].roll_deg)}, looking at the butt; "
        f"where both saw the bark they are {short_length(how.misfit_m)} apart, and their sizes "
        f"{abs(how.scale - 1.0):.1%}.",
    )


def _of_closed(
    at: PlacedScan, scan: Scan, name: str, bark_ratio: BarkRatio, choices: ScanChoices
) -> tuple[Log, tuple[Note, ...]]:
    # Corners that stand at one place are one, as many formats write each face's own.
    points_m, faces = merged_corners(at.points_m, scan.faces)
    log, notes = log_from_mesh(points_m, faces, name, bark_ratio, choices.butt or "auto", choices.taped_length_m)
    if choices.pick not in {None, 1}:
        raise ScanError(f"{named('pick')} must be 1, got {choices.pick}: a closed mesh holds one log", field="pick")
    if choices.girths:
        raise ScanError(
            f"{named('girth')} is for a scan, and this is a closed mesh, whose surface is taken as it is",
            "leave it out",
            field="girth",
        )
    return coloured(log, at.points_m, scan.colours), notes


def _of_points(
    at: PlacedScan, scan: Scan, name: str, bark_ratio: BarkRatio, choices: ScanChoices, on_stage: OnStage
) -> tuple[Log, tuple[Note, ...]]:
    on_stage(READING_STAGES[1])
    own = _own_points(at, scan, choices)
    return _log_of_own(own, name, bark_ratio, choices, on_stage)


@dataclass(frozen=True, eq=False)
class _Own:
    """A log's own points (N, 3), z up, with their colours (N, 3), and where it lies among them. [m]."""

    points_m: FloatArray
    colours: NDArray[np.uint8] | None
    outline: LogOutline
    notes: tuple[Note, ...]


def _own_points(at: PlacedScan, scan: Scan, choices: ScanChoices) -> _Own:
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
    found = find_log(points_m, normals, faces=faces, pick=choices.pick or 1)
    return _Own(
        points_m[found.mask],
        None if colours is None else colours[found.mask],
        found.outline,
        (*_told(far), *found.notes),
    )


def _log_of_own(
    own: _Own, name: str, bark_ratio: BarkRatio, choices: ScanChoices, on_stage: OnStage
) -> tuple[Log, tuple[Note, ...]]:
    log, notes = log_from_points(
        own.points_m, own.outline, name, bark_ratio, choices.butt or "auto", choices.taped_length_m,
        girths=choices.girths, on_stage=on_stage,
    )  # fmt: skip
    return coloured(log, own.points_m, own.colours), (*own.notes, *notes)


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
