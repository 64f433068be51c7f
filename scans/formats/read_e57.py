"""From the bytes of an E57 file to points, all its scans in their one frame."""

import struct
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.scan import ReadingLimits, Scan
from scans.log import FloatArray
from scans.messages import Note, counted

_CHUNK_POINTS = 500_000
_DAMAGED = "the file is cut off or damaged; copy or export it again"
_CARTESIAN = ("cartesianX", "cartesianY", "cartesianZ")
_SPHERICAL = ("sphericalRange", "sphericalAzimuth", "sphericalElevation")
_COLOURS = ("colorRed", "colorGreen", "colorBlue")


def read_e57(data: bytes, limits: ReadingLimits) -> Scan:
    """Return the points of all scans in an E57 file, each turned and moved by its pose; metres by the standard.

    data : the file's bytes. limits : at most limits.points are read, in all scans together.

    Points that the file marks as invalid, or that are not finite, are left out, and a note says how many. Colours
    come as 8 bits, and only where every scan has them; what is in the file beyond points and colours is not read.

    Source: ASTM E2807: metres and radians; a pose is a unit quaternion, then a translation; elevation is from the
    horizontal plane (from memory). It names no axis as up.

    Raises ScanError where the file is cut off or damaged, its scans hold no points or more than may be read, or the
    library for E57 is not installed.
    """
    _check_header(data)
    try:
        import pye57  # noqa: PLC0415 - compiled, for this format alone, and not to be had everywhere
    except ImportError:
        raise ScanError(
            "E57 is not read on this machine, as the library for it has no build here; export the scan as PLY or LAZ"
        ) from None
    # The library opens files by path and has no way in for bytes.
    with tempfile.TemporaryDirectory(prefix="pithline-") as folder:
        path = Path(folder) / "scan.e57"
        path.write_bytes(data)
        try:
            with pye57.E57(str(path)) as file:
                parts = _parts(file, limits)
        except ScanError:
            raise
        except MemoryError:
            raise ScanError(f"the file asks for more memory than there is: {_DAMAGED}") from None
        except Exception as error:
            # The library raises its own exception and, for nonsense in the header, whatever it meets.
            raise ScanError(f"the file could not be read as E57 ({type(error).__name__}): {_DAMAGED}") from error
    dropped = sum(part.dropped for part in parts)
    if not sum(len(part.points) for part in parts):
        raise ScanError(f"the file holds no points that are valid ({dropped} are not); export the scan again")
    notes = []
    if dropped:
        notes.append(
            Note(
                "points_left_out",
                f"Left out {counted(dropped, 'point')} marked as invalid in the file, or not finite.",
            )
        )
    if len(parts) > 1:
        notes.append(Note("parts_joined", f"{len(parts)} scans of the file were joined by their poses."))
    coloured = [part.colours for part in parts if part.colours is not None]
    if coloured and len(coloured) < len(parts):
        notes.append(Note("colours_not_on_all", "A scan of the file has no colors, so that none are used."))
    return Scan(
        np.concatenate([part.points for part in parts]),
        colours=np.concatenate(coloured) if len(coloured) == len(parts) else None,
        unit_m=1.0,
        notes=tuple(notes),
    )


@dataclass(frozen=True, eq=False)
class _Part:
    """One scan's valid points in the frame of the file, and how many were left out."""

    points: FloatArray
    colours: NDArray[np.uint8] | None
    dropped: int


def _check_header(data: bytes) -> None:
    """Hold the lengths in the header to the bytes that are there."""
    if not data:
        raise ScanError("the file is empty; copy or export it again")
    if data[:8] != b"ASTM-E57":
        raise ScanError("the file does not begin as an E57 does; check what it is and rename it")
    if len(data) < 48:
        raise ScanError(f"the file has {len(data)} bytes, fewer than the header of an E57: {_DAMAGED}")
    length, contents_at, contents, page = struct.unpack_from("<QQQQ", data, 16)
    if length != len(data):
        raise ScanError(f"the file has {len(data)} of its {length} bytes: {_DAMAGED}")
    if page != 1024 or contents_at + contents > length:
        raise ScanError(f"the file's table of contents lies outside of it: {_DAMAGED}")


def _parts(file: Any, limits: ReadingLimits) -> list[_Part]:
    """Read scan by scan, once all of them together are known to be within the limit."""
    headers = [file.get_header(index) for index in range(file.scan_count)]
    count = sum(header.point_count for header in headers)
    if count == 0:
        raise ScanError("the file holds no points; export the scan again")
    if count > limits.points:
        raise ScanError(
            f"the file has {count} points, at most {limits.points} are read; thin the cloud and export it again"
        )
    return [_part(file, header) for header in headers if header.point_count]


