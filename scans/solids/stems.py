"""Hearts and forks of a closed solid, read off its sections.

A first, modest reading: the pith is taken to run through the middle of the wood. Where the sections do
not tell one stem, or one stem and its limbs, there are no hearts, and a note says why.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from manifold3d import Manifold

from scans.log import FloatArray, Fork
from scans.messages import Note
from scans.solids.bodies import SectionPiece, extent_along, section_at

STATION_M = 0.035
"""Distance from one section to the next. [m]."""

LIMB_SHARE = 0.4
"""A limb is at least this share of the stem's diameter thick; what is thinner is a branch stub."""

LEAST_LIMB_M = 0.25
"""A limb is at least this long. [m]."""

_SEEN_SHARE = 0.2
"""Pieces of a section thinner than this share of the stem's diameter are bark flakes and splinters."""

_OVERLAP = 0.25
"""Pieces of neighbouring sections are one if they share this much of the smaller one."""

_SMOOTH_M = 0.15
"""Standard deviation of the window that smooths a heart line. [m]."""


@dataclass(frozen=True, eq=False)
class _Track:
    """Pieces followed from section to section without a division, x rising."""

    x_m: FloatArray
    pieces: tuple[SectionPiece, ...]

    @property
    def centres_m(self) -> FloatArray:
        """Centroids (N, 3). [m]."""
        return np.column_stack([self.x_m, [piece.centre_m for piece in self.pieces]])

    @property
    def diameter_m(self) -> float:
        """Middle diameter across x. [m]."""
        return float(np.median([piece.diameter_m for piece in self.pieces]))

    @property
    def run_m(self) -> float:
        """Length of the line through its centres. [m]."""
        return float(np.linalg.norm(np.diff(self.centres_m, axis=0), axis=1).sum()) + STATION_M

    def line_m(self, wanted_m: FloatArray) -> FloatArray:
        """Smoothed centre line at x (M,): straight fits in a moving window, (M, 3). [m]."""
        centres, trust = self.centres_m, self.trust
        return np.array([_local_fit(centres, trust, x) for x in wanted_m])

    @property
    def trust(self) -> FloatArray:
        """Weight (N,) of each centre: a ragged or oblique end cuts pieces short, and their centres mislead."""
        areas = np.array([piece.area_m2 for piece in self.pieces])
        near = np.abs(self.x_m[:, None] - self.x_m) < 0.5
        typical = np.array([np.median(areas[beside]) for beside in near])
        return np.where(areas > 0.8 * typical, 1.0, 1e-3)


@dataclass(frozen=True, eq=False)
class Stems:
    """What the sections tell of a log's stem and limbs, in the frame that they were cut in.

    divides : at which end the stem divides: "high" x, "low" x, or None.
    hearts : as in Log, empty where unknown or where the stem divides at the low end.
    forks : as in Log.
    notes : one for each thing that the user should know.
    """

    divides: Literal["high", "low"] | None
    hearts: tuple[FloatArray, ...] = ()
    forks: tuple[Fork, ...] = ()
    notes: tuple[Note, ...] = ()


def read_stems(standing: Manifold) -> Stems:
    """Return stem, limbs, hearts and fork of an upended body whose x runs along the log."""
    nodes, links = _linked_pieces(standing)
    tracks, onward, stubs = _tracks_without_stubs(nodes, links)
    notes = []
    if stubs:
        left_out = f"{stubs} branch stub{'s' if stubs > 1 else ''} or splinters were left out of the hearts."
        notes.append(Note("stubs_left_out", left_out))
    if len(tracks) == 1:
        low, high = extent_along(standing)
        line = tracks[0].line_m(_every_10_cm(low, high))
        return Stems(None, (line,), (), tuple(notes))
    starts = [track for track in range(len(tracks)) if not any(track in ends for ends in onward.values())]
    ends = [track for track in range(len(tracks)) if not onward[track]]
    if len(starts) == 1 and len(ends) == len(tracks) - 1 and len(ends) <= 4:
        stem, limbs = tracks[starts[0]], [tracks[track] for track in ends]
        hearts, forks, doubt = _fork_from(standing, stem, limbs)
        return Stems("high", hearts, forks, (*notes, *doubt))
    if len(ends) == 1 and len(starts) == len(tracks) - 1:
        return Stems("low", (), (), tuple(notes))
    notes.append(
        Note(
            "hearts_unknown",
            f"The hearts are not known: the sections show {len(tracks)} lengths of trunk and limb that are not one "
            "trunk and one crotch. Mark the pith on the end faces.",
            bears_on_plan=True,
        ),
    )
    return Stems(None, (), (), tuple(notes))


