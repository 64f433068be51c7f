"""How a log measured with tape and calipers may lie otherwise: what the readings are off, and what they do not tell.

Between sections a log's form is known only as well as logs keep theirs; lobes no calipers show; a slight bow nobody
writes down. Each is a change of form that moves the surface along its radius. How large: see the constants. Those
that name hidden.py are what scans of logs are fitted with; the others are common practice, no source.

Calipers lie on ridges, so that possible logs are 3 % smaller in the mean than the log as measured: the true volumes of
12 invented stems were 3 % smaller, of 12 forks 4 % (tests/benchmarks/taped_logs.py).
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from scans.fit.hidden import LONG_M, SHORT_M, SHORT_SHARE
from scans.log import FloatArray, Solid, SurfaceDoubt

if TYPE_CHECKING:
    from scans.tape.log_from_sheet import LogSheet, TapedSection

READINGS, BETWEEN, BOW, LIMBS = "readings", "form between the sections", "bow", "lean of the limbs"
RIDGES = "ridges under the calipers"

RADIUS_READ_M, OVAL_READ_M, LEAN_READ_DEG = 0.003, 0.003, 10.0
"""What a section's mean radius, half the difference of its half axes, and its lean are off: a quarter of an inch or so
in a diameter, bark and all."""

OVAL_NOT_READ = 0.027
"""Where a girth alone was taken: half the difference of the half axes, each way, as a share of the radius."""

MEAN_BETWEEN, CENTRE_BETWEEN, OVAL_BETWEEN = 0.03, 0.05, 0.02
"""How far the mean radius, the centre and the ovality may lie off the curve between sections, where none is near, as
shares of the radius."""

LOBES = {3: 0.009, 4: 0.005, 5: 0.0032}
"""Spread of the lobes of each order, as a share of the radius: as hidden.py has them."""

BOW_READ_M, BOW_TURN_DEG, BOW_NOT_READ_M = 0.006, 15.0, 0.012
OUT_DEG, TOWARD_DEG = 2.0, 3.0
"""What a limb's lean, and the way that it leans, are off."""

RIDGES_MEAN, RIDGES_SPREAD = -0.015, 0.01
"""How much the mean radius is under what was read, and how far about that, as shares of the radius. Calipers and tapes
lie on ridges, lumps and flare and give too large an area: known of stems since Matern (1956; from memory). How much:
from the volumes of the first 24 invented logs of tests/benchmarks/taped_logs.py, no source."""

TAPE_SPREAD = 0.002
"""What the taped length is off, as a share: a quarter of an inch in ten feet."""

_KNOT_M = 0.2
_KEPT_SHARE = 0.9
_MOST_COURSES = 3


@dataclass(frozen=True, eq=False)
class _Member:
    """A stem or limb: its line (P, 3), places (P,) along it, and its sections' places, radii and readings."""

    line_m: FloatArray
    along_m: FloatArray
    at_m: FloatArray
    radius_m: FloatArray
    sections: "tuple[TapedSection, ...]"
    up: FloatArray
    right: FloatArray

    @property
    def length_m(self) -> float:
        return float(self.along_m[-1])

    def radius_at(self, along_m: FloatArray) -> FloatArray:
        return np.interp(along_m, self.at_m, self.radius_m)


@dataclass(frozen=True, eq=False)
class _Places:
    """Where points (V, 3) lie by a member: along it, round it, how far from it, and the way outwards."""

    along_m: FloatArray
    angle: FloatArray
    ways: FloatArray
    apart: FloatArray


def sheet_doubt(
    sheet: "LogSheet",
    outer: Solid,
    wood: Solid,
    hearts: tuple[FloatArray, ...],
    leaves_m: tuple[float, ...],
) -> SurfaceDoubt:
    """Return the doubt of a log that a sheet describes.

    outer, wood : its solids, log frame. hearts : the stem's line, then one a limb, as `scans.tape` has them. leaves_m :
    where each limb's tape begins along its line. [m]
    """
    members = _members(sheet, hearts, leaves_m)
    kinds: list[str] = []

    def part(solid: Solid) -> tuple[FloatArray, NDArray[np.float32]]:
        kinds.clear()
        return _ways_and_modes(sheet, members, solid.vertices_m, kinds)

    outer_ways, outer_modes = part(outer)
    wood_ways, wood_modes = (outer_ways, outer_modes) if wood is outer else part(wood)
    means = tuple(RIDGES_MEAN / RIDGES_SPREAD if kind == RIDGES else 0.0 for kind in kinds)
    return SurfaceDoubt(outer_ways, outer_modes, wood_ways, wood_modes, TAPE_SPREAD, tuple(kinds), means)


