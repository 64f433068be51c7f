"""What a phone sees on its way round a log: rays from each picture that meet the first surface.

Each picture is a pinhole camera whose rays stand at random in its cells, so that points fall thinner with
distance and slant as they do for a phone, nothing behind another thing is seen, and points lie on the
surface itself before noise and drift are added.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely
from numba import njit
from numpy.random import Generator
from numpy.typing import NDArray

from scans.invented.draws import Range, draw, wander
from scans.invented.simulated_yard import Ground, Label, Thing, label_array
from scans.log import FloatArray, IntArray

_HALF_WIDTH, _HALF_HEIGHT = 0.6, 0.75
"""Tangents of half the picture's angles: 62 and 74 deg, a phone held upright."""

COARSE = 24
"""Width in cells of the pictures of a first look, which tells how fine they must be."""

COARSE_EVERY = 4
"""One picture in so many is looked at first."""

_GRAZING = (0.08, 0.4)
"""Cosines of slant: below the first nothing comes back, above the second everything."""

_LIT_FROM = np.array([0.4, 0.3, 0.87])


@dataclass(frozen=True)
class PhoneSettings:
    """How the phone is carried, and what it gets wrong; a range is drawn from anew for each walk.

    points : how many points the scan has, fewer where so many are not seen.
    pictures : how many places on the way it looks from.
    walk_away_m : how far the way lies off the log; walk_height_m : the phone over the ground. [m]
    walk_share : share of the way round that is gone.
    margin_m : ground and things farther than this from the log are cropped off. [m]
    noise_m : RMS noise square to the surface at 1.5 m, seen squarely; noise_per_m : its growth for each
        metre more; noise_slant : its growth for each unit of 1 / cosine of slant.
    drift_m : RMS of the slow drift of the phone's own place along the way. [m]
    scale_error : how much too large everything is.
    stray_share : share of points that stand in the air.
    unseen_top_deg : half the angle of a strip along the log's top, seen from its heart, that was not
        filmed; 0 for none. [deg]
    ground : whether the scan holds anything but wood; without it, the scan was cropped to the log.
    normals : whether the scan has normals; normal_error_deg : how far these are off. [deg]
    """

    points: int = 350_000
    pictures: int = 56
    walk_away_m: Range = (0.9, 1.5)
    walk_height_m: Range = (1.2, 1.5)
    walk_share: Range = (1.0, 1.0)
    margin_m: Range = (0.3, 0.8)
    noise_m: Range = (0.002, 0.004)
    noise_per_m: float = 0.4
    noise_slant: float = 0.25
    drift_m: Range = (0.001, 0.006)
    scale_error: Range = (-0.01, 0.01)
    stray_share: Range = (0.0005, 0.002)
    unseen_top_deg: Range = (0.0, 0.0)
    ground: bool = True
    normals: bool = True
    normal_error_deg: float = 6.0


class Hits(NamedTuple):
    """Where rays met surfaces.

    points_m : (N, 3), yard frame. [m]
    rays : (N, 3) unit directions from the phone; distance_m : (N,). [m]
    cosine : (N,) of the slant, 1 for a surface seen squarely.
    normals : (N, 3) unit, towards the phone.
    faces : (N,) rows of all things' faces together; picture : (N,) number of the picture.
    """

    points_m: FloatArray
    rays: FloatArray
    distance_m: FloatArray
    cosine: FloatArray
    normals: FloatArray
    faces: IntArray
    picture: IntArray

    def picked(self, which: NDArray[np.bool_] | IntArray) -> "Hits":
        """Return some of the hits."""
        return Hits(
            self.points_m[which],
            self.rays[which],
            self.distance_m[which],
            self.cosine[which],
            self.normals[which],
            self.faces[which],
            self.picture[which],
        )


@dataclass(frozen=True, eq=False)
class Walk:
    """Pictures on the way: places (P, 3) and axes (P, 3, 3), rows right, down and forward; yard frame.

    share : (P,) of the way gone at each.
    """

    places_m: FloatArray
    axes: FloatArray
    share: FloatArray

    def every(self, step: int) -> "Walk":
        """Return the way with one picture in `step`."""
        return Walk(self.places_m[::step], self.axes[::step], self.share[::step])


