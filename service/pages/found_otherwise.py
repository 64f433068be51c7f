"""What somebody at the mill sees that the plan does not know of, as marks on the log and as the height that was sawn.

The planner takes a face as found, marks, and heights. A flaw is a round piece of wood as large as it looks, about the
place where it shows: nobody sees how far it goes on. A cut that wandered is taken at its lowest place, so that the next
slab is nowhere thinner than it should be.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import floor

import numpy as np
from shapely import LineString, Polygon, unary_union

from optimizer.bed.marks import inwards
from optimizer.documents.plan import LogFound, Pass, Plan, PlanDocument
from scans.log import FloatArray, moved
from scans.units import INCH_M, LengthError, parse_length_m
from service.contract.documents import MarkPlaced
from service.drawings.log_shape import on_cut, shape_found
from service.words.measures import measures_in
from service.words.units import Units

FLAWS = {"metal": "metal", "rot": "rot", "split": "crack", "bark": "bark_pocket"}
"""What is seen, and the mark that stands for it."""
WHAT = ("narrower", "shorter", *FLAWS, "wandered", "heart")
ACROSS = {"left": 5.0 / 6.0, "middle": 0.5, "right": 1.0 / 6.0}
"""Which share of the face lies to the right of a place, for somebody at the butt who looks along the log."""
SIZES_M = {"small": 2.0 * INCH_M, "medium": 4.0 * INCH_M, "large": 8.0 * INCH_M}
MOST_DIP_M = 0.05
"""A blade that dipped more has left the cut (our own rule, no source)."""
MOST_OFF_M = 0.6
WHOLE_SHARE = 0.5
"""A section with less of the log's usual area is a splinter of a ragged end (our own rule, no source)."""
ASKED = ("what", "along", "across", "size", "dip", "heart_end", "heart_below")


@dataclass(frozen=True)
class Otherwise:
    """What was seen. mark : to put on the log. dip_m : how far the last cut dipped. errors : by field."""

    mark: MarkPlaced | None = None
    dip_m: float = 0.0
    errors: dict[str, str] = field(default_factory=dict)


def otherwise_typed(
    typed: Mapping[str, str], document: PlanDocument, plan: Plan, cut: Pass | None, units: Units
) -> Otherwise:
    """Read what was seen. cut : the last that is made; None where the form does not say."""
    what = typed.get("what", "")
    if what and what not in WHAT:
        return Otherwise(errors={"what": "Choose what you see"})
    if cut is None or what not in {*FLAWS, "wandered", "heart"}:
        return Otherwise()
    errors: dict[str, str] = {}
    unit = measures_in(units).reading_unit
    if what == "wandered":
        dip_m = _length(typed, "dip", unit, (0.0, MOST_DIP_M), "how far the blade dipped", errors)
        return Otherwise(dip_m=dip_m, errors=errors)
    log = document.log
    if what == "heart":
        below_m = _length(typed, "heart_below", unit, (-MOST_OFF_M, MOST_OFF_M), "how far below the pith is", errors)
        return _heart(typed.get("heart_end", "butt"), below_m, log, plan, cut, errors)
    from_m, to_m = plan.stretch_m
    long_unit = "m" if measures_in(units).is_metric else "ft"
    along_m = _length(typed, "along", long_unit, (0.0, to_m - from_m), "how far from the butt end it is", errors)
    if errors:
        return Otherwise(errors=errors)
    ends_m = _across_m(log, plan, cut.blade_height_m, from_m + along_m)
    if ends_m is None:
        return Otherwise(errors={"along": "This face has no wood so far from the butt end; measure it again"})
    share = ACROSS.get(typed.get("across", ""), 0.5)
    place = np.array([from_m + along_m, ends_m[0] + share * (ends_m[1] - ends_m[0]), cut.blade_height_m])
    size_m = SIZES_M.get(typed.get("size", ""), SIZES_M["medium"])
    return Otherwise(_flaw(FLAWS[what], _to_log(plan, place), size_m, log))


def lowest_m(height_m: float, dip_m: float, step_m: float) -> float:
    """Return the step of the mill's scale at or below the lowest place of a cut that dipped; its height where not."""
    return floor((height_m - dip_m) / step_m + 1e-6) * step_m if dip_m > 0.0 else height_m