def _every_10_cm(start: float, end: float) -> FloatArray:
    return np.linspace(start, end, max(2, int(np.ceil((end - start) / 0.1)) + 1))


_Node = tuple[float, SectionPiece]


def _linked_pieces(standing: Manifold) -> tuple[list[_Node], list[tuple[int, int]]]:
    """Pieces thick enough, as (x, piece), and pairs of them that go on from one section to the next."""
    low, high = extent_along(standing)
    count = max(8, round((high - low) / STATION_M))
    sections = [section_at(standing, x) for x in low + (np.arange(count) + 0.5) * (high - low) / count]
    typical = float(np.median([section.pieces[0].diameter_m for section in sections if section.pieces]))
    nodes: list[_Node] = []
    links: list[tuple[int, int]] = []
    previous: list[int] = []
    for section in sections:
        current = []
        for piece in section.pieces:
            if piece.diameter_m < _SEEN_SHARE * typical:
                continue
            nodes.append((section.x_m, piece))
            current.append(len(nodes) - 1)
        links += [(a, b) for a in previous for b in current if _goes_on(nodes[a][1], nodes[b][1])]
        previous = current
    return nodes, links


def _goes_on(here: SectionPiece, there: SectionPiece) -> bool:
    shared = (here.region ^ there.region).area()
    return bool(shared > _OVERLAP * min(here.area_m2, there.area_m2))


def _tracks_without_stubs(
    nodes: list[_Node],
    links: list[tuple[int, int]],
) -> tuple[list[_Track], dict[int, list[int]], int]:
    """Tracks of stem and limbs, which go on in which, and how many stubs were taken away."""
    alive = set(range(len(nodes)))
    stubs = 0
    while True:
        members, onward = _chains(sorted(alive), links)
        tracks = [
            _Track(np.array([nodes[n][0] for n in chain]), tuple(nodes[n][1] for n in chain)) for chain in members
        ]
        if len(tracks) == 1:
            return tracks, onward, stubs
        has_before = {later for laters in onward.values() for later in laters}
        loose = [t for t in range(len(tracks)) if t not in has_before or not onward[t]]
        thickest = max(track.diameter_m for track in tracks)
        small = [t for t in loose if not _is_limb(tracks[t], thickest)]
        if not small:
            return tracks, onward, stubs
        least = min(small, key=lambda t: tracks[t].run_m * tracks[t].diameter_m ** 2)
        alive -= set(members[least])
        stubs += tracks[least].diameter_m > 0.3 * thickest and tracks[least].run_m > 0.5 * tracks[least].diameter_m


def _is_limb(track: _Track, stem_diameter_m: float) -> bool:
    return track.diameter_m >= LIMB_SHARE * stem_diameter_m and track.run_m >= max(LEAST_LIMB_M, 0.8 * track.diameter_m)


def _chains(alive: list[int], links: list[tuple[int, int]]) -> tuple[list[list[int]], dict[int, list[int]]]:
    """Return the nodes in chains without a division, and for each chain those that it goes on in."""
    after: dict[int, list[int]] = {node: [] for node in alive}
    before: dict[int, list[int]] = {node: [] for node in alive}
    for a, b in links:
        if a in after and b in after:
            after[a].append(b)
            before[b].append(a)
    chain_of: dict[int, int] = {}
    members: list[list[int]] = []
    for node in alive:
        if len(before[node]) == 1 and len(after[before[node][0]]) == 1:
            chain_of[node] = chain_of[before[node][0]]
            members[chain_of[node]].append(node)
        else:
            chain_of[node] = len(members)
            members.append([node])
    onward = {index: [chain_of[n] for n in after[chain[-1]]] for index, chain in enumerate(members)}
    return members, onward


def _local_fit(centres: FloatArray, trust: FloatArray, x: float) -> FloatArray:
    """Point at x of a straight line fitted to (N, 3) centres, the near ones counting most."""
    weight = trust * np.exp(-0.5 * ((centres[:, 0] - x) / _SMOOTH_M) ** 2) + 1e-9
    middle = np.average(centres, axis=0, weights=weight)
    off = centres[:, 0] - middle[0]
    spread = float((weight * off**2).sum())
    slopes = (weight * off) @ (centres[:, 1:] - middle[1:]) / spread if spread > 1e-9 else np.zeros(2)
    return np.array([x, *(middle[1:] + slopes * (x - middle[0]))])


