"""Wood under the bark of a scanned solid."""

import numpy as np
from manifold3d import Manifold
from numba import njit
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from skimage.measure import marching_cubes

from scans.errors import NotALogError
from scans.log import FloatArray, IntArray
from scans.messages import short_length
from scans.solids.bodies import body_from_mesh, extent_along, section_at, upended

LEAST_GRID_M, MOST_GRID_M = 0.009, 0.02
"""Spacing of the grid that carries the distance to the bark's surface: half the bark, within these. [m]."""

_MOST_CELLS = 6e6

_END_NORMAL = 0.7
"""A face with |n_x| above this may be an end face."""

_END_PATCH_SHARE = 0.2
"""A patch of such faces with this share of the mean section is a limb's end, wherever it is."""


def wood_under_bark(body: Manifold, bark_ratio: float) -> tuple[Manifold, float]:
    """Return the wood's body and the mean thickness of the bark.

    body : the closed solid in the log frame, bark on. [m]
    bark_ratio : inside / outside diameter, over 0.5 and under 1.

    The surface moves inwards, square to itself, so that crotches stay sound, by (1 - bark_ratio) / 2 of
    the diameter there. As diameter counts 4 x area / girth of the section, which is a circle's diameter,
    stays near a limb's diameter where two limbs are still one piece, and makes the wood's share of a
    rough section's area close to the ratio's square. End faces stay
    where they are: steep patches near the ends, or as large as a limb's section. The wood is cut out of
    the solid itself, so it nowhere leaves it.

    Raises NotALogError where no wood is left.
    """
    vertices, faces = _mesh(body)
    at, diameters = _diameters(body)
    half = 0.5 * (1.0 - bark_ratio)
    ends = _end_faces(vertices, faces, float(np.pi / 4.0 * np.median(diameters) ** 2), float(np.median(diameters)))
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    thickest = half * float(diameters.max())
    grid = float(np.clip(0.5 * half * np.median(diameters), LEAST_GRID_M, MOST_GRID_M))
    grid = max(grid, float(np.prod(high - low + 4.0 * grid) / _MOST_CELLS) ** (1.0 / 3.0))
    # The wood's surface must run on past the end faces, so that the solid itself can cut it there.
    origin = low - 3.5 * grid
    shape = tuple(int(n) for n in np.ceil((high - low) / grid) + 8)
    inside = _inside(vertices, faces, origin, grid, shape)
    level = np.where(inside, grid, -grid).astype(np.float32)
    near = _near_surface(vertices, faces, origin, grid, inside, thickest)
    cells = np.argwhere(near)
    points = origin + cells * grid
    # No farther than matters: in the middle of an end face all of the rim is equally near, and a tree slow.
    reach = thickest + 4.0 * grid
    side = cKDTree(_samples(vertices, faces[~ends], 0.6 * grid))
    to_side = np.minimum(side.query(points, workers=2, distance_upper_bound=reach)[0], reach)
    held_in = inside[near]
    if ends.any():
        end_faces = cKDTree(_samples(vertices, faces[ends], grid))
        to_end = end_faces.query(points[~held_in], workers=2, distance_upper_bound=3.0 * grid)[0]
        held_in[~held_in] = to_end < to_side[~held_in] + 1e-9
    signed = np.where(held_in, to_side, -to_side)
    level[near] = signed - half * np.interp(points[:, 0], at, diameters)
    level[[0, -1]] = level[:, [0, -1]] = level[:, :, [0, -1]] = -grid
    if level.max() <= 0.0:
        raise NotALogError(f"bark: no wood is left under bark of {short_length(thickest)}; check the bark ratio")
    verts, triangles = marching_cubes(level, 0.0)[:2]
    rough = body_from_mesh(origin + verts.astype(np.float64) * grid, triangles[:, ::-1])
    if rough.volume() < 0.0:
        rough = body_from_mesh(origin + verts.astype(np.float64) * grid, triangles)
    smoothed = rough.simplify(float(np.clip(0.002 * np.median(diameters), 0.0003, 0.001)))
    wood = smoothed ^ body
    largest = max(wood.decompose(), key=lambda part: part.volume())
    if largest.volume() < 0.9 * wood.volume():
        raise NotALogError(
            f"bark: taking off {short_length(thickest)} of bark parts the wood into several bodies; check "
            "the bark ratio, or cut "
            "thin limbs off the scan",
        )
    return largest, half * float(np.average(diameters))


