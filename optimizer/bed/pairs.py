"""Which slabs of a plan are sold as pairs: the pairing that brings the most, exactly."""

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from scipy.optimize import linear_sum_assignment
from shapely import Polygon, box

SHARED_HAIR_M = 1e-9


class Sold(Protocol):
    """A slab, as far as pairs hang on it; see PricedSlab."""

    @property
    def layer(self) -> int:
        """From 1 in sawing order."""

    @property
    def flipped(self) -> bool:
        """Whether it is sawn after the flip."""

    @property
    def quarters(self) -> int:
        """What it is sold as."""

    @property
    def span_m(self) -> tuple[float, float]:
        """From where to where along the bed it is sold. [m]."""

    @property
    def piece(self) -> Polygon:
        """The piece of the outline that it comes from."""

    @property
    def price(self) -> float:
        """What it sells for."""


def may_pair(one: Sold, other: Sold, min_length_m: float) -> bool:
    """Tell whether two slabs can be a pair.

    They are of the same quarters and sawn one after the other, on the same side of a flip; their spans share at least
    the minimum length, and there they lie over one another: slabs of two limbs, side by side, are none. [m]
    """
    if abs(one.layer - other.layer) != 1 or one.flipped is not other.flipped or one.quarters != other.quarters:
        return False
    from_m, to_m = max(one.span_m[0], other.span_m[0]), min(one.span_m[1], other.span_m[1])
    if to_m - from_m < min_length_m - SHARED_HAIR_M:
        return False
    low_m, high_m = one.piece.bounds[1], one.piece.bounds[3]
    shared = one.piece.intersection(box(from_m, low_m, to_m, high_m)).intersection(other.piece)
    return bool(shared.area > 0.0)


def best_pairs(slabs: Sequence[Sold], min_length_m: float) -> tuple[tuple[int, int], ...]:
    """Return which slabs are pairs, as places in `slabs`, no slab in two: where their prices are the most together.

    Only neighbouring layers pair, so that one of two is odd: an assignment of odd layers to even ones.
    """
    odd = [k for k, slab in enumerate(slabs) if slab.layer % 2]
    even = [k for k, slab in enumerate(slabs) if slab.layer % 2 == 0]
    together = np.zeros((len(odd), len(even)))
    for a, one in enumerate(odd):
        for b, other in enumerate(even):
            if may_pair(slabs[one], slabs[other], min_length_m):
                together[a, b] = slabs[one].price + slabs[other].price
    rows, columns = linear_sum_assignment(together, maximize=True)
    found = [(odd[a], even[b]) for a, b in zip(rows, columns, strict=True) if together[a, b] > 0.0]
    return tuple(sorted((min(pair), max(pair)) for pair in found))
