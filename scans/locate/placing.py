"""The unit and the up axis of a scan: as its format says, as the user says, or as makes a log of it.

What cannot be told is asked in one line (DoubtfulScanError), never assumed.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.ndimage import label

from scans.errors import DoubtfulScanError, ScanError
from scans.formats.scan import Scan
from scans.locate.ground_plane import GroundPlane, find_ground_plane, robust_diagonal, thinned
from scans.locate.scan_surface import points_on_faces
from scans.log import FloatArray
from scans.messages import Note, counted, exact_length, long_length, named, quoted

UNITS_M = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}

UP_TURNS = {
    "z": np.eye(3),
    "y": np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]]),
    "x": np.array([[0.0, 0.0, -1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]]),
    "-z": np.diag([1.0, -1.0, -1.0]),
    "-y": np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]),
    "-x": np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]]),
}
"""For the file's axis that points up, the turn (3, 3), no mirror, of its columns (x, y, z) to z up."""

LENGTH_BOUNDS_M = (0.5, 15.0)
"""No log is shorter or longer than this."""

_USUAL_LENGTH_M, _USUAL_WIDTH_M = 3.0, 0.6
_COMMON = {"m": 0.90, "mm": 0.04, "cm": 0.03, "ft": 0.02, "in": 0.01}
"""How often files come in each unit, from how scanning programs export (from memory, no source)."""

_CLEAR_ODDS = 8.0
"""A unit is taken where it is so many times as likely as the next."""

_TAPED_WITHIN = 0.25
"""How far a scan's length may be from the tape's, as a share, and still settle the unit."""

_LEANING = np.cos(np.radians(35.0))
"""Ground, or an unseen side, this near to square to an axis tells which is up."""

_PLAUSIBLE = np.cos(np.radians(65.0))
_ON_FACES = 100_000
_LEAST_GAP_DEG = 30.0


@dataclass(frozen=True, eq=False)
class PlacedScan:
    """A scan's points in metres, z up.

    points_m : (N, 3), in the file's order. normals : (N, 3) unit vectors, or None.
    unit, up : of the file, keys of UNITS_M and UP_TURNS. placing : (4, 4), from the file to these points.
    notes : one for each choice.
    """

    points_m: FloatArray
    normals: FloatArray | None
    unit: str
    up: str
    placing: FloatArray
    notes: tuple[Note, ...]


def place_scan(
    scan: Scan, unit: str | None = None, up: str | None = None, taped_length_m: float | None = None
) -> PlacedScan:
    """Bring a scan to metres and z up.

    unit : a key of UNITS_M, and up : a key of UP_TURNS, as the user says; None leaves it to the file.
    taped_length_m : the log's length by the tape, which settles the unit where the file does not. [m]

    Raises DoubtfulScanError where unit or up cannot be told, ScanError where an option is not known.
    """
    for field, given, known in (("unit", unit, list(UNITS_M)), ("up", up, list(UP_TURNS))):
        if given is not None and given not in known:
            raise ScanError(f"{named(field)} must be one of {', '.join(known)}, got {quoted(given)}", field=field)
    if len(scan.points) < 4:
        raise ScanError(f"the file holds {counted(len(scan.points), 'point')}, too few for a log", "scan it again")
    # The corners of a mesh may stand anywhere: its faces show its shape.
    shown = points_on_faces(scan.points, scan.faces, _ON_FACES) if len(scan.faces) else scan.points
    ground = find_ground_plane(shown)
    up_axis, up_note = _up(scan, shown, up, ground)
    unit_name, unit_m, unit_note = _unit(scan, shown, unit, taped_length_m, ground)
    turn = UP_TURNS[up_axis]
    placing = np.eye(4)
    placing[:3, :3] = unit_m * turn
    return PlacedScan(
        points_m=scan.points @ placing[:3, :3].T,
        normals=None if scan.normals is None else scan.normals @ turn.T,
        unit=unit_name,
        up=up_axis,
        placing=placing,
        notes=(unit_note, up_note),
    )


def _axis(up: str) -> FloatArray:
    """Return the unit vector (3,) of a key of UP_TURNS in the file's frame: what its turn brings to z."""
    return np.asarray(UP_TURNS[up][2])


