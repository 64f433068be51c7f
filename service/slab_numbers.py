"""Why a number of a slab may be missing, in words."""

from optimizer.plan import Plan


def numbers_said(plan: Plan) -> str:
    """Say which layers give no slab, where slabs follow them: a slab has its layer's number; nothing where none is."""
    sold = {slab.layer for slab in plan.slabs}
    empty = [str(layer) for layer in range(1, max(sold, default=0)) if layer not in sold]
    if not empty:
        return ""
    which = f"layer {empty[0]} gives" if len(empty) == 1 else f"layers {', '.join(empty[:-1])} and {empty[-1]} give"
    return f"A slab has the number of its layer, counted in sawing order; {which} none."
