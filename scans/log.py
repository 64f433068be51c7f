"""The Log: a closed solid in the log frame, with what is known of its inside.

Log frame: +x from the butt end to the top end, x = 0 at the outermost wood of the butt, z up as the
log lay when scanned or measured, y to the left for someone at the butt who looks along +x. Metres.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scans.errors import OpenSolidError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

HEART_RADIUS_M = 0.0254
"""Radius of the heart strip unless said otherwise: 1 in (common practice, no source)."""
FIGURE_BELOW_HEARTS = 0.25
"""How far a fork's figured wood reaches below where its hearts meet, in stem diameters (common practice, no source)."""
_GUESSED_WITHIN = 1.7


def frozen(array: FloatArray) -> FloatArray:
    """Return a read-only copy of an array of floats."""
    copy = np.array(array, dtype=np.float64, order="C")
    copy.flags.writeable = False
    return copy


def moved(points_m: FloatArray, matrix: FloatArray) -> FloatArray:
    """Return points (..., 3) under a 4x4 matrix. [m]."""
    return np.asarray(points_m @ matrix[:3, :3].T + matrix[:3, 3])


@dataclass(frozen=True, eq=False)
class Solid:
    """A closed triangle mesh, its faces anticlockwise seen from outside.

    vertices_m : (V, 3) float, log frame, metres.
    faces : (F, 3) int, rows of `vertices_m`.

    Raises OpenSolidError where an edge has no opposite, or where the mesh is inside out.
    """

    vertices_m: FloatArray
    faces: IntArray

    def __post_init__(self) -> None:
        vertices = frozen(self.vertices_m)
        faces = np.array(self.faces, dtype=np.int64, order="C")
        faces.flags.writeable = False
        object.__setattr__(self, "vertices_m", vertices)
        object.__setattr__(self, "faces", faces)
        if not np.isfinite(vertices).all():
            raise OpenSolidError("the surface has points that are not finite numbers")
        open_edges = count_open_edges(faces, len(vertices))
        if open_edges:
            raise OpenSolidError(f"the surface is open: {open_edges} edges have no face on their other side")
        if self.volume_m3 <= 0.0:
            raise OpenSolidError("the surface is inside out: its volume is not above 0")

    @cached_property
    def volume_m3(self) -> float:
        """Volume enclosed, by the divergence theorem. [m3]."""
        a, b, c = (self.vertices_m[self.faces[:, k]] for k in range(3))
        return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)

    @cached_property
    def bounds_m(self) -> FloatArray:
        """Least and greatest corner, (2, 3). [m]."""
        return frozen(np.stack([self.vertices_m.min(axis=0), self.vertices_m.max(axis=0)]))

    def moved(self, matrix: FloatArray) -> "Solid":
        """Return the solid under a 4x4 matrix that keeps its handedness (rigid, or scaled)."""
        return Solid(moved(self.vertices_m, matrix), self.faces)

    def bent(self, vertices_m: FloatArray) -> "Solid":
        """Return a solid with the same faces and its vertices (V, 3) moved a little. [m].

        Not checked again, which would take most of the time: the faces are the same, so it is closed too.
        """
        other = object.__new__(Solid)
        vertices = np.ascontiguousarray(vertices_m, dtype=np.float64)
        vertices.flags.writeable = False
        object.__setattr__(other, "vertices_m", vertices)
        object.__setattr__(other, "faces", self.faces)
        return other


def count_open_edges(faces: IntArray, vertex_count: int) -> int:
    """Count the directed edges of (F, 3) faces that are not matched by one edge the other way."""
    start = faces.ravel()
    end = np.roll(faces, -1, axis=1).ravel()
    there, there_counts = np.unique(start * vertex_count + end, return_counts=True)
    back, back_counts = np.unique(end * vertex_count + start, return_counts=True)
    if len(there) == len(back) and (there == back).all():
        return int(np.abs(there_counts - back_counts).sum())
    return len(np.setxor1d(there, back))


