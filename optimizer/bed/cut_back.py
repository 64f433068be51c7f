"""Bucking without new faces: what lies beyond a cut is drawn back onto it, so that many logs are cut alike in no time.

The faces of the log stay those that it has, and what was cut off becomes a flat end of no thickness. The end lies on
the cut; its outline is off by what the surface leans within one edge of the mesh. For scouting, and for the logs that
this one may turn out to be; what is shown is cut on the mesh itself (see bucking).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from optimizer.bed.bolts import Bolt, bolts_of
from optimizer.bed.buck_cuts import BuckCut, BuckError, kept_forks, kept_hearts, lost_hearts, resampled
from scans.log import FloatArray, IntArray, Log, Solid
from scans.messages import long_length

HEART_STEP_M = 0.03
MARGIN_M = 0.1
"""What lies so little before the cut may lie beyond it on a log that is much like this one."""
CHIP_SHARE = 0.02
"""Pieces that come off beside the largest and have fewer than this share of its corners are chips: no bolts."""


@dataclass(frozen=True, eq=False)
class _Piece:
    """A part of the surface that a cut takes off.

    count : how many vertices it has. near : these, and those close by. faces : (K, 3) of all of them.
    """

    count: int
    near: IntArray
    faces: IntArray


@dataclass(frozen=True, eq=False)
class CutBack:
    """Cuts made ready on one log, to be made on others with the same faces."""

    cuts: tuple[BuckCut, ...]
    outer: tuple[tuple[_Piece, ...], ...]
    wood: tuple[tuple[_Piece, ...], ...]

    @classmethod
    def of(cls, log: Log, cuts: Sequence[BuckCut]) -> "CutBack":
        """Find what each cut takes off a log. Raises BuckError where it meets no wood or runs into another limb."""
        outer = tuple(_pieces(log.outer, cut, log.hearts) for cut in cuts)
        wood = outer if log.wood is log.outer else tuple(_pieces(log.wood, cut, log.hearts) for cut in cuts)
        return cls(tuple(cuts), outer, wood)

    def made_on(self, log: Log) -> Log:
        """Return a log with the same faces, cut back; what is known of its faces and vertices left out."""
        outer = self._cut(log.outer, self.outer)
        wood = outer if log.wood is log.outer else self._cut(log.wood, self.wood)
        hearts, forks = log.hearts, log.forks
        for cut in self.cuts:
            hearts = kept_hearts(hearts, cut)
            forks = kept_forks(forks, cut)
        return replace(
            log, outer=outer, wood=wood, hearts=hearts, forks=forks, face_seen=None, doubt=None, colours=None
        )

    def bolts_of(self, log: Log) -> list[Bolt]:
        """Return the bolts that the cuts take off a log, in the order of the cuts."""
        found, rest = [], log
        for cut, outer, wood in zip(self.cuts, self.outer, self.wood, strict=True):
            solids = [_cut_off(log.outer, cut, piece) for piece in _mains(outer)]
            insides = solids if wood is outer else [_cut_off(log.wood, cut, piece) for piece in _mains(wood)]
            if len(insides) == len(solids):
                found += bolts_of(rest, cut, _paired(solids, insides))
            rest = replace(rest, hearts=kept_hearts(rest.hearts, cut))
        return found

    def _cut(self, solid: Solid, pieces: tuple[tuple[_Piece, ...], ...]) -> Solid:
        vertices = np.array(solid.vertices_m)
        for cut, lost in zip(self.cuts, pieces, strict=True):
            for piece in lost:
                _draw_back(vertices, cut, piece)
        return solid.bent(vertices)


def _draw_back(vertices: FloatArray, cut: BuckCut, piece: _Piece) -> None:
    off_m = _off_m(vertices, cut, piece)
    rim, on_cut_m = _rim(vertices, off_m, piece.faces, 1.0)
    if not len(rim):
        return
    deep = off_m > 0.0
    deep[rim] = False
    vertices[deep] = on_cut_m.mean(axis=0)
    vertices[rim] = on_cut_m


def _off_m(vertices: FloatArray, cut: BuckCut, piece: _Piece) -> FloatArray:
    """Return how far beyond a cut each vertex lies; minus infinity for those that are not near the piece. [m]."""
    off_m = np.full(len(vertices), -np.inf)
    off_m[piece.near] = cut.beyond_m(vertices[piece.near])
    return off_m


def _rim(vertices: FloatArray, off_m: FloatArray, faces: IntArray, side: float) -> tuple[IntArray, FloatArray]:
    """Return the vertices next to a cut on one side (1 beyond, -1 before), and where their edges meet it, in mean."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    edges = np.concatenate([edges, edges[:, ::-1]])
    here, there = edges[:, 0], edges[:, 1]
    met = (off_m[here] > 0.0) if side > 0.0 else (off_m[here] <= 0.0)
    met &= (off_m[there] <= 0.0) if side > 0.0 else (off_m[there] > 0.0)
    here, there = here[met], there[met]
    share = off_m[here] / (off_m[here] - off_m[there])
    points = vertices[here] + share[:, None] * (vertices[there] - vertices[here])
    rim, of = np.unique(here, return_inverse=True)
    count = np.bincount(of)
    mean = np.stack([np.bincount(of, points[:, k]) / count for k in range(3)], axis=1)
    return rim, mean


