"""Invented phone scans of invented logs whose truth is known, to measure what is made of a scan.

Scan frame: metres, z up, the log at a random place and heading. `SimulatedScan.as_in_file` gives the
points in another unit and with another up-axis. Everything follows from the seed and the settings.
"""

from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scans.invented.draws import Range, draw, wander
from scans.invented.simulated_log import LogSettings, SimulatedLog, rolled_matrix, simulate_log
from scans.invented.simulated_phone import (
    COARSE,
    COARSE_EVERY,
    Hits,
    PhoneSettings,
    colours_of,
    columns_for,
    labels_of,
    look,
    noisy,
    normals_of,
    strayed,
    walk_round,
)
from scans.invented.simulated_yard import Label, Yard, YardSettings, lay_out
from scans.log import FloatArray

__all__ = [
    "Label",
    "LogSettings",
    "PhoneSettings",
    "SimulatedLog",
    "SimulatedScan",
    "SimulatorSettings",
    "YardSettings",
    "random_settings",
    "simulate",
    "simulate_walks",
]

_WALK_BETWEEN_M = 1.3
"""A second log is walked round together with the first where they are nearer than this."""

SEEN_WITHIN_M = 0.03
"""A face is seen if there is a point this near to its middle. [m]."""

_Y_UP = np.array([[1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, -1.0, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]])


@dataclass(frozen=True)
class SimulatorSettings:
    """What an invented scan may be like.

    place_m : how far the log lies from the scan's origin, each way. [m]
    unit_m : length of the file's unit: 1 for metres, 0.0254 for inches. [m]
    up : the file's up-axis.
    """

    log: LogSettings = field(default_factory=LogSettings)
    yard: YardSettings = field(default_factory=YardSettings)
    phone: PhoneSettings = field(default_factory=PhoneSettings)
    place_m: float = 3.0
    unit_m: float = 1.0
    up: Literal["z", "y"] = "z"


class FilePoints(NamedTuple):
    """What a file holds: points (N, 3) in its own unit and axes, normals (N, 3) or None, colours (N, 3)."""

    points: FloatArray
    normals: FloatArray | None
    colours: NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class SimulatedScan:
    """An invented scan and the truth about it. Scan frame, metres, z up, unless said otherwise.

    points_m : (N, 3). [m]
    normals : (N, 3) unit, towards the phone, or None.
    colours : (N, 3) red, green, blue.
    labels : (N,) what each point is, a `Label`.
    log_to_scan : (4, 4) from the truth's log frame to the scan frame, the scan's error of scale included;
        what is left between the two is noise and drift.
    truth : the log, in its own log frame.
    face_seen : (F,) bool, faces of the truth whose middle lies within `SEEN_WITHIN_M` of a place that some ray met.
    other_logs : those that lie beside it, in their own log frames.
    """

    points_m: FloatArray
    normals: FloatArray | None
    colours: NDArray[np.uint8]
    labels: NDArray[np.uint8]
    log_to_scan: FloatArray
    truth: SimulatedLog
    face_seen: NDArray[np.bool_]
    other_logs: tuple[SimulatedLog, ...]
    settings: SimulatorSettings

    @property
    def seen_share(self) -> float:
        """Share of the surface, sawn ends left out, that was seen."""
        a, b, c = (self.truth.solid.vertices_m[self.truth.solid.faces[:, k]] for k in range(3))
        areas = np.linalg.norm(np.cross(b - a, c - a), axis=1) * ~self.truth.end_faces
        return float(areas[self.face_seen].sum() / areas.sum())

    @property
    def scan_to_file(self) -> FloatArray:
        """Matrix (4, 4) from the scan frame to what the file holds, in its unit and with its up-axis."""
        turn = _Y_UP if self.settings.up == "y" else np.eye(4)
        return np.diag([1.0 / self.settings.unit_m] * 3 + [1.0]) @ turn

    def as_in_file(self) -> FilePoints:
        """Return the points and normals as the file holds them."""
        matrix = self.scan_to_file
        turn = matrix[:3, :3] * self.settings.unit_m
        normals = None if self.normals is None else self.normals @ turn.T
        return FilePoints(self.points_m @ matrix[:3, :3].T, normals, self.colours)


def simulate(seed: int, settings: SimulatorSettings | None = None) -> SimulatedScan:
    """Return the invented scan of a seed.

    Raises ValueError where the settings leave nothing to see.
    """
    wanted = settings or SimulatorSettings()
    # One stream for each part, so that grass and stones change neither the log nor the walk.
    log_rng, yard_rng, phone_rng, place_rng = np.random.default_rng(seed).spawn(4)
    return _scan_of(simulate_log(log_rng, wanted.log), 0.0, wanted, yard_rng, phone_rng, place_rng)


