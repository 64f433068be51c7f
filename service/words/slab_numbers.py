"""Why a number of a slab may be missing, in words."""

from collections.abc import Sequence

from optimizer.documents.plan import Plan, Waste


def numbers_said(plan: Plan) -> str:
    """Say which layers give no slab, where slabs follow them: a slab has its layer's number; nothing where none is.

    In doubt also say which of these, and of those after the last slab, may give one.
    """
    sold = {slab.layer for slab in plan.slabs}
    empty = [layer for layer in range(1, max(sold, default=0)) if layer not in sold]
    may = sorted({waste.layer for waste in plan.waste if may_be_sold(plan, waste)})
    told = []
    if empty:
        larger = " on the log as given, but may if it turns out larger" if may == empty else ""
        told.append(f"A slab has the number of its layer, counted in sawing order; {_gives(empty)} none{larger}.")
    if may and may != empty:
        which = _gives(may)
        told.append(f"{which[0].upper()}{which[1:]} no slab on the log as given, but may if it turns out larger.")
    return " ".join(told)


def may_be_sold(plan: Plan, waste: Waste) -> bool:
    """Tell whether a layer without a slab may give one on a possible log: in doubt, if it is sawn for one."""
    return plan.net_p10 is not None and waste.quarters is not None


def numbered(noun: str, numbers: Sequence[int]) -> str:
    """Name some things by their numbers: "layer 1", "layers 1, 2 and 3"."""
    *before, last = map(str, numbers)
    return f"{noun}s {', '.join(before)} and {last}" if before else f"{noun} {last}"


def _gives(layers: Sequence[int]) -> str:
    return f"{numbered('layer', layers)} {'gives' if len(layers) == 1 else 'give'}"