def _mains(pieces: tuple[_Piece, ...]) -> list[_Piece]:
    most = max(piece.count for piece in pieces)
    return [piece for piece in pieces if piece.count >= CHIP_SHARE * most]


def _paired(outers: list[Solid], woods: list[Solid]) -> list[tuple[Solid, Solid]]:
    """Return each outer surface with the wood under it."""
    if woods is outers:
        return [(outer, outer) for outer in outers]
    middles = np.array([wood.vertices_m.mean(axis=0) for wood in woods])
    away = [np.linalg.norm(middles - outer.vertices_m.mean(axis=0), axis=1) for outer in outers]
    return [(outer, woods[int(np.argmin(far))]) for outer, far in zip(outers, away, strict=True)]


def _cut_off(solid: Solid, cut: BuckCut, piece: _Piece) -> Solid:
    """Return what lies beyond a cut, closed by a fan where it was cut."""
    vertices = solid.vertices_m
    off_m = _off_m(vertices, cut, piece)
    beyond = off_m > 0.0
    rim, on_cut_m = _rim(vertices, off_m, piece.faces, -1.0)
    used = np.concatenate([np.flatnonzero(beyond), rim])
    number = np.full(len(vertices), len(used))  # all that is not cut off is the middle of the fan
    number[used] = np.arange(len(used))
    faces = number[solid.faces]
    middle = faces == len(used)
    faces = faces[middle.sum(axis=1) < 2]
    corners = np.concatenate([vertices[beyond], on_cut_m, on_cut_m.mean(axis=0)[None]])
    return Solid(corners, faces)


def _pieces(solid: Solid, cut: BuckCut, hearts: tuple[FloatArray, ...]) -> tuple[_Piece, ...]:
    """Return the parts of a surface that a cut takes off: what hangs together beyond it."""
    beyond_m = cut.beyond_m(solid.vertices_m)
    beyond = np.flatnonzero(beyond_m > 0.0)
    if not 0 < len(beyond) < len(beyond_m):
        raise BuckError(f"the {cut.member} cut at {long_length(cut.at_m)} leaves nothing on one side of it")
    lost = _parts(solid, beyond_m > 0.0)
    if cut.limb is not None:
        lost = [part for part in lost if _is_of_limb(solid.vertices_m, part, cut, hearts)]
        if not lost:
            raise BuckError(f"the {cut.member} cut at {long_length(cut.at_m)} meets no wood of it")
    found = []
    for part in lost:
        near = _widened(solid, part, beyond_m)
        inside = np.zeros(len(beyond_m), dtype=bool)
        inside[near] = True
        found.append(_Piece(len(part), near, solid.faces[inside[solid.faces].any(axis=1)]))
    return tuple(found)


def _parts(solid: Solid, chosen: np.ndarray) -> list[IntArray]:
    faces = solid.faces
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    edges = edges[chosen[edges].all(axis=1)]
    count = len(chosen)
    graph = coo_matrix((np.ones(len(edges), dtype=bool), (edges[:, 0], edges[:, 1])), shape=(count, count))
    labels = connected_components(graph, directed=False)[1]
    used = np.flatnonzero(chosen)
    order = used[np.argsort(labels[used], kind="stable")]
    return np.split(order, np.flatnonzero(np.diff(labels[order])) + 1)


def _widened(solid: Solid, part: IntArray, beyond_m: FloatArray) -> IntArray:
    """Return the vertices of a part, what hangs together with it a little before the cut, and what these touch."""
    other = beyond_m > 0.0
    other[part] = False
    wider = next(found for found in _parts(solid, (beyond_m > -MARGIN_M) & ~other) if np.isin(part[0], found))
    inside = np.zeros(len(beyond_m), dtype=bool)
    inside[wider] = True
    inside[solid.faces[inside[solid.faces].any(axis=1)]] = True
    return np.flatnonzero(inside & ~other)


def _is_of_limb(vertices: FloatArray, part: IntArray, cut: BuckCut, hearts: tuple[FloatArray, ...]) -> bool:
    lines = [resampled(line, HEART_STEP_M) for line in hearts]
    lines[cut.limb or 0] = resampled(lost_hearts(hearts, cut)[0], HEART_STEP_M)
    of = np.concatenate([np.full(len(line), k) for k, line in enumerate(lines)])
    nearest = of[cKDTree(np.concatenate(lines)).query(vertices[part])[1]]
    if int(np.bincount(nearest, minlength=len(lines)).argmax()) != cut.limb:
        return False
    box = vertices[part].min(axis=0), vertices[part].max(axis=0)
    for k, line in enumerate(lines):
        tip = line[-1]
        if k not in {0, cut.limb} and (tip > box[0]).all() and (tip < box[1]).all():
            raise BuckError(f"a cut {long_length(cut.at_m)} along limb {cut.limb} would run into the other limb")
    return True
