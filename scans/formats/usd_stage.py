"""From a USD stage to one scan; run as a program, from a folder of layers to arrays in it.

The library ends the whole process where a damaged file brings it to a state that it holds impossible, so that files
from people are read by a program of their own (see `scans.read_usd`), which may die without harm.
"""

import json
import math
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scans.errors import ScanError
from scans.formats.polygons import triangles_of
from scans.formats.scan import ReadingLimits, Scan
from scans.formats.usd_layers import opened
from scans.log import FloatArray, IntArray
from scans.messages import Note, exact_length

JOB, LAYERS, ANSWER, ARRAYS = "job.json", "layers", "answer.json", "arrays.npz"
"""What the program reads in its folder, and what it leaves there."""

_DAMAGED = "the file is cut off or damaged; copy or export it again"


def read_stage(folder: Path, names: list[str], limits: ReadingLimits) -> Scan:
    """Return what `scans.read_usd.read_usd` returns, of layers that lie in a folder; the root layer's name first."""
    from pxr import Tf  # noqa: PLC0415 - a large library, for this format alone

    notes: list[Note] = []
    try:
        stage = opened(folder, names)
        parts = list(_parts(stage, limits, notes))
        unit_m, up = _stated(stage, notes)
    except ScanError:
        raise
    except MemoryError:
        raise ScanError(f"the file asks for more memory than there is: {_DAMAGED}") from None
    except (Tf.ErrorException, RuntimeError, TypeError, ValueError) as error:
        # A damaged file also has attributes of other types than their own.
        raise ScanError(f"the file could not be read as USD ({type(error).__name__}): {_DAMAGED}") from error
    if not sum(len(part.points) for part in parts):
        raise ScanError("the file holds no mesh and no points; export the scan again")
    if len(parts) > 1:
        notes.append(Note("parts_joined", f"{len(parts)} meshes or clouds of the file were joined."))
    firsts = np.cumsum([0, *(len(part.points) for part in parts)])
    coloured = [part.colours for part in parts if part.colours is not None]
    if coloured and len(coloured) < len(parts):
        notes.append(Note("colours_not_on_all", "A part of the file has no colors, so that none are used."))
    return Scan(
        np.concatenate([part.points for part in parts]),
        np.concatenate([part.faces + first for part, first in zip(parts, firsts, strict=False)]),
        colours=np.concatenate(coloured) if len(coloured) == len(parts) else None,
        unit_m=unit_m,
        up=up,
        notes=tuple(notes),
    )


@dataclass(frozen=True, eq=False)
class _Part:
    """A mesh or a cloud of the stage, in the stage's axes."""

    points: FloatArray
    faces: IntArray
    colours: NDArray[np.uint8] | None


def _stated(stage: Any, notes: list[Note]) -> tuple[float | None, str | None]:
    """Return the unit, in metres, and the axis that the stage says for itself."""
    from pxr import UsdGeom  # noqa: PLC0415

    unit_m = float(UsdGeom.GetStageMetersPerUnit(stage)) if UsdGeom.StageHasAuthoredMetersPerUnit(stage) else None
    if unit_m is not None and not 1e-6 <= unit_m <= 1e6:
        notes.append(
            Note("unit_not_believed", f"The file says that its unit is {exact_length(unit_m)}, which is not believed.")
        )
        unit_m = None
    up = str(UsdGeom.GetStageUpAxis(stage)).lower() if stage.HasAuthoredMetadata("upAxis") else None
    return unit_m, up


def _parts(stage: Any, limits: ReadingLimits, notes: list[Note]) -> Iterator[_Part]:
    """Every mesh and cloud that shows, within the limits."""
    from pxr import Usd, UsdGeom  # noqa: PLC0415

    earliest = Usd.TimeCode.EarliestTime()
    places = UsdGeom.XformCache(earliest)
    points_left, faces_left, hidden, crossed, short = limits.points, limits.faces, 0, 0, 0
    for prim in Usd.PrimRange.Stage(stage, Usd.TraverseInstanceProxies()):
        if prim.IsA(UsdGeom.PointInstancer):
            raise ScanError("the file repeats meshes by an instancer, which is not read; export them one by one")
        if not (prim.IsA(UsdGeom.Mesh) or prim.IsA(UsdGeom.Points)):
            continue
        shape = UsdGeom.Imageable(prim)
        if shape.ComputeVisibility(earliest) == "invisible" or shape.ComputePurpose() in {"guide", "proxy"}:
            hidden += 1
            continue
        name = str(prim.GetPath())[-80:]
        matrix = np.array(places.GetLocalToWorldTransform(prim), dtype=np.float64)
        own = _array(UsdGeom.PointBased(prim).GetPointsAttr(), earliest, np.float64).reshape(-1, 3)
        if not len(own):
            continue
        points_left -= len(own)
        if points_left < 0:
            raise ScanError(f"the file has over {limits.points} points, the most that are read; thin it and export it")
        # USD's vectors are rows, so that the translation is the last row.
        with np.errstate(invalid="ignore", over="ignore"):
            points = own @ matrix[:3, :3] + matrix[3, :3]
        if not np.isfinite(points).all():
            bad = int((~np.isfinite(points).all(axis=1)).sum())
            raise ScanError(f"{bad} points of {name} are not finite numbers; delete them and export again")
        if prim.IsA(UsdGeom.Points):
            colours = _colours(prim, len(own), np.zeros(0, np.int64), np.zeros(0, np.int64), earliest)
            yield _Part(points, np.zeros((0, 3), dtype=np.int64), colours)
            continue
        counts, corners = _checked_polygons(UsdGeom.Mesh(prim), len(own), name, earliest)
        faces_left -= int(np.maximum(counts - 2, 0).sum())
        if faces_left < 0:
            raise ScanError(f"the file has over {limits.faces} faces, the most that are read; thin it and export it")
        short += int((counts < 3).sum())
        faces, owners, odd = triangles_of(points, corners, counts)
        crossed += odd
        holes = _array(UsdGeom.Mesh(prim).GetHoleIndicesAttr(), earliest, np.int64)
        if len(holes):
            faces = faces[~np.isin(owners, holes)]
        left_handed = UsdGeom.Mesh(prim).GetOrientationAttr().Get(earliest) == "leftHanded"
        if left_handed != (np.linalg.det(matrix[:3, :3]) < 0.0):
            faces = faces[:, ::-1]
        yield _Part(points, faces, _colours(prim, len(own), counts, corners, earliest))
    if hidden:
        notes.append(Note("hidden_left_out", f"{hidden} hidden meshes or clouds of the file were left out."))
    if short:
        notes.append(Note("faces_left_out", f"{short} faces with fewer than 3 corners were left out."))
    if crossed:
        notes.append(
            Note("faces_crossed", f"{crossed} faces cross themselves, and were cut into triangles as if they did not.")
        )


