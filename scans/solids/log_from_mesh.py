"""From a mesh, in the frame of its file, to a Log."""

from collections.abc import Callable
from typing import Literal

import numpy as np
from manifold3d import Manifold

from scans.errors import NotALogError, OpenSolidError
from scans.locate.taped_length import taped_scale
from scans.log import HEART_RADIUS_M, FloatArray, IntArray, Log, Solid, count_open_edges
from scans.messages import Note, long_length, named, short_length
from scans.solids.bark import wood_under_bark
from scans.solids.bodies import body_from_mesh, extent_along, section_at, solid_from_body, upended
from scans.solids.frame import log_frame, long_axis, reversed_frame
from scans.solids.stems import Stems, read_stems

LEAST_LENGTH_M, MOST_LENGTH_M = 0.5, 15.0
LEAST_DIAMETER_M, MOST_DIAMETER_M = 0.02, 2.5
LOOSE_SHARE = 0.01
"""Bodies under this share of the volume are loose bits."""

_UNITS = (("millimeters", 0.001), ("centimeters", 0.01), ("inches", 0.0254), ("feet", 0.3048))
_MOST_OPEN_SHARE = 0.03
"""A hole is filled only if the share of edges that are open is below this."""

BarkRatio = float | Callable[[float], float]
"""Inside / outside diameter, or how to find it from the mean outside diameter [m]."""


def log_from_mesh(
    vertices: FloatArray,
    faces: IntArray,
    name: str,
    bark_ratio: BarkRatio,
    butt: Literal["auto", "other"] = "auto",
    taped_length_m: float | None = None,
    heart_radius_m: float = HEART_RADIUS_M,
) -> tuple[Log, tuple[Note, ...]]:
    """Return the Log of a closed mesh, and one note for each thing chosen or repaired on the way.

    vertices : (V, 3) float, metres, z up (the declared unit and up-axis already applied).
    faces : (F, 3) int.
    bark_ratio : inside / outside diameter, 1 where the bark is off; or a function that gives it for the
        log's mean outside diameter. [m]
    butt : "auto" takes the end that is one stem where the other divides, else the one with the larger
        mean section; "other" the end that "auto" does not take.
    taped_length_m : the log's length by the tape, which the finished log is scaled to. [m]

    An inside-out mesh is turned, loose bits under 1 % of the volume are dropped, small holes are filled
    where that closes the mesh.

    Raises OpenSolidError for what does not close; NotALogError for several bodies, and for what is no log
    by its size.
    """
    notes: list[Note] = []
    body = _one_body(*_closed(np.asarray(vertices, dtype=np.float64), np.asarray(faces, dtype=np.int64), notes), notes)
    mesh = body.to_mesh64()
    axis = long_axis(np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts).astype(np.int64))
    extent = float(np.ptp(np.asarray(mesh.vert_properties)[:, :3] @ axis))
    _check_length(extent)
    _check_thickness(2.0 * float(np.sqrt(body.volume() / extent / np.pi)))
    # The first coordinate axis that the log's own is not square to decides where it starts from, so that
    # the same file always gives the same choice.
    axis = axis * np.sign(axis[np.argmax(np.abs(axis))])
    matrix = log_frame(body, axis)
    if abs(matrix[0, 2]) > np.cos(np.radians(10.0)):
        text = "The log stands upright in the scan: the scan's x axis was taken as its upper side."
        notes.append(Note("stands_upright", text))
    matrix, stems = _butt_first(body, matrix, butt, notes)
    placed = body.transform(matrix[:3])
    length = float(np.ptp(extent_along(upended(placed))))
    factor = taped_scale(length, taped_length_m, notes)
    _check_length(factor * length)
    outer, wood, thickness = outer_and_wood(placed, bark_ratio, notes, factor)
    log = Log(
        name=name,
        outer=outer,
        wood=wood,
        bark_thickness_m=thickness,
        hearts=stems.hearts,
        forks=stems.forks,
        heart_radius_m=heart_radius_m,
        scan_to_log=matrix,
    )
    return log.scaled(factor), (*notes, *stems.notes)


