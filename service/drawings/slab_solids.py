"""What a log comes apart into, each part as a solid: slabs, waste, offcuts, and what does not lie on the bed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import manifold3d
import numpy as np
from shapely import Point, Polygon

from optimizer.bed.bodies import HAIR_M, between, manifold_of, polygons_of
from optimizer.bed.bucking import buck
from optimizer.bed.sawn_layers import layers_between
from optimizer.documents.plan import Plan, Slab
from optimizer.report.cuts_made import cuts_made
from scans.log import FloatArray, Log

Kind = Literal["slab", "waste", "offcut", "rest"]
FAR_M = 1e3
"""Farther than any log reaches."""
SPECK_M3 = 1e-7
"""Parts smaller than this are not drawn."""


@dataclass(frozen=True, eq=False)
class Part:
    """A part of a log.

    kind : a slab sold, waste beside it, an offcut, or the rest of a log that is bucked.
    id : the slab's, else empty. body : log frame, where it grew. height_m : of its middle on the bed before any
    flip; parts of one layer have the same.
    """

    kind: Kind
    id: str
    body: manifold3d.Manifold
    height_m: float


def parts_of(log: Log, plan: Plan, kerf_m: float) -> list[Part]:
    """Return the wood of a log as a plan saws it, without the kerfs.

    A slab is its whole solid piece between the two faces, wane and all, within its span; what is crosscut from its
    ends is waste. Where two slabs lie side by side in one solid piece, each is cut out by its own outline.
    """
    wood = manifold_of(log.wood)
    stretch, parts = wood, []
    if cuts := cuts_made(plan, log.length_m):
        bucked = buck(replace(log, outer=log.wood, face_seen=None, doubt=None, colours=None), cuts)
        stretch = manifold_of(bucked.log.wood)
        for bolt in bucked.bolts:
            back = np.linalg.inv(bolt.log_to_bolt)[:3]
            parts.append(Part("rest", "", manifold_of(bolt.log.wood).transform(back), 0.0))
    to_bed = np.array(plan.log_to_bed)
    before = [cut for cut in plan.passes if not cut.flipped]
    after = [cut for cut in plan.passes if cut.flipped]
    layers = [
        (layer, [slab for slab in plan.slabs if slab.layer == layer.number])
        for layer in layers_between(plan.passes, kerf_m)
    ]
    on_bed = stretch.transform(to_bed[:3])
    found = [_above(on_bed, before[0].blade_height_m + kerf_m)]
    for layer, sold in layers:
        found += [] if layer.flipped else _layer(on_bed, sold, layer.lower_m, layer.upper_m)
    if after and plan.flipped_log_to_bed is not None:
        turned_to_bed = np.array(plan.flipped_log_to_bed)
        left = between(on_bed, -FAR_M, before[-1].blade_height_m)
        turned = left.transform((turned_to_bed @ np.linalg.inv(to_bed))[:3])
        sawn = [_above(turned, after[0].blade_height_m + kerf_m)]
        for layer, sold in layers:
            if layer.flipped and layer.lower_pass is None and not sold:
                sawn.append(_below(turned, layer.upper_m))
            elif layer.flipped:
                sawn += _layer(turned, sold, layer.lower_m, layer.upper_m)
        # Half a turn, and onto the face: a height after the flip is that face's height less the height before it.
        face_m = before[-1].blade_height_m
        parts += [replace(part, height_m=face_m - part.height_m) for part in _back(sawn, turned_to_bed)]
    else:
        found.append(_below(on_bed, before[-1].blade_height_m))
    parts += _back(found, to_bed)
    return [part for part in parts if part.body.volume() > SPECK_M3]


def _back(parts: Sequence[Part], to_bed: FloatArray) -> list[Part]:
    matrix = np.linalg.inv(to_bed)[:3]
    return [replace(part, body=part.body.transform(matrix)) for part in parts]


def _trimmed(body: manifold3d.Manifold, axis: int, from_m: float, to_m: float) -> manifold3d.Manifold:
    normal = np.eye(3)[axis]
    return body.trim_by_plane(tuple(normal), from_m).trim_by_plane(tuple(-normal), -to_m)


def _above(body: manifold3d.Manifold, height_m: float) -> Part:
    top_m = max(body.bounding_box()[5], height_m)
    return Part("offcut", "", between(body, height_m, FAR_M), 0.5 * (height_m + top_m))


def _below(body: manifold3d.Manifold, height_m: float) -> Part:
    low_m = min(body.bounding_box()[2], height_m)
    return Part("offcut", "", between(body, -FAR_M, height_m), 0.5 * (height_m + low_m))


def _layer(body: manifold3d.Manifold, sold: Sequence[Slab], lower_m: float, upper_m: float) -> list[Part]:
    height_m = 0.5 * (lower_m + upper_m)
    bodies = between(body, lower_m, upper_m).decompose()
    slabs_in: dict[int, list[Slab]] = {}
    for slab in sold:
        slabs_in.setdefault(_body_of(bodies, slab, upper_m), []).append(slab)
    parts = []
    for k, piece in enumerate(bodies):
        slabs = slabs_in.get(k, [])
        left = piece
        for slab in slabs:
            own = _trimmed(left, 0, *slab.span_m)
            if any(other.outline_m != slab.outline_m for other in slabs):
                own ^= _prism(slab, lower_m, upper_m)
            parts.append(Part("slab", slab.id, own, height_m))
            left -= own
        parts.append(Part("waste", "", left, height_m))
    return parts


def _prism(slab: Slab, lower_m: float, upper_m: float) -> manifold3d.Manifold:
    section = manifold3d.CrossSection([list(ring) for ring in slab.outline_m])
    return section.extrude(upper_m - lower_m).translate((0.0, 0.0, lower_m))


def _body_of(bodies: Sequence[manifold3d.Manifold], slab: Slab, upper_m: float) -> int:
    """Return which body a slab comes from: the one with wood just under the slab's upper face."""
    outline, *holes = slab.outline_m
    middle: Point = Polygon(outline, holes).representative_point()
    for k, body in enumerate(bodies):
        if any(part.covers(middle) for part in polygons_of(body.slice(upper_m - HAIR_M))):
            return k
    return int(np.argmax([body.volume() for body in bodies]))