def _mesh(body: Manifold) -> tuple[FloatArray, IntArray]:
    mesh = body.to_mesh64()
    return np.asarray(mesh.vert_properties)[:, :3].copy(), np.asarray(mesh.tri_verts).astype(np.int64)


def _diameters(body: Manifold) -> tuple[FloatArray, FloatArray]:
    """Places along x (N,), and 4 x area / girth of the wood there, smoothed over 0.3 m. [m]."""
    standing = upended(body)
    low, high = extent_along(standing)
    at, found = [], []
    for x in np.linspace(low, high, max(12, round((high - low) / 0.05)) + 2)[1:-1]:
        section = section_at(standing, x)
        if section.pieces:
            at.append(x)
            found.append(4.0 * section.area_m2 / sum(piece.girth_m for piece in section.pieces))
    places, values = np.array(at), np.array(found)
    # Ragged ends give slivers of sections; the bark there is as thick as beside them.
    values = np.maximum(values, 0.6 * np.median(values))
    weight = np.exp(-0.5 * ((places[:, None] - places) / 0.1) ** 2)
    return places, (weight @ values) / weight.sum(axis=1)


def _end_faces(vertices: FloatArray, faces: IntArray, mean_area: float, diameter: float) -> NDArray[np.bool_]:
    """Which faces (F,) are end faces."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    cross = np.cross(b - a, c - a)
    size = np.linalg.norm(cross, axis=1)
    steep = np.abs(cross[:, 0]) > _END_NORMAL * np.maximum(size, 1e-30)
    x = (a[:, 0] + b[:, 0] + c[:, 0]) / 3.0
    near = np.minimum(x - x.min(), x.max() - x) < min(0.25 * diameter, 0.05 * np.ptp(x)) + 0.01
    return np.asarray(steep & (near | (_patch_areas(faces, steep, 0.5 * size) > _END_PATCH_SHARE * mean_area)))


def _patch_areas(faces: IntArray, picked: NDArray[np.bool_], areas: FloatArray) -> FloatArray:
    """Area (F,) of the connected patch of picked faces that each picked face is in, 0 elsewhere."""
    index = np.flatnonzero(picked)
    edges = np.sort(np.stack([faces[index], np.roll(faces[index], -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    owner = np.repeat(np.arange(len(index)), 3)
    order = np.lexsort(edges.T)
    same = (edges[order[1:]] == edges[order[:-1]]).all(axis=1)
    one, two = owner[order[:-1]][same], owner[order[1:]][same]
    graph = coo_matrix((np.ones(len(one)), (one, two)), shape=(len(index), len(index)))
    label = connected_components(graph, directed=False)[1]
    total = np.zeros(len(faces))
    if len(index):
        total[index] = np.bincount(label, weights=areas[index])[label]
    return total


def _samples(vertices: FloatArray, faces: IntArray, spacing: float) -> FloatArray:
    """Points (N, 3) all over the faces, no farther apart than about `spacing`."""
    corners = vertices[faces]
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    # Each face from its longest side: rows along it, the closer to the third corner the shorter.
    first = (sides.argmax(axis=1)[:, None] + np.arange(3)) % 3
    corners = corners[np.arange(len(corners))[:, None], first]
    longest = sides.max(axis=1)
    twice = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    along = np.maximum(1, np.ceil(longest / spacing)).astype(np.int64)
    up = np.maximum(1, np.ceil(twice / np.maximum(longest, 1e-12) / spacing)).astype(np.int64)
    points = [vertices[np.unique(faces)]]
    kinds, kind_of = np.unique(along * 100_000 + up, return_inverse=True)
    order = np.argsort(kind_of, kind="stable")
    groups = np.split(order, np.cumsum(np.bincount(kind_of, minlength=len(kinds)))[:-1])
    for kind, group in zip(kinds, groups, strict=True):
        count, rows = divmod(int(kind), 100_000)
        u, v = (grid.ravel() for grid in np.meshgrid(np.arange(count + 1) / count, np.arange(rows) / rows))
        a, b, c = (corners[group, None, k] for k in range(3))
        on_side = a * (1.0 - u)[:, None] + b * u[:, None]
        points.append((on_side * (1.0 - v)[:, None] + c * v[:, None]).reshape(-1, 3))
    everything = np.concatenate(points)
    # Small faces make more points than are wanted: one of each small cube is enough.
    cubes = np.floor(everything / (0.5 * spacing)).astype(np.int64)
    cubes -= cubes.min(axis=0)
    sizes = cubes.max(axis=0) + 1
    kept = np.unique((cubes[:, 0] * sizes[1] + cubes[:, 1]) * sizes[2] + cubes[:, 2], return_index=True)[1]
    return np.asarray(everything[kept])


def _near_surface(
    vertices: FloatArray,
    faces: IntArray,
    origin: FloatArray,
    grid: float,
    inside: NDArray[np.bool_],
    thickness: float,
) -> NDArray[np.bool_]:
    """Return the grid points beside which the wood's surface may pass, or its going on past an end."""
    marked = np.zeros(inside.shape, dtype=np.bool_)
    cells = np.rint((_samples(vertices, faces, grid) - origin) / grid).astype(np.int64)
    marked[tuple(cells.T)] = True
    cube = np.ones((3, 3, 3), dtype=np.bool_)
    beside = binary_dilation(marked, cube, iterations=2)
    within = binary_dilation(beside, cube, iterations=int(np.ceil(thickness / grid)))
    return np.asarray(np.where(inside, within, beside))


