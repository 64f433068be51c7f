"""What slabs are like once they are dry and flat, in words: how thick, how far they cup, and what to saw for more."""

from itertools import groupby

from optimizer.documents.plan import Plan, Slab
from scans.units import INCH_M
from service.words.measures import Measures
from service.words.slab_words import numbered

LEAST_CUP_M = INCH_M / 16.0
"""A smaller cup is not worth a word."""


def finish_words(plan: Plan, measures: Measures) -> list[str]:
    """Say for each thickness which slabs may come out thinner than they are sold as, and what to saw for the full one.

    Nothing where all come out full, or it is not known.
    """
    short = [slab for slab in plan.slabs if slab.saw_for_full_m is not None]
    told = []
    for quarters, slabs in groupby(sorted(short, key=lambda slab: slab.quarters), key=lambda slab: slab.quarters):
        of = list(slabs)
        finish = [slab.finish_m or 0.0 for slab in of]
        least, most = measures.short(min(finish)), measures.short(max(finish))
        thick = least if least == most else f"{least.removesuffix(f' {measures.reading_unit}')} to {most}"
        cup = measures.short(max(slab.cup_m or 0.0 for slab in of))
        saw = measures.thickness(max(slab.saw_for_full_m or 0.0 for slab in of))
        told.append(
            f"If nothing holds them flat as they dry, {numbered('slab', [slab.id for slab in of])} may finish only "
            f"{thick} thick, not full {quarters}/4: cupping takes up to {cup}. Weight the stack well. To be sure of "
            f"full {quarters}/4, saw {saw} {measures.reading_unit} thick."
        )
    split = [slab.id for slab in plan.slabs if slab.cup_m is None and slab.heart_area_m2 > 0.0]
    if split:
        hold = "holds" if len(split) == 1 else "hold"
        told.append(f"{numbered('Slab', split)} {hold} the pith: look for a split along it as it dries.")
    return told


def slab_finish_words(slab: Slab, measures: Measures) -> str:
    """Say how thick a slab likely is once dry and flat, and how far it may cup; nothing where that is not known."""
    if slab.finish_m is None or slab.cup_m is None:
        return ""
    cups = f" (may cup {measures.short(slab.cup_m)})" if slab.cup_m >= LEAST_CUP_M else ""
    return f"Dry and flat about {measures.short(slab.finish_m)}{cups}."
