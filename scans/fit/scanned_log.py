"""From a log's points to a Log: its skeleton, the side that was not seen, its closed surface and its doubt."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from manifold3d import Manifold
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scans.errors import ScanError
from scans.fit.girths import GirthTaped, with_girths
from scans.fit.hidden import Fit, fitted, modes_m
from scans.fit.member_hearts import hearts_and_forks
from scans.fit.member_lines import members_of
from scans.fit.members import Members
from scans.fit.sawn_ends import on_sawn_ends, with_sawn_ends
from scans.fit.seen_girth import girth_seen
from scans.fit.seen_surface import closed_surface
from scans.fit.skeleton import Skeleton, find_skeleton
from scans.fit.stubs import with_stubs
from scans.fit.surface_noise import noise_modes_m
from scans.locate.ground_plane import voxel_centroids
from scans.locate.outline import LogOutline
from scans.locate.scan_surface import points_on_faces
from scans.locate.smooth_parts import near_places, normals_and_roughness
from scans.locate.taped_length import taped_scale
from scans.log import HEART_RADIUS_M, FloatArray, Log, Solid, SurfaceDoubt
from scans.messages import Note, named, short_length
from scans.neighbours import nearest
from scans.solids.bodies import extent_along, mesh_from_body, upended
from scans.solids.frame import axes_from, log_frame, reversed_frame
from scans.solids.log_from_mesh import BUTT_GIVEN, butt_found, outer_and_wood, thicker_half

PLACE_M = 0.018
"""The surface is looked at in places so far apart. [m]"""

SEEN_WITHIN_M = 0.03
"""A face was seen if a point of the scan is this near to its middle. [m]"""

SCALE_SPREAD = 0.006
"""What a phone's scale is off, standard deviation: within 1 % mostly (common practice, no source)."""

TAPED_SPREAD = 0.002
"""The same where a tape gave the length."""

FOLLOWED_WITHIN_M = 0.025
MANY_NOT_FOLLOWED, MOST_NOT_FOLLOWED = 0.05, 0.15
"""Shares of the points that may lie farther off the solid: over the first, a warning; over the second, no plan."""

_OUTWARDS = 0.75
_ROUGHEST = 0.12
_CLEAR = 0.6
"""Places lower under the middle than this share of the radius may be of what the log lies in."""

_READMITTED_M = 0.02
_MODES = 48
_MODES_WIDENED = 1.25
"""The fit is sure enough of most of what was not seen, and too sure where a butt flares. So widened it says 14.4 mm,
where 36 invented scans were 11.2 mm off (root mean square), and 19.0 mm within 0.2 m of the butt, where they were
19.4 mm off (our measurement, tests/benchmarks/surfaces.py, seeds 744-779)."""

STAGES = (
    "finding stem and limbs",
    "making the surface, the side that nobody saw, too",
    "finding the wood under the bark",
)


@dataclass(frozen=True, eq=False)
class _Seen:
    """Places (N, 3) spread evenly over what was seen, x along the log, [m]; their normals, of either sign."""

    places_m: FloatArray
    normals: FloatArray
    roughness: FloatArray