def _members(sheet: "LogSheet", hearts: tuple[FloatArray, ...], leaves_m: tuple[float, ...]) -> list[_Member]:
    found = []
    for k, line in enumerate(hearts):
        steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        sections = sheet.sections if k == 0 else sheet.limbs[k - 1].sections
        at = np.array([section.at_m for section in sections])
        if k > 0:  # a limb's places run from where it leaves, its line from where the hearts meet
            at = at + leaves_m[k - 1]
        radius = np.array([0.25 * sum(section.diameters_m) for section in sections])
        direction = (line[-1] - line[0]) / np.linalg.norm(line[-1] - line[0])
        up = np.array([0.0, 0.0, 1.0]) - direction[2] * direction
        up /= np.linalg.norm(up)
        found.append(_Member(line, along, at, radius, sections, up, np.cross(direction, up) * -1.0))
    return found


def _places(member: _Member, points_m: FloatArray) -> _Places:
    best = np.full(len(points_m), np.inf)
    along, feet = np.zeros(len(points_m)), np.zeros_like(points_m)
    for (a, b), start in zip(pairwise(member.line_m), member.along_m, strict=False):
        step = b - a
        share = np.clip((points_m - a) @ step / (step @ step), 0.0, 1.0)
        foot = a + share[:, None] * step
        apart = np.linalg.norm(points_m - foot, axis=1)
        nearer = apart < best
        best = np.where(nearer, apart, best)
        along = np.where(nearer, start + share * np.linalg.norm(step), along)
        feet = np.where(nearer[:, None], foot, feet)
    direction = np.cross(member.up, member.right)
    aside = points_m - feet
    aside = aside - (aside @ direction)[:, None] * direction
    off = np.linalg.norm(aside, axis=1)
    radius = member.radius_at(along)
    # On an end face the surface moves as much less as it lies nearer to the middle.
    ways = aside / np.maximum(np.maximum(off, radius), 1e-9)[:, None]
    angle = np.arctan2(aside @ member.right, aside @ member.up)
    return _Places(along, angle, ways, best / radius)


def _ways_and_modes(
    sheet: "LogSheet", members: list[_Member], points_m: FloatArray, kinds: list[str]
) -> tuple[FloatArray, NDArray[np.float32]]:
    places = [_places(member, points_m) for member in members]
    closeness = np.stack([np.exp(-8.0 * np.maximum(p.apart - 0.5, 0.0)) for p in places], axis=1)
    closeness /= np.maximum(closeness.sum(axis=1), 1e-30)[:, None]
    ways = sum(closeness[:, k, None] * p.ways for k, p in enumerate(places))
    columns: list[FloatArray] = []
    for k, (member, at) in enumerate(zip(members, places, strict=True)):
        own = [*_readings(member, at), *_between(member, at, ends_meet=k == 0)]
        own.append((RIDGES, RIDGES_SPREAD * member.radius_at(at.along_m)))
        own += _bow(sheet, member, at) if k == 0 else []
        for kind, column in own:
            kinds.append(kind)
            columns.append(closeness[:, k] * column)
        if k > 0:
            kinds += [LIMBS, LIMBS]
            columns += _leans(sheet, members, places, closeness, k, points_m)
    return np.asarray(ways), np.stack(columns, axis=1).astype(np.float32)


def _readings(member: _Member, at: _Places) -> list[tuple[str, FloatArray]]:
    """Return what each section was read wrong by, straight between sections."""
    found = []
    for j, section in enumerate(member.sections):
        here = np.interp(at.along_m, member.at_m, np.eye(len(member.at_m))[j])
        lean = np.radians(section.wide_deg)
        wide_m, narrow_m = section.diameters_m
        oval_m, across_m = OVAL_READ_M, OVAL_READ_M
        if section.wide_m is None or section.narrow_m is None:
            oval_m = across_m = OVAL_NOT_READ * float(member.radius_m[j])
        else:
            across_m = float(np.hypot(across_m, 2.0 * np.radians(LEAN_READ_DEG) * (wide_m - narrow_m) / 4.0))
        found += [
            (READINGS, RADIUS_READ_M * here),
            (READINGS, oval_m * here * np.cos(2.0 * (at.angle - lean))),
            (READINGS, across_m * here * np.sin(2.0 * (at.angle - lean))),
        ]
    return found