def simulate_walks(
    seed: int, settings: SimulatorSettings | None = None, rolled_deg: Range = (69.0, 176.0)
) -> tuple[SimulatedScan, SimulatedScan, float]:
    """Return two invented scans of the log of a seed, and how far it was rolled between them, clockwise from the butt.

    The first is what `simulate` returns. For the second the log is rolled, one way or the other, and lies among other
    things; the phone goes another way, with noise, drift and scale of its own. The truth of both, and its log frame,
    are those of the first. Its bark is painted anew, so that colors tell nothing of the roll.

    rolled_deg : how far, either way. Raises ValueError, as simulate does.
    """
    wanted = settings or SimulatorSettings()
    first = simulate(seed, wanted)
    roll_rng, yard_rng, phone_rng, place_rng = np.random.default_rng([seed, 2]).spawn(4)
    roll_deg = draw(roll_rng, rolled_deg) * float(roll_rng.choice([-1.0, 1.0]))
    return first, _scan_of(first.truth, roll_deg, wanted, yard_rng, phone_rng, place_rng), roll_deg


def _scan_of(
    truth: SimulatedLog,
    roll_deg: float,
    wanted: SimulatorSettings,
    yard_rng: Generator,
    phone_rng: Generator,
    place_rng: Generator,
) -> SimulatedScan:
    """Return the scan of a log that lies rolled clockwise, seen from the butt."""
    yard = lay_out(yard_rng, truth.rolled(roll_deg), wanted.yard)
    yard = replace(yard, log_to_yard=yard.log_to_yard @ rolled_matrix(roll_deg))
    things, lying = yard.things, yard.things[0].vertices_m
    phone = wanted.phone
    beside = [thing.vertices_m for thing in things if thing.label == Label.OTHER_LOG]
    near = [points for points in beside if np.min(cKDTree(lying).query(points)[0]) < _WALK_BETWEEN_M]
    walk = walk_round(phone_rng, [lying, *near], lying, yard.ground, phone)
    keeper = _Keeper.drawn(phone_rng, truth, yard, np.concatenate([lying, *near]), phone)
    coarse = look(phone_rng, walk.every(COARSE_EVERY), things, COARSE)
    kept_of_coarse = int(keeper.keeps(coarse, labels_of(things, coarse)).sum())
    if kept_of_coarse == 0:
        raise ValueError("simulate: nothing of the log is seen; check walk_away_m, walk_height_m and margin_m")
    hits = look(phone_rng, walk, things, columns_for(phone.points, kept_of_coarse))
    labels = labels_of(things, hits)
    kept = keeper.keeps(hits, labels)
    hits, labels = hits.picked(kept), labels[kept]
    met = hits.points_m[labels == Label.LOG]
    seen = _faces_seen(truth, (met - yard.log_to_yard[:3, 3]) @ yard.log_to_yard[:3, :3])
    if len(labels) > phone.points:
        chosen = np.sort(phone_rng.permutation(len(labels))[: phone.points])
        hits, labels = hits.picked(chosen), labels[chosen]
    hits, labels = strayed(phone_rng, hits, draw(phone_rng, phone.stray_share), labels)
    points = noisy(phone_rng, walk, hits, phone)
    normals = normals_of(phone_rng, hits, phone.normal_error_deg) if phone.normals else None
    colours = colours_of(phone_rng, things, hits)
    yard_to_scan = _placing(place_rng, wanted, 1.0 + draw(place_rng, phone.scale_error))
    turn = yard_to_scan[:3, :3] / np.cbrt(np.linalg.det(yard_to_scan[:3, :3]))
    return SimulatedScan(
        points_m=points @ yard_to_scan[:3, :3].T + yard_to_scan[:3, 3],
        normals=None if normals is None else normals @ turn.T,
        colours=colours,
        labels=labels,
        log_to_scan=yard_to_scan @ yard.log_to_yard,
        truth=truth,
        face_seen=seen,
        other_logs=yard.other_logs,
        settings=wanted,
    )


