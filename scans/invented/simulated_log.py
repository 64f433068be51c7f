"""Invented logs whose truth is known: stem, limbs, stubs, hearts and forks."""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from scans.invented.draws import Range, draw, draw_count, wander
from scans.invented.roundwood import ANGLES, END_CELLS, STATIONS, RoundWood, body_of, outside_by_m
from scans.log import FloatArray, Fork, Solid
from scans.solids.bodies import solid_from_body
from scans.solids.frame import log_frame

_STEM_BLEND_SHARE = 0.15
"""Width over which a limb joins the stem, as a share of the stem's diameter."""

_STUB_BLEND_M = 0.03


@dataclass(frozen=True)
class LogSettings:
    """What an invented log may be like; a range is drawn from anew for each log.

    limbs : 0 for a single stem, or what its fork divides into: 2 or 3.
    length_m : of the whole log, roughly. [m]
    diameter_m : of the stem at half its length. [m]
    taper : loss of diameter for each metre of length. [m/m]
    bow_m : how far the stem's middle lies off the line between its ends. [m]
    crook_deg : how far a single stem turns at one place, where a branch once took over from a leader that died. [deg]
    crook_at : where that is, as a share of the length.
    oval : half the difference of the two diameters across, as a share of their mean.
    flutes : depth of the lobes that run along the stem, as a share of the radius.
    flare : how much wider the butt is, as a share of the radius.
    bumps : how many bumps and hollows; bump_m : how high or deep. [m]
    stubs : how many branch stubs; stub_diameter_m, stub_m : their diameter, and how far they stand out. [m]
    out_deg : how far limbs lean out of the stem's direction. [deg]
    limb_share : diameter of a limb over that of the stem.
    parts_at : where the bark parts, as a share of the length.
    fork_lean_deg : lean of a fork's plane out of the level. [deg]
    slant_deg : lean of the sawn ends. [deg]
    ragged_m : roughness of the sawn ends. [m]
    bark_m : roughness of the bark. [m]
    edge_m : length of the edges of its surface, roughly. [m]
    """

    limbs: int = 0
    length_m: Range = (2.4, 4.2)
    diameter_m: Range = (0.45, 0.9)
    taper: Range = (0.01, 0.035)
    bow_m: Range = (0.0, 0.06)
    crook_deg: Range = (0.0, 0.0)
    crook_at: Range = (0.4, 0.65)
    oval: Range = (0.01, 0.06)
    flutes: Range = (0.0, 0.03)
    flare: Range = (0.0, 0.2)
    bumps: tuple[int, int] = (0, 6)
    bump_m: Range = (0.01, 0.03)
    stubs: tuple[int, int] = (0, 3)
    stub_diameter_m: Range = (0.08, 0.16)
    stub_m: Range = (0.05, 0.2)
    out_deg: Range = (18.0, 32.0)
    limb_share: Range = (0.6, 0.8)
    parts_at: Range = (0.45, 0.6)
    fork_lean_deg: Range = (-40.0, 40.0)
    slant_deg: Range = (0.0, 8.0)
    ragged_m: Range = (0.0, 0.015)
    bark_m: Range = (0.001, 0.004)
    edge_m: float = 0.015

    def __post_init__(self) -> None:
        if self.limbs not in {0, 2, 3}:
            raise ValueError(f"limbs: must be 0, 2 or 3, not {self.limbs}")


def rolled_matrix(roll_deg: float) -> FloatArray:
    """Return the turn (4, 4) about the x axis, clockwise seen from the butt."""
    cosine, sine = np.cos(np.radians(roll_deg)), np.sin(np.radians(roll_deg))
    matrix = np.eye(4)
    matrix[1:3, 1:3] = [[cosine, -sine], [sine, cosine]]
    return matrix


class Stub(NamedTuple):
    """A branch stub: the middle of its end (3,) in the log frame, and its diameter. [m]."""

    end_m: FloatArray
    diameter_m: float