def walk_round(
    rng: Generator, around: Sequence[FloatArray], log: FloatArray, ground: Ground, settings: PhoneSettings
) -> Walk:
    """Return the way round some things, the phone turned to the log.

    around : vertices (V, 3) of each thing that is walked round. log : (V, 3) vertices of the log.
    """
    away = draw(rng, settings.walk_away_m)
    outline = shapely.MultiPoint(np.concatenate(around)[:, :2]).convex_hull.buffer(away).exterior
    share = (np.arange(settings.pictures) + rng.uniform(-0.3, 0.3, settings.pictures)) / settings.pictures
    gone = draw(rng, settings.walk_share)
    begun = rng.random()
    way = outline.interpolate(np.mod(begun + gone * share, 1.0), normalized=True)
    places = shapely.get_coordinates(way) + rng.normal(0.0, 0.03, (settings.pictures, 2))
    height = draw(rng, settings.walk_height_m) + 0.08 * wander(rng, share, 6.0)
    eyes = np.column_stack([places, ground.height_m(places) + height])
    low, high = log.min(axis=0), log.max(axis=0)
    middle = 0.5 * (low + high)
    target = np.column_stack(
        [
            np.clip(eyes[:, 0], low[0] + 0.2, high[0] - 0.2),
            np.clip(eyes[:, 1], 0.6 * low[1] + 0.4 * middle[1], 0.6 * high[1] + 0.4 * middle[1]),
            np.full(len(eyes), 0.6 * low[2] + 0.4 * high[2]),
        ]
    ) + rng.normal(0.0, 0.06, (len(eyes), 3))
    forward = target - eyes
    forward /= np.linalg.norm(forward, axis=1)[:, None]
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right, axis=1)[:, None]
    return Walk(eyes, np.stack([right, np.cross(forward, right), forward], axis=1), share)


def look(rng: Generator, walk: Walk, things: Sequence[Thing], columns: int) -> Hits:
    """Return what the rays of all pictures meet, each picture `columns` wide."""
    counts = np.cumsum([0] + [len(thing.vertices_m) for thing in things])
    vertices = np.concatenate([thing.vertices_m for thing in things])
    faces = np.concatenate([thing.faces + first for thing, first in zip(things, counts, strict=False)])
    closed = np.concatenate([np.full(len(thing.faces), thing.closed) for thing in things])
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-15)[:, None]
    rows = round(columns * _HALF_HEIGHT / _HALF_WIDTH)
    seen = np.empty_like(vertices)
    found = []
    for number, (place, axes) in enumerate(zip(walk.places_m, walk.axes, strict=True)):
        jitter = rng.random((rows, columns, 2))
        _turn(vertices, place, axes, seen)
        nearness = np.zeros((rows, columns))
        face = np.full((rows, columns), -1, dtype=np.int64)
        _draw(seen, faces, closed, jitter, _HALF_WIDTH, _HALF_HEIGHT, nearness, face)
        row, column = np.nonzero(face >= 0)
        u = ((column + jitter[row, column, 0]) / columns * 2.0 - 1.0) * _HALF_WIDTH
        v = ((row + jitter[row, column, 1]) / rows * 2.0 - 1.0) * _HALF_HEIGHT
        rays = np.stack([u, v, np.ones(len(u))], axis=1) @ axes
        size = np.linalg.norm(rays, axis=1)
        rays /= size[:, None]
        distance = size / nearness[row, column]
        hit = face[row, column]
        toward = -np.einsum("ij,ij->i", normals[hit], rays)
        found.append(
            Hits(
                place + distance[:, None] * rays,
                rays,
                distance,
                np.abs(toward),
                normals[hit] * np.sign(toward)[:, None],
                hit,
                np.full(len(hit), number),
            )
        )
    hits = Hits(*(np.concatenate(values) for values in zip(*found, strict=True)))
    back = np.clip((hits.cosine - _GRAZING[0]) / (_GRAZING[1] - _GRAZING[0]), 0.0, 1.0)
    return hits.picked(rng.random(len(back)) < back)


@njit(cache=True, nogil=True)
def _turn(vertices, place, axes, seen):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Write (V, 3) vertices as they lie right, down and forward of a camera."""
    for v in range(vertices.shape[0]):
        x, y, z = vertices[v, 0] - place[0], vertices[v, 1] - place[1], vertices[v, 2] - place[2]
        for k in range(3):
            seen[v, k] = axes[k, 0] * x + axes[k, 1] * y + axes[k, 2] * z


@njit(cache=True, nogil=True)
def _draw(seen, faces, closed, jitter, half_width, half_height, nearness, face):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Write 1 / depth and number of the nearest face that each cell's ray meets.

    seen : (V, 3) vertices right, down and forward of the camera. A face that reaches behind the camera is
    left out: what is drawn here is small, and the camera looks away from it.
    """
    rows, columns = face.shape
    across, down = columns / (2.0 * half_width), rows / (2.0 * half_height)
    for f in range(faces.shape[0]):
        i, j, k = faces[f, 0], faces[f, 1], faces[f, 2]
        za, zb, zc = seen[i, 2], seen[j, 2], seen[k, 2]
        if za < 0.05 or zb < 0.05 or zc < 0.05:
            continue
        ua, ub, uc = seen[i, 0] / za, seen[j, 0] / zb, seen[k, 0] / zc
        low, high = min(ua, ub, uc), max(ua, ub, uc)
        if high < -half_width or low > half_width:
            continue
        va, vb, vc = seen[i, 1] / za, seen[j, 1] / zb, seen[k, 1] / zc
        top, bottom = min(va, vb, vc), max(va, vb, vc)
        if bottom < -half_height or top > half_height:
            continue
        twice = (ub - ua) * (vc - va) - (vb - va) * (uc - ua)
        # With v downwards and the camera outside, the corners of a face seen from outside give twice < 0.
        if twice == 0.0 or (closed[f] and twice > 0.0):
            continue
        first_row, last_row = int((top + half_height) * down), int((bottom + half_height) * down)
        first_column, last_column = int((low + half_width) * across), int((high + half_width) * across)
        for row in range(max(0, first_row), min(rows - 1, last_row) + 1):
            for column in range(max(0, first_column), min(columns - 1, last_column) + 1):
                u = (column + jitter[row, column, 0]) / across - half_width
                v = (row + jitter[row, column, 1]) / down - half_height
                wa = ((ub - u) * (vc - v) - (vb - v) * (uc - u)) / twice
                wb = ((uc - u) * (va - v) - (vc - v) * (ua - u)) / twice
                wc = 1.0 - wa - wb
                if wa < 0.0 or wb < 0.0 or wc < 0.0:
                    continue
                near = wa / za + wb / zb + wc / zc
                if near > nearness[row, column]:
                    nearness[row, column] = near
                    face[row, column] = f


