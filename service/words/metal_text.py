"""How high marked metal lies, in words."""

from optimizer.documents.plan import LogFound, Plan
from optimizer.report.metal_cautions import metal_on_bed
from service.words.measures import Measures


def metal_said(plan: Plan, log: LogFound, measures: Measures) -> list[str]:
    """Say how high each piece of marked metal lies, a line before and one after a flip; empty without metal."""
    lines = []
    for flipped, when in ((False, ""), (True, " after the flip")):
        heights = ", ".join(
            f"{mark.id}: {measures.short(corners[:, 2].min())} to {measures.short(corners[:, 2].max())}"
            for mark, corners in metal_on_bed(log, plan, flipped=flipped)
        )
        if heights:
            lines.append(f"{heights}, above the bunks{when}")
    return lines
