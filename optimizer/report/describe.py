"""From priced cuts to the plan document: volumes, masses, outlines, heights."""

from dataclasses import dataclass, field
from math import isfinite
from string import ascii_lowercase
from typing import Literal

import manifold3d
import numpy as np
from shapely import Point, box
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from optimizer.bed.bodies import (
    HAIR_M,
    BedBodies,
    flip_matrix,
    polygons_of,
    rings_of,
)
from optimizer.bed.buck_cuts import BuckCut, from_butt_m
from optimizer.bed.lay import Lay
from optimizer.bed.outlines import width_profile
from optimizer.bed.pricing import Priced, PricedPart, PricedPass, PricedSlab
from optimizer.bed.sawn_layers import Layer, layers_between
from optimizer.documents.plan import (
    BoltFound,
    BuckCutMade,
    FirstFace,
    HeartHeight,
    Offcut,
    Pass,
    Plan,
    RippedPart,
    Slab,
    Waste,
)
from optimizer.documents.prices import MenuEntry
from optimizer.problem import Problem
from optimizer.report.after_drying import AfterDrying
from optimizer.report.describe_standing import overturning_of, supports_of
from optimizer.report.weights import OnScale, Weighed
from optimizer.standing.on_bed import centre_of
from optimizer.wood.woods import Wood
from scans.log import FloatArray, moved

MOST = 1e3
"""Farther than any log reaches. [m]"""
SPECK_KG = 1e-6
"""Masses under this are rounding."""


def describe(problem: Problem, wood: Wood, priced: Priced, rank: int, log_wood_m3: float) -> Plan:
    """Return a plan as the document shows it.

    rank : 0 for the plain way and for hearts level. log_wood_m3 : wood of the whole log, of which `problem` may
    hold a stretch.
    """
    lay, kerf_m = priced.lay, problem.mill.kerf_m
    bed = problem.bodies.on_bed(lay)
    passes, face_m = priced.passes, priced.flip_face_m
    faces = [_face_sizes(bed, _height_before_flip_m(p, face_m)) for p in passes]
    parts = _Parts((*priced.entries, priced.bed_entry))
    on_bed = OnScale.of(wood, problem.bodies, bed, lay)
    stands = problem.standing(priced)
    outer_m3 = problem.log.outer.volume_m3
    whole_density = wood.log_mass_kg(problem.log.wood.volume_m3, outer_m3) / outer_m3
    layers = layers_between(passes, kerf_m)
    if face_m is not None and priced.bed_entry is None:
        layers.pop()  # what lies on the bunks is an offcut
    parts.add("first", on_bed, [p for p in passes if not p.flipped], layers, priced.slabs, kerf_m)
    if face_m is None:
        parts.offcut("last", on_bed.between(-MOST, passes[-1].blade_height_m))
    else:
        turned = on_bed.flipped(face_m)
        parts.add("flipped", turned, [p for p in passes if p.flipped], layers, priced.slabs, kerf_m)
        if priced.bed_entry is None:
            parts.offcut("last", turned.between(0.0, passes[-1].blade_height_m))
    return Plan(
        rank=rank,
        roll_deg=lay.roll_deg,
        tilt_deg=lay.tilt_deg,
        log_to_bed=_matrix(lay.log_to_bed),
        flipped_log_to_bed=None if face_m is None else _matrix(flip_matrix(face_m) @ lay.log_to_bed),
        gaps_m=priced.gaps_m,
        supports=supports_of(problem.log, lay, face_m, stands, whole_density),
        stands_by_m=stands.stands_by_m if isfinite(stands.stands_by_m) else None,
        overturning=overturning_of(stands, whole_density),
        mass_centre_m=centre_of(stands.sides[0].states[0].bodies),
        hearts=_heart_heights(problem, lay),
        stretch_m=priced.stretch_m,
        buck_cuts=tuple(_cut_made(problem, cut) for cut in priced.buck_cuts),
        bolts=tuple(BoltFound(**vars(bolt)) for bolt in priced.bolts),
        first_face=FirstFace(blade_height_m=passes[0].blade_height_m, max_width_m=faces[0][0], length_m=faces[0][1]),
        passes=tuple(
            Pass(
                order=k,
                blade_height_m=p.blade_height_m,
                flipped=p.flipped,
                reach_m=p.reach_m,
                cut_length_m=p.cut_length_m,
                cut_area_m2=p.cut_area_m2,
                minutes=p.minutes,
                face_width_m=width_m,
                face_length_m=length_m,
            )
            for k, (p, (width_m, length_m)) in enumerate(zip(passes, faces, strict=True), start=1)
        ),
        slabs=_after_drying(problem, wood, priced, parts.slabs),
        waste=tuple(parts.waste),
        offcuts=tuple(parts.offcuts),
        kerf_volume_m3=parts.kerf_m3,
        kerf_mass_kg=parts.kerf_kg,
        gross=priced.gross,
        pairs=tuple((parts.slabs[a].id, parts.slabs[b].id) for a, b in priced.pairs),
        pairs_premium=priced.pairs_premium,
        sawing_cost=priced.sawing_cost,
        drying_cost=priced.drying_cost,
        net=priced.net,
        break_even_log_price=priced.net,
        board_feet=sum(slab.board_feet for slab in priced.slabs),
        recovery=sum(slab.area_m2 * slab.green_m for slab in priced.slabs) / log_wood_m3,
    )


