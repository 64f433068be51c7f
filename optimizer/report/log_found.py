"""What the log is: sizes, masses, board feet by the buyers' rules, sections; for the plan document."""

from math import pi, sqrt

import manifold3d
import numpy as np

from optimizer.bed.bodies import LogBodies, polygons_of, rings_of
from optimizer.bed.lay import widest_m
from optimizer.documents.plan import CrossSection, ForkFound, LogFound, LogRules, Mark, Source
from optimizer.standing.rolled import Supports
from optimizer.wood.log_rules import scale_log
from optimizer.wood.woods import Wood
from scans.log import FloatArray, Log

SECTION_SPACING_M = 0.25
INSIDE_END_M = 0.001
RAGGED_M = 0.3
RAGGED_SHARE = 0.8
ACROSS_FIRST = np.array([[0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [1.0, 0.0, 0.0, 0.0]])
"""Turns (x, y, z) into (y, z, x), so that a slice at a height is a section at x."""


def log_found(
    log: Log,
    bodies: LogBodies,
    supports: Supports,
    wood: Wood,
    source: Source,
    *,
    bark_on: bool,
    cost: float,
    haul: float = 0.0,
    fee_received: float = 0.0,
    marks: tuple[Mark, ...] = (),
) -> LogFound:
    """Describe a log for the document."""
    from_m, to_m = (float(x) for x in log.outer.bounds_m[:, 0])
    butt_trim_m, top_trim_m = bodies.end_trim_m
    outer, inner = bodies.outer.transform(ACROSS_FIRST), bodies.wood.transform(ACROSS_FIRST)
    butt_m = end_diameter_m(inner, from_m + max(butt_trim_m, INSIDE_END_M), RAGGED_M)
    top_m = end_diameter_m(inner, to_m - max(top_trim_m, INSIDE_END_M), -RAGGED_M)
    scale = scale_log(max(min(butt_m, top_m), 0.01), log.length_m, butt_trim_m + top_trim_m)
    places = np.arange(from_m + SECTION_SPACING_M, to_m - INSIDE_END_M, SECTION_SPACING_M)
    places = np.concatenate([[from_m + INSIDE_END_M], places, [to_m - INSIDE_END_M]])
    return LogFound(
        name=log.name,
        source=source,
        species=wood.name,
        bark=bark_on,
        bark_thickness_m=log.bark_thickness_m,
        length_m=log.length_m,
        end_trim_m=bodies.end_trim_m,
        volume_m3=log.wood.volume_m3,
        mass_kg=wood.log_mass_kg(log.wood.volume_m3, log.outer.volume_m3),
        butt_diameter_m=butt_m,
        top_diameter_m=top_m,
        max_width_m=widest_m(supports.whole),
        log_rules=LogRules(
            doyle=scale.doyle,
            scribner_c=scale.scribner_c,
            international=scale.international,
            diameter_in=scale.diameter_in,
            length_ft=scale.length_ft,
        ),
        scan_to_log=tuple(tuple(float(v) for v in row) for row in log.scan_to_log),
        hearts=tuple(tuple(_point(p) for p in line) for line in log.hearts),
        heart_radius_m=log.heart_radius_m,
        forks=tuple(
            ForkFound(
                crotch_m=_point(fork.crotch_m),
                normal=_point(fork.normal),
                direction=_point(fork.direction),
                diameter_m=fork.diameter_m,
                below_m=fork.below_m,
                above_m=fork.above_m,
            )
            for fork in log.forks
        ),
        marks=marks,
        sections=tuple(
            CrossSection(x_m=float(x), outer_m=_rings(outer, float(x)), wood_m=_rings(inner, float(x))) for x in places
        ),
        not_seen_share=log.not_seen_share,
        surface_error_m=log.surface_error_m,
        cost=cost,
        haul=haul,
        fee_received=fee_received,
    )


def end_diameter_m(turned: manifold3d.Manifold, x_m: float, inwards_m: float) -> float:
    """Return the diameter at an end; of a ragged end, the median over the next `inwards_m`. [m].

    Ragged: under 0.8 of that median (our own rule, no source).
    """
    there_m = largest_diameter_m(turned, x_m)
    near_m = float(np.median([largest_diameter_m(turned, x_m + inwards_m * k / 6) for k in range(1, 7)]))
    return there_m if there_m >= RAGGED_SHARE * near_m else near_m


def largest_diameter_m(turned: manifold3d.Manifold, x_m: float) -> float:
    """Return the diameter of a circle as large as the largest part of the section at x. [m].

    turned : the solid with its x axis up.
    """
    areas = [part.area for part in polygons_of(turned.slice(x_m))]
    return 2.0 * sqrt(max(areas, default=0.0) / pi)


def _rings(turned: manifold3d.Manifold, x_m: float) -> tuple[tuple[tuple[float, float], ...], ...]:
    return tuple(ring for part in polygons_of(turned.slice(x_m)) for ring in rings_of(part))


def _point(point: FloatArray) -> tuple[float, float, float]:
    return float(point[0]), float(point[1]), float(point[2])