def log_from_points(
    points_m: FloatArray,
    outline: LogOutline,
    name: str,
    bark_ratio: float | Callable[[float], float],
    butt: Literal["auto", "other"] = "auto",
    taped_length_m: float | None = None,
    heart_radius_m: float = HEART_RADIUS_M,
    girths: tuple[GirthTaped, ...] = (),
    on_stage: Callable[[str], None] = lambda _: None,
) -> tuple[Log, tuple[Note, ...]]:
    """Return the Log that points show, and one note for each thing found or assumed on the way.

    points_m : (N, 3) of the log alone, z up, metres. outline : where it lies, roughly, in the same frame.
    bark_ratio, butt : as of `scans.solids.log_from_mesh`; a forked log's butt is the end that is one stem.
    taped_length_m : the log's length by the tape, which the finished log is scaled to. [m]
    girths : by the tape, along the trunk, which the side that was not seen is moved to agree with.
    on_stage : is told each of STAGES as it begins; what it raises ends the work.

    Deterministic. Raises ScanError where too little of the log was seen; NotALogError where nothing round is there.
    """
    on_stage(STAGES[0])
    to_rough = _rough_frame(outline)
    seen = _seen(points_m @ to_rough[:3, :3].T + to_rough[:3, 3])
    skeleton = find_skeleton(seen.places_m, seen.normals, seen.roughness)
    fit, members = _members(skeleton, seen)
    main = 1 + len(skeleton.limbs)
    notes = [_what(skeleton, members.count - main), *girth_seen(members, main, seen.places_m)]
    on_stage(STAGES[1])
    body = closed_surface(members, seen.places_m)
    spread, corrected = SCALE_SPREAD if taped_length_m is None else TAPED_SPREAD, 1.0
    if girths:
        to_log = _log_frame(body, members, main, to_rough, butt, [])
        factor = taped_scale(_length_m(body, to_log), taped_length_m, [])
        weighed = with_girths(
            fit, members, body, to_log, girths,
            factor=factor, spread=spread, holds_scale=taped_length_m is not None, widened=_MODES_WIDENED,
        )  # fmt: skip
        fit, members, spread, corrected = weighed.fit, weighed.members, weighed.spread, weighed.factor / factor
        notes += weighed.notes
        body = closed_surface(members, seen.places_m)
    from_rough = _log_frame(body, members, main, to_rough, butt, notes)
    placed = body.transform(from_rough[:3])
    on_stage(STAGES[2])
    factor = corrected * taped_scale(_length_m(body, from_rough), taped_length_m, notes)
    outer, wood, thickness = outer_and_wood(placed, bark_ratio, notes, factor)
    hearts, forks = hearts_and_forks(members, main, from_rough)
    matrix = from_rough @ to_rough
    back = np.linalg.inv(from_rough)

    def ways_and_modes(solid: Solid) -> tuple[FloatArray, NDArray[np.float32]]:
        there = solid.vertices_m @ back[:3, :3].T + back[:3, 3]
        modes = _MODES_WIDENED * modes_m(fit, members, there, _MODES) + noise_modes_m(there, _MODES)
        return members.outward(there) @ from_rough[:3, :3].T, modes

    outer_ways, outer_modes = ways_and_modes(outer)
    wood_ways, wood_modes = (outer_ways, outer_modes) if wood is outer else ways_and_modes(wood)
    middles = outer.vertices_m[outer.faces].mean(axis=1)
    there = points_m @ matrix[:3, :3].T + matrix[:3, 3]
    notes += _followed(outer, there)
    log = Log(
        name=name,
        outer=outer,
        wood=wood,
        bark_thickness_m=thickness,
        hearts=hearts,
        forks=forks,
        heart_radius_m=heart_radius_m,
        scan_to_log=matrix,
        face_seen=np.asarray(nearest(cKDTree(there), middles, 1, SEEN_WITHIN_M)[0][:, 0] <= SEEN_WITHIN_M),
        doubt=SurfaceDoubt(outer_ways, outer_modes, wood_ways, wood_modes, spread),
    ).scaled(factor)
    notes.append(
        Note(
            "seen",
            f"The scan saw {1.0 - (log.not_seen_share or 0.0):.0%} of the surface. The rest is guessed from that, "
            "likely "
            f"to within {short_length(log.guessed_within_m or 0.0)}, the scale not counted.",
        )
    )
    return log, tuple(notes)


def _length_m(body: Manifold, matrix: FloatArray) -> float:
    return float(np.ptp(extent_along(upended(body.transform(matrix[:3])))))


