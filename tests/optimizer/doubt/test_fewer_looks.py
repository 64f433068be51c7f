"""What is left out where plans are chosen in doubt is what would change nothing, or next to nothing."""

import books
import numpy as np
import pytest
import shapes

from optimizer.documents.mill import SetUp
from optimizer.doubt.choice import APART_M, rows_apart
from optimizer.doubt.possible_logs import PossibleLogs
from optimizer.doubt.values import best_average_cuts, lay_values
from optimizer.search.lays import search
from scans.units import INCH_M


@pytest.fixture(scope="module")
def problem():
    set_up = SetUp(roll_error_deg=3.0, shim_error_m=0.006, thickness_error_m=0.001)
    mill = books.mill(set_up=set_up, height_step_m=INCH_M / 4, kerf_m=INCH_M / 8)
    return books.problem(shapes.forked(lumpy=0.06), mill)


@pytest.fixture(scope="module")
def lay(problem):
    rolls = (problem.supports.turned(roll_deg) for roll_deg in np.arange(0.0, 180.0, 5.0))
    rolled = next(rolled for rolled in rolls if rolled.stands(rolled.resting_tilt_deg))
    return rolled, rolled.resting_tilt_deg


def test_a_possible_log_is_no_wider_than_it_says(problem):
    for log in PossibleLogs(problem).some(1, range(3)):
        corners = log.stations.outer.segments[:, :2]
        for roll_deg in np.arange(0.0, 180.0, 7.0):
            turn = np.radians(roll_deg + log.roll_off_deg)
            width_m = np.ptp(corners @ [np.cos(turn), -np.sin(turn)])
            assert width_m - 1e-9 <= log.width_m(roll_deg) < 1.005 * width_m


def test_rows_that_the_mill_cannot_saw_are_not_worked_out_and_the_others_are(problem, lay):
    logs = PossibleLogs(problem).some(5, range(2))
    every = lay_values(problem, *lay, logs)
    table = every.table
    rows = np.arange(len(table.possible)) + table.lowest_row
    height_m = problem.mill.height_step_m * rows[len(rows) // 2]
    low = problem.on(highest_blade_m=float(height_m))

    some = lay_values(low, low.supports.turned(lay[0].roll_deg), lay[1], logs)

    may = some.table.possible
    assert 0 < may.sum() < table.possible.sum()
    for m, drop in enumerate(problem.terms.drop_steps):
        both = np.flatnonzero(may[drop:] & may[:-drop]) + drop
        assert np.array_equal(some.down[both, m], every.down[both, m])
        assert not some.down[rows > rows[may].max(), m].any()


def test_rows_between_change_what_is_found_by_next_to_nothing(problem):
    fine = problem.on(height_step_m=INCH_M / 16, kerf_m=INCH_M / 16)
    fine = books.problem(fine.log, fine.mill)
    plan = search(problem, 60).plans[0]
    lay = fine.supports.turned(plan.lay.roll_deg), plan.lay.tilt_deg
    logs = PossibleLogs(fine).some(5, range(12))
    exact = lay_values(fine, *lay, logs)

    rough = best_average_cuts(lay_values(fine, *lay, logs, stride=rows_apart(fine, APART_M)), fine.terms)

    # What is found by rough values is worth about as much by the exact ones.
    at = [row - exact.table.lowest_row for row in rough.rows]
    net = sum(exact.down[row, entry] for row, entry in zip(at, rough.entries, strict=False) if entry >= 0)
    net -= exact.cost[at].sum()
    assert rows_apart(fine, APART_M) > 1
    assert net == pytest.approx(best_average_cuts(exact, fine.terms).net, rel=0.005)


def test_rows_are_no_farther_apart_where_the_mill_steps_farther(problem):
    assert rows_apart(problem, APART_M) == 1
    assert rows_apart(problem.on(height_step_m=INCH_M / 32), APART_M) == 6