def outer_and_wood(
    placed: Manifold, bark_ratio: BarkRatio, notes: list[Note], factor: float = 1.0
) -> tuple[Solid, Solid, float]:
    """Return the outer surface and the wood of a body in the log frame, and the bark's mean thickness. [m].

    The same solid twice where there is no bark. What was done is added to `notes`.
    factor : what the log will be scaled by, so that its bark is that of its true size.

    Raises NotALogError for what is too thick for a log, and for a ratio that cannot be.
    """
    mean_diameter = factor * _mean_diameter_m(placed)
    if mean_diameter > MOST_DIAMETER_M:
        raise NotALogError(
            f"the log is {short_length(mean_diameter)} thick, at most {short_length(MOST_DIAMETER_M)} is planned",
            f"check {named('unit')}",
            field="unit",
        )
    ratio = float(bark_ratio(mean_diameter)) if callable(bark_ratio) else float(bark_ratio)
    if not 0.5 < ratio <= 1.0:
        raise NotALogError(f"bark ratio: must be over 0.5 and at most 1, not {ratio:g}; give inside / outside diameter")
    outer = solid_from_body(placed)
    if ratio == 1.0:
        return outer, outer, 0.0
    under_bark, thickness = wood_under_bark(placed, ratio)
    notes.append(
        Note(
            "bark_taken_off",
            f"Bark of {short_length(factor * thickness)} on average was taken off: {ratio:.3f} of the diameter is "
            "wood.",
        )
    )
    return outer, solid_from_body(under_bark), thickness


def _closed(vertices: FloatArray, faces: IntArray, notes: list[Note]) -> tuple[FloatArray, IntArray]:
    """Return a mesh whose edges all match, mended a little if need be."""
    if len(faces) == 0:
        raise OpenSolidError("the mesh has no faces; export a closed mesh")
    if not np.isfinite(vertices).all():
        raise OpenSolidError("the mesh has vertices that are not finite numbers; delete them in a mesh editor")
    kept = _without_doubles(faces)
    if count_open_edges(kept, len(vertices)) == 0:
        return vertices, kept
    undirected = _edges_with_one_face(kept, len(vertices))
    import trimesh  # noqa: PLC0415 - a fifth of a second that only meshes need wait for

    mesh = trimesh.Trimesh(vertices, kept, process=False)
    trimesh.repair.fix_winding(mesh)
    if undirected and undirected < _MOST_OPEN_SHARE * 1.5 * len(kept):
        trimesh.repair.fill_holes(mesh)
    mended = np.array(mesh.faces, dtype=np.int64)
    points = np.array(mesh.vertices, dtype=np.float64)
    if count_open_edges(mended, len(points)):
        raise OpenSolidError(_why_open(kept, len(vertices)))
    if len(mended) > len(kept):
        notes.append(Note("holes_filled", f"Small holes were filled with {len(mended) - len(kept)} faces."))
    else:
        notes.append(Note("faces_turned", "Faces that were turned inside out were turned back."))
    return points, mended


def _without_doubles(faces: IntArray) -> IntArray:
    """Faces without those that name a vertex twice, and without repeats of a face."""
    proper = faces[(faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])]
    turned = proper[np.arange(len(proper))[:, None], (proper.argmin(axis=1)[:, None] + np.arange(3)) % 3]
    order = np.lexsort(turned.T)
    same = (turned[order[1:]] == turned[order[:-1]]).all(axis=1)
    return np.asarray(np.delete(proper, order[1:][same], axis=0))


