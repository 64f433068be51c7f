"""What lies between two heights on the bed, and what it weighs: bark included, as somebody lifts it."""

from dataclasses import dataclass
from typing import NamedTuple

import manifold3d
import numpy as np

from optimizer.bed.bodies import SPECK_M3, BedBodies, LogBodies, between, flip_matrix, flipped_bodies, mass_centre
from optimizer.bed.lay import Lay
from optimizer.bed.layer_masses import LayerMass, SurfaceNeighbours, layer_mass
from optimizer.wood.woods import Wood
from scans.log import FloatArray, moved


class Weighed(NamedTuple):
    """A part of the log. volume_m3 : its wood. mass_kg, centre_m : with the bark on it; bed frame."""

    volume_m3: float
    mass_kg: float
    centre_m: tuple[float, float, float]


class Pieces(NamedTuple):
    """What a layer comes apart into.

    bodies : the wood of each piece, bed frame; none where it is all one piece. weighed : the pieces in the same order;
    after them bark without wood.
    """

    bodies: list[manifold3d.Manifold]
    weighed: list[Weighed]


@dataclass(frozen=True, eq=False)
class OnScale:
    """A log on the bed, to be weighed in parts.

    species : of the wood. points_m : (V, 3) of the outer surface; wood_points_m : of the wood's, the same where there
    is no bark.
    """

    species: Wood
    bodies: BedBodies
    points_m: FloatArray
    surface: SurfaceNeighbours
    wood_points_m: FloatArray
    wood_surface: SurfaceNeighbours

    @classmethod
    def of(cls, species: Wood, log: LogBodies, bed: BedBodies, lay: Lay) -> "OnScale":
        """Return a log as it lies before the first pass."""
        points_m = lay.to_bed(log.log.outer.vertices_m)
        wood_points_m = points_m if log.wood is log.outer else lay.to_bed(log.log.wood.vertices_m)
        return cls(species, bed, points_m, log.outer_neighbours, wood_points_m, log.neighbours)

    def flipped(self, face_m: float) -> "OnScale":
        """Return what is left under a sawn face, flipped onto it; to be weighed from the bunks up."""
        turn = flip_matrix(face_m)
        points_m = moved(self.points_m, turn)
        wood_points_m = points_m if self.wood_points_m is self.points_m else moved(self.wood_points_m, turn)
        bodies = flipped_bodies(self.bodies, face_m)
        return OnScale(self.species, bodies, points_m, self.surface, wood_points_m, self.wood_surface)

    def between(self, lower_m: float, upper_m: float) -> Weighed:
        """Weigh all that lies between two heights."""
        return self._weighed(*self._masses(lower_m, upper_m))

    def pieces(self, lower_m: float, upper_m: float) -> Pieces:
        """Weigh what lies between two heights piece by piece."""
        wood, outer = self._masses(lower_m, upper_m)
        if wood.parts == 1 and outer.parts == 1:
            return Pieces([], [self._weighed(wood, outer)])
        bodies = between(self.bodies.wood, lower_m, upper_m).decompose()
        within = bodies
        if self.bodies.outer is not self.bodies.wood:
            within = between(self.bodies.outer, lower_m, upper_m).decompose()
        held_by = [_holding(body, within) for body in bodies]
        weighed = []
        for body, holder in zip(bodies, held_by, strict=True):
            own, around = _mass_of(body), _mass_of(within[holder])
            sharing_m3 = sum(other.volume() for other, held in zip(bodies, held_by, strict=True) if held == holder)
            alone = sharing_m3 == own.volume_m3
            # The bark of what holds several pieces of wood together is shared as the wood is.
            outer_m3 = around.volume_m3 * (1.0 if alone else own.volume_m3 / sharing_m3)
            weighed.append(self._weighed(own, LayerMass(outer_m3, around.centre_m if alone else own.centre_m, 1)))
        bark = [_mass_of(body) for k, body in enumerate(within) if k not in held_by and body.volume() > SPECK_M3]
        nothing = LayerMass(0.0, (0.0, 0.0, 0.0), 0)
        return Pieces(bodies, weighed + [self._weighed(nothing, part) for part in bark])

    def _masses(self, lower_m: float, upper_m: float) -> tuple[LayerMass, LayerMass]:
        wood = layer_mass(self.wood_points_m, self.wood_surface, lower_m, upper_m)
        if self.wood_points_m is self.points_m:
            return wood, wood
        return wood, layer_mass(self.points_m, self.surface, lower_m, upper_m)

    def _weighed(self, wood: LayerMass, outer: LayerMass) -> Weighed:
        # Between two planes the wood may come out larger by a sliver than what holds it.
        outer_m3 = max(outer.volume_m3, wood.volume_m3)
        mass_kg = self.species.log_mass_kg(wood.volume_m3, outer_m3)
        if outer_m3 == wood.volume_m3:
            return Weighed(wood.volume_m3, mass_kg, wood.centre_m)
        wood_moment = wood.volume_m3 * np.array(wood.centre_m) if wood.volume_m3 > 0.0 else np.zeros(3)
        bark_moment = outer.volume_m3 * np.array(outer.centre_m) - wood_moment
        moment = self.species.green_density_kg_m3 * wood_moment + self.species.bark_density_kg_m3 * bark_moment
        x, y, z = moment / mass_kg
        return Weighed(wood.volume_m3, mass_kg, (float(x), float(y), float(z)))


def _mass_of(body: manifold3d.Manifold) -> LayerMass:
    return LayerMass(body.volume(), mass_centre(body), 1)


def _holding(body: manifold3d.Manifold, within: list[manifold3d.Manifold]) -> int:
    """Return which of some bodies holds most of a body."""
    if len(within) == 1:
        return 0
    return int(np.argmax([(body ^ other).volume() for other in within]))
