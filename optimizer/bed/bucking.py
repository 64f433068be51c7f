"""A log bucked: what stays of it, in its own frame, and each bolt cut off as a log of its own."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from manifold3d import Manifold

from optimizer.bed.bodies import SPECK_M3, manifold_of, mass_centre, polygons_of
from optimizer.bed.bolts import Bolt, bolts_of
from optimizer.bed.buck_cuts import BuckCut, BuckError, kept_forks, kept_hearts, lost_hearts, resampled
from optimizer.bed.zones import Zone, clipped_behind
from scans.log import FloatArray, Log, Solid
from scans.messages import long_length

HEART_STEP_M = 0.05
MOST_READINGS = 4
TOOL_LARGER, SAME_M3 = 1.02, 1e-6
CHIP_M3 = 5e-4
"""Pieces under this that come off beside a larger one are chips of it: bumps that the saw runs through (our own rule,
no source)."""


@dataclass(frozen=True, eq=False)
class Bucked:
    """What cuts leave: the log, in the frame that it had, and the bolts in the order of the cuts."""

    log: Log
    bolts: tuple[Bolt, ...]


def buck(log: Log, cuts: Sequence[BuckCut]) -> Bucked:
    """Buck a log. What a cut through a limb takes off is that limb's part beyond it alone.

    What is known of each face and vertex is of the whole log's, and left out. Raises BuckError where a cut meets no
    wood, leaves none, or would run into another limb.
    """
    bodies = _Bodies.of(log)
    rest, bolts = log, []
    for cut in cuts:
        outer = _parted(bodies.outer, cut, rest.hearts)
        wood = outer if bodies.wood is bodies.outer else _parted(bodies.wood, cut, rest.hearts)
        pieces = _whole_pieces(outer.lost)
        insides = pieces if wood is outer else _insides(pieces, wood.lost)
        bolts += bolts_of(rest, cut, _solids(pieces, insides))
        bodies = _Bodies(outer.kept, outer.kept if wood is outer else wood.kept)
        rest = replace(
            rest,
            hearts=kept_hearts(rest.hearts, cut),
            forks=kept_forks(rest.forks, cut),
        )
    return Bucked(bodies.log_of(rest), tuple(bolts))


def kept_zones(zones: Sequence[Zone], hearts: Sequence[FloatArray], cuts: Sequence[BuckCut]) -> tuple[Zone, ...]:
    """Return what of a log's zones stays on it. hearts : before the cuts."""
    kept = list(zones)
    for cut in cuts:
        parts = []
        for zone in kept:
            # A cut through one limb leaves alone what stands beside it on another.
            other = not is_of_member(zone.corners_m.mean(axis=0), cut, hearts)
            part = zone if other else clipped_behind(zone, np.array(cut.point_m), np.array(cut.normal))
            parts += [] if part is None else [part]
        kept = parts
    return tuple(kept)


@dataclass(frozen=True, eq=False)
class _Bodies:
    outer: Manifold
    wood: Manifold

    @classmethod
    def of(cls, log: Log) -> "_Bodies":
        outer = manifold_of(log.outer)
        return cls(outer, outer if log.wood is log.outer else manifold_of(log.wood))

    def log_of(self, like: Log) -> Log:
        """Return a log with these bodies, and with the rest of another."""
        outer = _without_specks(self.outer)
        wood = outer if self.wood is self.outer else _without_specks(self.wood)
        return replace(like, outer=outer, wood=wood, face_seen=None, doubt=None, colours=None)


@dataclass(frozen=True, eq=False)
class _Parted:
    kept: Manifold
    lost: list[Manifold]


def _parted(body: Manifold, cut: BuckCut, hearts: tuple[FloatArray, ...]) -> _Parted:
    beyond, behind = body.split_by_plane(cut.normal, float(np.dot(cut.point_m, cut.normal)))
    pieces = _pieces(beyond)
    if cut.limb is None:
        lost, kept = pieces, behind
    else:
        lost = [piece for piece in pieces if _is_of_limb(piece, cut, hearts)]
        kept = behind if len(lost) == len(pieces) else _without(body, lost, cut)
    parts = sorted(_pieces(kept), key=lambda piece: -piece.volume())
    if not lost or not parts:
        raise BuckError(f"the {cut.member} cut at {long_length(cut.at_m)} leaves nothing on one side of it")
    # What goes on the bed hangs together: a chip beside it would count as a body that nothing holds.
    return _Parted(parts[0], [*lost, *parts[1:]])


def _without(body: Manifold, lost: list[Manifold], cut: BuckCut) -> Manifold:
    """Return a body without the pieces beyond a cut, cut by something a little larger than these.

    What is cut off by itself shares all its corners with what stays, and leaves flaps without a volume.
    """
    whole = Manifold.compose(lost)
    x, y, z = cut.point_m
    tool = whole.hull().translate((-x, -y, -z)).scale((TOOL_LARGER,) * 3).translate((x, y, z))
    kept = body - tool
    is_all = abs(body.volume() - whole.volume() - kept.volume()) < SAME_M3
    return kept if is_all else body - whole


