"""Stem and limbs of a log as its points show them: a centre line and a radius along each.

Slices across the log hold arcs, each on the circle of a stem or a limb; circles of slice after slice make
tracks; tracks that run apart from one another over some length are limbs.
"""

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from scans.errors import NotALogError
from scans.fit.arcs import Arc, arcs_in
from scans.fit.centre_lines import SLICE_M, Member, followed, followed_outwards, surface_of
from scans.log import FloatArray

_THINNEST = 0.2
"""Tracks thinner than this share of the thickest are branches; less than a limb has, as the thickest circle may be one
that spans a whole fork."""

_THIN_STEM = 0.5
"""No stem gets thinner than this share of its thickest track from one place to the next: that is a branch."""

_RADII_M = (0.05, 1.3)
_ROUGHEST = 0.1
_STEEPEST = 0.75
"""Normals that point along the log more than this are of its ends."""

_APART = 0.8
"""Two circles are apart if their middles are farther from one another than this share of both radii together."""

_LEAST_APART_M = 0.18
_SHORTEST_STEM = 0.5
"""Limbs meet no nearer to the butt end than this share of the stem's radius."""

_LEAST_OPENING = 0.15
"""How much farther apart, to the length, limbs must get to tell by it where the stem is: two limbs 9 deg apart."""

_GAP_M = 0.4


@dataclass(frozen=True, eq=False)
class Skeleton:
    """The stem, from the end that is one stem to the fork, and its limbs, outwards from it, if it divides.

    meeting_m : (3,) where the centre lines meet, None for a single stem. [m]
    directions : (3,) unit vectors of the limbs' lines there, outwards.
    """

    stem: Member
    limbs: tuple[Member, ...] = ()
    meeting_m: FloatArray | None = None
    directions: tuple[FloatArray, ...] = ()


@dataclass
class _Track:
    x_m: list[float]
    arcs: list[Arc]

    @property
    def radius_m(self) -> float:
        return float(np.median([arc.radius_m for arc in self.arcs]))

    @property
    def run_m(self) -> float:
        middles = np.column_stack([self.x_m, [arc.middle_m for arc in self.arcs]])
        return float(np.linalg.norm(middles[-1] - middles[0])) + SLICE_M

    def at(self, x_m: float) -> tuple[FloatArray, float]:
        """Middle (2,) and radius at x, a straight line through the last ones going on."""
        last = slice(-5, None)
        xs, middles = np.array(self.x_m[last]), np.array([arc.middle_m for arc in self.arcs[last]])
        radius = float(np.median([arc.radius_m for arc in self.arcs[last]]))
        if len(xs) < 4:
            return middles[-1], radius
        slopes = np.polyfit(xs - xs[-1], middles, 1)
        return slopes[1] + slopes[0] * (x_m - xs[-1]), radius


def find_skeleton(places_m: FloatArray, normals: FloatArray, roughness: FloatArray) -> Skeleton:
    """Return stem and limbs of a log.

    places_m : (N, 3) points about evenly spread over the seen surface, x along the log. [m]
    normals : (N, 3) unit, of either sign. roughness : (N,) share of the neighbours' spread along them.

    Deterministic. Raises NotALogError where no slices hold a circle.
    """
    tracks = _tracks(_slices(places_m, normals, roughness))
    if not tracks:
        raise NotALogError("no round stem was found in the scan; scan more of the log's sides")
    thickest = max((track.radius_m for track in tracks if track.run_m > 0.3), default=tracks[0].radius_m)
    tracks = [track for track in tracks if track.run_m >= 0.25 and track.radius_m >= _THINNEST * thickest]
    if not tracks:
        raise NotALogError("no round stem was found in the scan; scan more of the log's sides")
    limbs = _limbs(tracks)
    surface = surface_of(places_m, normals, roughness)
    if len(limbs) < 2:
        thick = [track for track in tracks if track.radius_m >= _THIN_STEM * thickest]
        return Skeleton(followed([_member(list(zip(t.x_m, t.arcs, strict=True))) for t in thick], surface))
    whole = _forked(tracks, limbs)
    return replace(
        whole,
        stem=_back(followed_outwards(_back(whole.stem), surface)) if len(whole.stem.radii_m) > 2 else whole.stem,
        limbs=tuple(followed_outwards(limb, surface) for limb in whole.limbs),
    )


def _slices(places_m: FloatArray, normals: FloatArray, roughness: FloatArray) -> list[tuple[float, list[Arc]]]:
    good = (np.abs(normals[:, 0]) < _STEEPEST) & (roughness < _ROUGHEST)
    if not good.any():
        return []
    places, across = places_m[good], normals[good, 1:]
    across = across / np.linalg.norm(across, axis=1)[:, None]
    rng = np.random.default_rng(0)
    low, high = np.quantile(places[:, 0], [0.001, 0.999])
    found = []
    for x in np.arange(low + 0.5 * SLICE_M, high, SLICE_M):
        inside = np.abs(places[:, 0] - x) < 0.5 * SLICE_M
        arcs = arcs_in(places[inside, 1:], across[inside], _RADII_M, rng) if inside.sum() >= 12 else []
        kept: list[Arc] = []
        for arc in arcs:
            if all(np.linalg.norm(arc.middle_m - k.middle_m) > 0.5 * max(arc.radius_m, k.radius_m) for k in kept):
                kept.append(arc)
        found.append((float(x), kept))
    return found