@dataclass(frozen=True, eq=False)
class Fork:
    """Where the stem divides; log frame.

    crotch_m : (3,) where the bark parts, on the fork's middle line. [m]
    normal : (3,) unit normal of the fork plane, which holds the hearts of two limbs.
    direction : (3,) unit vector of the fork's middle line, in the plane, towards the limbs.
    diameter_m : the stem's diameter under the fork. [m]
    below_m, above_m : how far the figure zone reaches from the crotch, against and along
        `direction`. [m]
    """

    crotch_m: FloatArray
    normal: FloatArray
    direction: FloatArray
    diameter_m: float
    below_m: float
    above_m: float

    @classmethod
    def over_hearts(
        cls, meeting_m: FloatArray, direction: FloatArray, height_m: float, normal: FloatArray, diameter_m: float
    ) -> "Fork":
        """Return the fork whose bark parts `height_m` along `direction` from where the hearts meet, `meeting_m` (3,).

        Its figure zone reaches from a quarter diameter below where the hearts meet up to where the bark parts. [m]
        """
        return cls(
            crotch_m=meeting_m + height_m * direction,
            normal=normal,
            direction=direction,
            diameter_m=diameter_m,
            below_m=height_m + FIGURE_BELOW_HEARTS * diameter_m,
            above_m=0.0,
        )

    def scaled(self, factor: float) -> "Fork":
        """Return the fork of a log that is so many times as large."""
        return replace(
            self,
            crotch_m=factor * self.crotch_m,
            diameter_m=factor * self.diameter_m,
            below_m=factor * self.below_m,
            above_m=factor * self.above_m,
        )


@dataclass(frozen=True, eq=False)
class SurfaceDoubt:
    """How a log's surface may lie, where a scan did not see it and where its noise hides it.

    Of the outer surface and of the wood: ways (V, 3), in which each vertex may move, and modes_m (V, K), by how
    much it does so, of K changes of form that are independent of one another, each as likely large as small and of
    unit spread, about its mean. [m]
    scale_spread : standard deviation of the size of the whole, as a share: what the scan's own scale may be off.
    kinds : (K,) what each change of form comes from; empty where that is the scan's surface alone.
    means : (K,) of the changes of form, of unit spread; empty where all are 0.
    """

    outer_ways: FloatArray
    outer_modes_m: NDArray[np.float32]
    wood_ways: FloatArray
    wood_modes_m: NDArray[np.float32]
    scale_spread: float
    kinds: tuple[str, ...] = ()
    means: tuple[float, ...] = ()

    def scaled(self, factor: float) -> "SurfaceDoubt":
        """Return the doubt of a log that is so many times as large; the scale's spread, a share, stays."""
        outer = np.float32(factor) * self.outer_modes_m
        wood = outer if self.wood_modes_m is self.outer_modes_m else np.float32(factor) * self.wood_modes_m
        return replace(self, outer_modes_m=outer, wood_modes_m=wood)

    def form(self, draw: FloatArray, widened: float = 1.0) -> FloatArray:
        """Return how much of each change of form there is, for draws (K,) about 0, `widened` times as far."""
        return np.asarray(widened * draw + (np.array(self.means) if self.means else 0.0))

    def outer_error_m(self) -> FloatArray:
        """Return the standard deviation (V,) of each vertex of the outer surface, the scale's not counted. [m]."""
        return np.sqrt((self.outer_modes_m.astype(np.float64) ** 2).sum(axis=1)) * np.linalg.norm(
            self.outer_ways, axis=1
        )


@dataclass(frozen=True, eq=False)
class SurfaceDraw:
    """One way for a surface to lie: how much of each change, of unit spread.

    scale : of the size. form : (K,) of the changes of form. seen, unseen : whether these move what a scan saw, and
    what it did not.
    """

    scale: float
    form: FloatArray
    seen: bool = True
    unseen: bool = True


