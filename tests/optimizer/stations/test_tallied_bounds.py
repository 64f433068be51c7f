"""What the search takes a layer to bring at most is never less than it brings, by any rule of the book."""

import books
import numpy as np
import pytest
import shapes
from layer_values import value_of_bed_layer, value_of_flipped_layer, value_of_layer

from optimizer.documents.prices import PricePerSlab, PricePerSquareFoot, Tally
from optimizer.stations.passes import BED, DOWN, FLIPPED, _extra, _pair_most, best_cuts, promised_layers
from scans.units import FOOT_M, INCH_M

BY_SLAB = tuple(
    PricePerSlab(species="any", quarters=q, price=p, least_width_m=w, least_length_m=x)
    for q, p, w, x in ((4, 60.0, 0.2, 1.5), (8, 400.0, 0.25, 1.3), (8, 100.0, 0.1, 0.5), (12, 350.0, 0.3, 1.2))
)
FACE = (PricePerSquareFoot(species="any", quarters=8, price=20.0),)
HEART = books.Deduct(heart=0.4, slab_with_heart=0.6)
SHORT = books.Limits(min_width_m=0.12, max_width_m=0.3, min_length_m=0.6, max_length_m=1.3)
RULES = {
    "dry": {"tally": Tally(moisture="dry")},
    "narrow": {"tally": Tally(face="narrow")},
    "wide": {"tally": Tally(face="wide"), "deduct": HEART},
    "mean": {"tally": Tally(face="mean", round_width_m=INCH_M)},
    "middle": {"tally": Tally(width="middle", moisture="dry"), "deduct": HEART},
    "three, wide": {"tally": Tally(width="three", face="wide")},
    "least": {"tally": Tally(width="least")},
    "slab": {"per_square_foot": FACE, "per_slab": BY_SLAB},
    "slab only": {"per_slab": BY_SLAB, "per_board_foot": (), "tally": Tally(round_length_m=FOOT_M)},
    "heart": {"deduct": HEART},
    "short": {"limits": SHORT, "deduct": HEART, "tally": Tally(face="mean", moisture="dry", width="three")},
    "figure": {
        "figure": books.FigurePremium(feather_per_board_foot=40.0),
        "tally": Tally(moisture="dry", width="least"),
        "drying": books.Drying(cost_per_board_foot=3.0),
    },
    "figure, ripped": {
        "figure": books.FigurePremium(feather_per_board_foot=6.0),
        "tally": Tally(moisture="dry", face="narrow"),
        "deduct": HEART,
    },
}
LOGS = {
    "fork": (lambda: shapes.forked(lumpy=0.08), 25.0),
    "bent": (lambda: shapes.bent(0.08, 0.22, 2.4), 65.0),
    "taper": (lambda: shapes.frustum(0.4, 0.15, 2.6), 0.0),
}


def everywhere(table):
    """Return the table of a mill that could make every pass."""
    every = np.ones_like(table.possible)
    return table._replace(possible=every, possible_flipped=every)


def test_figure_is_promised_only_where_it_shows():
    rules = RULES["figure, ripped"]
    problem = books.problem(
        shapes.forked(lumpy=0.08), books.mill(kerf_m=INCH_M / 8, height_step_m=INCH_M / 8), books.prices(**rules)
    )
    rolled = problem.supports.turned(25.0)
    table = problem.table(problem.coarse, rolled, rolled.resting_tilt_deg, must_stand=False)
    known = promised_layers(problem.terms, table, DOWN)
    anywhere = table._replace(inside=table.inside._replace(shown=np.zeros((0, 0, 2, 0))))

    assert known.sum() < 0.95 * promised_layers(problem.terms, anywhere, DOWN).sum()


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("log", LOGS)
@pytest.mark.parametrize("kerf_in", [1 / 8, 0.19])
def test_no_layer_brings_more_than_its_faces_allow(log, rule, kerf_in):
    make, roll_deg = LOGS[log]
    mill = books.mill(kerf_m=kerf_in * INCH_M, height_step_m=INCH_M / 8, can_flip=True)
    problem = books.problem(make(), mill, books.prices(**RULES[rule]))
    rolled = problem.supports.turned(roll_deg)
    table, terms = problem.table(problem.coarse, rolled, rolled.resting_tilt_deg, must_stand=False), problem.terms
    extra, brought = _extra(terms, table), 0
    ways = (
        (DOWN, value_of_layer, table.upper, table.lower, terms.drop_steps),
        (FLIPPED, value_of_flipped_layer, table.under, table.upper, terms.drop_steps),
        (BED, value_of_bed_layer, table.upper, table.upper, terms.bed_steps),
    )
    for way, value, top, bottom, steps in ways:
        promised = promised_layers(terms, everywhere(table), way)
        for m in range(len(terms.price)):
            for k in range(int(steps[m]), len(table.possible), 3):
                j = k - int(steps[m])
                most = _pair_most(
                    terms.slab_cost, terms.most_price[m], extra[m], terms.board_feet_per_m2[m], top.usable_m2[k],
                    bottom.usable_m2[j], top.usable_worth_m2[k], bottom.usable_worth_m2[j], top.best_factor[k],
                    bottom.best_factor[j],
                )  # fmt: skip
                found = value(table, terms, m, k + table.lowest_row, j + table.lowest_row)
                assert found <= most + 1e-9
                assert found <= promised[k, m] + 1e-9
                brought += found > 0.0
    assert brought > 10


@pytest.mark.parametrize("rule", RULES)
def test_passes_are_the_best_though_few_layers_are_looked_at(rule):
    problem = books.problem(
        shapes.forked(lumpy=0.08), books.mill(height_step_m=INCH_M / 4), books.prices(**RULES[rule])
    )
    rolled = problem.supports.turned(25.0)
    table, terms = problem.table(problem.coarse, rolled, rolled.resting_tilt_deg, must_stand=False), problem.terms
    rows = len(table.possible)

    # Every layer is looked at here, and every waste: the most that comes below the pass at each row.
    below = [0.0] * rows
    for k in range(rows):
        for j in range(k - 1):
            if table.possible[j]:
                below[k] = max(below[k], below[j] - table.pass_cost[j])
        for m, drop in enumerate(terms.drop_steps):
            j = k - int(drop)
            if j >= 0 and table.possible[j] and table.possible[k]:
                brings = value_of_layer(table, terms, m, k + table.lowest_row, j + table.lowest_row)
                below[k] = max(below[k], brings - table.pass_cost[j] + below[j])
    best = max(below[k] - table.pass_cost[k] for k in range(rows) if table.possible[k] and table.may_be_first[k])

    assert best > 0.0
    assert best_cuts(table, terms).net == pytest.approx(best, abs=1e-6)
    assert best_cuts(table, terms, floor=0.9 * best).net == pytest.approx(best, abs=1e-6)