@dataclass(frozen=True, eq=False)
class SimulatedLog:
    """An invented log; all in its own log frame, butt at x = 0, z up as it lies in the scan. Metres.

    solid : the outer surface, bark included.
    end_faces : (F,) bool, faces of sawn ends.
    hearts, forks : as in `scans.log.Log`: the stem's heart first, then one for each limb.
    stubs : branch stubs, which have no heart.
    limbs : 0, 2 or 3, as asked for.
    diameter_m : mean diameter of the stem at half its length. [m]
    """

    solid: Solid
    end_faces: NDArray[np.bool_]
    hearts: tuple[FloatArray, ...]
    forks: tuple[Fork, ...]
    stubs: tuple[Stub, ...]
    limbs: int
    diameter_m: float

    def rolled(self, roll_deg: float) -> "SimulatedLog":
        """Return the log as it lies rolled about its x axis, clockwise seen from the butt."""
        matrix = rolled_matrix(roll_deg)
        turn = matrix[:3, :3]
        return replace(
            self,
            solid=self.solid.moved(matrix),
            hearts=tuple(line @ turn.T for line in self.hearts),
            forks=tuple(
                replace(
                    fork,
                    crotch_m=turn @ fork.crotch_m,
                    normal=turn @ fork.normal,
                    direction=turn @ fork.direction,
                )
                for fork in self.forks
            ),
            stubs=tuple(stub._replace(end_m=turn @ stub.end_m) for stub in self.stubs),
        )

    @property
    def kind(self) -> str:
        """What it is, in a word or two."""
        return {0: "single stem", 2: "fork of two", 3: "fork of three"}[self.limbs]

    @property
    def length_m(self) -> float:
        """Extent in x. [m]."""
        return float(self.solid.bounds_m[1, 0])


class _Fork(NamedTuple):
    """Where the hearts meet (3,), limbs, and their unit directions (3,), in the frame it is built in."""

    meeting_m: FloatArray
    limbs: list[RoundWood]
    directions: list[FloatArray]


def simulate_log(rng: Generator, settings: LogSettings) -> SimulatedLog:
    """Return an invented log. Building frame: x along the stem from the butt, z up as the log will lie."""
    diameter = draw(rng, settings.diameter_m)
    length = max(draw(rng, settings.length_m), 2.0 * diameter)
    texture = _Texture.drawn(rng, settings)
    fork, onward = None, None
    if settings.limbs == 0 and settings.crook_deg[1] > 0.0:
        stem = _stem(rng, settings, texture, draw(rng, settings.crook_at) * length, diameter, sawn_end=False)
        onward = _after_crook(rng, settings, texture, stem, length - stem.length_m)
    elif settings.limbs == 0:
        stem = _stem(rng, settings, texture, length, diameter, sawn_end=True)
    else:
        out = np.radians([draw(rng, settings.out_deg) for _ in range(settings.limbs)])
        shares = [draw(rng, settings.limb_share) for _ in range(settings.limbs)]
        # Three limbs share the wood that two would.
        shares = [share * (1.0 if settings.limbs == 2 else 0.85) for share in shares]
        depth = 0.5 * diameter * float(np.mean(shares)) / float(np.sin(out.mean()))
        meets_at = max(draw(rng, settings.parts_at) * length - depth, 0.22 * length)
        length = max(length, meets_at + depth + 1.6 * diameter)
        stem = _stem(rng, settings, texture, meets_at, diameter, sawn_end=False)
        fork = _fork_of(rng, settings, texture, stem, length, diameter, out, shares)
    hosts = [stem, *(fork.limbs if fork else []), *([onward] if onward else [])]
    stubs = [_stub(rng, settings, texture, hosts) for _ in range(draw_count(rng, settings.stubs))]
    pieces = [*hosts, *stubs]
    body = body_of(pieces, settings.edge_m)
    matrix = log_frame(body, np.array([1.0, 0.0, 0.0]))
    built = solid_from_body(body)
    _, corner_on_end = outside_by_m(pieces, built.vertices_m)
    hearts = [_heart(piece) for piece in hosts]
    if onward:
        hearts = [np.concatenate([hearts[0], hearts[1][1:]])]
    return SimulatedLog(
        solid=built.moved(matrix),
        end_faces=np.asarray(corner_on_end[built.faces].sum(axis=1) >= 2),
        hearts=tuple(_moved(line, matrix) for line in hearts),
        forks=(_measured_fork(pieces, stem, fork, matrix),) if fork else (),
        stubs=tuple(Stub(_moved(_heart(stub), matrix)[-1], 2.0 * stub.radius_at_m(stub.length_m)) for stub in stubs),
        limbs=settings.limbs,
        diameter_m=2.0 * stem.radius_at_m(0.5 * stem.length_m),
    )