def _pieces(body: Manifold) -> list[Manifold]:
    """Return the pieces of a body, without specks that cutting leaves on the cut."""
    return [piece for piece in body.decompose() if piece.volume() > SPECK_M3]


def _is_of_limb(piece: Manifold, cut: BuckCut, hearts: tuple[FloatArray, ...]) -> bool:
    """Tell whether a piece beyond the plane of a limb's cut is that limb's; BuckError where it is another's too."""
    limb = cut.limb or 0
    own = resampled(lost_hearts(hearts, cut)[0], HEART_STEP_M)
    others = [resampled(line, HEART_STEP_M) for k, line in enumerate(hearts) if k != limb]
    has_own = _holds_any(piece, own)
    if any(_holds_any(piece, line[cut.beyond_m(line) > 0.0]) for line in others):
        if has_own:
            raise BuckError(f"a cut {long_length(cut.at_m)} along limb {limb} would run into the other limb")
        return False
    if has_own:
        return True
    centre = np.array(mass_centre(piece))
    to_own = np.linalg.norm(own - centre, axis=1).min()
    return bool(all(np.linalg.norm(line - centre, axis=1).min() > to_own for line in others))


def is_of_member(point_m: FloatArray, cut: BuckCut, hearts: Sequence[FloatArray]) -> bool:
    """Tell whether a point (3,) is of what a cut goes through; of a limb, whether its heart is the nearest."""
    if cut.limb is None:
        return True
    away = [float(np.linalg.norm(resampled(line, HEART_STEP_M) - point_m, axis=1).min()) for line in hearts]
    return int(np.argmin(away)) == cut.limb


def _holds_any(piece: Manifold, points_m: FloatArray) -> bool:
    """Tell whether any of points (P, 3) lies inside a piece; a few of them, spread evenly, are looked at."""
    box = np.array(piece.bounding_box())
    near = points_m[((points_m > box[:3]) & (points_m < box[3:])).all(axis=1)]
    spread = near[np.unique(np.linspace(0, len(near) - 1, min(len(near), 4)).astype(int))] if len(near) else near
    return any(part.covers(shapely.Point(x, y)) for x, y, z in spread for part in polygons_of(piece.slice(float(z))))


def _whole_pieces(pieces: list[Manifold]) -> list[Manifold]:
    """Return pieces with the chips among them joined to the nearest, the one nearest to the butt end first."""
    largest = max(piece.volume() for piece in pieces)
    mains = [piece for piece in pieces if piece.volume() >= min(CHIP_M3, largest)]
    groups = [[main] for main in mains]
    for piece in pieces:
        if piece.volume() < min(CHIP_M3, largest):
            groups[_nearest(piece, mains)].append(piece)
    joined = [group[0] if len(group) == 1 else Manifold.compose(group) for group in groups]
    return sorted(joined, key=lambda piece: piece.bounding_box()[0])


def _insides(pieces: list[Manifold], woods: list[Manifold]) -> list[Manifold]:
    """Return the wood under the bark of each piece."""
    groups: list[list[Manifold]] = [[] for _ in pieces]
    for wood in woods:
        groups[_nearest(wood, pieces)].append(wood)
    if not all(groups):
        raise BuckError("a cut would take off bark alone")
    return [group[0] if len(group) == 1 else Manifold.compose(group) for group in groups]


def _nearest(piece: Manifold, mains: list[Manifold]) -> int:
    centre = np.array(mass_centre(piece))
    return int(np.argmin([np.linalg.norm(np.array(mass_centre(main)) - centre) for main in mains]))


def _solids(outers: list[Manifold], woods: list[Manifold]) -> list[tuple[Solid, Solid]]:
    if woods is outers:
        return [(solid, solid) for solid in map(solid_of, outers)]
    return [(solid_of(outer), solid_of(wood)) for outer, wood in zip(outers, woods, strict=True)]


def _without_specks(body: Manifold) -> Solid:
    """Return a body as a solid that stays in one piece when it is read anew: flaps without a volume may come off."""
    solid = solid_of(body)
    for _ in range(MOST_READINGS):
        parts = manifold_of(solid).decompose()
        if len(parts) == 1:
            break
        solid = solid_of(max(parts, key=lambda part: part.volume()))
    return solid


def solid_of(body: Manifold) -> Solid:
    """Return a manifold as a solid."""
    mesh = body.to_mesh64()
    vertices = np.asarray(mesh.vert_properties)[:, :3].copy()
    return Solid(vertices, np.asarray(mesh.tri_verts).astype(np.int64))