def _array(attribute: Any, time: Any, kind: type) -> NDArray[Any]:
    """Return an attribute's array, empty where it has none; copied, as the library's lies in a file that goes."""
    value = attribute.Get(time) if attribute else None
    return np.array(value if value is not None else [], dtype=kind)


def _checked_polygons(mesh: Any, size: int, name: str, time: Any) -> tuple[IntArray, IntArray]:
    """How many corners each face has, and all of them in a row, held to each other and to the points."""
    counts = _array(mesh.GetFaceVertexCountsAttr(), time, np.int64)
    corners = _array(mesh.GetFaceVertexIndicesAttr(), time, np.int64)
    if counts.min(initial=0) < 0 or counts.sum() != len(corners):
        raise ScanError(f"the faces of {name} ask for {counts.sum()} corners, it holds {len(corners)}: {_DAMAGED}")
    if len(corners) and not 0 <= corners.min() <= corners.max() < size:
        raise ScanError(f"a face of {name} names a point that is not among its {size}: {_DAMAGED}")
    return counts, corners


def _colours(prim: Any, size: int, counts: IntArray, corners: IntArray, time: Any) -> NDArray[np.uint8] | None:
    """Colours of the points; where faces or their corners have them, a point takes their mean."""
    from pxr import UsdGeom  # noqa: PLC0415

    primvar = UsdGeom.PrimvarsAPI(prim).FindPrimvarWithInheritance("displayColor")
    value = primvar.ComputeFlattened(time) if primvar and primvar.HasValue() else None
    linear = np.array(value if value is not None else [], dtype=np.float64).reshape(-1, 3)
    way = str(primvar.GetInterpolation()) if primvar else ""
    if len(linear) == 1:
        per_point = np.broadcast_to(linear, (size, 3))
    elif way in {"vertex", "varying"} and len(linear) == size:
        per_point = linear
    elif (way == "uniform" and len(linear) == len(counts)) or (way == "faceVarying" and len(linear) == len(corners)):
        each = np.repeat(linear, counts, axis=0) if way == "uniform" else linear
        seen = np.maximum(np.bincount(corners, minlength=size), 1)
        per_point = np.stack([np.bincount(corners, each[:, axis], size) / seen for axis in range(3)], axis=1)
    else:
        return None
    shade = np.clip(np.nan_to_num(per_point), 0.0, 1.0)
    # The sRGB curve, IEC 61966-2-1, from memory.
    curved = np.where(shade <= 0.0031308, 12.92 * shade, 1.055 * shade ** (1 / 2.4) - 0.055)
    return np.rint(curved * 255.0).astype(np.uint8)


def _bound(layer_bytes: int, limits: ReadingLimits) -> None:
    """Let this process take 3 GB and 40 times the size of its layers: a damaged one asks for all there is.

    Its time is bound here too, as who waits for it may be ended before.
    """
    try:
        import resource  # noqa: PLC0415 - not on Windows, where the limit on time is all
    except ImportError:
        return
    memory = min(3_000_000_000 + 40 * layer_bytes, limits.memory_bytes)
    for kind, most in ((resource.RLIMIT_AS, memory), (resource.RLIMIT_CPU, math.ceil(limits.seconds))):
        _, hard = resource.getrlimit(kind)
        resource.setrlimit(kind, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))


def main(folder: Path) -> None:
    """Read the job in the folder, and leave the answer there: arrays and notes, or what is wrong with the file."""
    job = json.loads((folder / JOB).read_text())
    limits = ReadingLimits(**job["limits"])
    _bound(sum(path.stat().st_size for path in (folder / LAYERS).rglob("*") if path.is_file()), limits)
    try:
        scan = read_stage(folder / LAYERS, job["names"], limits)
    except ScanError as error:
        (folder / ANSWER).write_text(json.dumps({"error": vars(error)}))
        return
    arrays: dict[str, NDArray[Any]] = {"points": scan.points, "faces": scan.faces}
    if scan.colours is not None:
        arrays["colours"] = scan.colours
    np.savez(folder / ARRAYS, **arrays)  # type: ignore[arg-type]  # its stubs take every name for allow_pickle
    (folder / ANSWER).write_text(
        json.dumps({"unit_m": scan.unit_m, "up": scan.up, "notes": [asdict(note) for note in scan.notes]})
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]))
