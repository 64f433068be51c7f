"""Slabs sold as pairs, on the mesh: by hand, and against every pairing."""

from dataclasses import dataclass
from itertools import combinations

import books
import numpy as np
import pytest
import shapes
from shapely import Polygon, box

from optimizer.bed.pairs import best_pairs, may_pair
from optimizer.documents.prices import Pairs

WHOLE = box(-5.0, -0.2, 5.0, 0.2)


@dataclass(frozen=True)
class Slab:
    layer: int
    price: float
    span_m: tuple[float, float] = (0.0, 2.0)
    quarters: int = 8
    flipped: bool = False
    piece: Polygon = WHOLE


def test_a_pair_is_two_neighbours_of_one_thickness_over_one_another():
    first = Slab(1, 100.0)

    assert may_pair(first, Slab(2, 90.0), 1.2)
    assert may_pair(first, Slab(2, 90.0, span_m=(0.8, 3.0)), 1.2)
    assert not may_pair(first, Slab(2, 90.0, span_m=(0.81, 3.0)), 1.2)
    assert not may_pair(first, Slab(3, 90.0), 1.2)
    assert not may_pair(first, Slab(2, 90.0, quarters=4), 1.2)
    assert not may_pair(first, Slab(2, 90.0, flipped=True), 1.2)
    assert not may_pair(first, Slab(2, 90.0, piece=box(-5.0, 0.3, 5.0, 0.6)), 1.2)


def every_pairing(slabs, min_length_m):
    """The most that any set of disjoint pairs brings, tried one and all."""
    edges = [pair for pair in combinations(range(len(slabs)), 2) if may_pair(*(slabs[k] for k in pair), min_length_m)]
    best = 0.0
    for count in range(len(edges) + 1):
        for chosen in combinations(edges, count):
            used = [k for pair in chosen for k in pair]
            if len(used) == len(set(used)):
                best = max(best, sum(slabs[k].price for k in used))
    return best


def test_the_best_pairing_is_the_best_of_all():
    random = np.random.default_rng(4)
    paired = 0
    for _ in range(60):
        slabs = [
            Slab(
                layer,
                float(random.uniform(10.0, 200.0)),
                span_m=(float(random.uniform(0.0, 1.0)), float(random.uniform(1.5, 3.0))),
                quarters=int(random.choice([8, 8, 12])),
                flipped=layer > 4,
                piece=box(-5.0, side, 5.0, side + float(random.choice([0.3, 0.7]))),
            )
            for layer in range(1, 7)
            for side in random.choice([-0.5, 0.0], size=random.integers(1, 3), replace=False)
        ]
        found = best_pairs(slabs, 1.2)

        used = [k for pair in found for k in pair]
        assert len(used) == len(set(used))
        assert all(may_pair(slabs[a], slabs[b], 1.2) for a, b in found)
        assert sum(slabs[k].price for k in used) == pytest.approx(every_pairing(slabs, 1.2))
        paired += len(found)
    assert paired > 60


def priced(premium, entries=(1, 1, 1), **changes):
    book = books.prices(pairs=Pairs(premium=premium), heart=0.0, flat=True, **changes)
    problem = books.problem(shapes.cylinder(0.3, 3.0), prices_=book)
    lay = problem.supports.turned(0.0).lay(0.0)
    drop = int(problem.terms.drop_steps[1])
    top = round(0.4 / problem.terms.step_m)
    rows = [top - drop * k for k in range(len(entries) + 1)]
    return problem.price_rows(lay, rows, [None if entry is None else problem.menu[entry] for entry in entries])


def test_a_premium_is_a_share_of_both_prices_and_no_slab_is_in_two_pairs():
    alone, together = priced(0.0), priced(0.1)
    prices = [slab.price for slab in alone.slabs]

    assert len(prices) == 3
    best = max(prices[0] + prices[1], prices[1] + prices[2])
    assert together.pairs_premium == pytest.approx(0.1 * best)
    assert together.net == pytest.approx(alone.net + 0.1 * best)
    assert together.gross == pytest.approx(alone.gross)
    assert len(together.pairs) == 1
    assert alone.pairs == ()
    assert alone.pairs_premium == 0.0


def test_waste_between_two_slabs_parts_them():
    assert priced(0.1, (1, None, 1)).pairs == ()
    assert len(priced(0.1, (1, 1, None)).pairs) == 1


def test_what_is_lost_in_drying_is_lost_of_the_premium_too():
    drying = (books.Drying(lost=0.25, months=12.0),)
    money = books.Money(yearly_rate=0.1)
    alone = priced(0.0, drying=drying, money=money)
    together = priced(0.2, drying=drying, money=money)

    kept = 0.75 / 1.1
    assert together.pairs_premium > 0.0
    assert together.net - alone.net == pytest.approx(kept * together.pairs_premium)
    assert together.drying_cost - alone.drying_cost == pytest.approx((1.0 - kept) * together.pairs_premium)


def test_four_slabs_are_two_pairs():
    assert priced(0.1, (1, 1, 1, 1)).pairs == ((0, 1), (2, 3))
