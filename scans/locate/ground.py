"""Which points of a scan are the log's: ground, grass, bunks, stones, boots and stray points taken off.

Where there is ground, the scan's surface is divided at its hollow creases; the log is the largest part
that is long, with the small parts on it that do not stand on the ground, such as stubs. Where there is
none, the scan is taken as cropped to the log.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from scans.errors import NotALogError, ScanError
from scans.locate.grass import is_grass
from scans.locate.ground_plane import voxel_centroids
from scans.locate.ground_surface import GroundSurface, find_ground_surface
from scans.locate.outline import LogOutline, outline_of
from scans.locate.placing import LENGTH_BOUNDS_M
from scans.locate.smooth_parts import near_places, normals_and_roughness, smooth_parts, smoothed_places
from scans.locate.thinning import MOST_POINTS, mask_from_some
from scans.log import FloatArray, IntArray
from scans.messages import Note, counted, long_length, named, short_length
from scans.neighbours import nearest

BoolArray = NDArray[np.bool_]

LEAST_VOXEL_M = 0.02
_ABOVE_GROUND_M = 0.045
"""What stands less above the ground is ground, unless it is steep."""

_STEEP_ABOVE_M, _STEEP = 0.012, 0.75
_ON_GROUND_M = 0.08
"""A part that reaches down to this stands on the ground: a stone, a boot, a bunk, grass; a stub does not."""

_TURNED = np.cos(np.radians(35.0))
"""A point whose normal is farther than this from the surface's may be grass."""

_LEAST_DIAMETER_M = 0.10
_LEAST_SLENDER = 1.2
"""A log is so many times as long as thick, at least."""

_LEAST_OF_LARGEST = 0.05
_LEAST_OF_TOUCHED = 0.2
"""A log that touches a larger one has such a share of its volume; less is a bunk or a stone."""

_LEAST_LIMB_M, _LEAST_LIMB_THICK_M, _LEAST_LIMB_HIGH_M = 0.45, 0.2, 0.25
_AT_ITS_END = 0.45
_BESIDE_M, _UNDERSIDE = 0.2, 0.3
_FLAT_END, _FLAT_END_LEAN, _LEAST_END = 0.3, 0.6, 0.5
_UPRIGHT = np.cos(np.radians(35.0))
_STANDING = np.cos(np.radians(30.0))
_JOINED_M, _STRAY_M = 0.06, 0.10


@dataclass(frozen=True, eq=False)
class FoundLog:
    """A log found among the points of a scan.

    mask : (N,) which points are the log's. outline : its length, diameter, rough volume and ends.
    number : among the logs found, the largest first, from 1. others : outlines of the rest, in that order.
    ground : the ground under it, or None. notes : one for each choice.
    """

    mask: BoolArray
    outline: LogOutline
    number: int
    others: tuple[LogOutline, ...]
    ground: GroundSurface | None
    notes: tuple[Note, ...]