def _edge_counts(faces: IntArray, vertex_count: int) -> IntArray:
    """Faces at each edge, whichever way they run."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    return np.asarray(np.unique(np.minimum(start, end) * vertex_count + np.maximum(start, end), return_counts=True)[1])


def _edges_with_one_face(faces: IntArray, vertex_count: int) -> int:
    return int((_edge_counts(faces, vertex_count) == 1).sum())


def _why_open(faces: IntArray, vertex_count: int) -> str:
    """One line on why a mesh does not close, and what to do."""
    counts = _edge_counts(faces, vertex_count)
    bare, crowded = int((counts == 1).sum()), int((counts > 2).sum())
    if bare:
        return (
            f"the surface is open: {bare} of its {len(counts)} edges have a face on one side only, "
            "and filling the holes did "
            "not close it; close them in a mesh editor, or scan the sides and ends that are missing"
        )
    if crowded:
        return (
            f"the surface crosses itself: {crowded} of its {len(counts)} edges have three faces or "
            "more; make it manifold in a "
            "mesh editor"
        )
    return "the faces of the surface do not agree which side is outside; recalculate the normals in a mesh editor"


def _one_body(vertices: FloatArray, faces: IntArray, notes: list[Note]) -> Manifold:
    """Return the one body of a closed mesh, its outside out."""
    corners = vertices[faces] - vertices.mean(axis=0)
    volume = np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6.0
    if volume < 0.0:
        faces = faces[:, ::-1]
        notes.append(Note("mesh_turned", "The mesh was inside out and was turned."))
    parts = sorted(body_from_mesh(vertices, faces).decompose(), key=lambda part: -abs(part.volume()))
    whole = parts[0].volume() if parts else 0.0
    if whole <= 0.0:
        raise NotALogError("the mesh encloses no volume; scan the log all round and export a closed mesh")
    large = [part for part in parts[1:] if abs(part.volume()) > LOOSE_SHARE * whole]
    hollow = [part for part in large if part.volume() < 0.0]
    if hollow:
        raise NotALogError(
            f"the mesh has a closed cavity of {-hollow[0].volume() / whole:.0%} of the log inside; "
            "delete the inner surface in a "
            "mesh editor",
        )
    if large:
        share = large[0].volume() / whole
        raise NotALogError(
            f"the mesh holds {len(large) + 1} separate bodies (the second has {share:.0%} of the "
            "first's volume); keep the log "
            "alone",
        )
    if len(parts) > 1:
        dropped = sum(abs(part.volume()) for part in parts[1:]) / whole
        count = len(parts) - 1
        bits = f"{count} loose bit{'s were' if count > 1 else ' was'}"
        notes.append(Note("bits_dropped", f"{bits} dropped, {dropped:.2%} of the volume in all."))
    return parts[0]


def _check_length(length: float) -> None:
    """Refuse what is too long or too short for a log, in metres, with a guess at the unit."""
    if length > MOST_LENGTH_M:
        likely = [unit for unit, metres in _UNITS if 1.0 <= length * metres <= MOST_LENGTH_M]
        guess = f"looks like {' or '.join(likely)}" if likely else "check the unit"
        raise NotALogError(
            f"the solid is {long_length(length)} long, at most {long_length(MOST_LENGTH_M)} is planned; {guess}",
            f"choose {named('unit')}",
            field="unit",
        )
    if length < LEAST_LENGTH_M:
        raise NotALogError(
            f"the solid is {long_length(length)} long, a log is {long_length(LEAST_LENGTH_M)} or longer",
            f"check {named('unit')}, and that the whole log was scanned",
            field="unit",
        )


def _check_thickness(diameter: float) -> None:
    """Refuse what is so thin, in metres, that no section of it can be looked at."""
    if diameter < LEAST_DIAMETER_M:
        raise NotALogError(
            f"the solid is {short_length(diameter)} thick on average, a log is {short_length(LEAST_DIAMETER_M)} or "
            "more; scan the log all round and export a closed mesh"
        )


def _butt_first(
    body: Manifold,
    matrix: FloatArray,
    butt: Literal["auto", "other"],
    notes: list[Note],
) -> tuple[FloatArray, Stems]:
    """Return the log frame with the butt at x = 0, and the stems in it."""
    standing = upended(body.transform(matrix[:3]))
    stems = read_stems(standing)
    high = extent_along(standing)[1]
    if stems.divides is not None:
        turn = stems.divides == "low"
        why = "the other end divides into limbs"
    else:
        turn, why = thicker_half(standing)
    if butt == "other":
        turn = not turn
        notes.append(Note("butt_given", BUTT_GIVEN))
    else:
        towards = matrix[0, :3] * (1.0 if turn else -1.0)
        notes.append(Note("butt_found", butt_found(towards, why)))
    if turn:
        matrix = reversed_frame(matrix, high)
        stems = read_stems(upended(body.transform(matrix[:3])))
    return matrix, stems


def thicker_half(standing: Manifold) -> tuple[bool, str]:
    """Whether the half of an upended body at high x is the thicker one, and in words by how much."""
    low, high = extent_along(standing)
    halves = [_mean_area(standing, low, high, start) for start in (0.05, 0.5)]
    wider, narrower = max(halves), min(halves)
    why = f"its half of the log is thicker by {np.sqrt(wider / narrower) - 1.0:.1%} in diameter"
    if wider < 1.04 * narrower:
        why += ", which is little: check that it is right"
    return halves[1] > halves[0], why


def _mean_area(standing: Manifold, low: float, high: float, start: float) -> float:
    """Mean section of the 45 % of the length that begins at share `start`. [m2]."""
    shares = start + 0.45 * (np.arange(20) + 0.5) / 20
    return float(np.mean([section_at(standing, low + share * (high - low)).area_m2 for share in shares]))


def _mean_diameter_m(placed: Manifold) -> float:
    """Diameter of the circle of the mean section. [m]."""
    standing = upended(placed)
    low, high = extent_along(standing)
    return float(2.0 * np.sqrt(placed.volume() / (high - low) / np.pi))


BUTT_GIVEN = "The butt end is the one that you asked for."


def butt_found(towards: FloatArray, why: str) -> str:
    """Return the text of the note on the end that was taken for the butt. towards : (3,), from the top to it."""
    return f"The butt end is the one towards {compass(towards)} in the scan: {why}."


def compass(direction: FloatArray) -> str:
    """Name of the coordinate axis nearest to a direction."""
    axis = int(np.argmax(np.abs(direction)))
    return f"{'+' if direction[axis] > 0.0 else '-'}{'xyz'[axis]}"
