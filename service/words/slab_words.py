"""Slabs in words: how many of which thickness, how large one is, what lies in it, what their numbers are."""

from collections import Counter
from collections.abc import Sequence

from optimizer.documents.plan import Plan, Slab, Waste
from optimizer.documents.prices import PriceBook, Tally
from service.words.measures import Measures

LEAST_AREA_M2 = 5e-5
"""A smaller area of marks or crotch figure is not worth a word."""
NO_SLAB = "none"
SAME_M = 0.0016
"""Sizes that differ by less, 1/16 in, are told as one."""


def thicknesses(plan: Plan) -> list[tuple[int, int]]:
    """Return how many slabs there are of each thickness, in quarters of an inch: (count, quarters)."""
    counts = Counter(slab.quarters for slab in plan.slabs)
    return [(count, quarters) for quarters, count in sorted(counts.items())]


def size_words(slab: Slab, measures: Measures) -> str:
    """Return a slab's size: narrowest to widest, and length."""
    least, most = measures.whole_width(slab.min_width_m), measures.whole_width(slab.max_width_m)
    return f"{least} to {most} {measures.reading_unit} wide, {measures.slab_length(slab.length_m)} long"


def counted_words(slab: Slab, measures: Measures) -> str:
    """Say what size the buyer counts, where it is not the slab's own, or what pays for it; else nothing."""
    if slab.ripped or slab.tally_width_m is None or slab.tally_length_m is None:
        return ""
    by = {"board_foot": "", "square_foot": ", paid by the square foot", "slab": ", paid by the slab"}[slab.priced_by]
    own = slab.mean_width_m, slab.length_m
    if not by and max(abs(a - b) for a, b in zip(own, (slab.tally_width_m, slab.tally_length_m), strict=True)) < SAME_M:
        return ""
    size = (
        f"{measures.width(slab.tally_width_m)} {measures.reading_unit} by {measures.slab_length(slab.tally_length_m)}"
    )
    return f"Counts as {size}{by}."


def as_sawn_words(prices: PriceBook) -> str:
    """Say that sizes are told as sawn, where the buyer counts them otherwise; nothing where both are one."""
    counted = "Widths and lengths are as sawn; board feet and prices are as your buyers count them."
    return counted if prices.tally != Tally() else ""


def ripped_words(slab: Slab, measures: Measures) -> str:
    """Say what to rip a slab into, where that brings more than selling it whole; nothing where it stays whole."""
    parts = [
        f"{part.side} {measures.width(part.tally_width_m)} {measures.reading_unit} by "
        f"{measures.slab_length(part.tally_length_m)} for {measures.money(part.price)}"
        for part in slab.ripped
    ]
    return f"Rip slab {slab.id} along both sides of the pith: {', '.join(parts)}." if parts else ""


def holds(slab: Slab) -> list[str]:
    """Return what lies in a slab that changes its price."""
    inside = (("pith", slab.heart_area_m2), ("mark", slab.marked_area_m2), ("crotch figure", slab.figure_area_m2))
    return [name for name, area in inside if (area or 0.0) >= LEAST_AREA_M2]


def holds_figure(slab: Slab) -> bool:
    """Tell whether a slab shows crotch figure worth a word."""
    return (slab.figure_area_m2 or 0.0) >= LEAST_AREA_M2


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