class _Texture(NamedTuple):
    """What all parts of one log have in common."""

    taper: float
    oval: float
    flutes: float
    lobes: int
    bark_m: float

    @classmethod
    def drawn(cls, rng: Generator, settings: LogSettings) -> "_Texture":
        """Return a texture drawn from settings."""
        return cls(
            draw(rng, settings.taper),
            draw(rng, settings.oval),
            draw(rng, settings.flutes),
            draw_count(rng, (5, 8)),
            draw(rng, settings.bark_m),
        )


def _stem(
    rng: Generator, settings: LogSettings, texture: _Texture, length: float, diameter: float, *, sawn_end: bool
) -> RoundWood:
    share = np.linspace(0.0, 1.0, STATIONS)
    radius = _radii(rng, texture, length, 0.5 * diameter, texture.flutes)
    flare = draw(rng, settings.flare)
    # Root swellings: the flare is stronger along some lines.
    angle = np.arange(ANGLES) * 2.0 * np.pi / ANGLES
    swell = 1.0 + 0.35 * np.cos(draw_count(rng, (4, 6)) * angle + rng.uniform(0.0, 2.0 * np.pi))
    radius *= 1.0 + flare * np.exp(-share * length / (0.6 * diameter))[:, None] * swell
    for _ in range(draw_count(rng, settings.bumps)):
        radius += _bump(rng, length, diameter, draw(rng, settings.bump_m))
    toward = rng.uniform(0.0, 2.0 * np.pi)
    # A fork's stem is short, and bends as its part of a longer arc would.
    bow = draw(rng, settings.bow_m) * min(1.0, length / 3.0)
    bend = 4.0 * bow * (share * (1.0 - share))[:, None] * [np.cos(toward), np.sin(toward)]
    bend += 0.1 * bow * np.stack([wander(rng, share, 4.0), wander(rng, share, 4.0)], axis=1)
    return _sawn(
        rng,
        settings,
        RoundWood(
            start_m=np.zeros(3),
            axes=np.eye(3),
            length_m=length,
            bend_m=bend - bend[0],
            radius_m=radius,
            blend_m=_STUB_BLEND_M,
            sawn=np.array([True, sawn_end]),
            lean=np.zeros((2, 2)),
            rough_m=np.zeros((2, END_CELLS, END_CELLS)),
        ),
    )


def _radii(rng: Generator, texture: _Texture, length: float, radius: float, flutes: float) -> FloatArray:
    """Radii (STATIONS, ANGLES) of a piece with taper, ovality, lobes and bark. [m]."""
    share = np.linspace(0.0, 1.0, STATIONS)
    angle = np.arange(ANGLES) * 2.0 * np.pi / ANGLES
    factor = np.ones((STATIONS, ANGLES))
    turn = rng.uniform(0.0, 2.0 * np.pi) + 0.3 * wander(rng, share, 2.0)
    factor += texture.oval * (1.0 + 0.3 * wander(rng, share, 2.0))[:, None] * np.cos(2.0 * angle + turn[:, None])
    for order, size in ((1, 0.02), (3, 0.012), (4, 0.008)):
        for wave in (np.cos(order * angle), np.sin(order * angle)):
            factor += size * wander(rng, share, 1.5 * length)[:, None] * wave
    phase = rng.uniform(0.0, 2.0 * np.pi) + 0.4 * wander(rng, share, 1.5 * length)
    depth = flutes * (0.4 + 0.6 * np.exp(-1.5 * share))
    factor += depth[:, None] * np.cos(texture.lobes * angle + phase[:, None])
    bark = gaussian_filter(rng.normal(0.0, 1.0, factor.shape), (1.5, 1.0), mode=("nearest", "wrap"))
    tapering = radius - 0.5 * texture.taper * length * (share - 0.5)
    return np.asarray(np.maximum(tapering, 0.4 * radius)[:, None] * factor + texture.bark_m / bark.std() * bark)


