"""What heart strip, marks and feather cost or brought a plan, as far as its document tells."""

from dataclasses import dataclass

import numpy as np

from optimizer.bed.zones import alignment
from optimizer.documents.plan import Plan, PlanDocument, Slab
from optimizer.documents.prices import PriceError, PricePerBoardFoot
from optimizer.wood.board_feet import board_feet


@dataclass(frozen=True)
class Worth:
    """What lies in the slabs changed, in the book's currency; both 0 or more.

    lost : by heart strip and marks together, which overlap. brought : by the feather.
    """

    lost: float
    brought: float


def worth_inside(plan: Plan, document: PlanDocument) -> Worth | None:
    """Return what it changed; None where the document does not tell.

    That is so for figure under more than one fork, and where the price book has no row for a slab.
    """
    premium = document.prices.figure.feather_per_board_foot
    figured = premium > 0.0 and any(slab.figure_area_m2 for slab in plan.slabs)
    per_board_foot = _per_board_foot(document)
    untold = [slab for slab in plan.slabs if slab.sound_price is None]
    if (figured and len(document.log.forks) != 1) or any(slab.quarters not in per_board_foot for slab in untold):
        return None
    lost = brought = 0.0
    for slab in plan.slabs:
        sound = slab.sound_price
        if sound is None:  # a plan from before slabs told it
            factor = document.prices.width_factor_at(slab.mean_width_m)
            sound = slab.board_feet * per_board_foot[slab.quarters] * factor
        more = _brought(slab, plan, document) if figured else 0.0
        lost += sound + more - slab.price
        brought += more
    return Worth(max(lost, 0.0), brought)


def _per_board_foot(document: PlanDocument) -> dict[int, float]:
    try:
        rows = document.prices.rows_for(document.wood.name)
    except PriceError:
        return {}
    return {row.quarters: row.price for row in rows if isinstance(row, PricePerBoardFoot)}


def _brought(slab: Slab, plan: Plan, document: PlanDocument) -> float:
    matrix = np.array(plan.flipped_log_to_bed if slab.flipped else plan.log_to_bed)
    shown = alignment(matrix[2, :3], np.array(document.log.forks[0].normal))
    feet = board_feet(slab.figure_area_m2 or 0.0, slab.quarters)
    return document.prices.figure.feather_per_board_foot * feet * shown