@dataclass(frozen=True, eq=False)
class _Keeper:
    """What of all that is seen the user keeps: near the log, and not the strip along its top."""

    outline: cKDTree
    hearts: cKDTree
    end_faces: NDArray[np.bool_]
    margin_m: float
    top_deg: float
    top_edge: FloatArray
    along_m: FloatArray
    ground: bool

    @classmethod
    def drawn(
        cls, rng: Generator, truth: SimulatedLog, yard: Yard, around: FloatArray, phone: PhoneSettings
    ) -> "_Keeper":
        """Return a keeper drawn from settings; around : (V, 3) vertices of what is walked round."""
        lines = []
        for line in truth.hearts:
            at = np.linspace(0.0, len(line) - 1.0, 20 * len(line))
            lines.append(np.stack([np.interp(at, np.arange(len(line)), line[:, k]) for k in range(3)], axis=1))
        hearts = np.concatenate(lines) @ yard.log_to_yard[:3, :3].T + yard.log_to_yard[:3, 3]
        along = np.linspace(hearts[:, 0].min(), hearts[:, 0].max(), 100)
        # The strip's edge is uneven, as the way of the phone was.
        edge = 1.0 + 0.15 * wander(rng, np.linspace(0.0, 1.0, 100), 6.0)
        margin, top = draw(rng, phone.margin_m), draw(rng, phone.unseen_top_deg)
        return cls(cKDTree(around[::7, :2]), cKDTree(hearts), truth.end_faces, margin, top, edge, along, phone.ground)

    def keeps(self, hits: Hits, labels: NDArray[np.uint8]) -> NDArray[np.bool_]:
        """Which hits are kept (N,)."""
        on_log = labels == Label.LOG
        near = self.outline.query(hits.points_m[:, :2], distance_upper_bound=self.margin_m)[0] <= self.margin_m
        kept = np.asarray((on_log | near) & (on_log | self.ground))
        if self.top_deg > 0.0:
            # The log is the first of all things, so that rows of its faces are rows of all. Its ends were filmed.
            on_side = on_log.copy()
            on_side[on_log] = ~self.end_faces[hits.faces[on_log]]
            points = hits.points_m[on_side]
            aside = points - np.asarray(self.hearts.data)[self.hearts.query(points)[1]]
            angle = np.degrees(np.arctan2(np.hypot(aside[:, 0], aside[:, 1]), aside[:, 2]))
            kept[on_side] &= angle > self.top_deg * np.interp(points[:, 0], self.along_m, self.top_edge)
        return kept


def _faces_seen(truth: SimulatedLog, met_m: FloatArray) -> NDArray[np.bool_]:
    """Faces (F,) whose middle lies near a point of `met_m` (N, 3), log frame."""
    middles = truth.solid.vertices_m[truth.solid.faces].mean(axis=1)
    return np.asarray(cKDTree(met_m).query(middles, distance_upper_bound=SEEN_WITHIN_M)[0] <= SEEN_WITHIN_M)


def _placing(rng: Generator, settings: SimulatorSettings, scale: float) -> FloatArray:
    """Matrix (4, 4) from the yard to the scan frame: any heading, any place, the error of scale."""
    yaw = rng.uniform(0.0, 2.0 * np.pi)
    matrix = np.eye(4)
    matrix[:2, :2] = [[np.cos(yaw), -np.sin(yaw)], [np.sin(yaw), np.cos(yaw)]]
    matrix[:3] *= scale
    matrix[:3, 3] = rng.uniform(-1.0, 1.0, 3) * settings.place_m * [1.0, 1.0, 0.5]
    return matrix


def random_settings(seed: int, clutter: bool, points: int = 350_000) -> SimulatorSettings:
    """Return settings for one of a suite of seeds, in turn single stems and forks of two and three limbs.

    clutter : grass that touches the log, bunks, stones, boots or a second log; without it, the log lies
        on bare ground.
    Seeds 0 to 23 hold eight of each kind, whether the even, the odd, or all of them are cluttered; one in
    four has an unseen strip along the top.
    """
    rng = np.random.default_rng([seed, 1])
    limbs = (0, 2, 3)[seed // 2 % 3]
    top = (15.0, 35.0) if seed // 6 % 4 == 1 else (0.0, 0.0)
    yard = YardSettings(slope_deg=(0.0, 4.0))
    if clutter:
        yard = replace(
            yard,
            grass_per_m2=(300.0, 1500.0),
            grass_touches=bool(rng.random() < 0.7),
            bunks=(2, 3) if rng.random() < 0.6 else (0, 0),
            stones=(0, 6),
            stones_touch=True,
            persons=(0, 2),
            other_logs=(0, 1),
        )
    phone = PhoneSettings(points=points, unseen_top_deg=top, normals=bool(rng.random() < 0.7))
    unit_m = float(rng.choice([1.0, 1.0, 1.0, 0.001, 0.01, 0.0254]))
    up: Literal["z", "y"] = "y" if rng.random() < 0.4 else "z"
    return SimulatorSettings(LogSettings(limbs=limbs), yard, phone, unit_m=unit_m, up=up)
