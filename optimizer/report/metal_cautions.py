"""Metal in the document: where it lies on the bed, which cuts come near it, which slabs hold it.

Metal too near a pass is a stop; near it, or in a slab, a warning. The search makes no pass within the keep-out, but one
made already may be there. A place pointed out by hand is not known to an inch, so twice the keep-out still warns.
"""

from collections.abc import Sequence

import numpy as np
from shapely import Polygon, box

from optimizer.bed.bucking import is_of_member, kept_zones
from optimizer.bed.marks import middle_of, rod_towards
from optimizer.bed.sawn_layers import cut_apart_m
from optimizer.bed.zones import Zone, in_plan
from optimizer.documents.mill import Mill
from optimizer.documents.plan import CrossSection, LogFound, Mark, Plan
from optimizer.report.caution_words import Level, Verdict, of_plan, slab_name
from optimizer.report.cuts_made import cuts_made
from scans.log import FloatArray, moved
from scans.messages import short_length

METAL_NEAR = 2.0
"""A pass is near metal within so many keep-outs: a place pointed out by hand is no better known than that (our
own rule, no source)."""
METAL_NEAR_LEAST_M = 0.0508
"""Near for a mill that names no keep-out: 2 in (common practice, no source)."""
HAIR_M = 1e-4
FAR_M = 1e3


def metal_known(log: LogFound, mill: Mill, plans: Sequence[Plan]) -> Verdict:
    """Judge a pass within the keep-out a stop, one near it and a slab that holds metal a warning.

    The search makes no pass within the keep-out, but a pass made already, or a mill without a keep-out, may be.
    """
    named = len(plans) > 1
    keep_out_m = mill.metal_keep_out_m
    near_m = _near_m(mill)
    apart = [found for plan in plans for found in _passes_from_metal(log, mill, plan, named=named)]
    nearest_m, which = min(apart, default=(np.inf, ""))
    if nearest_m < near_m:
        keep_out = f"the keep-out is {short_length(keep_out_m)}" if keep_out_m else "the mill names no metal_keep_out"
        where = f"is {short_length(nearest_m)} from it" if nearest_m > 0.0 else "goes through it"
        level: Level = "stop" if nearest_m <= 0.0 or nearest_m < keep_out_m - HAIR_M else "warning"
        return level, f"{which} {where}; {keep_out}"
    held = [found for plan in plans for found in _slabs_with_metal(log, plan, named=named)]
    return ("warning", held[0]) if held else None


def _passes_from_metal(log: LogFound, mill: Mill, plan: Plan, *, named: bool) -> list[tuple[float, str]]:
    """Return how far each pass's kerf stays from each metal mark, and which they are. [m].

    The blade sweeps its whole plane, so that only heights count; 0 where it goes through.
    """
    found = []
    for flipped in (False, True):
        for mark, corners in metal_on_bed(log, plan, flipped=flipped):
            for cut in plan.passes:
                if cut.flipped is flipped:
                    which = f"cut {cut.order}{of_plan(plan, named=named)}, beside {mark.id},"
                    kerf_m = cut.blade_height_m, cut.blade_height_m + mill.kerf_m
                    found.append((cut_apart_m(kerf_m, corners[:, 2]), which))
    return found


def metal_at_crosscuts(log: LogFound, mill: Mill, plans: Sequence[Plan]) -> Verdict:
    """Judge a crosscut through marked metal a stop, and one near it a warning.

    The search leaves such stretches out where there are others.
    """
    near_m, named = _near_m(mill), len(plans) > 1
    apart = []
    for plan in plans:
        cuts, which = cuts_made(plan, log.length_m), f"a buck cut{of_plan(plan, named=named)}"
        for mark in (mark for mark in log.marks if mark.kind == "metal"):
            corners_m = rod_found(log, mark).corners_m
            met = [cut for cut in cuts if is_of_member(corners_m.mean(axis=0), cut, hearts_found(log))]
            apart += [(cut_apart_m((0.0, 0.0), cut.beyond_m(corners_m)), which, mark.id) for cut in met]
    nearest_m, which, mark_id = min(apart, default=(np.inf, "", ""))
    if nearest_m >= near_m:
        return None
    if nearest_m <= 0.0:
        return "stop", f"{which} goes through {mark_id}"
    return "warning", f"{which} is {short_length(nearest_m)} from {mark_id}"


def _near_m(mill: Mill) -> float:
    """Return how near to metal a cut still warns. [m]."""
    return METAL_NEAR * mill.metal_keep_out_m or METAL_NEAR_LEAST_M


def _slabs_with_metal(log: LogFound, plan: Plan, *, named: bool) -> list[str]:
    found = []
    for slab in plan.slabs:
        sold = Polygon(slab.outline_m[0], slab.outline_m[1:]) & box(slab.span_m[0], -FAR_M, slab.span_m[1], FAR_M)
        for mark, corners in metal_on_bed(log, plan, flipped=slab.flipped):
            if in_plan(corners, slab.lower_face_m, slab.upper_face_m).intersects(sold):
                found.append(f"{slab_name(plan, slab, named=named)} holds {mark.id}")
    return found


def is_crosscut(log: LogFound, plan: Plan) -> bool:
    """Tell whether a plan is for a part of the log alone."""
    return bool(cuts_made(plan, log.length_m))


def hearts_found(log: LogFound) -> list[FloatArray]:
    """Return the log's heart lines, each (P, 3). [m]."""
    return [np.array(line) for line in log.hearts]


def metal_on_bed(log: LogFound, plan: Plan, *, flipped: bool) -> list[tuple[Mark, FloatArray]]:
    """Return the metal marks that lie on the bed, before or after the flip, with their rods' corners (P, 3). [m].

    Of a rod that a crosscut goes through, the part that stays.
    """
    matrix = plan.flipped_log_to_bed if flipped else plan.log_to_bed
    if matrix is None:
        return []
    to_bed = np.array(matrix)
    found = []
    for mark in log.marks:
        if mark.kind != "metal":
            continue
        here = kept_zones([rod_found(log, mark)], hearts_found(log), cuts_made(plan, log.length_m))
        if not here:
            continue
        on_bed = moved(here[0].corners_m, to_bed)
        sawn_off = flipped and on_bed[:, 2].max() <= 0.0
        if not sawn_off:
            found.append((mark, on_bed))
    return found


def rod_found(log: LogFound, mark: Mark) -> Zone:
    """Return the rod of a mark from the document alone, as the search made it from the log."""
    hearts = [np.array(line) for line in log.hearts]
    return rod_towards(mark, hearts, (0.0, log.length_m), 0.0, lambda x: _middle_found(log, x))


def _middle_found(log: LogFound, x: float) -> FloatArray:
    """Return the middle (2,) of the outer surface at log x, from the document's sections: between its neighbours'."""
    sections = sorted((s for s in log.sections if s.outer_m), key=lambda section: section.x_m)
    if not sections:
        return np.zeros(2)  # the axis
    middles = np.array([_middle_of(section) for section in sections])
    at = [section.x_m for section in sections]
    return np.array([np.interp(x, at, middles[:, k]) for k in (0, 1)])


def _middle_of(section: CrossSection) -> FloatArray:
    rings = [np.array(ring) for ring in section.outer_m]
    return middle_of(np.concatenate([np.stack([ring, np.roll(ring, -1, axis=0)], axis=1) for ring in rings]))