def _between(member: _Member, at: _Places, *, ends_meet: bool) -> list[tuple[str, FloatArray]]:
    """Return what the form does between sections, and what no section shows."""
    ends = np.array([0.0, member.length_m])
    radius = member.radius_at(at.along_m)
    spreads = {0: MEAN_BETWEEN, 1: CENTRE_BETWEEN, 2: OVAL_BETWEEN, **LOBES}
    found = []
    for order, spread in spreads.items():
        known = member.at_m if order in {0, 2} else ends if order == 1 and ends_meet else np.zeros(0)
        for course in _courses(member.length_m, known):
            out = spread * radius * np.interp(at.along_m, np.linspace(0.0, member.length_m, len(course)), course)
            waves = (np.cos,) if order == 0 else (np.cos, np.sin)
            found += [(BETWEEN, out * wave(order * at.angle)) for wave in waves]
    return found


def _courses(length_m: float, known_m: FloatArray) -> list[FloatArray]:
    """Return the main courses along a member, of unit spread where nothing is known, nothing where it is."""
    knots = np.linspace(0.0, length_m, max(3, int(np.ceil(length_m / _KNOT_M)) + 1))

    def together(a: FloatArray, b: FloatArray) -> FloatArray:
        apart = a[:, None] - b
        return np.asarray(
            (1.0 - SHORT_SHARE) * np.exp(-0.5 * (apart / LONG_M) ** 2)
            + SHORT_SHARE * np.exp(-0.5 * (apart / SHORT_M) ** 2)
        )

    spread = together(knots, knots)
    if len(known_m):
        across = together(knots, known_m)
        spread = spread - across @ np.linalg.solve(together(known_m, known_m) + 1e-3 * np.eye(len(known_m)), across.T)
    values, vectors = np.linalg.eigh(spread)
    order = np.argsort(-values)[:_MOST_COURSES]
    order = order[np.cumsum(values[order]) - values[order] < _KEPT_SHARE * max(values.sum(), 1e-12)]
    return [np.sqrt(max(float(values[k]), 0.0)) * vectors[:, k] for k in order]


def _bow(sheet: "LogSheet", member: _Member, at: _Places) -> list[tuple[str, FloatArray]]:
    bend = np.sin(np.pi * np.clip(at.along_m / member.length_m, 0.0, 1.0))
    along_m = across_m = BOW_NOT_READ_M
    toward = 0.0
    if sheet.bow is not None:
        toward = np.radians(sheet.bow.toward_deg)
        along_m, across_m = BOW_READ_M, float(np.hypot(BOW_READ_M, sheet.bow.gap_m * np.radians(BOW_TURN_DEG)))
    return [
        (BOW, along_m * bend * np.cos(at.angle - toward)),
        (BOW, across_m * bend * np.sin(at.angle - toward)),
    ]


def _leans(
    sheet: "LogSheet",
    members: list[_Member],
    places: list[_Places],
    closeness: FloatArray,
    limb: int,
    points_m: FloatArray,
) -> list[FloatArray]:
    """Return how points (V, 3) move where a limb leans otherwise than was read: its own, and those of what leaves it.

    limb : of the members, 0 the stem. closeness : (V, members).
    """
    out, toward = np.radians(sheet.limbs[limb - 1].out_deg), np.radians(sheet.limbs[limb - 1].toward_deg)
    # Away from what it leaves, and square to that.
    turns = ((np.radians(OUT_DEG), 0.0), (np.sin(out) * np.radians(TOWARD_DEG), 0.5 * np.pi))
    member = members[limb]
    found = []
    for spread, aside in turns:
        way = np.cos(toward + aside) * member.up + np.sin(toward + aside) * member.right
        column = closeness[:, limb] * spread * places[limb].along_m * np.cos(places[limb].angle - toward - aside)
        along = member.line_m[-1] - member.line_m[0]
        about = np.cross(along / np.linalg.norm(along), way)
        moved = spread * np.cross(about, points_m - member.line_m[0])
        for k in _borne_by(sheet, limb):
            outwards = np.cos(places[k].angle)[:, None] * members[k].up
            outwards += np.sin(places[k].angle)[:, None] * members[k].right
            column += closeness[:, k] * (moved * outwards).sum(axis=1)
        found.append(column)
    return found


def _borne_by(sheet: "LogSheet", limb: int) -> list[int]:
    """Return the limbs that leave a limb, and those that leave these; by their places in the sheet, from 1."""
    borne: list[int] = []
    for number, other in enumerate(sheet.limbs, start=1):
        if other.on == limb or other.on in borne:
            borne.append(number)
    return borne