def _flaw(kind: str, place: FloatArray, size_m: float, log: LogFound) -> MarkPlaced:
    hearts = tuple(np.array(line) for line in log.hearts)
    way = inwards(place, hearts, (0.0, log.length_m), lambda _: np.zeros(2))
    corners = np.concatenate([on_cut(part, cut.x_m) for cut in shape_found(log).cuts for part in cut.outer])
    room_m = np.where(way > 0.0, place - corners.min(axis=0), corners.max(axis=0) - place)
    # A face may lie nearer to the bark than half of what is seen on it.
    back_m = min(0.5 * size_m, max(0.0, float((room_m / np.maximum(np.abs(way), 1e-9)).min())))
    start = place - back_m * way
    return MarkPlaced(
        kind=kind, x_m=float(np.clip(start[0], 0.0, log.length_m)), y_m=float(start[1]), z_m=float(start[2]),
        radius_m=size_m / 2.0, depth_m=size_m / 2.0 + back_m,
    )  # fmt: skip


def _heart(end: str, below_m: float, log: LogFound, plan: Plan, cut: Pass, errors: dict[str, str]) -> Otherwise:
    from_m, to_m = plan.stretch_m
    is_top = end == "top"
    if not log.hearts:
        errors["heart_end"] = "Nothing is known of this log's pith yet. Mark it on both ends, on the log's page"
    elif is_top and len(log.hearts) > 1:
        errors["heart_end"] = "On a log with a crotch, mark the pith on the butt end; choose that"
    elif (to_m < log.length_m - 0.02) if is_top else (from_m > 0.02):
        errors["heart_end"] = "The log was bucked at this end, and the pith is marked on the log's own ends"
    if errors:
        return Otherwise(errors=errors)
    at_m = to_m if is_top else from_m
    height_m = cut.blade_height_m - below_m
    ends_m = _across_m(log, plan, height_m, at_m)
    if ends_m is None:
        return Otherwise(errors={"heart_below": "That is not on the end of the log; measure it from this face again"})
    _, y, z = _to_log(plan, np.array([at_m, sum(ends_m) / 2.0, height_m]))
    return Otherwise(MarkPlaced(kind="pith", x_m=log.length_m if is_top else 0.0, y_m=float(y), z_m=float(z)))


def _to_log(plan: Plan, place: FloatArray) -> FloatArray:
    """Return a place on the bed in the log frame."""
    back: FloatArray = np.asarray(np.linalg.inv(np.array(plan.log_to_bed)), dtype=np.float64)
    return moved(place[None], back)[0]


def _across_m(log: LogFound, plan: Plan, height_m: float, x_m: float) -> tuple[float, float] | None:
    """Return from where to where across the bed, in y, the wood reaches at a height, by the nearest section."""
    areas_m2 = {cut.x_m: sum(part.area for part in cut.outer) for cut in shape_found(log).cuts}
    least_m2 = WHOLE_SHARE * float(np.median(list(areas_m2.values())))
    cuts = [cut for cut in shape_found(log).cuts if areas_m2[cut.x_m] >= least_m2]
    cut = min(cuts, key=lambda one: abs(one.x_m - x_m))
    matrix = np.array(plan.log_to_bed)
    whole = unary_union([Polygon(moved(on_cut(part, cut.x_m), matrix)[:, 1:]).buffer(0) for part in cut.outer])
    found = whole & LineString([(-100.0, height_m), (100.0, height_m)])
    return None if found.is_empty else (found.bounds[0], found.bounds[2])


def _length(
    typed: Mapping[str, str], name: str, unit: str, bounds_m: tuple[float, float], what: str, errors: dict[str, str]
) -> float:
    text = typed.get(name, "").strip()
    sign = -1.0 if text.startswith("-") else 1.0
    try:
        value_m = sign * parse_length_m(text.lstrip("-"), unit)
    except LengthError:
        errors[name] = f"Write {what}, such as 2"
        return 0.0
    if not bounds_m[0] <= value_m <= bounds_m[1]:
        scale = {"in": INCH_M, "ft": 12.0 * INCH_M, "mm": 0.001, "m": 1.0}[unit]
        low, high = (f"{bound / scale:.4g}" for bound in bounds_m)
        errors[name] = f"This must be from {low} to {high} {unit}, got {text}; measure it again"
    return value_m