@dataclass(frozen=True, eq=False)
class SurfaceColours:
    """Colours of the vertices of a log's outer surface.

    rgb : (V, 3) red, green and blue. known : (V,) whether the scan told the colour; where not it is a neutral grey.
    """

    rgb: NDArray[np.uint8]
    known: NDArray[np.bool_]


@dataclass(frozen=True)
class WalkSeen:
    """What one of several scans brought to the log that is made of them.

    points : how many of its points are of the log. seen_share : what share of the log's surface it saw.
    roll_deg : how far the log was rolled from how it lay in the first scan, clockwise seen from the butt.
    known_within_deg : how far off that may be. apart_m : how far it lies from the scans before it, in the mean, where
    both saw the bark. [m] All three are 0 of the first.
    """

    points: int
    seen_share: float
    roll_deg: float = 0.0
    known_within_deg: float = 0.0
    apart_m: float = 0.0


@dataclass(frozen=True, eq=False)
class Log:
    """A log whose outer surface (bark included, if it has any) and wood are closed solids.

    outer, wood : Solid in the log frame; the same object where there is no bark.
    bark_thickness_m : mean thickness of the bark, 0 without. [m]
    hearts : lines of the pith, each (P, 3) with x rising: the stem's first, then one for each limb,
        in the limbs' order; empty where the heart is not known. [m]
    forks : the forks, from the butt upwards.
    heart_radius_m : radius of the heart strip. [m]
    scan_to_log : (4, 4) from the scan's or the log sheet's frame to the log frame; the identity for a
        sheet of a straight stem.
    face_seen : (F,) whether a scan saw each face of `outer`; None where no scan tells.
    doubt : how the surface may lie otherwise; None where it is taken as it is.
    colours : of the vertices of `outer`; None where no scan tells.
    walks : of the scans that it was made of, in their order; empty where it was one, or none.
    """

    name: str
    outer: Solid
    wood: Solid
    bark_thickness_m: float = 0.0
    hearts: tuple[FloatArray, ...] = ()
    forks: tuple[Fork, ...] = ()
    heart_radius_m: float = HEART_RADIUS_M
    scan_to_log: FloatArray = field(default_factory=lambda: np.eye(4))
    face_seen: NDArray[np.bool_] | None = None
    doubt: SurfaceDoubt | None = None
    colours: SurfaceColours | None = None
    walks: tuple[WalkSeen, ...] = ()

    def __post_init__(self) -> None:
        if self.colours is not None and len(self.colours.rgb) != len(self.outer.vertices_m):
            raise ValueError(f"colours: {len(self.colours.rgb)} for {len(self.outer.vertices_m)} vertices")
        object.__setattr__(self, "hearts", tuple(frozen(line) for line in self.hearts))
        object.__setattr__(self, "scan_to_log", frozen(self.scan_to_log))

    @property
    def length_m(self) -> float:
        """Extent of the outer solid in x. [m]."""
        return float(self.outer.bounds_m[1, 0] - self.outer.bounds_m[0, 0])

    @property
    def not_seen_share(self) -> float | None:
        """Share of the outer surface that the scan did not see."""
        if self.face_seen is None:
            return None
        areas = self._face_areas_m2
        return float(areas[~self.face_seen].sum() / areas.sum())

    @property
    def surface_error_m(self) -> float | None:
        """How far off the outer surface may be, root mean square over it; the scale's error not counted. [m]."""
        if self.doubt is None:
            return None
        square = (self.doubt.outer_error_m() ** 2)[self.outer.faces].mean(axis=1)
        return float(np.sqrt((square * self._face_areas_m2).sum() / self._face_areas_m2.sum()))

    @property
    def guessed_within_m(self) -> float | None:
        """How near the truth four of five places lie that no scan saw, the scale's error not counted. [m].

        A multiple of `surface_error_m`, learnt on 36 invented scans; on 24 others it held 83 % of such places
        (tests/benchmarks/surfaces.py, seeds 780-803).
        """
        return None if self.surface_error_m is None else _GUESSED_WITHIN * self.surface_error_m

    @cached_property
    def _face_areas_m2(self) -> FloatArray:
        a, b, c = (self.outer.vertices_m[self.outer.faces[:, k]] for k in range(3))
        return np.asarray(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1))

    def scaled(self, factor: float) -> "Log":
        """Return the log so many times as large, `scan_to_log` with it; the heart strip, which is chosen, stays."""
        if factor == 1.0:
            return self
        outer = self.outer.bent(factor * self.outer.vertices_m)
        return replace(
            self,
            outer=outer,
            wood=outer if self.wood is self.outer else self.wood.bent(factor * self.wood.vertices_m),
            bark_thickness_m=factor * self.bark_thickness_m,
            hearts=tuple(factor * line for line in self.hearts),
            forks=tuple(fork.scaled(factor) for fork in self.forks),
            scan_to_log=np.diag([factor, factor, factor, 1.0]) @ self.scan_to_log,
            doubt=None if self.doubt is None else self.doubt.scaled(factor),
        )

    def sample(self, count: int, seed: int) -> list["Log"]:
        """Return logs that this one may turn out to be, in its own frame, each as likely as the other.

        Hearts and forks stay where they are, but for the scale. Without doubt all are the log itself. The first
        logs of a seed are the same whatever the count.
        """
        if self.doubt is None:
            return [self] * count
        rng = np.random.default_rng(seed)
        draws = (rng.normal(size=self.doubt.outer_modes_m.shape[1] + 1) for _ in range(count))
        return [self.varied(SurfaceDraw(float(draw[0]), self.doubt.form(draw[1:]))) for draw in draws]

    @cached_property
    def _unseen_at(self) -> tuple[FloatArray, FloatArray]:
        """How much of what surrounds each vertex of the outer surface and of the wood was not seen, 0 to 1."""
        outer = np.ones(len(self.outer.vertices_m))
        if self.face_seen is not None:
            around = np.bincount(self.outer.faces.ravel(), minlength=len(outer))
            unseen = np.bincount(self.outer.faces.ravel(), np.repeat(~self.face_seen, 3), minlength=len(outer))
            outer = unseen / np.maximum(around, 1)
        if self.wood is self.outer:
            return outer, outer
        from scipy.spatial import cKDTree  # noqa: PLC0415 - readers, which need none of it, load this module

        return outer, outer[cKDTree(self.outer.vertices_m).query(self.wood.vertices_m)[1]]

    def varied(self, draw: SurfaceDraw) -> "Log":
        """Return the log as it is where its surface lies as drawn; it has no doubt of its own.

        Hearts and forks stay where they are, but for the scale. Without doubt it is the log itself.
        """
        from scans.mode_sums import summed  # noqa: PLC0415 - compiled; readers load this module and need none of it

        doubt = self.doubt
        if doubt is None:
            return self
        scale = 1.0 + doubt.scale_spread * draw.scale
        form = np.asarray(draw.form, dtype=np.float32)

        def bent(solid: Solid, ways: FloatArray, modes: NDArray[np.float32], unseen: FloatArray) -> Solid:
            out = summed(modes, form).astype(np.float64)
            if not (draw.seen and draw.unseen):
                out *= draw.unseen * unseen + draw.seen * (1.0 - unseen)
            return solid.bent(scale * (solid.vertices_m + ways * out[:, None]))

        parted = self._unseen_at if not (draw.seen and draw.unseen) else (np.zeros(0), np.zeros(0))
        outer = bent(self.outer, doubt.outer_ways, doubt.outer_modes_m, parted[0])
        wood = outer if self.wood is self.outer else bent(self.wood, doubt.wood_ways, doubt.wood_modes_m, parted[1])
        forks = tuple(fork.scaled(scale) for fork in self.forks)
        hearts = tuple(scale * line for line in self.hearts)
        return replace(self, outer=outer, wood=wood, hearts=hearts, forks=forks, doubt=None)
