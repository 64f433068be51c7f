"""How slabs are counted and when money comes, as a price book has it, in words: one line for a plan."""

from optimizer.documents.prices import Deduct, Money, Pairs, PriceBook, Tally
from optimizer.wood.moisture import shrinkage_pct
from optimizer.wood.woods import Wood
from scans.messages import short_length

_FACE = {
    "both": "on both faces",
    "narrow": "on the narrower face",
    "wide": "on the wider face",
    "mean": "halfway between the two faces",
}
_WIDTH = {
    "mean": "at the average width",
    "middle": "at the middle",
    "three": "at the average of three places",
    "least": "at the narrowest place",
}


def tally_said(prices: PriceBook, wood: Wood) -> str:
    """Return in a sentence how slabs are counted, and what that leaves out; lengths in braces."""
    tally = prices.tally
    rounded = [
        f"{what} rounded down to {short_length(step_m)}"
        for what, step_m in (("widths", tally.round_width_m), ("lengths", tally.round_length_m))
        if step_m > 0.0
    ]
    counted = ", ".join((tally.moisture, _FACE[tally.face], _WIDTH[tally.width], *rounded))
    return f"Slabs are counted {counted}{_left_out(prices, wood)}."


def _left_out(prices: PriceBook, wood: Wood) -> str:
    """Say what green widths lose in drying: by radial to tangential shrinkage, as the rings lie in a slab."""
    if prices.tally.moisture == "dry":
        return ""
    least, most = sorted(
        round(shrinkage_pct(total, prices.finish.moisture_pct))
        for total in (wood.shrinkage_radial_pct, wood.shrinkage_tangential_pct)
    )
    if most == 0:
        return ""
    narrower = f"{most}%" if least == most else f"{least} to {most}%"
    return f": slabs sold dry come out {narrower} narrower"


def is_of_before(prices: PriceBook) -> bool:
    """Tell whether a book says nothing of how slabs are counted, of months and loss, of pairs and of waiting.

    Books had none of these once; whoever has such a book should know that there is more to say.
    """
    says_time = any(row.months > 0.0 or row.lost > 0.0 for row in prices.drying)
    defaults = (
        prices.tally == Tally()
        and prices.pairs == Pairs()
        and prices.money == Money(offcut_per_kg=prices.money.offcut_per_kg)
        and prices.deduct.slab_with_heart == Deduct().slab_with_heart
    )
    return defaults and not says_time and not prices.per_square_foot and not prices.per_slab
