"""Invented yards: a round log on the ground with what lies about it, each point with what it belongs to."""

from typing import NamedTuple

import numpy as np
from numpy.random import Generator

LOG, GROUND, GRASS, BUNK, STONE, BOOT, STRAY, OTHER_LOG = range(8)


class Yard(NamedTuple):
    """Points (N, 3) in metres, z up, and what each (N,) belongs to."""

    points_m: np.ndarray
    labels: np.ndarray


def round_log(
    rng: Generator,
    length=3.0,
    radius=0.3,
    *,
    seen_below_deg=40.0,
    seen_above_deg=90.0,
    density=6000.0,
    taper=0.02,
    ends=True,
) -> np.ndarray:
    """Points of a round log along x from x = 0, axis at the height of its butt's radius.

    seen_below_deg, seen_above_deg : how far down and up from level its flanks are seen.
    """
    count = int(density * 2.0 * np.pi * radius * length)
    x, turn = rng.uniform(0.0, length, count), rng.uniform(-np.pi, np.pi, count)
    r = radius * (1.0 - taper * x) * (1.0 + 0.01 * np.cos(3.0 * turn + x))
    wall = np.stack([x, r * np.cos(turn), r * np.sin(turn)], axis=1)
    low, high = -np.sin(np.radians(seen_below_deg)), np.sin(np.radians(seen_above_deg))
    parts = [wall[(np.sin(turn) > low) & (np.sin(turn) < high)]]
    for at, r in ((0.0, radius), (length, radius * (1.0 - taper * length))):
        n = int(density * np.pi * r * r)
        rho, turn = r * np.sqrt(rng.random(n)), rng.uniform(-np.pi, np.pi, n)
        parts.append(np.stack([np.full(n, at), rho * np.cos(turn), rho * np.sin(turn)], axis=1))
    points = np.concatenate(parts if ends else parts[:1])
    return points + np.array([0.0, 0.0, radius])


def box(rng: Generator, middle, size, density=6000.0) -> np.ndarray:
    """Points of a box's faces."""
    parts = []
    for axis in range(3):
        rest = [k for k in range(3) if k != axis]
        n = int(density * size[rest[0]] * size[rest[1]])
        for side in (-0.5, 0.5):
            points = (rng.random((n, 3)) - 0.5) * size
            points[:, axis] = side * size[axis]
            parts.append(points)
    return np.concatenate(parts) + middle


def ball(rng: Generator, middle, radii, density=6000.0) -> np.ndarray:
    """Points of an ellipsoid."""
    radii = np.broadcast_to(radii, 3)
    way = rng.normal(size=(int(density * 4.0 * np.pi * float(np.mean(radii)) ** 2), 3))
    return way / np.linalg.norm(way, axis=1)[:, None] * radii + middle


def yard(
    seed: int,
    *,
    things: tuple[int, ...] = (),
    radius: float = 0.3,
    length: float = 3.0,
    slope_deg: float = 0.0,
    yaw_deg: float = 0.0,
    noise_m: float = 0.003,
    uneven_m: float = 0.01,
    seen_above_deg: float = 90.0,
) -> Yard:
    """Return an invented yard; `things` names by their labels what lies about the log."""
    rng = np.random.default_rng(seed)
    lift = 0.1 if BUNK in things else 0.0
    log = round_log(rng, length, radius, seen_above_deg=seen_above_deg) + np.array([0.0, 0.0, lift])
    parts = [(LOG, log)]
    flat = rng.uniform([-0.8, -1.4, 0.0], [length + 0.8, 1.4, 0.0], (int(5000 * (length + 1.6) * 2.8), 3))
    under = (np.abs(flat[:, 1]) < 0.75 * radius) & (flat[:, 0] > 0.0) & (flat[:, 0] < length)
    parts.append((GROUND, flat[~under]))
    if BUNK in things:
        parts += [(BUNK, box(rng, [x, 0.0, 0.05], [0.1, 1.2, 0.1])) for x in (0.5, length - 0.5)]
    if STONE in things:
        parts.append((STONE, ball(rng, [0.4 * length, radius + 0.1, 0.06], 0.13)))
    if BOOT in things:
        parts.append((BOOT, ball(rng, [0.7 * length, -radius - 0.13, 0.05], [0.06, 0.14, 0.06])))
        parts.append((BOOT, ball(rng, [0.7 * length, -radius - 0.17, 0.2], [0.06, 0.06, 0.2])))
    if GRASS in things:
        for _ in range(60):
            foot = [rng.uniform(0.0, length), rng.choice([-1.0, 1.0]) * (radius + rng.uniform(-0.02, 0.1))]
            up = rng.random((12, 1)) * rng.uniform(0.08, 0.3)
            parts.append((GRASS, np.concatenate([foot + up * rng.normal(0.0, 0.3, 2), up], axis=1)))
    if STRAY in things:
        parts.append((STRAY, rng.uniform([-0.8, -1.4, -0.2], [length + 0.8, 1.4, 1.2], (150, 3))))
    if OTHER_LOG in things:
        parts.append((OTHER_LOG, round_log(rng, 1.8, 0.16) + np.array([0.5, radius + 0.6, 0.0])))
    points = np.concatenate([points for _, points in parts])
    labels = np.concatenate([np.full(len(points), label) for label, points in parts])
    # Nothing is seen inside the log, nor under the ground.
    axis_off = np.hypot(points[:, 1], points[:, 2] - radius - lift)
    hidden = (labels != LOG) & (labels != GROUND) & (labels != OTHER_LOG)
    hidden &= (axis_off < radius * 0.94) & (points[:, 0] > 0.0) & (points[:, 0] < length)
    hidden |= (points[:, 2] < 0.0) & (labels != STRAY)
    points, labels = points[~hidden], labels[~hidden]
    points = points + rng.normal(0.0, noise_m, points.shape)
    points[:, 2] += uneven_m * np.sin(2.0 * points[:, 0]) * np.cos(1.5 * points[:, 1])
    tilt, yaw = np.radians(slope_deg), np.radians(yaw_deg)
    lean = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    turn = np.array([[np.cos(yaw), -np.sin(yaw), 0], [np.sin(yaw), np.cos(yaw), 0], [0, 0, 1]])
    order = rng.permutation(len(points))
    return Yard((points @ lean.T @ turn.T + [3.0, -2.0, 0.7])[order], labels[order])
