"""Centre lines of stem and limbs followed slice by slice, each slice square to the line as it runs there.

A crooked log's slices square to one axis are ovals with smeared edges; square to its own line they are round.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from scans.log import FloatArray
from scans.solids.frame import axes_from

SLICE_M = 0.06
_GAP_M = 0.42
"""A line is followed over so much of a log that shows no girth."""

_LEAST_COVER = 0.16
_BINS = 24
_ALIKE = np.cos(np.radians(40.0))
_LAST = 7
"""So many of the last circles say where a line goes on."""

_STARTS = 0.4 * np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])
_ON = 0.1
_MIDDLE_MOVES, _RADIUS_MOVES = 0.25, 0.06
"""How far a circle may be off what those before it foretell: its middle as a share of the radius, and its radius."""

_MISFIT = 0.06
"""How far places lie off their circle, as a share of its radius: no log is round."""

_CUTS = (0.45, 0.35, 0.25, 0.2, 0.2)
"""Places farther off a circle than this share of its radius do not count, round after round."""

_MEET, _MEET_RADIUS = 0.5, 0.4
"""Two chains of circles meet where these are no farther aside than this share of the radius, and of like radii."""

_ROUGHEST = 0.12
_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, eq=False)
class Member:
    """Centre (N, 3), rising along the member, and radius (N,) of a stem or limb where it was seen. [m]."""

    centres_m: FloatArray
    radii_m: FloatArray
    seen_share: FloatArray


@dataclass(frozen=True, eq=False)
class _Ring:
    """A circle across a line: its middle (3,), radius, and the share of its girth that was seen."""

    middle_m: FloatArray
    radius_m: float
    seen_share: float


@dataclass(frozen=True, eq=False)
class Surface:
    """Smooth places (N, 3) with unit normals (N, 3) of either sign, and where to find them."""

    places_m: FloatArray
    normals: FloatArray
    tree: cKDTree

    def ring(self, middle: FloatArray, along: FloatArray, radius: float) -> _Ring | None:
        """Return the circle near a foretold one that the places in the slice through its middle lie on."""
        frame = axes_from(along, _UP)
        rows = np.array(self.tree.query_ball_point(middle, np.hypot(1.6 * radius, SLICE_M)), dtype=np.int64)
        local = (self.places_m[rows] - middle) @ frame.T
        facing = self.normals[rows] @ frame.T
        inside = (np.abs(local[:, 0]) < 0.5 * SLICE_M) & (np.abs(facing[:, 0]) < 0.75)
        flat, across = local[inside, 1:], facing[inside, 1:]
        across = across / np.linalg.norm(across, axis=1)[:, None]
        best, found = 0.0, None
        for start in _STARTS * radius:
            at, size = _circle(flat, across, radius, start)
            far = np.linalg.norm(flat - at, axis=1)
            aside = np.abs(((flat - at) * across).sum(axis=1))
            on = (np.abs(far - size) < _ON * radius) & (aside > _ALIKE * far)
            turn = np.arctan2(flat[on, 1] - at[1], flat[on, 0] - at[0])
            cover = len(np.unique(((turn / (2.0 * np.pi) + 0.5) * _BINS).astype(np.int64) % _BINS)) / _BINS
            # Nobody sees into wood.
            within = float((far < size - 2.0 * _ON * radius).sum()) / max(1, len(flat))
            off = float(at @ at / _MIDDLE_MOVES**2 + (size - radius) ** 2 / _RADIUS_MOVES**2) / radius**2
            score = cover - within - 0.02 * off
            if cover >= _LEAST_COVER and score > best and 0.4 * radius < size < 2.0 * radius:
                best, found = score, _Ring(middle + at @ frame[1:], float(size), cover)
        return found


def _circle(flat: FloatArray, across: FloatArray, radius: float, start: FloatArray) -> tuple[FloatArray, float]:
    """Middle (2,) and radius of the circle that places (N, 2) in a slice lie on, near what was foretold."""
    at, size = start, radius
    known = np.array([_MIDDLE_MOVES * radius, _MIDDLE_MOVES * radius, _RADIUS_MOVES * radius]) ** -2.0
    for cut in _CUTS:
        aside = flat - at
        far = np.maximum(np.linalg.norm(aside, axis=1), 1e-9)
        ring = aside / far[:, None]
        weight = np.clip(1.0 - ((far - size) / (cut * radius)) ** 2, 0.0, None) ** 2 / (_MISFIT * radius) ** 2
        weight *= np.abs((ring * across).sum(axis=1)) > _ALIKE
        # Neighbours in a slice are off together: a whole girth of places says what few say.
        weight *= min(1.0, 12.0 / max(1.0, float((weight > 0.0).sum())))
        slope = np.column_stack([ring, np.ones(len(far))])
        normal = slope.T @ (weight[:, None] * slope) + np.diag(known)
        right = slope.T @ (weight * (far - size)) - known * np.array([*at, size - radius])
        step = np.linalg.solve(normal, right)
        at, size = at + step[:2], float(np.clip(size + step[2], 0.4 * radius, 2.0 * radius))
    return at, size


def surface_of(places_m: FloatArray, normals: FloatArray, roughness: FloatArray) -> Surface:
    """Return what is smooth of places; arguments as of `scans.skeleton.find_skeleton`."""
    smooth = roughness < _ROUGHEST
    return Surface(places_m[smooth], normals[smooth], cKDTree(places_m[smooth]))


def followed(pieces: list[Member], surface: Surface) -> Member:
    """Return one line through pieces of it, each followed both ways from where it is plain.

    Of the circles found so, those are taken that explain the most surface on one way along the log.
    """
    chains = []
    for piece in pieces:
        rings, along = _plain(piece)
        onward = _marched(rings, along, surface)
        chains.append(_marched(onward[::-1], -along, surface)[::-1])
    return _member(_best_way(chains))


def followed_outwards(member: Member, surface: Surface) -> Member:
    """Return a member with its line followed on from where it is plain to its outer end, the last of its centres."""
    rings, along = _plain(member)
    before = member.centres_m @ along < float(rings[0].middle_m @ along) - 1e-6
    inner = [ring for ring, inside in zip(_rings(member), before, strict=True) if inside]
    return _member([*inner, *_marched(rings, along, surface)])


def _rings(member: Member) -> list[_Ring]:
    columns = zip(member.centres_m, member.radii_m, member.seen_share, strict=True)
    return [_Ring(middle, float(radius), float(share)) for middle, radius, share in columns]


def _member(rings: list[_Ring]) -> Member:
    return Member(
        np.array([ring.middle_m for ring in rings]),
        np.array([ring.radius_m for ring in rings]),
        np.array([ring.seen_share for ring in rings]),
    )


def _plain(member: Member) -> tuple[list[_Ring], FloatArray]:
    """Return the circles that lie best on one straight line with one radius, and the direction (3,) of that."""
    count = len(member.radii_m)
    width = min(count, _LAST)
    best, chosen = np.inf, slice(0, width)
    for first in range(count - width + 1):
        part = slice(first, first + width)
        middles = member.centres_m[part] - member.centres_m[part].mean(axis=0)
        direction = np.linalg.svd(middles)[2][0]
        off = np.linalg.norm(middles - (middles @ direction)[:, None] * direction, axis=1)
        radius = float(np.median(member.radii_m[part]))
        gap = float(np.linalg.norm(np.diff(member.centres_m[part], axis=0), axis=1).max())
        poor = float(np.median(off) + np.median(np.abs(member.radii_m[part] - radius))) / radius
        poor += 0.3 * (1.0 - float(member.seen_share[part].mean())) + max(0.0, gap - 2.0 * SLICE_M) / radius
        if poor < best:
            best, chosen = poor, part
    rings = _rings(member)[chosen]
    along = rings[-1].middle_m - rings[0].middle_m
    return rings, along / np.linalg.norm(along)


def _best_way(chains: list[list[_Ring]]) -> list[_Ring]:
    """Return the rings on the way along x that explains the most surface, from chain to chain where these meet."""
    rings = [ring for chain in chains for ring in chain]
    of = np.concatenate([np.full(len(chain), k) for k, chain in enumerate(chains)])
    middles = np.array([ring.middle_m for ring in rings])
    radii = np.array([ring.radius_m for ring in rings])
    shares = np.array([ring.seen_share for ring in rings])
    order = np.argsort(middles[:, 0], kind="stable")
    gained, before = np.zeros(len(rings)), np.full(len(rings), -1)
    for place, k in enumerate(order):
        earlier = order[:place]
        step = middles[k] - middles[earlier]
        far = np.linalg.norm(step, axis=1)
        alike = np.abs(np.log(radii[k] / radii[earlier])) < _MEET_RADIUS
        beside = np.hypot(step[:, 1], step[:, 2]) < np.maximum(step[:, 0], _MEET * np.minimum(radii[k], radii[earlier]))
        joined = (step[:, 0] > 1e-9) & (far < _GAP_M) & ((of[earlier] == of[k]) | (alike & beside))
        if joined.any():
            area = far * 0.5 * (shares[k] * radii[k] + shares[earlier] * radii[earlier])
            area -= (of[earlier] != of[k]) * SLICE_M * radii[k]
            worth = np.where(joined, gained[earlier] + area, -np.inf)
            best = int(np.argmax(worth))
            gained[k], before[k] = worth[best], earlier[best]
    way = [int(np.argmax(gained))]
    while before[way[-1]] >= 0:
        way.append(int(before[way[-1]]))
    return [rings[k] for k in reversed(way)]


def _marched(rings: list[_Ring], along: FloatArray, surface: Surface) -> list[_Ring]:
    """Return the rings and those that follow, slice by slice, in the direction (3,) in which they were last going."""
    found = list(rings)
    at = found[-1].middle_m
    missed = 0.0
    while missed < _GAP_M:
        recent = found[-_LAST:]
        radius = float(np.median([ring.radius_m for ring in found[-15:]]))
        start, along = _going(recent, along)
        ahead = max(float((at - start) @ along), 0.0) + SLICE_M
        at = start + ahead * along
        ring = surface.ring(at, along, radius)
        if ring is None:
            missed += SLICE_M
            continue
        missed = 0.0
        found.append(ring)
    return found


def _going(recent: list[_Ring], before: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Point (3,) and direction (3,) of the line past the last rings, the later ones weighing more."""
    middles = np.array([ring.middle_m for ring in recent])
    if len(recent) < 3:
        return middles[-1], before
    weight = np.array([ring.seen_share for ring in recent]) * np.linspace(0.5, 1.0, len(recent))
    centre = weight @ middles / weight.sum()
    ahead = (middles - centre) @ before
    slope = (weight * ahead) @ (middles - centre) / max(float(weight @ ahead**2), 1e-9)
    along = slope / np.linalg.norm(slope)
    return centre + max(float((middles[-1] - centre) @ along), 0.0) * along, along
