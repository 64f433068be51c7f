"""Slabs in words: how many of which thickness, how large one is, what lies in it, what their numbers are."""

from collections import Counter
from collections.abc import Sequence

from optimizer.documents.plan import Plan, Slab, Waste
from service.words.measures import Measures

LEAST_AREA_M2 = 5e-5
"""A smaller area of marks or crotch figure is not worth a word."""
NO_SLAB = "none"


def thicknesses(plan: Plan) -> list[tuple[int, int]]:
    """Return how many slabs there are of each thickness, in quarters of an inch: (count, quarters)."""
    counts = Counter(slab.quarters for slab in plan.slabs)
    return [(count, quarters) for quarters, count in sorted(counts.items())]


def size_words(slab: Slab, measures: Measures) -> str:
    """Return a slab's size: narrowest to widest, and length."""
    least, most = measures.whole_width(slab.min_width_m), measures.whole_width(slab.max_width_m)
    return f"{least} to {most} {measures.reading_unit} wide, {measures.slab_length(slab.length_m)} long"


def holds(slab: Slab) -> list[str]:
    """Return what lies in a slab that changes its price."""
    inside = (("pith", slab.heart_area_m2), ("mark", slab.marked_area_m2), ("crotch figure", slab.figure_area_m2))
    return [name for name, area in inside if (area or 0.0) >= LEAST_AREA_M2]


def numbers_said(plan: Plan) -> str:
    """Say which layers give no slab, where slabs follow them: a slab has its layer's number; nothing where none is.

    In doubt also say which of these, and of those after the last slab, may give one.
    """
    sold = {slab.layer for slab in plan.slabs}
    empty = [layer for layer in range(1, max(sold, default=0)) if layer not in sold]
    may = sorted({waste.layer for waste in plan.waste if may_be_sold(plan, waste)})
    larger = ", unless the log is bigger than measured"
    told = []
    if empty:
        unless = larger if may == empty else ""
        told.append(f"Slabs are numbered by layer, in sawing order; {_gives(empty)} no slab to sell{unless}.")
    if may and may != empty:
        which = _gives(may)
        told.append(f"{which[0].upper()}{which[1:]} no slab to sell{larger}.")
    return " ".join(told)


def may_be_sold(plan: Plan, waste: Waste) -> bool:
    """Tell whether a layer without a slab may give one on a possible log: in doubt, if it is sawn for one."""
    return plan.net_p10 is not None and waste.quarters is not None


def numbered(noun: str, numbers: Sequence[int | str]) -> str:
    """Name some things by their numbers: "layer 1", "layers 1, 2 and 3"."""
    *before, last = map(str, numbers)
    return f"{noun}s {', '.join(before)} and {last}" if before else f"{noun} {last}"


def _gives(layers: Sequence[int]) -> str:
    return f"{numbered('layer', layers)} {'gives' if len(layers) == 1 else 'give'}"
