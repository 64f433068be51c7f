"""What feathers show, found for all heights at once, is what they show at each; and bounds on it hold."""

import books
import numpy as np
import pytest
import shapes
from layer_values import value_of_layer

from optimizer.bed.zones import Zone, feather
from optimizer.stations.inside import most_shown_m2
from optimizer.stations.passes import best_cuts
from optimizer.stations.runs import sold_as


@pytest.fixture(scope="module", params=["one", "two and a bark pocket"])
def problem(request):
    figure = books.FigurePremium(feather_per_board_foot=9.0)
    found = books.problem(shapes.forked(lumpy=0.06), prices_=books.prices(figure=figure))
    zones = [feather(fork) for fork in found.log.forks]
    if request.param != "one":
        away = np.array([0.3, 0.1, 0.02])
        zones.append(Zone(zones[0].corners_m + away, 0.0, feather=True, normal=zones[0].normal))
        zones.append(Zone(0.3 * zones[0].corners_m + 0.7 * zones[0].corners_m.mean(axis=0), 0.6, hides_figure=True))
    vars(found)["zones"] = tuple(zones)
    return found


def table_at(problem, roll_deg):
    rolled = problem.supports.turned(roll_deg)
    return problem.table(problem.coarse, rolled, rolled.resting_tilt_deg, must_stand=False)


def one_by_one(table):
    return table._replace(inside=table.inside._replace(shown=np.zeros((0, 0, 2, 0))))


@pytest.mark.parametrize("roll_deg", [0.0, 12.0, 195.0])
def test_layers_bring_the_same_found_at_once_or_one_by_one(problem, roll_deg):
    table, terms, figured = table_at(problem, roll_deg), problem.terms, 0
    plain = table._replace(inside=table.inside._replace(zone_feather=np.zeros_like(table.inside.zone_feather)))

    assert table.inside.shown.shape[1] > 50
    for m, drop in enumerate(terms.drop_steps):
        for k in range(drop, len(table.possible) - 1, 5):
            upper, lower = k + table.lowest_row, k - drop + table.lowest_row
            found = value_of_layer(table, terms, m, upper, lower)
            assert found == pytest.approx(value_of_layer(one_by_one(table), terms, m, upper, lower), abs=1e-6)
            figured += found > value_of_layer(one_by_one(plain), terms, m, upper, lower) + 1.0
    assert figured > 20


@pytest.mark.parametrize("roll_deg", [0.0, 12.0, 195.0])
def test_cuts_are_those_found_without_a_bound_on_the_figure(problem, roll_deg):
    table = table_at(problem, roll_deg)

    found, slowly = best_cuts(table, problem.terms), best_cuts(one_by_one(table), problem.terms)

    assert (found.rows, found.entries) == (slowly.rows, slowly.entries)
    assert found.net == pytest.approx(slowly.net, abs=1e-6)


def test_figure_brings_no_more_than_its_bound(problem):
    table, terms = table_at(problem, 0.0), problem.terms
    bare = table._replace(
        inside=table.inside._replace(shown=np.zeros((0, 0, 2, 0)), zone_feather=0.0 * table.inside.zone_feather)
    )
    reached = 0.0
    for m, drop in enumerate(terms.drop_steps):
        premium = 0.5 * sold_as(terms, m).feather_per_board_foot * terms.board_feet_per_m2[m]
        for k in range(drop, len(table.possible) - 1, 3):
            upper, lower = k + table.lowest_row, k - drop + table.lowest_row
            heights_m = upper * terms.step_m, lower * terms.step_m + terms.kerf_m
            most = premium * sum(most_shown_m2(table.inside, height_m, table.cell_m) for height_m in heights_m)
            more = value_of_layer(table, terms, m, upper, lower) - value_of_layer(bare, terms, m, upper, lower)
            if value_of_layer(bare, terms, m, upper, lower) > 0.0:
                assert more <= most + 1e-6
                reached = max(reached, more / most if most > 0.0 else 0.0)
    assert reached > 0.3