def _fork_from(
    standing: Manifold,
    stem: _Track,
    limbs: list[_Track],
) -> tuple[tuple[FloatArray, ...], tuple[Fork, ...], tuple[Note, ...]]:
    """Return hearts, fork and notes of a stem that divides into limbs."""
    points, directions = zip(*(_first_stretch(limb) for limb in limbs), strict=True)
    pairs = [(i, j) for i in range(len(limbs)) for j in range(i + 1, len(limbs))]
    one, two = min(pairs, key=lambda pair: float(directions[pair[0]] @ directions[pair[1]]))
    normal = np.cross(directions[one], directions[two])
    sine = float(np.linalg.norm(normal))

    def unsure(why: str) -> Note:
        text = f"The trunk divides, but the hearts are not known: {why}. Mark the pith on the end faces."
        return Note("hearts_unknown", text, bears_on_plan=True)

    if sine < np.sin(np.radians(5.0)):
        return (), (), (unsure("its limbs run almost side by side"),)
    meeting = _nearest_to_lines(points, directions)
    split, crotch = _crotch(standing, stem, limbs[one], limbs[two])
    diameter = float(np.interp(meeting[0], stem.x_m, [piece.diameter_m for piece in stem.pieces]))
    if not max(stem.x_m[0], split - 4.0 * diameter) < meeting[0] < split + 0.1 * diameter:
        return (), (), (unsure("the lines of its limbs do not meet below the place where they part"),)
    if np.linalg.norm(stem.line_m(meeting[:1])[0] - meeting) > 0.5 * diameter:
        return (), (), (unsure("the lines of its limbs meet outside the trunk's middle"),)
    low = extent_along(standing)[0]
    line = stem.line_m(_every_10_cm(low, float(meeting[0])))
    hearts = [np.vstack([line[:-1], meeting])]
    for limb in limbs:
        first, last = limb.x_m[0], limb.x_m[-1] + 0.5 * STATION_M
        above = limb.line_m(_every_10_cm(float(first), float(last)))
        hearts.append(np.vstack([meeting, above[above[:, 0] > meeting[0] + 1e-3]]))
    normal = normal / sine
    up = crotch - meeting
    up -= (up @ normal) * normal
    height = float(np.linalg.norm(up))
    fork = Fork(
        crotch_m=meeting + up,
        normal=normal,
        direction=up / height,
        diameter_m=diameter,
        below_m=height + diameter,
        above_m=0.0,
    )
    return tuple(hearts), (fork,), ()


def _first_stretch(limb: _Track) -> tuple[FloatArray, FloatArray]:
    """Return a point (3,) and the unit direction (3,) of a limb's line over its first metre or so."""
    centres = limb.centres_m
    reach = limb.x_m[0] + max(0.3, 2.5 * limb.diameter_m)
    near = centres[:, 0] <= reach if (centres[:, 0] <= reach).sum() >= 3 else np.ones(len(centres), dtype=bool)
    picked = centres[near]
    weight = limb.trust[near]
    middle = np.average(picked, axis=0, weights=weight)
    off = picked[:, 0] - middle[0]
    slopes = (weight * off) @ (picked[:, 1:] - middle[1:]) / (weight @ off**2)
    direction = np.array([1.0, *slopes])
    return middle, direction / np.linalg.norm(direction)


def _nearest_to_lines(points: tuple[FloatArray, ...], directions: tuple[FloatArray, ...]) -> FloatArray:
    """Point (3,) with the least sum of squared distances to lines."""
    across = [np.eye(3) - np.outer(direction, direction) for direction in directions]
    right = sum((a @ p for a, p in zip(across, points, strict=True)), np.zeros(3))
    return np.asarray(np.linalg.solve(sum(across, np.zeros((3, 3))), right))


def _crotch(standing: Manifold, stem: _Track, one: _Track, two: _Track) -> tuple[float, FloatArray]:
    """Return x where two limbs part, and the point (3,) between them there. [m]."""
    below, above = float(stem.x_m[-1]), float(max(one.x_m[0], two.x_m[0]))
    pieces = (one.pieces[0], two.pieces[0])
    for _ in range(7):
        middle = 0.5 * (below + above)
        found = section_at(standing, middle)
        now = (_most_shared(found.pieces, one.pieces[0]), _most_shared(found.pieces, two.pieces[0]))
        if now[0] is not now[1]:
            above, pieces = middle, now
        else:
            below = middle
    rings = [np.concatenate(piece.region.to_polygons()) for piece in pieces]
    apart = np.linalg.norm(rings[0][:, None] - rings[1][None], axis=2)
    i, j = np.unravel_index(np.argmin(apart), apart.shape)
    return above, np.array([above, *(0.5 * (rings[0][i] + rings[1][j]))])


def _most_shared(pieces: tuple[SectionPiece, ...], limb: SectionPiece) -> SectionPiece:
    """Return the piece that shares most with a limb's section."""
    return max(pieces, key=lambda piece: float((piece.region ^ limb.region).area()))
