"""Whether a log stands on its supports, before the first pass, after each and after a flip, or how it would fall.

A body stands where the vertical through its mass centre meets the bunks inside the convex hull of its supports, far
enough from the hull's edge. What a pass cuts in two has to stand as two: a limb that no support holds falls.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from manifold3d import Manifold

from optimizer.standing.hull import hull_of_spans, inside_by_m
from optimizer.standing.on_bed import Body, OnBed, State, on_bed
from optimizer.standing.supports import Support, SupportRules, is_possible, margin_m
from scans.log import FloatArray


@dataclass(frozen=True)
class Held:
    """How one body is held at one time, by all the supports that the mill has for it.

    blade_height_m : of the pass just made; None before the first. inside_by_m : how far its mass centre lies inside the
    hull of its supports, below 0 outside; minus infinity where it has none. margin_m : how far it has to.
    """

    flipped: bool
    blade_height_m: float | None
    body: Body
    inside_by_m: float
    margin_m: float

    @property
    def spare_m(self) -> float:
        """How much farther from the edge it lies than it has to; below 0 it does not stand. [m]."""
        return self.inside_by_m - self.margin_m


@dataclass(frozen=True)
class Overturning:
    """Where a lay does not stand: which way the worst held body turns over, and what would hold it.

    outside_m : how far its mass centre lies outside the hull of its supports; below 0 where it lies inside, but nearer
    the edge than the margin. toward : unit vector (x, y) from the hull to there; None where it has no support.
    volume_m3 : of that body; moment = volume x density x 9.81 m/s2 x outside_m. holding : the lowest stack of blocks,
    taller than any prop of the mill, with which all would stand; None where no single one does.
    """

    flipped: bool
    blade_height_m: float | None
    volume_m3: float
    outside_m: float
    toward: tuple[float, float] | None
    holding: Support | None


@dataclass(frozen=True)
class Standing:
    """How a bolt stands on the bed from before the first pass to the last.

    sides : as it lies, and after a flip if there is one. held : each body at each time, but those small enough to be
    held by hand.
    """

    rules: SupportRules
    sides: tuple[OnBed, ...]
    held: tuple[Held, ...]

    @property
    def is_possible(self) -> bool:
        """Whether butt third and top third each have a support before the first pass."""
        first = self.sides[0]
        return is_possible(first.supports, first.from_m, first.to_m)

    @cached_property
    def worst(self) -> Held:
        """The body, and the time, that is held the worst."""
        return min(self.held, key=lambda held: held.spare_m)

    @property
    def stands(self) -> bool:
        """Whether every body stands at every time."""
        return self.worst.spare_m >= 0.0

    @property
    def stands_by_m(self) -> float:
        """The least of how far a mass centre lies inside the hull of its supports; below 0 outside. [m].

        Minus infinity where a pass leaves a body that nothing holds.
        """
        return min(held.inside_by_m for held in self.held)

    @property
    def loose(self) -> tuple[tuple[OnBed, State, Body], ...]:
        """What passes cut off that somebody holds by hand: the side, when, and the body."""
        return tuple(
            (side, state, body)
            for side in self.sides
            for state in side.states
            for body in state.bodies
            if state.blade_height_m is not None and body.volume_m3 < self.rules.loose_m3
        )

    @property
    def is_allowed(self) -> bool:
        """Whether the mill may lay it so: clamps hold what would turn over, but nothing that a pass cuts off."""
        clamped = self.rules.clamps_hold and self.stands_by_m > -np.inf
        return self.is_possible and (self.stands or clamped)

    @cached_property
    def overturning(self) -> Overturning | None:
        """How it turns over; None where it stands."""
        if self.stands:
            return None
        worst = self.worst
        side = next(side for side in self.sides if side.flipped == worst.flipped)
        return Overturning(
            worst.flipped,
            worst.blade_height_m,
            worst.body.volume_m3,
            -worst.inside_by_m,
            _toward(worst, side.supports),
            _holding(side, self.rules),
        )


def standing_of(
    outer: Manifold,
    log_to_bed: FloatArray,
    blade_heights_m: Sequence[float],
    rules: SupportRules,
    flipped_heights_m: Sequence[float] | None = None,
) -> Standing:
    """Tell how a bolt stands through its passes, from the solid itself.

    outer : the bolt's outer surface, bark included, in the log frame. log_to_bed : (4, 4), rigid. blade_heights_m : of
    the passes, bed frame. flipped_heights_m : of those after a flip, in the second bed frame; None without a flip.
    """
    sides = on_bed(outer, log_to_bed, blade_heights_m, rules, flipped_heights_m)
    return Standing(rules, sides, tuple(held for side in sides for held in held_by(side, rules)))


def held_by(side: OnBed, rules: SupportRules) -> list[Held]:
    """Return how each body that is not held by hand is held at each time, by all supports that the mill allows.

    The whole bolt counts however small it is.
    """
    found = []
    for state in side.states:
        for body in state.bodies:
            if state.blade_height_m is None or body.volume_m3 >= rules.loose_m3:
                allowed = [side.supports[k] for k in body.supports if side.supports[k].is_allowed]
                inside = inside_of(body, allowed)
                found.append(Held(side.flipped, state.blade_height_m, body, inside, margin_m(allowed)))
    return found


def inside_of(body: Body, supports: Iterable[Support]) -> float:
    """Return how far a body's mass centre lies inside the hull of these supports; below 0 outside. [m]."""
    return float(inside_by_m(_hull(supports), body.centre_m[0], body.centre_m[1]))


def _hull(supports: Iterable[Support]) -> FloatArray:
    spans: dict[float, tuple[float, float]] = {}
    for support in supports:
        low, high = spans.get(support.x_m, (np.inf, -np.inf))
        spans[support.x_m] = min(low, support.from_y_m), max(high, support.to_y_m)
    x_m = np.array(sorted(spans))
    y_m = np.array([spans[x] for x in x_m]).reshape(-1, 2)
    return hull_of_spans(x_m, np.ascontiguousarray(y_m[:, 0]), np.ascontiguousarray(y_m[:, 1]))


def _toward(held: Held, supports: Sequence[Support]) -> tuple[float, float] | None:
    hull = _hull(supports[k] for k in held.body.supports if supports[k].is_allowed)
    if len(hull) == 0:
        return None
    shape = shapely.MultiPoint(hull).convex_hull
    centre = shapely.Point(held.body.centre_m[:2])
    edge = shape if shape.geom_type != "Polygon" else shape.exterior
    nearest = shapely.shortest_line(edge, centre)
    way = np.diff(shapely.get_coordinates(nearest), axis=0)[0] * (1.0 if held.inside_by_m <= 0.0 else -1.0)
    size = float(np.linalg.norm(way))
    return (float(way[0] / size), float(way[1] / size)) if size > 0.0 else None


def _holding(side: OnBed, rules: SupportRules) -> Support | None:
    blocks = [(s.height_m, k) for k, s in enumerate(side.supports) if not s.is_allowed]
    for _, k in sorted(blocks):
        supports = list(side.supports)
        supports[k] = replace(supports[k], kind="prop")
        if all(held.spare_m >= 0.0 for held in held_by(replace(side, supports=tuple(supports)), rules)):
            return side.supports[k]
    return None
