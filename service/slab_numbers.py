"""Why a number of a slab may be missing, in words."""

from optimizer.plan import Plan


def numbers_said(plan: Plan) -> str:
    """Say which layers give no slab, where slabs follow them: a slab has its layer's number; nothing where none is."""
    sold = {slab.layer for slab in plan.slabs}
    empty = [layer for layer in range(1, max(sold, default=0)) if layer not in sold]
    if not empty:
        return ""
    meant = {waste.layer for waste in plan.waste if waste.quarters is not None}
    which = f"layer {empty[0]} gives none" if len(empty) == 1 else f"layers {_listed(empty)} give none"
    may = [layer for layer in empty if layer in meant] if plan.net_p10 is not None else []
    if may:
        they = ("it" if len(may) == 1 else "they") if may == empty else f"{_listed(may)}"
        which += f" on the log as given, though {they} may where it turns out larger"
    return f"A slab has the number of its layer, counted in sawing order; {which}."


def _listed(layers: list[int]) -> str:
    *before, last = map(str, layers)
    return f"{', '.join(before)} and {last}" if before else last