def find_log(
    points_m: FloatArray,
    normals: FloatArray | None = None,
    *,
    faces: IntArray | None = None,
    pick: int = 1,
    butt: Literal["auto", "other"] = "auto",
) -> FoundLog:
    """Return the log's points among those of a scan. Deterministic.

    points_m : (N, 3), z up, any yaw. [m]
    normals : (N, 3) unit vectors of either sign, which help to tell grass, or None.
    faces : (F, 3) of a mesh, or None: without ground, what they join stays together, however far apart.
    pick : which log, the largest first, from 1. butt : "other" for the end that would not be taken for it.

    Raises NotALogError where nothing is like a log, ScanError where `pick` names none.
    """
    if len(points_m) < 50:
        raise NotALogError(
            f"the scan holds {counted(len(points_m), 'point')}, too few to find a log in", "scan it again"
        )
    step = -(-len(points_m) // MOST_POINTS)
    some, some_normals = points_m[::step], None if normals is None else normals[::step]
    spacing = _spacing_m(some)
    ground = find_ground_surface(some, spacing)
    found = (
        _alone(some, spacing, faces if step == 1 else None)
        if ground is None
        else _on_ground(some, some_normals, spacing, ground)
    )
    outlines = [_outline(some[mask], ground) for mask in found]
    logs = [k for k, outline in enumerate(outlines) if _is_log(outline, ground)]
    logs.sort(key=lambda k: -outlines[k].volume_m3)
    logs = [k for k in logs if outlines[k].volume_m3 > _LEAST_OF_LARGEST * outlines[logs[0]].volume_m3]
    if not logs:
        largest = max(outlines, key=lambda outline: outline.length_m, default=None)
        what = "nothing stands out" if largest is None else f"the largest thing is {_size(largest)}"
        raise NotALogError(
            f"no log was found: {what}, and a log is {long_length(LENGTH_BOUNDS_M[0])} to "
            f"{long_length(LENGTH_BOUNDS_M[1])} long and longer than thick",
            f"check {named('unit')} and {named('up')}, or scan the whole log with some ground around it",
        )
    if not 1 <= pick <= len(logs):
        raise ScanError(f"{named('pick')} must be 1 to {len(logs)}, the number of logs found, got {pick}", field="pick")
    chosen = logs[pick - 1]
    others = tuple(outlines[k] for k in logs if k != chosen)
    outline = outlines[chosen] if butt == "auto" else outlines[chosen].reversed_ends()
    mask = found[chosen] if len(some) == len(points_m) else mask_from_some(points_m, some, found[chosen])
    return FoundLog(mask, outline, pick, others, ground, _notes(mask, outline, pick, others, ground))


def _size(outline: LogOutline) -> str:
    return f"about {long_length(outline.length_m)} long and {short_length(outline.diameter_m)} thick"


def _notes(
    mask: BoolArray, outline: LogOutline, pick: int, others: tuple[LogOutline, ...], ground: GroundSurface | None
) -> tuple[Note, ...]:
    kept = f"{int(mask.sum())} of {len(mask)} points kept"
    if ground is None:
        first = Note("no_ground", f"The scan shows no ground and is taken as cropped to the log; {kept}.")
    else:
        slope = np.degrees(np.arctan(np.hypot(*ground.slope)))
        text = f"The ground was taken off, with what stands on it; it slopes by {slope:.0f} degrees; {kept}."
        first = Note("ground_off", text)
    # Its own size is told of the solid, which is more exact.
    log = Note("one_log", "One log was found.")
    if others:
        which = "the largest" if pick == 1 else f"number {pick}"
        log = Note("log_of_several", f"This is {which} of {len(others) + 1} logs, {_size(outline)} by its outline.")
    numbers = [k for k in range(1, len(others) + 2) if k != pick]
    rest = (
        Note("other_log", f"Another log is {_size(other)}: choose {named('pick', str(k))} to take it.")
        for k, other in zip(numbers, others, strict=True)
    )
    return (first, log, *rest)


def _spacing_m(points_m: FloatArray) -> float:
    """Usual distance from a point to its next; scans with many points are looked at in part. [m]."""
    few = points_m[:: max(1, len(points_m) // 2000)]
    fourth = nearest(cKDTree(points_m), few, 5)[0][:, -1]
    # The fourth neighbour of points strewn over a plane is 1.1 to 1.2 of their mean spacing away; of a
    # grid, once. A scan lies between.
    return float(np.median(fourth)) / 1.6


def _up(ground: GroundSurface | None) -> FloatArray:
    if ground is None:
        return np.array([0.0, 0.0, 1.0])
    normal = np.array([-ground.slope[0], -ground.slope[1], 1.0])
    return normal / np.linalg.norm(normal)


def _outline(points_m: FloatArray, ground: GroundSurface | None) -> LogOutline:
    return outline_of(points_m, _up(ground))


def _is_log(outline: LogOutline, ground: GroundSurface | None) -> bool:
    low, high = LENGTH_BOUNDS_M
    along = (outline.top_m - outline.butt_m) / max(outline.length_m, 1e-9)
    lying = ground is None or abs(float(along @ _up(ground))) < _STANDING
    slender = outline.length_m > _LEAST_SLENDER * outline.diameter_m
    return bool(low <= outline.length_m <= high and outline.diameter_m >= _LEAST_DIAMETER_M and slender and lying)


def _alone(points_m: FloatArray, spacing_m: float, faces: IntArray | None) -> list[BoolArray]:
    """Points of each thing in a scan without ground, however sparse in parts; stray points are in none."""
    edge = max(_JOINED_M, 4.0 * spacing_m)
    names = _clusters(points_m, edge)
    counts = np.bincount(names)
    near = nearest(cKDTree(points_m), points_m, 6)[0][:, -1] < max(_STRAY_M, 12.0 * spacing_m)
    if faces is not None and len(faces):
        near[faces.ravel()] = True
        edges = names[np.concatenate([faces[:, :2], faces[:, 1:]])]
        size = int(names.max()) + 1
        joined = coo_matrix((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(size, size))
        names = np.asarray(connected_components(joined, directed=False)[1][names], dtype=np.int64)
        counts = np.bincount(names)
    large = np.flatnonzero(counts >= max(50, 0.02 * counts.max()))
    return [np.asarray((names == name) & near) for name in large]


def _clusters(points_m: FloatArray, edge_m: float) -> IntArray:
    """Name (N,) of the cluster that each point is in; voxels of `edge_m` that touch at all hang together."""
    places, place_of = voxel_centroids(points_m, edge_m)
    pairs = cKDTree(places).query_pairs(1.8 * edge_m, output_type="ndarray")
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(places), len(places)))
    return np.asarray(connected_components(graph, directed=False)[1][place_of], dtype=np.int64)


def _on_ground(
    points_m: FloatArray, own_normals: FloatArray | None, spacing_m: float, ground: GroundSurface
) -> list[BoolArray]:
    """Points of each large smooth thing that stands on the ground, with what is on it."""
    voxel = max(LEAST_VOXEL_M, 1.5 * spacing_m)
    places, place_of = voxel_centroids(points_m, voxel)
    heights = ground.height_m(places)
    near = near_places(places, 3.0 * voxel)
    normals, roughness = normals_and_roughness(places, near)
    places = smoothed_places(places, near, normals)
    normals, roughness = normals_and_roughness(places, near)
    steep = np.abs(normals @ _up(ground)) < _STEEP
    above = (heights > _ABOVE_GROUND_M) | ((heights > _STEEP_ABOVE_M) & steep)
    part = smooth_parts(places, near, normals, roughness, above)
    part[~above] = -1
    if not (part >= 0).any():
        return []
    sizes = np.bincount(part[part >= 0])
    large = [int(k) for k in np.argsort(-sizes, kind="stable") if sizes[k] >= 0.03 * sizes.max()]
    start, column = np.nonzero(near >= 0)
    links = np.stack([start, near[start, column]], axis=1)
    _join_limbs(part, large, places, heights, links, _up(ground))
    large = [k for k in large if (part == k).sum() >= 50]
    outlines = {k: _outline(places[part == k], ground) for k in large}
    mains: list[int] = []
    for k in sorted(outlines, key=lambda k: -outlines[k].volume_m3):
        if not _is_log(outlines[k], ground):
            continue
        touched = set(part[links[part[links[:, 0]] == k, 1]])
        if all(
            outlines[k].volume_m3 > _LEAST_OF_TOUCHED * outlines[main].volume_m3 for main in mains if main in touched
        ):
            mains.append(k)
    in_mains = np.isin(part, mains)
    group = _groups(links, above & ~in_mains)
    lowest = np.full(int(group.max()) + 1, np.inf)
    np.minimum.at(lowest, group[group >= 0], heights[group >= 0])
    found = []
    for k in mains:
        mask = _with_parts_on_it(part == k, links, group, lowest)[place_of]
        at = place_of[mask]
        turned = np.zeros(len(at), dtype=np.bool_)
        if own_normals is not None:
            turned = np.abs(np.einsum("ni,ni->n", own_normals[mask], normals[at])) < _TURNED
        mask[mask] = ~is_grass(points_m[mask], heights[at], roughness[at], turned, spacing_m)
        found.append(mask)
    return found


def _join_limbs(
    part: IntArray, large: list[int], places: FloatArray, heights: FloatArray, links: IntArray, up: FloatArray
) -> None:
    """Join parts (V,) that a crotch divides, in place.

    A limb is long and thick, does not stand upright, and grows out of the larger part by one of its ends;
    a bunk is thin or under the log, a boot upright, a stone low, and another log beside it touches along its
    length. A sawn end with a step in it is flat, and about as wide and high as the log.
    """
    if not large:
        return
    diameter = outline_of(places[part == large[0]], up).diameter_m
    for k in large[1:]:
        own = np.flatnonzero(part == k)
        about = places[own] - places[own].mean(axis=0)
        axes = np.linalg.eigh(about.T @ about)[1][:, ::-1]
        extents = np.ptp(about @ axes, axis=0)
        flat = extents[2] < _FLAT_END * extents[1] and abs(float(axes[:, 2] @ up)) < _FLAT_END_LEAN
        if (
            flat
            and extents[0] < 1.8 * extents[1]
            and extents[1] > _LEAST_END * diameter
            and len(_borders(part, links, k, large[0])) >= 20
        ):
            part[own] = large[0]
            continue
        lying = abs(float(axes[:, 0] @ up)) < _UPRIGHT
        if extents[0] < _LEAST_LIMB_M or extents[1] < _LEAST_LIMB_THICK_M or heights[own].max() < _LEAST_LIMB_HIGH_M:
            continue
        for main in large[: large.index(k)]:
            borders = _borders(part, links, k, main)
            if not lying or len(borders) < 5:
                continue
            along = (about @ axes[:, 0])[np.searchsorted(own, borders)]
            share = (along - (about @ axes[:, 0]).min()) / extents[0]
            at_end = np.quantile(share, 0.9) < _AT_ITS_END or np.quantile(share, 0.1) > 1.0 - _AT_ITS_END
            if at_end and not _is_under(places[borders], heights[borders], places[part == main], heights[part == main]):
                part[own] = main
                break


def _is_under(border_m: FloatArray, border_heights: FloatArray, main_m: FloatArray, main_heights: FloatArray) -> bool:
    """Whether a border with a part runs along the underside of that part, as a bunk's does."""
    beside = cKDTree(border_m[:, :2]).query(main_m[:, :2], distance_upper_bound=_BESIDE_M, workers=2)[0] < _BESIDE_M
    low, high = np.quantile(main_heights[beside], [0.02, 0.98])
    return bool(np.median(border_heights) < low + _UNDERSIDE * (high - low))


def _borders(part: IntArray, links: IntArray, one: int, other: int) -> IntArray:
    """Places of one part that are linked to another part."""
    return np.unique(links[(part[links[:, 0]] == one) & (part[links[:, 1]] == other), 0])


def _with_parts_on_it(main: BoolArray, links: IntArray, group: IntArray, lowest: FloatArray) -> BoolArray:
    """Add to a part's places those of the groups that touch it and do not stand on the ground."""
    if len(lowest) == 0:
        return main
    touching = np.zeros(len(lowest), dtype=np.bool_)
    there = group[links[main[links[:, 0]], 1]]
    touching[there[there >= 0]] = True
    taken = touching & (lowest > _ON_GROUND_M)
    return np.asarray(main | ((group >= 0) & taken[np.maximum(group, 0)]))


def _groups(links: IntArray, among: BoolArray) -> IntArray:
    """Which group (V,) of linked places each place among those marked (V,) is in, -1 for the others."""
    both = among[links].all(axis=1)
    index = np.cumsum(among) - 1
    size = int(among.sum())
    ends = index[links[both]]
    graph = coo_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(size, size))
    group = np.full(len(among), -1, dtype=np.int64)
    group[among] = connected_components(graph, directed=False)[1]
    return group
