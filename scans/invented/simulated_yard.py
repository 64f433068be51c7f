"""What stands about an invented log: ground, grass, bunks, stones, boots and a second log, as triangles.

Yard frame: metres, z up, the origin on the ground under the middle of the log.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import trimesh
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scans.invented.draws import Range, draw, draw_count
from scans.invented.simulated_log import LogSettings, SimulatedLog, simulate_log
from scans.log import FloatArray, IntArray

_CELL_M = 0.06
"""Edge of a cell of the ground."""

_SUNK_M = 0.006
"""How deep the log presses into what it lies on."""

_NEAR_M = 0.12
"""Grass that touches the log is rooted this near to its outline."""


class Label(IntEnum):
    """What a point of a scan is."""

    LOG = 0
    GROUND = 1
    GRASS = 2
    BUNK = 3
    STONE = 4
    BOOT = 5
    STRAY = 6
    OTHER_LOG = 7


@dataclass(frozen=True)
class YardSettings:
    """What stands about the log; a range is drawn from anew for each yard.

    slope_deg : of the ground. [deg]
    rolling_m : height of the ground's waves. [m]
    grass_per_m2 : blades for each square metre; grass_height_m : how high at most. [m]
    grass_touches : whether grass grows up to the log and against it, denser there and up to 2.5 times as
        high; else it keeps `grass_away_m` off. [m]
    bunks : beams under the log, 0 if it lies on the ground; bunk_height_m, bunk_width_m : their section. [m]
    stones, persons : how many; stones_touch : whether half of the stones lie against the log.
    stone_m : a stone's radius. [m]
    person_away_m : how far a person's boots are from the log. [m]
    other_logs : how many lie beside it; other_log_away_m : clear distance between them. [m]
    """

    slope_deg: Range = (0.0, 3.0)
    rolling_m: Range = (0.005, 0.03)
    grass_per_m2: Range = (0.0, 0.0)
    grass_height_m: Range = (0.06, 0.2)
    grass_touches: bool = False
    grass_away_m: float = 0.3
    bunks: tuple[int, int] = (0, 0)
    bunk_height_m: Range = (0.1, 0.2)
    bunk_width_m: Range = (0.1, 0.2)
    stones: tuple[int, int] = (0, 0)
    stones_touch: bool = False
    stone_m: Range = (0.04, 0.12)
    persons: tuple[int, int] = (0, 0)
    person_away_m: Range = (0.15, 0.5)
    other_logs: tuple[int, int] = (0, 0)
    other_log_away_m: Range = (0.25, 0.6)


@dataclass(frozen=True, eq=False)
class Ground:
    """Ground height: a slope and a few waves.

    slope : (2,) rise along x and y. waves : (K, 4) height [m], wave numbers along x and y [rad/m], phase.
    """

    slope: FloatArray
    waves: FloatArray

    @classmethod
    def drawn(cls, rng: Generator, settings: YardSettings) -> "Ground":
        """Return ground drawn from settings."""
        steep, toward = np.tan(np.radians(draw(rng, settings.slope_deg))), rng.uniform(0.0, 2.0 * np.pi)
        height = draw(rng, settings.rolling_m)
        lengths, turns = rng.uniform(0.4, 2.5, 6), rng.uniform(0.0, 2.0 * np.pi, 6)
        number = 2.0 * np.pi / lengths
        heights = height * 0.8 * rng.uniform(0.3, 1.0, 6) * lengths / lengths.max()
        waves = [heights, number * np.cos(turns), number * np.sin(turns), rng.uniform(0.0, 2.0 * np.pi, 6)]
        return cls(steep * np.array([np.cos(toward), np.sin(toward)]), np.stack(waves, axis=1))

    def height_m(self, places_m: FloatArray) -> FloatArray:
        """Height (N,) at places (N, 2). [m]."""
        turns = places_m @ self.waves[:, 1:3].T + self.waves[:, 3]
        return np.asarray(places_m @ self.slope + np.sin(turns) @ self.waves[:, 0])


@dataclass(frozen=True, eq=False)
class Thing:
    """Triangles of one thing: vertices (V, 3), faces (F, 3), colours (F, 3) from 0 to 1.

    closed : whether its faces are seen from outside only.
    """

    label: Label
    vertices_m: FloatArray
    faces: IntArray
    colours: FloatArray
    closed: bool = True


@dataclass(frozen=True, eq=False)
class Yard:
    """An invented log as it lies, and all about it, the log first.

    log_to_yard : (4, 4) rigid.
    other_logs : those beside it, in their own log frames.
    """

    things: tuple[Thing, ...]
    ground: Ground
    log_to_yard: FloatArray
    other_logs: tuple[SimulatedLog, ...]


def lay_out(rng: Generator, log: SimulatedLog, settings: YardSettings) -> Yard:
    """Return a yard about a log."""
    ground = Ground.drawn(rng, settings)
    # One stream a kind, so that one more stone does not move the grass.
    streams = rng.spawn(6)
    bunk_count = draw_count(streams[0], settings.bunks)
    clearance = draw(streams[0], settings.bunk_height_m) if bunk_count else 0.0
    matrix = _settled(log.solid.vertices_m, ground, log.length_m, clearance)
    lying = log.solid.vertices_m @ matrix[:3, :3].T + matrix[:3, 3]
    things = [_log_thing(streams[1], Label.LOG, log, lying)]
    others = []
    for number in range(draw_count(streams[2], settings.other_logs)):
        other, thing = _other_log(streams[2], log, lying, ground, settings, side=1 - 2 * (number % 2))
        others.append(other)
        things.append(thing)
    things += [
        _bunk(streams[0], lying, matrix, place, ground, draw(streams[0], settings.bunk_width_m))
        for place in _bunk_places(streams[0], log.length_m, bunk_count)
    ]
    tree = cKDTree(lying)
    for number in range(draw_count(streams[3], settings.stones)):
        touching = settings.stones_touch and number % 2 == 0
        things.append(_stone(streams[3], tree, lying, ground, draw(streams[3], settings.stone_m), touching))
    for _ in range(draw_count(streams[4], settings.persons)):
        things += _boots(streams[4], cKDTree(lying[:, :2]), lying, ground, draw(streams[4], settings.person_away_m))
    things.append(_ground_thing(streams[5], lying, ground))
    blades = draw(streams[5], settings.grass_per_m2)
    if blades > 0.0:
        things.append(_grass(streams[5], lying, ground, settings, blades))
    return Yard(tuple(things), ground, matrix, tuple(others))


def _settled(vertices: FloatArray, ground: Ground, length: float, clearance: float) -> FloatArray:
    """Matrix (4, 4) that lays a log on the ground at both ends, or as much above it as `clearance`."""
    matrix = np.eye(4)
    matrix[0, 3] = -0.5 * length
    butt, top = vertices[:, 0] < length / 3.0, vertices[:, 0] > length * 2.0 / 3.0
    tilt = -np.arctan(ground.slope[0])
    for _ in range(8):
        cosine, sine = np.cos(tilt), np.sin(tilt)
        matrix[:3, :3] = [[cosine, 0.0, sine], [0.0, 1.0, 0.0], [-sine, 0.0, cosine]]
        lying = vertices @ matrix[:3, :3].T + matrix[:3, 3]
        gaps = lying[:, 2] - ground.height_m(lying[:, :2])
        tilt += 0.8 * (gaps[top].min() - gaps[butt].min()) / (0.7 * length)
    matrix[2, 3] = clearance - gaps.min() - (0.0 if clearance else _SUNK_M)
    return matrix


def _log_thing(rng: Generator, label: Label, log: SimulatedLog, lying: FloatArray) -> Thing:
    """Bark in patches of grey and brown, end faces of pale wood darker at the heart."""
    faces = log.solid.faces
    centres = log.solid.vertices_m[faces].mean(axis=1)
    patches = np.sin(centres @ rng.normal(0.0, 9.0, (3, 5)) + rng.uniform(0.0, 6.28, 5)).mean(axis=1)
    bark = np.array([0.52, 0.46, 0.40]) * (1.0 + 0.35 * patches)[:, None]
    bark *= rng.uniform(0.7, 1.2, (len(faces), 1))
    away = cKDTree(np.concatenate(log.hearts)).query(centres)[0] / (0.5 * log.diameter_m)
    rings = 1.0 + 0.05 * np.sin(away * 60.0)
    wood = np.array([0.80, 0.66, 0.46]) * np.clip(0.75 + 0.3 * away, 0.7, 1.05)[:, None] * rings[:, None]
    return Thing(label, lying, faces, np.where(log.end_faces[:, None], wood, bark))


def _other_log(
    rng: Generator, log: SimulatedLog, lying: FloatArray, ground: Ground, settings: YardSettings, side: int
) -> tuple[SimulatedLog, Thing]:
    """Return a thinner, shorter log beside the first, nearly along it."""
    diameter = min(draw(rng, (0.2, 0.35)), 0.6 * log.diameter_m)
    length = draw(rng, (0.5, 0.8)) * log.length_m
    wanted = LogSettings(
        length_m=(length, length),
        diameter_m=(diameter, diameter),
        stubs=(0, 1),
        stub_diameter_m=(0.05, 0.08),
        bump_m=(0.005, 0.01),
        edge_m=0.02,
    )
    other = simulate_log(rng, wanted)
    yaw, along = np.radians(rng.uniform(-12.0, 12.0)), draw(rng, (-0.1, 0.1)) * log.length_m
    away = draw(rng, settings.other_log_away_m)
    turn = np.array([[np.cos(yaw), -np.sin(yaw), 0.0], [np.sin(yaw), np.cos(yaw), 0.0], [0.0, 0.0, 1.0]])
    points = (other.solid.vertices_m - [0.5 * other.length_m, 0.0, 0.0]) @ turn.T
    first = cKDTree(lying[:, :2])
    edge = side * np.abs(lying[:, 1]).max()
    # From well outside inwards, until it is as near as asked.
    shift = edge + side * (away + np.abs(points[:, 1]).max())
    for _ in range(30):
        moved = points[:, :2] + np.array([along, shift])
        excess = float(np.min(first.query(moved)[0])) - away
        if abs(excess) < 1e-3:
            break
        shift -= side * excess
    points = points + np.array([along, shift, 0.0])
    points[:, 2] += ground.slope[0] * (points[:, 0] - along)
    points[:, 2] -= (points[:, 2] - ground.height_m(points[:, :2])).min() + _SUNK_M
    return other, _log_thing(rng, Label.OTHER_LOG, other, points)


def _bunk_places(rng: Generator, length: float, count: int) -> FloatArray:
    """Places along the log (K,). [m]."""
    if count == 0:
        return np.empty(0)
    shares = np.linspace(0.18, 0.8, count) if count > 1 else np.array([0.5])
    return np.asarray((shares + rng.uniform(-0.05, 0.05, count)) * length)


def _bunk(rng: Generator, lying: FloatArray, matrix: FloatArray, place: float, ground: Ground, width: float) -> Thing:
    """Return a beam across the log, its top at the lowest wood over it."""
    middle = matrix[:3, :3] @ [place, 0.0, 0.0] + matrix[:3, 3]
    over = lying[np.abs(lying[:, 0] - middle[0]) < 0.5 * width]
    top = float(over[:, 2].min()) + _SUNK_M
    low, high = over[:, 1].min() - rng.uniform(0.05, 0.35), over[:, 1].max() + rng.uniform(0.05, 0.35)
    centre_y = 0.5 * (low + high)
    bottom = float(ground.height_m(np.array([[middle[0], low], [middle[0], centre_y], [middle[0], high]])).min()) - 0.03
    box = trimesh.creation.box(extents=[width, high - low, top - bottom]).subdivide_to_size(0.12)
    vertices = np.array(box.vertices) + np.array([middle[0], centre_y, 0.5 * (top + bottom)])
    faces = np.array(box.faces, dtype=np.int64)
    return Thing(Label.BUNK, vertices, faces, _speckled(rng, (0.62, 0.52, 0.38), len(faces), 0.1))


def _pushed_up(
    tree: cKDTree, lying: FloatArray, along: float, side: int, away: float, height: float | None
) -> FloatArray:
    """Return the place (2,) beside the log, from far to near, where a point is `away` from it.

    tree : of the log's vertices, or, where `height` is None, of their (x, y).
    """
    y = side * (np.abs(lying[:, 1]).max() + away + 1.0)
    for _ in range(60):
        excess = float(tree.query([along, y] if height is None else [along, y, height])[0]) - away
        if excess < 1e-3:
            break
        y -= side * excess
        if side * y < 0.0:
            break
    return np.array([along, y])


def _stone(rng: Generator, tree: cKDTree, lying: FloatArray, ground: Ground, radius: float, touching: bool) -> Thing:
    """Return a stone, sunk into the ground to a third."""
    side = 1 if rng.random() < 0.5 else -1
    along = rng.uniform(0.85 * lying[:, 0].min(), 0.85 * lying[:, 0].max())
    away = 0.9 * radius if touching else radius + rng.uniform(0.1, 0.6)
    height = 0.3 * radius + float(ground.height_m(np.array([[along, 0.0]]))[0])
    place = _pushed_up(tree, lying, along, side, away, height)
    ball = trimesh.creation.icosphere(subdivisions=3, radius=1.0)
    vertices = np.array(ball.vertices)
    rough = 1.0 + 0.12 * np.sin(vertices @ rng.normal(0.0, 2.0, (3, 4)) + rng.uniform(0.0, 6.28, 4)).mean(axis=1)
    vertices *= rough[:, None] * radius * np.array([1.0, 1.0, 0.8])
    vertices += [*place, 0.3 * radius + float(ground.height_m(place[None])[0])]
    faces = np.array(ball.faces, dtype=np.int64)
    return Thing(Label.STONE, vertices, faces, _speckled(rng, (0.55, 0.55, 0.54), len(faces), 0.15))


def _boots(rng: Generator, outline: cKDTree, lying: FloatArray, ground: Ground, away: float) -> list[Thing]:
    """Return a person's two boots and shins, toes towards the log."""
    side = 1 if rng.random() < 0.5 else -1
    along = rng.uniform(0.8 * lying[:, 0].min(), 0.8 * lying[:, 0].max())
    found = []
    for offset in (-0.13, 0.13):
        # The toes are 18 cm before the shin.
        place = _pushed_up(outline, lying, along + offset, side, away + 0.03, None) + np.array([0.0, side * 0.18])
        floor = float(ground.height_m(place[None])[0])
        foot = trimesh.creation.icosphere(subdivisions=3, radius=1.0)
        shoe = np.array(foot.vertices) * [0.055, 0.15, 0.06] + np.array([0.0, -side * 0.06, 0.05])
        shin = trimesh.creation.capsule(height=0.4, radius=0.06, count=[16, 16]).subdivide_to_size(0.08)
        leg = np.array(shin.vertices) + np.array([0.0, 0.0, 0.3])
        spot = np.array([*place, floor])
        shoe_faces, leg_faces = np.array(foot.faces, dtype=np.int64), np.array(shin.faces, dtype=np.int64)
        found.append(Thing(Label.BOOT, shoe + spot, shoe_faces, _speckled(rng, (0.2, 0.14, 0.1), len(shoe_faces), 0.2)))
        found.append(Thing(Label.BOOT, leg + spot, leg_faces, _speckled(rng, (0.16, 0.2, 0.32), len(leg_faces), 0.1)))
    return found