def _up(scan: Scan, shown: FloatArray, given: str | None, ground: GroundPlane | None) -> tuple[str, Note]:
    if given is not None:
        return given, Note("up_given", f"Up in the file is {given}, as you said.")
    nearest, cosine = None, 0.0
    if ground is not None:
        nearest = max(UP_TURNS, key=lambda name: float(_axis(name) @ ground.normal))
        cosine = float(_axis(nearest) @ ground.normal)
    if scan.up is not None:
        if ground is not None and cosine > _LEANING and nearest != scan.up and ground.share > 0.3:
            raise DoubtfulScanError(
                f"the file says that {scan.up} is up, but the ground in it lies as if {nearest} were",
                f"choose {named('up', f'{nearest} or {scan.up}')}",
                field="up",
            )
        return scan.up, Note("up_stated", f"Up in the file is {scan.up}, as the file says.")
    if nearest is not None:
        if cosine < _LEANING:
            lean = np.degrees(np.arccos(cosine))
            raise DoubtfulScanError(
                f"the ground leans {lean:.0f} degrees from the nearest axis of the file, {nearest}, so the file does "
                "not show which way is up",
                _CHOOSE_UP,
                field="up",
            )
        return nearest, Note("up_by_ground", f"Up in the file is {nearest}: the ground lies that way.")
    return _up_without_ground(shown)


_CHOOSE_UP = f"choose {named('up', 'z, y or x')}"


def _up_without_ground(points: FloatArray) -> tuple[str, Note]:
    """Choose from the unseen side, which a log turns to the ground, and from how it must lie."""
    few = thinned(points, 100_000)
    along = np.linalg.eigh(np.cov((few - few.mean(axis=0)).T))[1][:, 2]
    lying = [name for name in ("z", "y", "x") if abs(_axis(name) @ along) < np.cos(np.radians(30.0))]
    usual = next(name for name in ("z", "y") if name in lying)
    unseen, gap_deg = _unseen_side(few, along)
    if gap_deg < _LEAST_GAP_DEG:
        if usual == "z":
            return usual, _guessed_up("z, as is usual; no ground in the scan says otherwise", "y or x")
        return usual, _guessed_up("y: the log would stand on its end with z up", "z or x")
    best = max(lying, key=lambda name: float(-_axis(name) @ unseen))
    if -_axis(best) @ unseen > _LEANING:
        why = f"the side that was not seen, {gap_deg:.0f} degrees of the girth, is then underneath"
        return best, Note("up_by_unseen_side", f"Up in the file is {best}: {why}.")
    if -_axis(usual) @ unseen > _PLAUSIBLE:
        return usual, _guessed_up(f"{usual}, as is usual; little of the log's underside was seen", "y or x")
    raise DoubtfulScanError(
        f"the scan shows no ground, and {gap_deg:.0f} degrees of the girth were not seen on a side that would not be "
        f"underneath if {usual} were up",
        _CHOOSE_UP,
        field="up",
    )


def _guessed_up(what: str, others: str) -> Note:
    return Note("up_guessed", f"Up in the file is {what}. If that is wrong, choose {named('up', others)}.")


def _unseen_side(points: FloatArray, along: FloatArray) -> tuple[FloatArray, float]:
    """Direction (3,) of the middle of the widest part of the girth without points, and its angle. [deg]."""
    second = np.cross(along, np.eye(3)[np.argmin(np.abs(along))])
    second /= np.linalg.norm(second)
    third = np.cross(along, second)
    x, v, w = points @ along, points @ second, points @ third
    edges = np.quantile(x, np.linspace(0.04, 0.96, 17))
    seen, slices = np.zeros(36), 0
    for low, high in pairwise(edges):
        inside = (x >= low) & (x < high)
        if inside.sum() < 30:
            continue
        a, b = v[inside], w[inside]
        # A circle by least squares (Kasa 1976): its centre stays in the middle where a side is missing.
        centre = np.linalg.lstsq(np.stack([a, b, np.ones(len(a))], axis=1), a * a + b * b, rcond=None)[0][:2] / 2.0
        turn = np.degrees(np.arctan2(b - centre[1], a - centre[0])) % 360.0
        counts = np.bincount((turn / 10.0).astype(np.int64) % 36, minlength=36)
        # Stray points are few.
        seen += counts > 0.15 * np.median(counts[counts > 0])
        slices += 1
    if slices < 4:
        return -third, 0.0
    empty = seen < 0.5 * slices
    if empty.all() or not empty.any():
        return -third, 0.0
    start = int(np.flatnonzero(~empty)[0])
    turned = np.roll(empty, -start)
    runs, _ = label(turned)
    sizes = np.bincount(runs)[1:]
    widest = int(np.argmax(sizes)) + 1
    places = np.flatnonzero(runs == widest)
    middle = np.radians((places.mean() + 0.5 + start) * 10.0)
    return np.cos(middle) * second + np.sin(middle) * third, float(10 * sizes[widest - 1])


