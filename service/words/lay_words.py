"""How the log is laid, in words: how high pith and metal come to lie."""

from math import ceil, floor

from optimizer.documents.plan import LogFound, Plan
from optimizer.report.metal_cautions import metal_on_bed
from scans.units import INCH_M
from service.words.measures import Measures
from service.words.support_words import supports_short
from service.words.turn_words import turn_words

_HAIR = 1e-6


def setup_short(plan: Plan, measures: Measures) -> str:
    """Say in a line how the log lies."""
    return f"{turn_words(plan.roll_deg)}, {supports_short(plan, measures)}"


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
