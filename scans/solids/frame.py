"""The log frame of a closed solid: its axis, its up, and where x, y and z are 0."""

import numpy as np
from manifold3d import Manifold

from scans.errors import NotALogError
from scans.log import FloatArray
from scans.solids.bodies import Section, extent_along, section_at, upended

STATION_M = 0.03
"""Distance from one section to the next along the axis. [m]."""

RAGGED_SHARE = 0.05
"""Share of the length at each end whose sections do not count for the axis."""

_STEEP = np.cos(np.radians(80.0))
"""An axis steeper than 80 deg has no up square to it that means anything."""


def axis_sections(standing: Manifold) -> list[Section]:
    """Sections every 3 cm or so between the ragged ends of an upended body.

    Left out: 5 % of the length at each end, and sections of less than a fifth of the median area.
    """
    low, high = extent_along(standing)
    margin = RAGGED_SHARE * (high - low)
    count = int(np.clip(round((high - low) / STATION_M), 24, 200))
    edges = np.linspace(low + margin, high - margin, count + 1)
    sections = [section_at(standing, x) for x in 0.5 * (edges[:-1] + edges[1:])]
    median = float(np.median([section.area_m2 for section in sections]))
    return [section for section in sections if section.area_m2 > 0.2 * median]


def long_axis(vertices: FloatArray, faces: FloatArray) -> FloatArray:
    """Return the unit vector (3,) of the longest spread of a surface, a first guess at the axis.

    Raises NotALogError where no side is clearly the longest.
    """
    corners = vertices[faces]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    centres = corners.mean(axis=1)
    spread = np.cov(centres.T, aweights=areas)
    axes = np.linalg.eigh(spread)[1][:, ::-1]
    extents = np.ptp(vertices @ axes, axis=0)
    if extents[0] < 1.2 * extents[1:].max():
        raise NotALogError(
            f"the solid is {extents[0]:.2f} x {extents[1]:.2f} x {extents[2]:.2f} in the file's units: "
            "no side is clearly the longest, so which way the log runs cannot be told; "
            "cut ground and loose objects off, or scan the whole log",
        )
    return np.asarray(axes[:, 0])


def axes_from(along: FloatArray, up: FloatArray) -> FloatArray:
    """Rotation (3, 3) with rows x = `along`, y and z, z being `up` made square to x.

    Where `along` is within 10 deg of `up`, the first of the file's x and y axes that is square
    enough to it stands in for up.
    """
    x = along / np.linalg.norm(along)
    for candidate in (up, np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])):
        z = candidate - (candidate @ x) * x
        if np.linalg.norm(z) > _STEEP * np.linalg.norm(candidate):
            break
    z = z / np.linalg.norm(z)
    return np.stack([x, np.cross(z, x), z])


def log_frame(body: Manifold, along: FloatArray, up: FloatArray | None = None) -> FloatArray:
    """Matrix (4, 4) from the frame of a body to its log frame.

    body : the closed solid, in any frame, metres.
    along : (3,) a first guess at the axis, pointing from the butt end to the top end.
    up : (3,) which way is up in that frame; None means +z.

    The axis is the least-squares line through the centroids of the sections (all pieces of a section
    together), found again across itself until it stays: at the end, sections square to the axis have
    centroids whose slopes along it are 0. x = 0 at the outermost point of the butt, y = z = 0 on the
    line.
    """
    upward = np.array([0.0, 0.0, 1.0]) if up is None else up
    rotation = axes_from(np.asarray(along, dtype=np.float64), upward)
    for _ in range(20):
        standing = upended(body, rotation)
        sections = axis_sections(standing)
        x = np.array([section.x_m for section in sections])
        centres = np.array([section.centre_m for section in sections])
        slopes = np.polyfit(x - x.mean(), centres, 1)[0]
        if np.abs(slopes).max() < 1e-6:
            break
        rotation = axes_from(rotation.T @ np.array([1.0, slopes[0], slopes[1]]), upward)
    middle = centres.mean(axis=0)
    matrix = np.eye(4)
    matrix[:3, :3] = rotation
    matrix[:3, 3] = [-extent_along(upended(body, rotation))[0], -middle[0], -middle[1]]
    return matrix


def reversed_frame(matrix: FloatArray, length_m: float) -> FloatArray:
    """Return the log frame for the other end as the butt: half a turn about z, x = 0 at the far end."""
    turn = np.diag([-1.0, -1.0, 1.0, 1.0])
    turn[0, 3] = length_m
    return np.asarray(turn @ matrix)