def _unit(
    scan: Scan, shown: FloatArray, given: str | None, taped_length_m: float | None, ground: GroundPlane | None
) -> tuple[str, float, Note]:
    """Name, size and note of the unit. [m]."""
    if given is not None:
        return given, UNITS_M[given], Note("unit_given", f"The file is in {given}, as you said.")
    length, width = rough_size(shown, ground)
    if scan.unit_m is not None:
        name = next(
            (name for name, unit_m in UNITS_M.items() if np.isclose(unit_m, scan.unit_m)), exact_length(scan.unit_m)
        )
        low, high = LENGTH_BOUNDS_M
        if not low <= length * scan.unit_m <= 2.0 * high:
            raise DoubtfulScanError(
                f"the file says that its unit is {name}, which makes what is in it "
                f"{long_length(length * scan.unit_m)} long, and a log is {long_length(low)} to {long_length(high)}",
                _choose_unit(length),
                field="unit",
            )
        return name, scan.unit_m, Note("unit_stated", f"The unit is {name}, as the file says.")
    if taped_length_m is not None:
        best = min(UNITS_M, key=lambda name: abs(np.log(length * UNITS_M[name] / taped_length_m)))
        if abs(length * UNITS_M[best] / taped_length_m - 1.0) < _TAPED_WITHIN:
            return best, UNITS_M[best], Note("unit_by_tape", f"The file is in {best}: the taped length says so.")
    odds = {name: _odds(name, length, width) for name in UNITS_M}
    ranked = sorted(odds, key=lambda name: -odds[name])
    best, second = ranked[0], ranked[1]
    if odds[best] == 0.0:
        raise DoubtfulScanError(
            f"what is in the file is {length:.3g} long, which is no log's length in any unit tried",
            _choose_unit(length),
            field="unit",
        )
    if odds[best] < _CLEAR_ODDS * odds[second]:
        raise DoubtfulScanError(
            f"the log may be {long_length(length * UNITS_M[best])} or {long_length(length * UNITS_M[second])} long",
            f"choose {named('unit', f'{best} or {second}')}",
            field="unit",
        )
    return best, UNITS_M[best], Note("unit_guessed", f"The file is in {best}: in that unit it has the size of a log.")


def _choose_unit(length: float) -> str:
    low, high = LENGTH_BOUNDS_M
    possible = [name for name, unit_m in UNITS_M.items() if low <= length * unit_m <= high]
    if possible:
        return f"choose {named('unit', ' or '.join(possible))}"
    return f"choose {named('unit', ', '.join(UNITS_M))}, or crop the scan to the log"


def _odds(name: str, length: float, width: float) -> float:
    """How likely a unit is, from how usual the log would be; 0 where no log has that size."""
    length_m, width_m = length * UNITS_M[name], width * UNITS_M[name]
    if not LENGTH_BOUNDS_M[0] <= length_m <= LENGTH_BOUNDS_M[1] or width_m <= 0.0:
        return 0.0
    # Half or twice the usual size is one standard deviation.
    off = np.log2([length_m / _USUAL_LENGTH_M, width_m / _USUAL_WIDTH_M])
    return float(_COMMON[name] * np.exp(-0.5 * (off**2).sum()))


def rough_size(points: FloatArray, ground: GroundPlane | None) -> tuple[float, float]:
    """Length and width of the largest thing above the ground, in the units of the points."""
    few = thinned(points)
    low, high = np.quantile(few, [0.005, 0.995], axis=0)
    near = ((few >= low - 0.1 * (high - low)) & (few <= high + 0.1 * (high - low))).all(axis=1)
    few = few[near]
    if ground is not None:
        few = few[ground.above(few) > 2.0 * ground.tolerance]
    edge = robust_diagonal(few) / 60.0 if len(few) >= 4 else 0.0
    if edge <= 0.0:
        return 0.0, 0.0
    cells = np.floor((few - few.min(axis=0)) / edge).astype(np.int64)
    if ground is not None:
        grid = np.zeros(tuple(cells.max(axis=0) + 1), dtype=np.bool_)
        grid[tuple(cells.T)] = True
        names, _ = label(grid, np.ones((3, 3, 3)))
        few = few[names[tuple(cells.T)] == np.argmax(np.bincount(names[grid]))]
    axes = np.linalg.eigh(np.cov((few - few.mean(axis=0)).T))[1][:, ::-1]
    extents = np.ptp(np.quantile(few @ axes, [0.003, 0.997], axis=0), axis=0)
    return float(extents[0]), float(extents[1])