def _bump(rng: Generator, length: float, diameter: float, height: float) -> FloatArray:
    """Return a bump or a hollow as (STATIONS, ANGLES) changes of radius. [m]."""
    along = np.linspace(0.0, length, STATIONS) - rng.uniform(0.1, 0.9) * length
    angle = np.arange(ANGLES) * 2.0 * np.pi / ANGLES - rng.uniform(0.0, 2.0 * np.pi)
    around = 0.5 * diameter * ((angle + np.pi) % (2.0 * np.pi) - np.pi)
    size = rng.uniform(0.05, 0.14)
    sign = 1.0 if rng.random() < 0.7 else -0.6
    return np.asarray(sign * height * np.exp(-0.5 * (along[:, None] ** 2 / (1.5 * size) ** 2 + around**2 / size**2)))


def _sawn(rng: Generator, settings: LogSettings, piece: RoundWood) -> RoundWood:
    """Return the piece with its sawn ends leaning and rough."""
    lean = np.empty((2, 2))
    rough = np.empty((2, END_CELLS, END_CELLS))
    cell = np.linspace(-1.0, 1.0, END_CELLS)
    for end in range(2):
        slope, toward = np.tan(np.radians(draw(rng, settings.slant_deg))), rng.uniform(0.0, 2.0 * np.pi)
        lean[end] = slope * np.cos(toward), slope * np.sin(toward)
        size = draw(rng, settings.ragged_m)
        grain = gaussian_filter(rng.normal(0.0, 1.0, (END_CELLS, END_CELLS)), 1.5)
        # Cuts from two sides seldom meet: a step between them, as a chain saw leaves.
        toward, off = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(-0.5, 0.5)
        step = np.tanh(12.0 * (np.cos(toward) * cell[:, None] + np.sin(toward) * cell - off))
        rough[end] = 0.5 * size * grain / grain.std() + size * step
    return RoundWood(
        piece.start_m,
        piece.axes,
        piece.length_m,
        piece.bend_m,
        piece.radius_m,
        piece.blend_m,
        piece.sawn,
        lean,
        rough,
    )


def _fork_of(
    rng: Generator,
    settings: LogSettings,
    texture: _Texture,
    stem: RoundWood,
    length: float,
    diameter: float,
    out: FloatArray,
    shares: list[float],
) -> _Fork:
    """Return the limbs, which leave the end of the stem's centre line."""
    meeting = stem.line_m(np.array([stem.length_m]))[0]
    lean = np.radians(draw(rng, settings.fork_lean_deg))
    first = lean + np.pi * rng.integers(0, 2)
    count = settings.limbs
    turns = first + 2.0 * np.pi / count * np.arange(count) + np.radians(rng.uniform(-12.0, 12.0, count)) * (count > 2)
    limbs, directions = [], []
    for angle, turn, share in zip(out, turns, shares, strict=True):
        direction = np.array([np.cos(angle), np.sin(angle) * np.cos(turn), np.sin(angle) * np.sin(turn)])
        reach = (length - stem.length_m) / np.cos(angle) * rng.uniform(0.86, 1.0)
        limbs.append(_limb(rng, settings, texture, meeting, direction, reach, 0.5 * share * diameter, diameter))
        directions.append(direction)
    return _Fork(meeting, limbs, directions)


def _limb(
    rng: Generator,
    settings: LogSettings,
    texture: _Texture,
    start: FloatArray,
    direction: FloatArray,
    length: float,
    radius: float,
    stem_diameter: float,
) -> RoundWood:
    """Return a limb that bends a little back towards the stem's direction."""
    share = np.linspace(0.0, 1.0, STATIONS)
    back = np.array([1.0, 0.0, 0.0]) - direction[0] * direction
    second = back / np.linalg.norm(back)
    axes = np.stack([direction, second, np.cross(direction, second)])
    bend = np.zeros((STATIONS, 2))
    bend[:, 0] = rng.uniform(0.0, 0.05) * length * share**2
    bend += 0.006 * length * share[:, None] * np.stack([wander(rng, share, 3.0), wander(rng, share, 3.0)], axis=1)
    piece = RoundWood(
        start_m=start,
        axes=axes,
        length_m=length,
        bend_m=bend - bend[0],
        radius_m=_radii(rng, texture, length, radius, 0.4 * texture.flutes),
        blend_m=_STEM_BLEND_SHARE * stem_diameter,
        sawn=np.array([False, True]),
        lean=np.zeros((2, 2)),
        rough_m=np.zeros((2, END_CELLS, END_CELLS)),
    )
    return _sawn(rng, settings, piece)