def _followed(outer: Solid, points_m: FloatArray) -> list[Note]:
    """Return what is to be said of points (N, 3) that the solid does not follow; our rule, no source.

    Raises ScanError where it leaves too many of them.
    """
    few = points_m[:: max(1, len(points_m) // 20_000)]
    on_surface = cKDTree(points_on_faces(outer.vertices_m, outer.faces, 200_000))
    near = nearest(on_surface, few, 1, FOLLOWED_WITHIN_M)[0][:, 0] <= FOLLOWED_WITHIN_M
    off = 1.0 - float(near.mean())
    if off > MOST_NOT_FOLLOWED:
        raise ScanError(
            f"{off:.0%} of the log's points lie over {short_length(FOLLOWED_WITHIN_M)} off the solid that could be "
            "made of them: it is too crooked, broken or full of branches for this",
            f"close its mesh in a mesh editor, or write {named('log_sheet')}",
        )
    if off > MANY_NOT_FOLLOWED:
        many = (
            f"{off:.0%} of the log's points lie over {short_length(FOLLOWED_WITHIN_M)} off its solid: branches, broken "
            "wood, or something else. Check that the solid looks like the log before you trust the plan."
        )
        return [Note("not_followed", many, bears_on_plan=True)]
    return []


def _rough_frame(outline: LogOutline) -> FloatArray:
    """Matrix (4, 4) to a frame with x from the outline's butt to its top."""
    matrix = np.eye(4)
    matrix[:3, :3] = axes_from(outline.top_m - outline.butt_m, np.array([0.0, 0.0, 1.0]))
    matrix[:3, 3] = -matrix[:3, :3] @ outline.butt_m
    return matrix


def _seen(points_m: FloatArray) -> _Seen:
    places, _ = voxel_centroids(points_m, PLACE_M)
    normals, roughness = normals_and_roughness(places, near_places(places, 3.0 * PLACE_M))
    return _Seen(places, normals, roughness)


def _members(skeleton: Skeleton, seen: _Seen) -> tuple[Fit, Members]:
    """Fit stem and limbs, find ends and stubs, and fit all of them together.

    First only places clear of what the log lies in count; then also those near the surface that these give, so that
    grass and bunks that touch the underside do not make it theirs.
    """
    before = members_of(skeleton, seen.places_m)
    first = fitted(before, seen.places_m[_faces_outwards(before, seen) & _is_clear(before, seen.places_m)])
    rough = with_stubs(with_sawn_ends(first.members, seen.places_m, seen.normals), seen.places_m, seen.normals)
    terms = rough.terms_m.copy()
    terms[: before.count] = 0.0
    terms[: before.count, : before.terms_m.shape[1]] = before.terms_m
    on_side = _faces_outwards(rough, seen) & ~on_sawn_ends(rough, seen.places_m, seen.normals)
    on_side &= _is_clear(rough, seen.places_m) | (np.abs(rough.values_m(seen.places_m)) < _READMITTED_M)
    fit = fitted(rough.with_terms(terms), seen.places_m[on_side])
    return fit, with_sawn_ends(fit.members, seen.places_m, seen.normals)


def _faces_outwards(members: Members, seen: _Seen) -> NDArray[np.bool_]:
    """Which places (N,) are smooth, and face away from the middle of the member that they are on."""
    ways = members.outward(seen.places_m)
    size = np.maximum(np.linalg.norm(ways, axis=1), 1e-9)
    facing = np.abs(np.einsum("ni,ni->n", ways, seen.normals)) / size
    return np.asarray((facing > _OUTWARDS) & (seen.roughness < _ROUGHEST))


def _is_clear(members: Members, places_m: FloatArray) -> NDArray[np.bool_]:
    """Which places (N,) are above the lowest fifth of the member that they are on."""
    at = members.places(places_m)
    own = np.argmax(at.share, axis=1)
    clear = np.ones(len(places_m), dtype=np.bool_)
    for m in range(members.count):
        mine = own == m
        along = at.along_m[mine, m]
        height = places_m[mine, 2] - members.line_m(m, along)[:, 2]
        clear[mine] = height > -_CLEAR * members.radius_m(m, along)
    return clear


def _what(skeleton: Skeleton, stubs: int) -> Note:
    limbs = len(skeleton.limbs)
    what = f"one trunk that divides into {limbs} limbs" if limbs else "a single trunk"
    with_stubs = f", with {stubs} branch stub{'s' if stubs > 1 else ''}" if stubs else ""
    return Note("form", f"The log is {what}{with_stubs}.")


def _log_frame(
    body: Manifold,
    members: Members,
    main: int,
    to_rough: FloatArray,
    butt: Literal["auto", "other"],
    notes: list[Note],
) -> FloatArray:
    """Matrix (4, 4) from the rough frame to the log frame, the butt at x = 0."""
    up = to_rough[:3, :3] @ np.array([0.0, 0.0, 1.0])
    tips = [members.line_m(m, members.lengths_m[[m]])[0] for m in range(1 if main > 1 else 0, main)]
    along = np.mean(tips, axis=0) - members.line_m(0, np.zeros(1))[0]
    matrix = log_frame(body, along, up)
    if main > 1:
        turn, why = False, "the other end divides into limbs"
    else:
        turn, why = thicker_half(upended(body.transform(matrix[:3])))
    if butt == "other":
        turn = not turn
        notes.append(Note("butt_given", BUTT_GIVEN))
    else:
        towards = (matrix[0, :3] @ to_rough[:3, :3]) * (1.0 if turn else -1.0)
        notes.append(Note("butt_found", butt_found(towards, why)))
    if turn:
        vertices = mesh_from_body(body)[0]
        matrix = reversed_frame(matrix, float(np.ptp(vertices @ matrix[0, :3])))
    return matrix