def _part(file: Any, header: Any) -> _Part:
    """Read one scan, some points at a time, into its valid points."""
    from pye57 import libe57  # noqa: PLC0415

    held = set(header.point_fields)
    places = next((names for names in (_CARTESIAN, _SPHERICAL) if held.issuperset(names)), None)
    if places is None:
        raise ScanError("a scan of the file has neither x, y, z nor range and angles; export it again with them")
    state = "cartesianInvalidState" if places is _CARTESIAN else "sphericalInvalidState"
    colours = _COLOURS if held.issuperset(_COLOURS) else ()
    wanted = [*places, *colours, *([state] if state in held else [])]
    size = min(header.point_count, _CHUNK_POINTS)
    fields = {name: np.zeros(size) for name in wanted}
    buffers = libe57.VectorSourceDestBuffer()
    for name, field in fields.items():
        buffers.append(libe57.SourceDestBuffer(file.image_file, name, field, size, True, True))
    limits = _colour_limits(header) if colours else None
    turn, shift = _pose(header)
    points, shades, read = [], [], 0
    reader = header.points.reader(buffers)
    while got := reader.read():
        read += got
        place = np.stack([fields[name][:got] for name in places], axis=1)
        if places is _SPHERICAL:
            place = _cartesian(place)
        valid = np.isfinite(place).all(axis=1)
        if state in held:
            valid &= fields[state][:got] == 0
        points.append(place[valid] @ turn.T + shift)
        if limits is not None:
            shade = np.stack([fields[name][:got] for name in colours], axis=1)[valid]
            shade = (shade - limits[0]) / (limits[1] - limits[0])
            shades.append(np.rint(np.clip(np.nan_to_num(shade), 0.0, 1.0) * 255.0).astype(np.uint8))
    reader.close()
    if read != header.point_count:
        raise ScanError(f"a scan of the file promises {header.point_count} points, {read} could be read: {_DAMAGED}")
    kept = np.concatenate(points) if points else np.zeros((0, 3))
    return _Part(kept, np.concatenate(shades) if shades else None, read - len(kept))


def _cartesian(place: FloatArray) -> FloatArray:
    """Return x, y, z of range, azimuth and elevation (N, 3)."""
    reach, azimuth, elevation = place.T
    across = reach * np.cos(elevation)
    return np.stack([across * np.cos(azimuth), across * np.sin(azimuth), reach * np.sin(elevation)], axis=1)


def _colour_limits(header: Any) -> tuple[FloatArray, FloatArray] | None:
    """Return what counts as no colour and as full colour, (3,) each; None where the file's limits are nonsense.

    The scan's own limits where it has them, else those of its fields.
    """
    if header.node.isDefined("colorLimits"):
        stated = header.node["colorLimits"]
        least = [stated[f"{name}Minimum"].value() for name in _COLOURS]
        most = [stated[f"{name}Maximum"].value() for name in _COLOURS]
    else:
        prototype = header.points.prototype()
        least, most = [0.0] * 3, [_most(prototype[name]) for name in _COLOURS]
    low, high = np.array(least, dtype=np.float64), np.array(most, dtype=np.float64)
    return (low, high) if np.isfinite([low, high]).all() and (high > low).all() else None


def _most(field: Any) -> float:
    """Return the most that a field of colour can hold; 255 where it is not bounded to anything sensible."""
    most = float(field.maximum())
    return most if 0.0 < most <= 65535.0 else 255.0


def _pose(header: Any) -> tuple[FloatArray, FloatArray]:
    """Return the turn (3, 3) and the shift (3,) from the scan's frame to the file's; either may be absent."""
    turn, shift = np.eye(3), np.zeros(3)
    if not header.node.isDefined("pose"):
        return turn, shift
    pose = header.node["pose"]
    if pose.isDefined("rotation"):
        quaternion = np.array([pose["rotation"][name].value() for name in "wxyz"], dtype=np.float64)
        size = float(np.linalg.norm(quaternion))
        if not 0.5 < size < 2.0:
            raise ScanError(f"the pose of a scan in the file turns by no unit quaternion (its size is {size:g})")
        w, x, y, z = quaternion / size
        turn = np.array(
            [
                [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
                [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
                [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
            ]
        )
    if pose.isDefined("translation"):
        shift = np.array([pose["translation"][name].value() for name in "xyz"], dtype=np.float64)
        if not np.isfinite(shift).all():
            raise ScanError(f"the pose of a scan in the file moves it by {shift.tolist()}: {_DAMAGED}")
    return turn, shift
