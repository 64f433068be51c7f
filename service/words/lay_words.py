"""How the log is laid, in words: its shims, how high pith and metal come to lie."""

from math import ceil, floor

from optimizer.documents.mill import Mill
from optimizer.documents.plan import LogFound, Plan, PlanDocument, Shim
from optimizer.report.metal_cautions import metal_on_bed
from scans.units import INCH_M
from service.words.measures import Measures
from service.words.turn_words import turn_words

BUTT, TOP = "butt", "top"
_HAIR = 1e-6


def shims_set(plan: Plan, measures: Measures) -> list[Shim]:
    """Return the shims that somebody can set: one that a tape shows as 0 is none."""
    return [shim for shim in plan.shims if measures.short(shim.height_m) != measures.short(0.0)]


def shim_end(plan: Plan, shim: Shim) -> str:
    """Return the end of the log that a shim is nearer to."""
    return BUTT if shim.x_m < sum(plan.stretch_m) / 2.0 else TOP


def shim_at(plan: Plan, end: str) -> float:
    """Return how high the highest shim under an end is. [m]."""
    return max((shim.height_m for shim in plan.shims if shim_end(plan, shim) == end), default=0.0)


def shims_words(document: PlanDocument, plan: Plan, measures: Measures) -> list[str]:
    """Say of each shim how high it is and where it goes."""
    return [_shim_words(document.mill, plan, shim, measures) for shim in shims_set(plan, measures)]


def _shim_words(mill: Mill, plan: Plan, shim: Shim, measures: Measures) -> str:
    from_butt_m = shim.x_m - plan.stretch_m[0]
    bunk = ""
    if mill.bunk_spacing_m:
        bunk = f", on bunk {floor((from_butt_m - mill.first_bunk_m) / mill.bunk_spacing_m + 0.5) + 1}"
    side = {"left": ", on its left", "right": ", on its right", "middle": ", in its middle", None: ""}[shim.side]
    height, place = measures.short(shim.height_m), measures.long(from_butt_m)
    return f"{height} under the {shim_end(plan, shim)} end{bunk}{side}, {place} from the butt"


def shims_short(plan: Plan, measures: Measures) -> str:
    """Say the shims in a few words: `1 in under the butt`."""
    ends = [(end, measures.short(shim_at(plan, end))) for end in (BUTT, TOP)]
    return ", ".join(f"{height} under the {end}" for end, height in ends if height != measures.short(0.0)) or "none"


def setup_short(plan: Plan, measures: Measures) -> str:
    """Say in a line how the log lies."""
    shims = shims_short(plan, measures)
    return f"{turn_words(plan.roll_deg)}, {'no shims' if shims == 'none' else shims}"


def pith_words(plan: Plan, measures: Measures) -> str:
    """Say how high the pith lies off the bunks, end by end: `butt: 16 5/8 in, limb 1: 9 3/8 in`."""
    return ", ".join(f"{heart.end.replace('_', ' ')}: {measures.short(heart.height_m)}" for heart in plan.hearts)


def metal_words(plan: Plan, log: LogFound, measures: Measures) -> list[str]:
    """Say how high each piece of marked metal lies, and where the blade may pass; after a flip once more."""
    return [
        _metal_words(mark.id, (float(corners[:, 2].min()), float(corners[:, 2].max())), measures, flipped=flipped)
        for flipped in (False, True)
        for mark, corners in metal_on_bed(log, plan, flipped=flipped)
    ]


def _metal_words(name: str, span_m: tuple[float, float], measures: Measures, *, flipped: bool) -> str:
    low, high = (measures.short(height_m) for height_m in span_m)
    said = f"{name} sits {low} to {high} above the bunks{' after the flip' if flipped else ''}"
    mill = measures.mill
    if not mill.metal_keep_out_m:
        return said
    step_m = 0.001 if measures.is_metric else INCH_M / 8.0
    above_m = span_m[1] + mill.metal_keep_out_m - mill.scale_zero_m
    below_m = span_m[0] - mill.metal_keep_out_m - mill.kerf_m
    blade = f"above {measures.short(ceil(above_m / step_m - _HAIR) * step_m)}"
    if below_m >= mill.lowest_blade_m and below_m > 0.0:
        below_m -= mill.scale_zero_m
        blade += f" or below {measures.short(floor(below_m / step_m + _HAIR) * step_m)}"
    return f"{said}: keep the blade {blade} on the scale"
