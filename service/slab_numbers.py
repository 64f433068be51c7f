"""Why a number of a slab may be missing, in words."""

from optimizer.plan import Plan, Waste


def numbers_said(plan: Plan) -> str:
    """Say which layers give no slab, where slabs follow them: a slab has its layer's number; nothing where none is.

    In doubt also say which of these, and of those after the last slab, may give one.
    """
    sold = {slab.layer for slab in plan.slabs}
    empty = [layer for layer in range(1, max(sold, default=0)) if layer not in sold]
    said = ""
    if empty:
        which = f"layer {empty[0]} gives" if len(empty) == 1 else f"layers {_listed(empty)} give"
        said = f"A slab has the number of its layer, counted in sawing order; {which} none. "
    may = sorted({waste.layer for waste in plan.waste if may_be_sold(plan, waste)})
    if may:
        layers = f"Layer {may[0]} gives" if len(may) == 1 else f"Layers {_listed(may)} give"
        said += f"{layers} no slab on the log as given, but may if the log turns out larger."
    return said.strip()


def may_be_sold(plan: Plan, waste: Waste) -> bool:
    """Tell whether a layer without a slab may give one on a possible log: in doubt, if it is sawn for one."""
    return plan.net_p10 is not None and waste.quarters is not None


def _listed(layers: list[int]) -> str:
    *before, last = map(str, layers)
    return f"{', '.join(before)} and {last}" if before else last