def _tracks(slices: list[tuple[float, list[Arc]]]) -> list[_Track]:
    """Follow circles from slice to slice."""
    tracks: list[_Track] = []
    for x, arcs in slices:
        open_tracks = [track for track in tracks if x - track.x_m[-1] < _GAP_M]
        pairs = []
        for a, arc in enumerate(arcs):
            for t, track in enumerate(open_tracks):
                middle, radius = track.at(x)
                off = float(np.linalg.norm(arc.middle_m - middle)) / radius
                ratio = abs(np.log(arc.radius_m / radius))
                if off < 0.4 and ratio < 0.35:
                    pairs.append((off + ratio, a, t))
        taken_arcs, taken_tracks = set[int](), set[int]()
        for _, a, t in sorted(pairs):
            if a in taken_arcs or t in taken_tracks:
                continue
            taken_arcs.add(a)
            taken_tracks.add(t)
            open_tracks[t].x_m.append(x)
            open_tracks[t].arcs.append(arcs[a])
        tracks += [_Track([x], [arc]) for a, arc in enumerate(arcs) if a not in taken_arcs]
    return tracks


def _apart_m(one: _Track, other: _Track) -> float:
    """Length along x over which two tracks run beside and apart from one another."""
    beside = dict(zip(other.x_m, other.arcs, strict=True))
    apart = [
        x
        for x, arc in zip(one.x_m, one.arcs, strict=True)
        if x in beside
        and np.linalg.norm(arc.middle_m - beside[x].middle_m) > _APART * (arc.radius_m + beside[x].radius_m)
    ]
    return SLICE_M * len(apart)


def _limbs(tracks: list[_Track]) -> list[_Track]:
    """Return the most tracks of which each runs apart from each other one, those with the most length."""
    apart = {(i, j): _apart_m(tracks[i], tracks[j]) >= _LEAST_APART_M for i, j in combinations(range(len(tracks)), 2)}
    for count in range(min(4, len(tracks)), 1, -1):
        sets = [
            chosen
            for chosen in combinations(range(len(tracks)), count)
            if all(apart[pair] for pair in combinations(chosen, 2))
        ]
        if sets:
            best = max(sets, key=lambda chosen: sum(tracks[k].run_m for k in chosen))
            return [tracks[k] for k in best]
    return []


def _member(track_points: list[tuple[float, Arc]]) -> Member:
    ordered = sorted(track_points, key=lambda point: point[0])
    centres = np.array([[x, *arc.middle_m] for x, arc in ordered])
    return Member(
        centres, np.array([arc.radius_m for _, arc in ordered]), np.array([arc.seen_share for _, arc in ordered])
    )


def _joined(tracks: list[_Track]) -> Member:
    """One member of all tracks: at each place the circle that most of the girth is seen of."""
    best: dict[float, Arc] = {}
    for track in tracks:
        for x, arc in zip(track.x_m, track.arcs, strict=True):
            if x not in best or arc.seen_share * arc.radius_m > best[x].seen_share * best[x].radius_m:
                best[x] = arc
    return _member(list(best.items()))


def _forked(tracks: list[_Track], limbs: list[_Track]) -> Skeleton:
    """Return stem and limbs, each from where the limbs are apart, and where their lines meet."""
    first, last = _apart_range(limbs)
    low = min(track.x_m[0] for track in tracks)
    high = max(track.x_m[-1] for track in tracks)
    # Limbs go on apart, away from the stem. Where they run beside one another, the longer rest is the stem.
    opening = _opening(limbs)
    onward = opening > 0.0 if abs(opening) > _LEAST_OPENING else first - low > high - last
    parts_at = first if onward else last
    sign = 1.0 if onward else -1.0
    members = [
        _member([(x, arc) for x, arc in zip(t.x_m, t.arcs, strict=True) if sign * (x - parts_at) >= -1e-9])
        for t in limbs
    ]
    below = [arc.radius_m for t in tracks for x, arc in zip(t.x_m, t.arcs, strict=True) if sign * (x - parts_at) < 0.0]
    stem_radius = float(np.median(below or [limbs[0].radius_m]))
    lines = [_turned(member, sign) for member in members]
    whole = _joined(tracks)
    begins = float((sign * whole.centres_m[:, 0]).min())
    # Lines that lean little could meet far before the log: they meet on it, where some of a stem is left.
    least = min(begins + _SHORTEST_STEM * stem_radius, sign * parts_at - 0.02)
    rough = _meeting(lines, sign * parts_at, stem_radius, least, None)
    stem = _turned(_part(whole, sign * whole.centres_m[:, 0] < rough[0][0]), sign)
    meeting, directions = _meeting(lines, sign * parts_at, stem_radius, least, stem)
    turn = np.array([sign, 1.0, 1.0])
    stem = _turned(_part(whole, sign * whole.centres_m[:, 0] < meeting[0]), sign, back=sign)
    if len(stem.radii_m) < 2:
        raise NotALogError(
            "the log divides at its very end; scan the stem below the fork too, or each limb as a log of its own"
        )
    return Skeleton(
        stem,
        tuple(_turned(line, 1.0, back=sign) for line in lines),
        meeting * turn,
        tuple(direction * turn for direction in directions),
    )


