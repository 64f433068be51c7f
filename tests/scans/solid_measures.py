"""Measures taken from the triangles alone, by other ways than the code under test."""

import numpy as np
import trimesh


def section_points(vertices, faces, x):
    """Points (N, 2), (y, z), where the edges of a mesh pass through the plane at x."""
    ends = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    a, b = vertices[ends[:, 0]], vertices[ends[:, 1]]
    crossing = (a[:, 0] - x) * (b[:, 0] - x) < 0.0
    a, b = a[crossing], b[crossing]
    share = (x - a[:, 0]) / (b[:, 0] - a[:, 0])
    return a[:, 1:] + share[:, None] * (b - a)[:, 1:]


def clockwise(toward_deg):
    """Direction (y, z) from upright, clockwise for someone at the butt who looks along +x, y to the left."""
    return np.array([-np.sin(np.radians(toward_deg)), np.cos(np.radians(toward_deg))])


def span(points, toward_deg):
    """Extent of points (N, 2) in a direction."""
    return np.ptp(points @ clockwise(toward_deg))


def string_gaps(vertices, faces, toward_deg, places):
    """Gap (N,) at each place between a string along the side of a solid and its surface."""
    low, high = vertices[:, 0].min(), vertices[:, 0].max()
    sides = [(section_points(vertices, faces, x) @ clockwise(toward_deg)).max() for x in (low + 1e-6, high - 1e-6)]
    surface = np.array([(section_points(vertices, faces, x) @ clockwise(toward_deg)).max() for x in places])
    return np.interp(places, [low, high], sides) - surface


def rotation(axis, angle_deg):
    """Rotation (3, 3) about an axis (Rodrigues)."""
    x, y, z = np.asarray(axis, dtype=float) / np.linalg.norm(axis)
    k = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    angle = np.radians(angle_deg)
    return np.eye(3) + np.sin(angle) * k + (1.0 - np.cos(angle)) * k @ k


def section_centres(vertices, faces):
    """Places (N,) along x, 5 % of the length from each end left out, and centroids (N, 2) of the sections there."""
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    low, high = mesh.bounds[:, 0]
    places, centres = np.linspace(low, high, 82)[4:-4], []
    for x in places:
        lines, owners = trimesh.intersections.mesh_plane(mesh, [1.0, 0.0, 0.0], [x, 0.0, 0.0], return_faces=True)
        # Green's theorem over the segments, each turned so that the wood lies on its left.
        outward = mesh.face_normals[owners][:, 1:]
        a, b = lines[:, 0, 1:], lines[:, 1, 1:]
        turned = ((b - a) * np.stack([-outward[:, 1], outward[:, 0]], axis=1)).sum(axis=1) < 0.0
        a, b = np.where(turned[:, None], b, a), np.where(turned[:, None], a, b)
        cross = a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]
        centres.append(((a + b) * cross[:, None]).sum(axis=0) / (3.0 * cross.sum()))
    return places, np.array(centres)


def volume_outside(inner, outer):
    """Volume of one Solid outside another. [m3]."""
    from scans.solids.bodies import body_from_mesh  # noqa: PLC0415

    bodies = [body_from_mesh(solid.vertices_m, solid.faces) for solid in (inner, outer)]
    return (bodies[0] - bodies[1]).volume()
