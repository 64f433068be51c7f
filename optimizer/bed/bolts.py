"""A bolt: a length cut off, as a log of its own in a frame of its own."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from optimizer.bed.buck_cuts import BuckCut, lost_hearts, resampled
from optimizer.bed.marks import middle_of, section_of
from optimizer.bed.zones import Zone, clipped
from scans.log import FloatArray, Fork, Log, Solid, moved

END_SHARE = 0.1
"""Where a bolt's heart is not known, its chord goes through the middles of its sections so far from its ends."""
_UPRIGHT = 0.99
_HEART_STEP_M = 0.05


@dataclass(frozen=True, eq=False)
class Bolt:
    """A length that was cut off, as a log of its own.

    member : what it is of: "butt", "stem", "limb_1" and so on. log : in its own frame: x along its heart's chord from
    the end nearer to the butt, z as near to up as it lay in the log; of a fork's top the axis stays the log's.
    log_to_bolt : (4, 4) from the log's frame to its own.
    """

    member: str
    log: Log
    log_to_bolt: FloatArray

    def zones(self, zones: Sequence[Zone]) -> tuple[Zone, ...]:
        """Return what of the log's zones lies in the bolt, in its own frame."""
        bounds = self.log.outer.bounds_m
        found = []
        for zone in zones:
            corners = moved(zone.corners_m, self.log_to_bolt)
            low, high = corners.min(axis=0), corners.max(axis=0)
            if (low[1:] > bounds[1, 1:]).any() or (high[1:] < bounds[0, 1:]).any():
                continue
            normal = None if zone.normal is None else self.log_to_bolt[:3, :3] @ zone.normal
            part = clipped(replace(zone, corners_m=corners, normal=normal), float(bounds[0, 0]), float(bounds[1, 0]))
            if part is not None:
                found.append(part)
        return tuple(found)


@dataclass(frozen=True)
class BoltWorth:
    """What a bolt brings.

    member : what it is of. net : of sawing it as a log of its own; None: it gives no slab that pays, and is firewood.
    worth : that net, or what it brings as firewood.
    """

    member: str
    length_m: float
    mass_kg: float
    net: float | None
    worth: float
    id: str = ""


def bolts_of(log: Log, cut: BuckCut, solids: Sequence[tuple[Solid, Solid]]) -> list[Bolt]:
    """Return the bolts that a cut takes off a log, from their outer surfaces and wood in the log's frame."""
    lines = lost_hearts(log.hearts, cut)
    owners = _owners([outer for outer, _ in solids], lines)
    forks = [fork for fork in log.forks if cut.limb is None and float(cut.beyond_m(fork.crotch_m)) > 0.0]
    found = []
    for k, (outer, wood) in enumerate(solids):
        own = [line for line, owner in zip(lines, owners, strict=True) if owner == k]
        found.append(_bolt(log, _member(log, cut, own), outer, wood, own, forks if len(own) > 1 else []))
    return found


def _owners(outers: list[Solid], lines: tuple[FloatArray, ...]) -> list[int]:
    """Return which of some solids each line runs in: from inside one, its own surface is nearest."""
    if len(outers) == 1:
        return [0] * len(lines)
    trees = [cKDTree(outer.vertices_m) for outer in outers]
    middles = [resampled(line, _HEART_STEP_M) for line in lines]
    return [int(np.argmin([float(tree.query(m[len(m) // 2])[0]) for tree in trees])) for m in middles]


def _member(log: Log, cut: BuckCut, own: list[FloatArray]) -> str:
    """Name a bolt by what it is of: of a stem cut beyond the crotch each limb's top is a bolt of its own."""
    if cut.limb is None and len(own) == 1 and len(log.hearts) > 1:
        of = int(np.argmin([float(np.linalg.norm(line[-1] - own[0][-1])) for line in log.hearts]))
        if of > 0:
            return f"limb_{of}"
    return cut.member


def _bolt(log: Log, member: str, outer: Solid, wood: Solid, lines: list[FloatArray], forks: list[Fork]) -> Bolt:
    matrix = np.eye(4)
    if len(lines) == 1:
        matrix = _along(lines[0][0], lines[0][-1])
    elif not lines:
        matrix = _along(*_middles(outer))
    shift = np.eye(4)
    shift[0, 3] = -float(moved(outer.vertices_m, matrix)[:, 0].min())
    matrix = shift @ matrix
    there = outer.bent(moved(outer.vertices_m, matrix))
    own = replace(
        log,
        outer=there,
        wood=there if wood is outer else wood.bent(moved(wood.vertices_m, matrix)),
        hearts=tuple(rising for line in lines if len(rising := _rising(moved(line, matrix))) > 1),
        forks=tuple(_moved_fork(fork, matrix) for fork in forks),
        scan_to_log=matrix @ log.scan_to_log,
        face_seen=None,
        doubt=None,
        colours=None,
    )
    return Bolt(member, own, matrix)


def _middles(outer: Solid) -> tuple[FloatArray, FloatArray]:
    """Return the middles (3,) of a body's sections near both ends, square to the log's axis. [m]."""
    low, high = (float(x) for x in outer.bounds_m[:, 0])
    places = [low + share * (high - low) for share in (END_SHARE, 1.0 - END_SHARE)]
    start, end = (np.array([x, *middle_of(section_of(outer, x))]) for x in places)
    return start, end


def _along(start_m: FloatArray, end_m: FloatArray) -> FloatArray:
    """Return the 4x4 matrix into a frame about a point with x towards another, and z as near to up as can be."""
    along = (end_m - start_m) / np.linalg.norm(end_m - start_m)
    up = np.array([0.0, 0.0, 1.0]) if abs(along[2]) < _UPRIGHT else np.array([-1.0, 0.0, 0.0])
    up = up - (up @ along) * along
    up /= np.linalg.norm(up)
    turn = np.stack([along, np.cross(up, along), up])
    matrix = np.eye(4)
    matrix[:3, :3] = turn
    matrix[:3, 3] = -turn @ start_m
    return matrix


def _rising(line: FloatArray) -> FloatArray:
    highest = np.concatenate([[-np.inf], np.maximum.accumulate(line[:, 0])[:-1]])
    return np.asarray(line[line[:, 0] > highest + 1e-9])


def _moved_fork(fork: Fork, matrix: FloatArray) -> Fork:
    turn = matrix[:3, :3]
    return replace(
        fork, crotch_m=moved(fork.crotch_m, matrix), normal=turn @ fork.normal, direction=turn @ fork.direction
    )
