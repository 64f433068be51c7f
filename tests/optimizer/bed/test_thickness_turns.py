"""Thick slabs wait longer for their money: the choice of 8/4 against 12/4 turns where hand arithmetic says it must."""

import books
import manifold3d
import pytest
import shapes

from optimizer.documents.prices import Drying, Money
from optimizer.stations.ruled_passes import best_ruled_cuts
from scans.units import FOOT_M, INCH_M

WIDE_IN, LONG_FT = 24.0, 10.0
RATE, SOONER_MONTHS = 0.08, 12.0
PRICES = {8: 7.0, 12: 8.0}
SAWN_IN = {8: 37 / 16, 12: 54 / 16}
"""Drops: 2 1/4 in and 3 5/16 in of wood and 1/16 in of kerf."""


def box():
    """A squared log, invented: each layer of it is as wide and as long as the next."""
    size = (LONG_FT * FOOT_M, WIDE_IN * INCH_M, WIDE_IN * INCH_M)
    body = manifold3d.Manifold.cube(size).translate((0.0, -size[1] / 2, -size[2] / 2)).refine(24)
    mesh = body.to_mesh64()
    return shapes.log_of(shapes.Solid(mesh.vert_properties[:, :3].copy(), mesh.tri_verts.astype("int64")))


def by_hand(later_months):
    """What all of one thickness is worth today, by quarters: slabs that fit, their board feet, their price, waiting.

    The lowest pass is at 1 1/4 in, so that slabs lie in 22 3/4 in: nine of 8/4, or six of 12/4.
    """
    worth = {}
    for quarters, months in ((8, SOONER_MONTHS), (12, later_months)):
        slabs = int((WIDE_IN - 1.25) / SAWN_IN[quarters])
        feet = slabs * WIDE_IN / 12.0 * LONG_FT * quarters / 4.0
        worth[quarters] = feet * PRICES[quarters] * (1.0 + RATE) ** (-months / 12.0)
    return worth


@pytest.mark.parametrize("later_months", [14.0, 20.0, 26.0, 30.0, 40.0, 60.0])
def test_the_thickness_turns_where_waiting_eats_what_the_thicker_brings(later_months):
    drying = (Drying(quarters=8, months=SOONER_MONTHS), Drying(quarters=12, months=later_months))
    prices = books.prices(
        (8, 12),
        (PRICES[8], PRICES[12]),
        heart=0.0,
        flat=True,
        drying=drying,
        money=Money(yearly_rate=RATE, thicknesses=1),
    )
    mill = books.mill(pace=books.Pace(), throat_m=3.0)
    problem = books.problem(box(), mill, prices, end_trim_m=(0.0, 0.0))
    assert [entry.drop_steps for entry in problem.menu] == [37, 54]
    table = problem.table(problem.fine, problem.supports.turned(0.0), 0.0, must_stand=False)

    cuts = best_ruled_cuts(table, problem.terms, problem.rules)

    worth = by_hand(later_months)
    best = max(worth, key=lambda quarters: worth[quarters])
    assert {problem.menu[entry].quarters for entry in cuts.entries if entry >= 0} == {best}
    assert cuts.net == pytest.approx(worth[best], rel=0.01)
    assert min(worth.values()) < max(worth.values())


def test_by_hand_it_turns_between_two_of_these():
    """9 x 2 in against 6 x 3 in: the same board feet; 8 / 7 = 1.08 ^ (t / 12), so that t is 20.8 months more."""
    assert by_hand(32.0)[12] > by_hand(32.0)[8]
    assert by_hand(33.0)[12] < by_hand(33.0)[8]