def _after_crook(rng: Generator, settings: LogSettings, texture: _Texture, stem: RoundWood, length: float) -> RoundWood:
    """Return what a crooked stem goes on as, no thicker than it is there."""
    out, turn = np.radians(draw(rng, settings.crook_deg)), rng.uniform(0.0, 2.0 * np.pi)
    direction = np.array([np.cos(out), np.sin(out) * np.cos(turn), np.sin(out) * np.sin(turn)])
    thick = stem.radius_at_m(stem.length_m)
    middle = thick - 0.25 * texture.taper * length
    return _limb(
        rng, settings, texture, stem.line_m(np.array([stem.length_m]))[0], direction, length, middle, 2.0 * thick
    )


def _stub(rng: Generator, settings: LogSettings, texture: _Texture, hosts: list[RoundWood]) -> RoundWood:
    """Return a branch stub on the stem or a limb."""
    host = hosts[int(rng.integers(0, len(hosts)))]
    # The inner part of a limb is inside the fork, the outer part too near its end.
    low, high = (0.2, 0.85) if host.sawn[0] else (0.65, 0.85)
    at = rng.uniform(low, high) * host.length_m
    lean, turn = np.radians(rng.uniform(45.0, 80.0)), rng.uniform(0.0, 2.0 * np.pi)
    across = np.cos(turn) * host.axes[1] + np.sin(turn) * host.axes[2]
    direction = np.cos(lean) * host.axes[0] + np.sin(lean) * across
    second = np.cross(host.axes[0], across)
    radius = 0.5 * min(draw(rng, settings.stub_diameter_m), 0.8 * host.radius_at_m(at))
    length = host.radius_at_m(at) / np.sin(lean) + draw(rng, settings.stub_m)
    piece = RoundWood(
        start_m=host.line_m(np.array([at]))[0],
        axes=np.stack([direction, second, np.cross(direction, second)]),
        length_m=float(length),
        bend_m=np.zeros((STATIONS, 2)),
        radius_m=_radii(rng, texture, float(length), radius, 0.0),
        blend_m=_STUB_BLEND_M,
        sawn=np.array([False, True]),
        lean=np.zeros((2, 2)),
        rough_m=np.zeros((2, END_CELLS, END_CELLS)),
    )
    return _sawn(rng, settings, piece)


def _heart(piece: RoundWood) -> FloatArray:
    """Points (P, 3) of a centre line, every 10 cm or so. [m]."""
    return piece.line_m(np.linspace(0.0, piece.length_m, max(2, int(np.ceil(piece.length_m / 0.1)) + 1)))


def _moved(points: FloatArray, matrix: FloatArray) -> FloatArray:
    """Points (..., 3) under a (4, 4) matrix."""
    return np.asarray(points @ matrix[:3, :3].T + matrix[:3, 3])


def _measured_fork(pieces: list[RoundWood], stem: RoundWood, fork: _Fork, matrix: FloatArray) -> Fork:
    """Return the fork of the two limbs with the widest angle between them, its crotch where the wood ends."""
    count = len(fork.limbs)
    pairs = [(i, j) for i in range(count) for j in range(i + 1, count)]
    one, two = min(pairs, key=lambda pair: float(fork.directions[pair[0]] @ fork.directions[pair[1]]))
    d1, d2 = fork.directions[one], fork.directions[two]
    # The middle line runs where the surfaces of the two would meet, were they not grown together.
    middle = fork.limbs[two].radius_at_m(0.0) * d1 + fork.limbs[one].radius_at_m(0.0) * d2
    middle /= np.linalg.norm(middle)
    steps = np.arange(0.0, max(limb.length_m for limb in fork.limbs), 0.002)
    values, _ = outside_by_m(pieces, fork.meeting_m + steps[:, None] * middle)
    height = float(steps[np.argmax(values > 0.0)])
    diameter = 2.0 * stem.radius_at_m(stem.length_m)
    normal = np.cross(d1, d2)
    turn = matrix[:3, :3]
    return Fork.over_hearts(
        _moved(fork.meeting_m, matrix), turn @ middle, height, turn @ (normal / np.linalg.norm(normal)), diameter
    )
