"""Cup, finished thickness and what to saw for the full one, of slabs of the plan document."""

import books
import numpy as np
import pytest
import shapes
from plan_documents import a_price_book, a_slab
from planned_logs import planned

from optimizer.report.after_drying import AfterDrying
from optimizer.wood.cup import cup_m
from optimizer.wood.moisture import shrinkage_pct
from optimizer.wood.woods import find_wood

INCH_M = 0.0254
OAK, ASH_WOOD = find_wood("northern red oak"), find_wood("white ash")
ASH = tuple(
    shrinkage_pct(total, 8.0) / 100.0 for total in (ASH_WOOD.shrinkage_radial_pct, ASH_WOOD.shrinkage_tangential_pct)
)
BOOK = a_price_book(finish={"moisture_pct": 8, "allowance": "1/8 in"})


def board(width_in, **changes):
    """A slab 2.5 m long, its lower face 4 in and its upper face 6 1/4 in above z = 0, y from -w/2 to w/2."""
    half = width_in * INCH_M / 2.0
    ring = ((0.0, -half), (2.5, -half), (2.5, half), (0.0, half))
    faces = {"lower_face_m": 4.0 * INCH_M, "upper_face_m": 6.25 * INCH_M}
    return a_slab(outline_m=(ring,), **{**faces, **changes})


HEART = np.array([[-0.1, 0.0, 0.0], [2.6, 0.0, 0.0]])


def moved(*by_m):
    return HEART + np.array(by_m)


@pytest.fixture
def drying():
    return AfterDrying.of(OAK, BOOK, books.mill(height_step_m=INCH_M / 16, kerf_m=INCH_M / 16))


def test_a_slab_cups_as_its_worse_face_and_dries_thinner(drying):
    """By hand: northern red oak (4.0 / 8.6) to 8 %, w 10 in, the lower face 4 in over the heart: 0.1492 in, the worse.

    At 5.125 in: 2h / w atan(w / 2h) = 0.79228, thickness strain 6.307 - 3.373 x 0.79228 = 3.634 %; 2.25 x 0.96366 -
    0.1492 - 0.125 = 1.894 in, and 8/4 is 2 in: within 1/8 in of it.
    """
    slab = drying.told(board(10.0), [HEART])

    assert slab.cup_m == pytest.approx(0.1492 * INCH_M, abs=2e-6)
    assert slab.finish_m == pytest.approx(1.894 * INCH_M, abs=3e-5)
    assert slab.saw_for_full_m is None


def test_a_wide_slab_is_told_what_to_saw_for_its_full_thickness(drying):
    slab = drying.told(board(24.0), [HEART])
    thicker = drying.told(
        board(24.0, green_thickness_m=slab.saw_for_full_m, upper_face_m=4.0 * INCH_M + slab.saw_for_full_m), [HEART]
    )

    assert slab.finish_m < (2.0 - 0.125) * INCH_M
    steps = (slab.saw_for_full_m + INCH_M / 16) / (INCH_M / 16)
    assert steps == pytest.approx(round(steps))
    # Sawn so, with the lower face where it was, it comes out full to a step and less than a step over.
    assert thicker.saw_for_full_m is None
    assert 1.99 * INCH_M < thicker.finish_m < 2.07 * INCH_M


def test_nothing_is_told_where_no_heart_runs_beside_a_slab(drying):
    beyond = moved(5.0, 0.0, 0.0)

    for hearts in ([], [beyond]):
        slab = drying.told(board(24.0), hearts)
        assert (slab.cup_m, slab.finish_m, slab.saw_for_full_m) == (None, None, None)


def test_a_slab_that_holds_its_heart_opens_there_and_does_not_cup(drying):
    slab = drying.told(board(24.0), [moved(0.0, 0.0, 5.0 * INCH_M)])

    assert (slab.cup_m, slab.finish_m, slab.saw_for_full_m) == (None, None, None)


def test_of_two_hearts_the_nearer_one_counts(drying):
    near, far = moved(0.0, 0.0, 0.1), moved(0.0, 0.0, -3.0)

    for hearts in ([far, near], [near, far]):
        assert drying.told(board(20.0), hearts).cup_m == drying.told(board(20.0), [near]).cup_m
    assert drying.told(board(20.0), [far]).cup_m < 0.5 * drying.told(board(20.0), [near]).cup_m


def test_each_limb_of_a_piece_is_looked_at_by_itself(drying):
    """Two limbs 10 in wide, a foot apart, joined by a crotch at the butt: each cups as a board over its own heart."""
    a, b = 11.0 * INCH_M, 1.0 * INCH_M
    ring = ((0, -a), (2.5, -a), (2.5, -b), (0.1, -b), (0.1, b), (2.5, b), (2.5, a), (0, a))
    apart = [moved(0.0, y * INCH_M, 0.0) for y in (-6.0, 6.0)]
    slab = board(22.0).model_copy(update={"outline_m": (ring,), "span_m": (0.2, 2.5)})

    assert drying.told(slab, apart).cup_m == pytest.approx(0.1492 * INCH_M, abs=2e-6)


@pytest.mark.parametrize("can_flip", [False, True])
def test_slabs_of_a_round_log_cup_by_how_far_they_lie_from_its_heart(can_flip):
    plan = planned(shapes.cylinder(), books.mill(can_flip=can_flip), lays=10).plans[0]
    heart = np.array([[0.0, 0.0, 0.0, 1.0], [3.0, 0.0, 0.0, 1.0]])

    assert len(plan.slabs) > 3
    assert can_flip == any(slab.flipped for slab in plan.slabs)
    for slab in plan.slabs:
        to_bed = np.array(plan.flipped_log_to_bed if slab.flipped else plan.log_to_bed)
        # The search tilts it a little: the wood is widest, and nearest the heart, at one end. What both faces share of
        # a round log is as wide as the farther one.
        ends_m = (heart @ to_bed.T)[:, 2]
        if all(slab.lower_face_m < end_m < slab.upper_face_m for end_m in ends_m):
            assert (slab.cup_m, slab.finish_m) == (None, None)  # it opens at its heart
            continue
        if any(slab.lower_face_m < end_m < slab.upper_face_m for end_m in ends_m):
            continue
        cups = []
        for end_m in (heart @ to_bed.T)[:, 2]:
            off_m = np.array([slab.upper_face_m, slab.lower_face_m]) - end_m
            half = np.sqrt(0.3**2 - np.abs(off_m).max() ** 2) * np.ones(2)
            cups.append(cup_m(-half, half, off_m, *ASH).max())
        assert slab.cup_m == pytest.approx(max(cups), rel=0.02)
        assert 0.0 < slab.finish_m < slab.green_thickness_m