def _opening(limbs: list[_Track]) -> float:
    """How much farther apart limbs get along x, to the length: the median of their pairs."""
    slopes = []
    for one, other in combinations(limbs, 2):
        beside = dict(zip(other.x_m, other.arcs, strict=True))
        both = [(x, arc, beside[x]) for x, arc in zip(one.x_m, one.arcs, strict=True) if x in beside]
        if len(both) > 2:
            apart = [float(np.linalg.norm(arc.middle_m - there.middle_m)) for _, arc, there in both]
            slopes.append(float(np.polyfit([x for x, _, _ in both], apart, 1)[0]))
    return float(np.median(slopes)) if slopes else 0.0


def _back(member: Member) -> Member:
    """Return a member with its places in the other order."""
    return Member(member.centres_m[::-1], member.radii_m[::-1], member.seen_share[::-1])


def _part(member: Member, which: np.ndarray) -> Member:
    return Member(member.centres_m[which], member.radii_m[which], member.seen_share[which])


def _turned(member: Member, sign: float, back: float = 1.0) -> Member:
    """Return a member with x times `sign`, its places rising along that, and x turned `back` then."""
    centres = member.centres_m * [sign, 1.0, 1.0]
    order = np.argsort(centres[:, 0], kind="stable")
    return Member(centres[order] * [back, 1.0, 1.0], member.radii_m[order], member.seen_share[order])


def _apart_range(limbs: list[_Track]) -> tuple[float, float]:
    """First and last x at which two of the limbs are apart."""
    at = [
        x
        for one, other in combinations(limbs, 2)
        for x, arc in zip(one.x_m, one.arcs, strict=True)
        for there, beside in zip(other.x_m, other.arcs, strict=True)
        if there == x and np.linalg.norm(arc.middle_m - beside.middle_m) > _APART * (arc.radius_m + beside.radius_m)
    ]
    return min(at), max(at)


def _meeting(
    limbs: list[Member], parts_at: float, stem_radius_m: float, least_m: float, stem: Member | None
) -> tuple[FloatArray, list[FloatArray]]:
    """Return the point (3,) from which the limbs' lines and the stem's go out, and the limbs' directions there.

    Lines are parabolas through the point; x rises from stem to limbs. The point's x is tried in steps from least_m on.
    """
    best, answer = np.inf, (np.zeros(3), [np.array([1.0, 0.0, 0.0])] * len(limbs))
    for x in np.arange(max(least_m, parts_at - 5.0 * stem_radius_m), parts_at, 0.02):
        rows, right, weights = [], [], []
        lines = [*limbs, *([stem] if stem is not None and len(stem.radii_m) >= 3 else [])]
        size = 1 + 2 * len(lines)
        for k, line in enumerate(lines):
            off = line.centres_m[:, 0] - x
            near = np.abs(off - np.sign(off.sum()) * np.abs(off).min()) < 1.5
            row = np.zeros((int(near.sum()), size))
            row[:, 0] = 1.0
            row[:, 1 + 2 * k], row[:, 2 + 2 * k] = off[near], off[near] ** 2
            rows.append(row)
            right.append(line.centres_m[near, 1:])
            weights.append(np.sqrt(line.seen_share[near] / near.sum()) / line.radii_m[near].mean())
        ridge = np.zeros((len(lines), size))
        ridge[np.arange(len(lines)), 2 + 2 * np.arange(len(lines))] = 1.0
        weight = np.concatenate(weights)[:, None]
        matrix = np.concatenate([np.concatenate(rows) * weight, 0.05 * ridge])
        wanted = np.concatenate([np.concatenate(right) * weight, np.zeros((len(lines), 2))])
        found = np.linalg.lstsq(matrix, wanted, rcond=None)[0]
        off_by = float(((matrix @ found - wanted) ** 2).sum())
        if off_by < best:
            best = off_by
            slopes = found[1::2][: len(limbs)]
            directions = [np.array([1.0, *slope]) / np.sqrt(1.0 + slope @ slope) for slope in slopes]
            answer = np.array([x, *found[0]]), directions
    return answer
