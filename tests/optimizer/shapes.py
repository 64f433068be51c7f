"""Logs with known answers, made without the code that reads sheets and scans. Invented, for tests only."""

from dataclasses import replace

import manifold3d
import numpy as np

from scans.log import Fork, Log, Solid


def tube(centres, radii_y, radii_z, points=96):
    """Loft ellipses square to x through centres (S, 3); a closed solid with flat ends."""
    centres = np.asarray(centres, dtype=float)
    count = len(centres)
    radii_y, radii_z = np.broadcast_to(radii_y, count), np.broadcast_to(radii_z, count)
    angle = np.linspace(0.0, 2.0 * np.pi, points, endpoint=False)
    rings = np.stack(
        [
            np.repeat(centres[:, :1], points, axis=1),
            centres[:, 1:2] + radii_y[:, None] * np.cos(angle),
            centres[:, 2:3] + radii_z[:, None] * np.sin(angle),
        ],
        axis=2,
    )
    vertices = np.concatenate([rings.reshape(-1, 3), centres[:1], centres[-1:]])
    faces = []
    for s in range(count - 1):
        for p in range(points):
            a, b = s * points + p, s * points + (p + 1) % points
            c, d = a + points, b + points
            faces += [(a, b, d), (a, d, c)]
    butt, top = count * points, count * points + 1
    for p in range(points):
        q = (p + 1) % points
        faces += [(butt, q, p), (top, (count - 1) * points + p, (count - 1) * points + q)]
    return Solid(vertices, np.array(faces))


def log_of(solid, hearts=(), name="test log", forks=()):
    lines = tuple(np.asarray(h, dtype=float) for h in hearts)
    return Log(name=name, outer=solid, wood=solid, hearts=lines, forks=forks)


def cylinder(radius_m=0.3, length_m=3.0, points=192, heart=True):
    ends = [(0.0, 0.0, 0.0), (length_m, 0.0, 0.0)]
    return log_of(tube(ends, radius_m, radius_m, points), [ends] if heart else [])


def frustum(butt_m=0.35, top_m=0.25, length_m=3.0, points=192):
    ends = [(0.0, 0.0, 0.0), (length_m, 0.0, 0.0)]
    return log_of(tube(ends, [butt_m, top_m], [butt_m, top_m], points), [ends])


def ellipse(radius_y_m=0.4, radius_z_m=0.25, length_m=3.0, points=192):
    ends = [(0.0, 0.0, 0.0), (length_m, 0.0, 0.0)]
    return log_of(tube(ends, radius_y_m, radius_z_m, points), [ends])


def bent(bow_m=0.08, radius_m=0.25, length_m=3.0, toward_deg=0.0, stations=41):
    """A bow whose middle stands off by bow_m, towards an angle from +z towards -y."""
    x = np.linspace(0.0, length_m, stations)
    off = bow_m * 4.0 * (x / length_m) * (1.0 - x / length_m)
    way = np.radians(toward_deg)
    centres = np.stack([x, -off * np.sin(way), off * np.cos(way)], axis=1)
    centres[:, 1:] -= centres[:, 1:].mean(axis=0)
    return log_of(tube(centres, radius_m, radius_m, 64), [centres])


def forked(spread_deg=22.0, stem_m=0.3, limb_m=0.2, stem_length_m=1.4, limb_length_m=1.8, roll_deg=0.0, lumpy=0.0):
    """A stem that divides into two limbs in the plane z = 0 (then turned by roll_deg)."""
    rng = np.random.default_rng(5)
    x = np.linspace(0.0, stem_length_m + 0.3, 24)
    wave = 1.0 + lumpy * np.sin(7.0 * x + 1.0) if lumpy else np.ones_like(x)
    stem = tube(np.stack([x, 0.02 * np.sin(2.0 * x), 0.0 * x], axis=1), stem_m * wave, 0.9 * stem_m * wave, 96)
    bodies = [manifold(stem)]
    fork = np.array([stem_length_m, 0.0, 0.0])
    hearts = [np.array([[0.0, 0.0, 0.0], fork])]
    for k, way in enumerate((1.0, -1.0)):
        angle = np.radians(spread_deg) * way * (1.0 + 0.1 * k)
        s = np.linspace(0.0, limb_length_m, 20)
        centres = fork + np.stack([s * np.cos(angle), s * np.sin(angle), 0.03 * way * np.sin(2.5 * s)], axis=1)
        radii = limb_m * (1.0 + 0.15 * k) * (1.0 - 0.12 * s / limb_length_m)
        bodies.append(manifold(tube(centres, radii, radii * rng.uniform(0.92, 1.08), 64)))
        hearts.append(centres)
    joined = manifold3d.Manifold.batch_boolean(bodies, manifold3d.OpType.Add)
    mesh = joined.to_mesh64()
    vertices = np.asarray(mesh.vert_properties)[:, :3].copy()
    vertices[:, 0] -= vertices[:, 0].min()
    solid = Solid(vertices, np.asarray(mesh.tri_verts).astype(np.int64))
    crotch = fork + np.array([limb_m / np.sin(np.radians(spread_deg)), 0.0, 0.0])
    one = Fork(
        crotch_m=crotch,
        normal=np.array([0.0, 0.0, 1.0]),
        direction=np.array([1.0, 0.0, 0.0]),
        diameter_m=2.0 * stem_m,
        below_m=crotch[0] - fork[0] + 2.0 * stem_m,
        above_m=0.0,
    )
    return turned(log_of(solid, hearts, forks=(one,)), roll_deg)


def manifold(solid):
    return manifold3d.Manifold(manifold3d.Mesh64(solid.vertices_m.copy(), solid.faces.astype(np.uint64)))


def turned(log, roll_deg):
    """Turn a log about its axis, as it would be measured if it had lain so."""
    a = np.radians(roll_deg)
    matrix = np.eye(4)
    matrix[1:3, 1:3] = [[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]
    outer = log.outer.moved(matrix)
    wood = outer if log.wood is log.outer else log.wood.moved(matrix)
    hearts = tuple(h @ matrix[:3, :3].T for h in log.hearts)
    forks = tuple(
        replace(
            fork,
            crotch_m=matrix[:3, :3] @ fork.crotch_m,
            normal=matrix[:3, :3] @ fork.normal,
            direction=matrix[:3, :3] @ fork.direction,
        )
        for fork in log.forks
    )
    return replace(log, outer=outer, wood=wood, hearts=hearts, forks=forks)


def with_bark(log, ratio):
    """Give a log of circular or oval sections about the x axis a bark: wood at `ratio` of the radius."""
    shrink = np.diag([1.0, ratio, ratio, 1.0])
    return Log(name=log.name, outer=log.outer, wood=log.outer.moved(shrink), hearts=log.hearts, bark_thickness_m=0.01)


def forked_in_bark(bark_m=0.015, **given):
    """Give a fork a bark: wood whose stem and limbs are thinner by as much all round, cut by the same ends."""
    stem_m, limb_m = given.pop("stem_m", 0.3), given.pop("limb_m", 0.2)
    whole = forked(stem_m=stem_m, limb_m=limb_m, **given)
    wood = forked(stem_m=stem_m - bark_m, limb_m=limb_m - bark_m, **given)
    return replace(whole, wood=wood.outer, bark_thickness_m=bark_m)