def _after_drying(problem: Problem, wood: Wood, priced: Priced, slabs: list[Slab]) -> tuple[Slab, ...]:
    drying = AfterDrying.of(wood, problem.prices, problem.mill)
    on_bed = priced.lay.log_to_bed
    flipped = on_bed if priced.flip_face_m is None else flip_matrix(priced.flip_face_m) @ on_bed
    hearts = {
        is_flipped: [moved(line, way) for line in problem.log.hearts]
        for is_flipped, way in ((False, on_bed), (True, flipped))
    }
    return tuple(drying.told(slab, hearts[slab.flipped]) for slab in slabs)


def _cut_made(problem: Problem, cut: BuckCut) -> BuckCutMade:
    whole = problem.log if problem.whole is None else problem.whole.log
    return BuckCutMade(
        member=cut.member,
        at_m=cut.at_m,
        from_butt_m=from_butt_m(whole.hearts, cut),
        point_m=cut.point_m,
        normal=cut.normal,
    )


def _matrix(matrix: FloatArray) -> tuple[tuple[float, float, float, float], ...]:
    rows = [(float(a), float(b), float(c), float(d)) for a, b, c, d in matrix]
    return tuple(rows)


@dataclass
class _Parts:
    """What the log comes apart into, gathered in sawing order. meant : what each layer is sawn for, the first first."""

    meant: tuple[MenuEntry | None, ...]
    slabs: list[Slab] = field(default_factory=list)
    waste: list[Waste] = field(default_factory=list)
    offcuts: list[Offcut] = field(default_factory=list)
    kerf_m3: float = 0.0
    kerf_kg: float = 0.0

    def offcut(self, where: Literal["first", "last", "flipped"], piece: Weighed) -> None:
        """Note an offcut."""
        self.offcuts.append(Offcut(where=where, volume_m3=piece.volume_m3, mass_kg=piece.mass_kg))

    def add(
        self,
        above: Literal["first", "flipped"],
        on_bed: OnScale,
        passes: list[PricedPass],
        layers: list[Layer],
        slabs: tuple[PricedSlab, ...],
        kerf_m: float,
    ) -> None:
        """Note what passes before the flip, or after it, make of the log: the offcut above them, kerfs, layers."""
        self.offcut(above, on_bed.between(passes[0].blade_height_m + kerf_m, MOST))
        for p in passes:
            dust = on_bed.between(p.blade_height_m, p.blade_height_m + kerf_m)
            self.kerf_m3 += dust.volume_m3
            self.kerf_kg += dust.mass_kg
        for layer in layers:
            if layer.flipped is passes[0].flipped:
                self._add_layer(on_bed, layer, [slab for slab in slabs if slab.layer == layer.number])

    def _add_layer(self, on_bed: OnScale, layer: Layer, sold: list[PricedSlab]) -> None:
        found, rest = _layer(on_bed, sold, layer.lower_m, layer.upper_m)
        self.slabs += found
        mass_kg = sum(piece.mass_kg for piece in rest)
        if mass_kg > SPECK_KG:
            entry = None if sold else self.meant[layer.number - 1]
            self.waste.append(
                Waste(
                    layer=layer.number,
                    volume_m3=sum(piece.volume_m3 for piece in rest),
                    mass_kg=mass_kg,
                    quarters=None if entry is None else entry.quarters,
                )
            )


