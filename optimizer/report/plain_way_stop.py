"""Whether the plain way stops at marked metal: then what it is worth says too little of what a sawyer gets."""

from optimizer.bed.sawn_layers import cut_meets, kept_out_m
from optimizer.documents.plan import PlanDocument
from optimizer.documents.prices import PriceError, drop_steps
from optimizer.report.metal_cautions import metal_on_bed
from optimizer.wood.moisture import shrinkage_pct
from optimizer.wood.woods import green_thickness_m

HAIR_M = 1e-6


def passes_before_metal(document: PlanDocument) -> int | None:
    """Return after how many passes the plain way stops at metal or its keep-out; None where it does not.

    It goes down by one and the same drop, so that what stopped it is where its next pass would be.
    """
    plain, mill = document.plain_way, document.mill
    if plain is None:
        return None
    heights_m = [cut.blade_height_m for cut in plain.passes]
    # After one pass alone it is not known which thickness was meant: metal in the way of any counts.
    drops_m = [heights_m[-2] - heights_m[-1]] if len(heights_m) > 1 else _drops_m(document)
    # Less a hair, so that what only touches by rounding does not stop it.
    out_m = mill.metal_keep_out_m - HAIR_M
    forbidden_m = [kept_out_m(corners[:, 2], out_m) for _, corners in metal_on_bed(document.log, plain, flipped=False)]
    next_m = [heights_m[-1] - drop_m for drop_m in drops_m if heights_m[-1] - drop_m >= mill.lowest_blade_m - HAIR_M]
    stopped = any(cut_meets((blade_m, blade_m + mill.kerf_m), barred) for blade_m in next_m for barred in forbidden_m)
    return len(heights_m) if stopped else None


def _drops_m(document: PlanDocument) -> list[float]:
    """Return the drops of all thicknesses that the price book knows for the wood. [m]."""
    try:
        rows = document.prices.rows_for(document.wood.name)
    except PriceError:
        return []
    finish, wood, mill = document.prices.finish, document.wood, document.mill
    mean_pct = (wood.shrinkage_radial_pct + wood.shrinkage_tangential_pct) / 2.0
    shrinks_pct = shrinkage_pct(mean_pct, finish.moisture_pct)
    wanted_m = [row.saw_m or green_thickness_m(row.quarters, finish.allowance_m, shrinks_pct) for row in rows]
    return [drop_steps(thickness_m, mill) * mill.height_step_m for thickness_m in wanted_m]