def columns_for(points: int, kept_of_coarse: int) -> int:
    """How wide pictures must be for so many points, if the coarse ones gave `kept_of_coarse`."""
    return int(np.ceil(COARSE * np.sqrt(1.15 * points / (kept_of_coarse * COARSE_EVERY)))) + 1


def noise_of_m(noise_m: float, settings: PhoneSettings, hits: Hits) -> FloatArray:
    """RMS noise square to the surface at each hit (N,). [m]."""
    distance = np.maximum(hits.distance_m - 1.5, 0.0)
    slant = np.minimum(1.0 / hits.cosine, 6.0) - 1.0
    return np.asarray(noise_m * (1.0 + settings.noise_per_m * distance) * (1.0 + settings.noise_slant * slant))


def noisy(rng: Generator, walk: Walk, hits: Hits, settings: PhoneSettings) -> FloatArray:
    """Points (N, 3) with noise and drift, yard frame. [m].

    Noise moves a point along its ray, by so much that it lies off its surface by the noise asked for. The
    drift has no mean over the way, but its end does not meet its beginning: where the way closes, the log
    is seen twice.
    """
    off = rng.normal(0.0, 1.0, len(hits.points_m)) * noise_of_m(draw(rng, settings.noise_m), settings, hits)
    points = hits.points_m - (off / np.maximum(hits.cosine, 0.25))[:, None] * hits.rays
    drift = draw(rng, settings.drift_m)
    moves = np.stack([wander(rng, walk.share, 4.0) for _ in range(4)], axis=1)
    moves -= moves.mean(axis=0)
    moves *= np.array([1.0, 1.0, 0.5, 1.0]) * drift / np.sqrt((moves[:, :3] ** 2).sum(axis=1).mean())
    middle = hits.points_m.mean(axis=0)
    # The heading drifts as well: by as much again one metre from the middle.
    turn = moves[hits.picture, 3] * 0.5
    aside = points - middle
    points = points + moves[hits.picture, :3]
    points[:, 0] -= turn * aside[:, 1]
    points[:, 1] += turn * aside[:, 0]
    return points


def colours_of(rng: Generator, things: Sequence[Thing], hits: Hits) -> NDArray[np.uint8]:
    """Colours (N, 3) by the light of a bright overcast day."""
    paint = np.concatenate([thing.colours for thing in things])[hits.faces]
    light = 0.55 + 0.45 * np.clip(hits.normals @ _LIT_FROM, 0.0, 1.0)
    shade = light * rng.normal(1.0, 0.03, len(light))
    return (255.0 * np.clip(paint * shade[:, None], 0.0, 1.0)).astype(np.uint8)


def normals_of(rng: Generator, hits: Hits, error_deg: float) -> FloatArray:
    """Return unit normals (N, 3) as a phone reckons them, towards it, off by `error_deg` RMS."""
    off = hits.normals + rng.normal(0.0, np.radians(error_deg) / np.sqrt(2.0), hits.normals.shape)
    return np.asarray(off / np.linalg.norm(off, axis=1)[:, None])


def strayed(rng: Generator, hits: Hits, share: float, labels: NDArray[np.uint8]) -> tuple[Hits, NDArray[np.uint8]]:
    """Return hits and labels with some hits moved along their rays into the air before what they met."""
    which = rng.random(len(labels)) < share
    distance = np.where(which, hits.distance_m * rng.uniform(0.5, 0.93, len(labels)), hits.distance_m)
    points = hits.points_m - (hits.distance_m - distance)[:, None] * hits.rays
    return hits._replace(points_m=points, distance_m=distance), np.where(which, np.uint8(Label.STRAY), labels)


def labels_of(things: Sequence[Thing], hits: Hits) -> NDArray[np.uint8]:
    """Label (N,) of what each hit is on."""
    return np.asarray(label_array(things)[hits.faces])