def _layer(on_bed: OnScale, sold: list[PricedSlab], lower_m: float, upper_m: float) -> tuple[list[Slab], list[Weighed]]:
    """Give each slab the solid piece that it comes from; return the slabs and the rest."""
    if not sold:
        return [], [on_bed.between(lower_m, upper_m)]
    bodies, weighed = on_bed.pieces(lower_m, upper_m)
    sources = [_source(bodies, slab, upper_m) if bodies else 0 for slab in sold]
    letters = [""] if len(sold) == 1 else _letters(len(sold))
    slabs = []
    for slab, source, letter in zip(sold, sources, letters, strict=True):
        sharing = [other for other, where in zip(sold, sources, strict=True) if where == source]
        share = slab.area_m2 / sum(other.area_m2 for other in sharing)
        if len(sharing) == 1:
            centre = weighed[source].centre_m
        else:
            low_y, high_y = slab.piece.bounds[1], slab.piece.bounds[3]
            middle = slab.piece.intersection(box(slab.span_m[0], low_y, slab.span_m[1], high_y)).centroid
            centre = (middle.x, middle.y, 0.5 * (lower_m + upper_m))
        slabs.append(
            Slab(
                id=f"{slab.layer}{letter}",
                layer=slab.layer,
                flipped=slab.flipped,
                piece=slab.number,
                upper_face_m=slab.upper_face_m,
                lower_face_m=slab.lower_face_m,
                green_thickness_m=slab.green_m,
                quarters=slab.entry.quarters,
                outline_m=rings_of(slab.piece),
                span_m=slab.span_m,
                length_m=slab.length_m,
                mean_width_m=slab.mean_width_m,
                min_width_m=slab.min_width_m,
                max_width_m=slab.max_width_m,
                area_m2=slab.area_m2,
                tally_width_m=slab.tally_width_m,
                tally_length_m=slab.tally_length_m,
                board_feet=slab.board_feet,
                volume_m3=weighed[source].volume_m3 * share,
                mass_kg=weighed[source].mass_kg * share,
                mass_centre_m=centre,
                heart_area_m2=slab.heart.area,
                heart_m=_rings(slab.heart),
                marked_area_m2=slab.marked.area,
                marked_m=_rings(slab.marked),
                figure_area_m2=slab.figured_m2,
                figure_m=_rings(slab.figured_upper),
                figure_below_m=_rings(slab.figured_lower),
                price=slab.price,
                priced_by=slab.priced_by,
                sound_price=slab.sound_price,
                ripped=tuple(_ripped_part(part) for part in slab.ripped),
            )
        )
    return slabs, [piece for k, piece in enumerate(weighed) if k not in sources]


def _ripped_part(part: PricedPart) -> RippedPart:
    return RippedPart(
        side="left" if part.is_left else "right",
        outline_m=_rings(part.shape),
        span_m=part.span_m,
        tally_width_m=part.tally_width_m,
        tally_length_m=part.tally_length_m,
        board_feet=part.board_feet,
        price=part.price,
        priced_by=part.priced_by,
    )


def _rings(shape: BaseGeometry) -> tuple[tuple[tuple[float, float], ...], ...]:
    parts = [part for part in getattr(shape, "geoms", [shape]) if isinstance(part, Polygon)]
    return rings_of(MultiPolygon(parts))


def _letters(count: int) -> list[str]:
    return [(ascii_lowercase[k // 26 - 1] if k >= 26 else "") + ascii_lowercase[k % 26] for k in range(count)]


def _source(bodies: list[manifold3d.Manifold], slab: PricedSlab, upper_m: float) -> int:
    # A point of the outline has wood on both faces, so it lies just under the upper face of its body.
    point: Point = slab.piece.representative_point()
    for k, body in enumerate(bodies):
        x0, y0, _, x1, y1, _ = body.bounding_box()
        if not (x0 <= point.x <= x1 and y0 <= point.y <= y1):
            continue
        if len(bodies) == 1 or any(p.covers(point) for p in polygons_of(body.slice(upper_m - HAIR_M))):
            return k
    # Only a hair decides: take the body nearest below the face.
    return int(np.argmax([body.volume() for body in bodies]))


def _heart_heights(problem: Problem, lay: Lay) -> tuple[HeartHeight, ...]:
    hearts = problem.log.hearts
    if not hearts:
        return ()
    ends = [("butt", hearts[0][0])]
    if len(hearts) == 1:
        ends.append(("top", hearts[0][-1]))
    ends += [(f"limb_{k}", line[-1]) for k, line in enumerate(hearts[1:], start=1)]
    return tuple(HeartHeight(end=end, height_m=float(lay.to_bed(point)[2])) for end, point in ends)


def _height_before_flip_m(cut: PricedPass, flip_face_m: float | None) -> float:
    """Return how high the face of a pass lies in the bed frame before the flip."""
    is_after = cut.flipped and flip_face_m is not None
    return flip_face_m - cut.blade_height_m if is_after and flip_face_m is not None else cut.blade_height_m


def _face_sizes(bed: BedBodies, height_m: float) -> tuple[float, float]:
    """Return the widest place and the length of the largest piece of wood at a height; 0 and 0 with none. [m]."""
    pieces = polygons_of(bed.wood.slice(height_m))
    if not pieces:
        return 0.0, 0.0
    face = max(pieces, key=lambda piece: piece.area)
    return width_profile(face).most_m(), face.bounds[2] - face.bounds[0]