def _ground_thing(rng: Generator, lying: FloatArray, ground: Ground) -> Thing:
    """Return the ground for 2.5 m about the log, rough by some millimetres."""
    low, high = lying[:, :2].min(axis=0) - 2.5, lying[:, :2].max(axis=0) + 2.5
    nx, ny = np.ceil((high - low) / _CELL_M).astype(int) + 1
    x, y = np.meshgrid(low[0] + _CELL_M * np.arange(nx), low[1] + _CELL_M * np.arange(ny), indexing="ij")
    places = np.stack([x.ravel(), y.ravel()], axis=1)
    vertices = np.column_stack([places, ground.height_m(places) + rng.normal(0.0, 0.003, len(places))])
    here = (np.arange(nx - 1)[:, None] * ny + np.arange(ny - 1)).ravel()
    faces = np.concatenate(
        [
            np.stack([here, here + ny, here + ny + 1], axis=1),
            np.stack([here, here + ny + 1, here + 1], axis=1),
        ]
    )
    return Thing(Label.GROUND, vertices, faces, _speckled(rng, (0.42, 0.38, 0.27), len(faces), 0.2))


def _grass(rng: Generator, lying: FloatArray, ground: Ground, settings: YardSettings, per_m2: float) -> Thing:
    """Return blades 3 to 6 mm wide, each bent over once, in tufts."""
    low, high = lying[:, :2].min(axis=0) - 1.3, lying[:, :2].max(axis=0) + 1.3
    roots = rng.uniform(low, high, (int(per_m2 * np.prod(high - low)), 2))
    tufts = np.sin(roots @ rng.normal(0.0, 4.0, (2, 4)) + rng.uniform(0.0, 6.28, 4)).mean(axis=1)
    roots = roots[rng.random(len(roots)) < np.clip(0.6 + 0.9 * tufts, 0.1, 1.0)]
    outline = cKDTree(lying[:, :2])
    tall = np.ones(len(roots))
    if settings.grass_touches:
        # Where the mower does not reach there is four times as much, and it is taller: what is no higher
        # than the log's belly is seen by nobody.
        extra = rng.uniform(low, high, (int(3.0 * per_m2 * np.prod(high - low)), 2))
        extra = extra[outline.query(extra, distance_upper_bound=_NEAR_M)[0] < _NEAR_M]
        roots = np.concatenate([roots, extra])
        tall = np.concatenate([tall, rng.uniform(1.0, 2.5, len(extra))])
    else:
        off = settings.grass_away_m + settings.grass_height_m[1]
        roots = roots[outline.query(roots, distance_upper_bound=off)[0] >= off]
        tall = np.ones(len(roots))
    count = len(roots)
    height = tall * draw(rng, settings.grass_height_m) * rng.uniform(0.4, 1.0, count)
    toward = rng.uniform(0.0, 2.0 * np.pi, count)
    lean = rng.uniform(0.1, 0.7, count)
    over = np.stack([np.cos(toward), np.sin(toward), np.zeros(count)], axis=1)
    across = np.stack([-np.sin(toward), np.cos(toward), np.zeros(count)], axis=1)
    across *= rng.uniform(0.0015, 0.003, count)[:, None]
    up = np.array([0.0, 0.0, 1.0])
    root = np.column_stack([roots, ground.height_m(roots) - 0.005])
    bend = root + (0.55 * height)[:, None] * (np.cos(0.5 * lean)[:, None] * up + np.sin(0.5 * lean)[:, None] * over)
    tip = bend + (0.45 * height)[:, None] * (np.cos(2.0 * lean)[:, None] * up + np.sin(2.0 * lean)[:, None] * over)
    vertices = np.stack([root - across, root + across, bend - across, bend + across, tip], axis=1).reshape(-1, 3)
    first = 5 * np.arange(count)[:, None]
    faces = np.concatenate([first + np.array(corners) for corners in ([0, 1, 3], [0, 3, 2], [2, 3, 4])])
    colours = np.tile(_speckled(rng, (0.36, 0.47, 0.2), count, 0.25), (3, 1))
    return Thing(Label.GRASS, vertices, faces, colours, closed=False)


def _speckled(rng: Generator, colour: Sequence[float], count: int, spread: float) -> FloatArray:
    """Colours (count, 3) about one."""
    return np.asarray(np.array(colour) * rng.uniform(1.0 - spread, 1.0 + spread, (count, 1)))


def label_array(things: Sequence[Thing]) -> NDArray[np.uint8]:
    """Label (F,) of every face of all things, in their order."""
    return np.concatenate([np.full(len(thing.faces), thing.label, dtype=np.uint8) for thing in things])
