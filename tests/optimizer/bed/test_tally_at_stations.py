"""Layers counted by every rule of the book: what the search makes of them at stations against prices on the mesh."""

import books
import pytest
import shapes
from layer_values import value_of_layer

from optimizer.documents.prices import PricePerSlab, PricePerSquareFoot, Tally
from optimizer.stations.lay_table import lay_table
from optimizer.stations.stations import stations_of
from optimizer.stations.terms import terms_for
from scans.units import FOOT_M, INCH_M

FACE = tuple(PricePerSquareFoot(species="any", quarters=q, price=p) for q, p in ((4, 4.0), (8, 20.0)))
BY_SLAB = tuple(
    PricePerSlab(species="any", quarters=q, price=p, least_width_m=w, least_length_m=x)
    for q, p, w, x in ((4, 60.0, 0.2, 1.5), (8, 150.0, 0.25, 1.3), (8, 300.0, 0.4, 2.0), (12, 350.0, 0.3, 1.2))
)
HEART = books.Deduct(heart=0.4, slab_with_heart=0.35)
RULES = {
    "dry": {"tally": Tally(moisture="dry")},
    "narrow": {"tally": Tally(face="narrow")},
    "wide": {"tally": Tally(face="wide")},
    "mean, dry, three": {"tally": Tally(face="mean", moisture="dry", width="three")},
    "middle": {"tally": Tally(width="middle")},
    "least": {"tally": Tally(width="least", face="narrow")},
    "by the foot, by the slab": {"per_square_foot": FACE, "per_slab": BY_SLAB},
    "heart": {"deduct": HEART},
    "heart, mean, dry": {"deduct": HEART, "tally": Tally(face="mean", moisture="dry")},
    "to a maximum": {
        "tally": Tally(moisture="dry", face="wide"),
        "limits": books.Limits(min_width_m=0.15, max_width_m=0.4, min_length_m=0.9, max_length_m=1.3),
    },
}


def compared(log, roll, prices, mill=None):
    """Yield what layers bring at fine stations and on the mesh, without margins."""
    problem = books.problem(log, mill, prices)
    rolled = problem.supports.turned(roll)
    lay, height_m = rolled.lay(rolled.resting_tilt_deg), rolled.height_m(rolled.resting_tilt_deg)
    stations = stations_of(problem.log, problem.end_trim_m, 0.005, problem.zones)
    terms = terms_for(problem.mill, problem.prices, problem.menu, margins=False)
    table = lay_table(stations, lay, height_m, terms, problem.heart)
    own = problem.mill.money(problem.mill.pace.minutes_per_slab)
    for m, entry in enumerate(problem.menu):
        for upper in range(table.lowest_row + entry.drop_steps, table.lowest_row + len(table.possible), 47):
            rows = [upper, upper - entry.drop_steps]
            slabs = problem.pricer.price(lay, rows, [entry]).slabs
            yield value_of_layer(table, terms, m, *rows), sum(s.price - s.drying_cost - own for s in slabs), slabs


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize(
    ("make", "roll"),
    [
        (lambda: shapes.forked(lumpy=0.08), 20.0),
        (shapes.forked, 85.0),
        (shapes.bent, 30.0),
        (shapes.frustum, 0.0),
    ],
    ids=["fork", "fork on edge", "bent", "taper"],
)
def test_layers_at_stations_are_worth_what_the_mesh_says_by_every_rule(make, roll, rule):
    pairs = [(here, there) for here, there, _ in compared(make(), roll, books.prices(**RULES[rule]))]

    # 5 mm of stations cannot see all, and a slab may stand or fall, or be ripped in two, with its last millimetre.
    off = [pair for pair in pairs if pair[0] != pytest.approx(pair[1], rel=0.01, abs=0.5)]
    assert len(off) <= 1, off
    assert sum(there > 0.0 for _, there in pairs) >= 5


def test_what_is_rounded_down_is_so_at_stations_too():
    # Whole inches and feet: a slab near a step may count one step less at stations than on the mesh, not more often.
    prices = books.prices(tally=Tally(round_width_m=INCH_M, round_length_m=FOOT_M))
    same = total = 0
    for here, there, slabs in compared(shapes.forked(lumpy=0.05), 20.0, prices):
        assert all(abs(slab.tally_width_m / INCH_M - round(slab.tally_width_m / INCH_M)) < 1e-6 for slab in slabs)
        if there > 0.0:
            total += 1
            same += here == pytest.approx(there, rel=0.01, abs=0.5)

    assert total >= 5
    assert same >= 0.8 * total


def test_slabs_are_ripped_in_these_layers():
    ripped = whole = 0
    for _, _, slabs in compared(shapes.frustum(), 0.0, books.prices(deduct=HEART)):
        ripped += any(slab.ripped for slab in slabs)
        whole += any(not slab.ripped for slab in slabs)

    assert ripped > 0
    assert whole > 0