def _inside(
    vertices: FloatArray,
    faces: IntArray,
    origin: FloatArray,
    grid: float,
    shape: tuple[int, ...],
) -> NDArray[np.bool_]:
    """Which grid points (shape) lie inside a closed mesh."""
    change = np.zeros(shape, dtype=np.int16)
    _count_crossings((vertices - origin) / grid, faces, change)
    return np.asarray(np.cumsum(change, axis=2, dtype=np.int16) > 0)


@njit(cache=True)
def _count_crossings(vertices, faces, change):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Along each grid line in z, add 1 where it enters the mesh and take 1 where it leaves.

    Every edge is judged from its lower-numbered end, so that the two faces beside it agree about a grid
    line that passes through it, and none is counted twice or missed.
    """
    nx, ny, nz = change.shape
    for f in range(faces.shape[0]):
        i0, i1, i2 = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = vertices[i0]
        bx, by, bz = vertices[i1]
        cx, cy, cz = vertices[i2]
        twice = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if twice == 0.0:
            continue
        for i in range(max(0, int(np.ceil(min(ax, bx, cx)))), min(nx - 1, int(np.floor(max(ax, bx, cx)))) + 1):
            for j in range(max(0, int(np.ceil(min(ay, by, cy)))), min(ny - 1, int(np.floor(max(ay, by, cy)))) + 1):
                e0 = _left_of(vertices, i1, i2, i, j)
                e1 = _left_of(vertices, i2, i0, i, j)
                e2 = _left_of(vertices, i0, i1, i, j)
                if e0 != e1 or e1 != e2:
                    continue
                z = (
                    az
                    + (
                        (i - ax) * ((by - ay) * (cz - az) - (bz - az) * (cy - ay))
                        + (j - ay) * ((bz - az) * (cx - ax) - (bx - ax) * (cz - az))
                    )
                    / -twice
                )
                k = min(max(int(np.ceil(z)), 0), nz - 1)
                change[i, j, k] += -1 if twice > 0.0 else 1


@njit(cache=True)
def _left_of(vertices, start, end, x, y):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Whether a grid line stands left of a directed edge; the reverse for the edge reversed, always."""
    turned = start > end
    if turned:
        start, end = end, start
    ax, ay = vertices[start, 0], vertices[start, 1]
    side = (vertices[end, 0] - ax) * (y - ay) - (vertices[end, 1] - ay) * (x - ax)
    return (side > 0.0) != turned
