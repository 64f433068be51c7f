"""A limb that divides again: its wood, its forks and hearts, its doubt, and what is refused. The logs are invented."""

from dataclasses import replace

import numpy as np
import pytest
from sheets_made import forked, round_section
from solid_measures import volume_outside

from scans.errors import SheetError
from scans.log import SurfaceDraw
from scans.tape.log_from_sheet import TapedLimb, log_from_sheet

OUT = np.radians(25.0)
FIRST = TapedLimb(2.0, 25.0, 90.0, (round_section(1.2, 0.4),))
SECOND = replace(FIRST, toward_deg=270.0)
THIRD = TapedLimb(1.2, 25.0, 0.0, (round_section(0.8, 0.24),), on=1)
FOURTH = replace(THIRD, toward_deg=180.0)


def twice_forked(**changes):
    """An invented log: limb 1, which leans out to the right, divides into one that goes up and one that goes down."""
    return forked(**{"limbs": (FIRST, SECOND, THIRD, FOURTH), **changes})


def cylinder(points, start, way, from_m, to_m, radius_m):
    along = (points - start) @ way
    across = np.linalg.norm(points - start - along[:, None] * way, axis=1)
    return (along > from_m) & (along < to_m) & (across < radius_m)


def test_the_volume_of_two_forks_is_that_of_five_cylinders():
    log = log_from_sheet(twice_forked(), 1.0)
    generator = np.random.default_rng(1)
    box = np.array([[0.0, -1.6, -0.65], [4.4, 1.1, 0.65]])
    points = generator.uniform(box[0], box[1], (3_000_000, 3))
    x = np.array([1.0, 0.0, 0.0])
    inside = cylinder(points, np.zeros(3), x, 0.0, 2.0, 0.3)
    start = np.array([2.0 - 0.2 / np.sin(OUT), 0.0, 0.0])
    beside_m = 0.2 / np.tan(OUT)
    first = np.array([np.cos(OUT), -np.sin(OUT), 0.0])
    for way in (first, first * [1, -1, 1]):
        inside |= cylinder(points, start, way, 0.0, beside_m + 1.2, 0.2)
    # The hearts of the third and fourth limb meet so far below where they part, on the first limb's heart.
    onward = start + (beside_m + 1.2 - 0.12 / np.sin(OUT)) * first
    for up in (1.0, -1.0):
        way = np.cos(OUT) * first + np.sin(OUT) * np.array([0.0, 0.0, up])
        inside |= cylinder(points, onward, way, 0.0, 0.12 / np.tan(OUT) + 0.8, 0.12)

    expected = inside.mean() * np.prod(box[1] - box[0])

    # 3 million points: one standard error is 0.2 % of the volume.
    assert log.outer.volume_m3 == pytest.approx(expected, rel=0.008)
    assert log.outer.volume_m3 > 1.03 * log_from_sheet(forked(), 1.0).outer.volume_m3


def test_each_fork_has_its_crotch_and_plane_and_each_limb_its_heart():
    log = log_from_sheet(twice_forked(), 0.92)
    back = np.linalg.inv(log.scan_to_log)
    to_sheet = lambda points: points @ back[:3, :3].T + back[:3, 3]  # noqa: E731
    first = np.array([np.cos(OUT), -np.sin(OUT), 0.0])
    start = np.array([2.0 - 0.2 / np.sin(OUT), 0.0, 0.0])

    assert len(log.forks) == 2
    np.testing.assert_allclose(to_sheet(log.forks[0].crotch_m), [2.0, 0.0, 0.0], atol=1e-6)
    np.testing.assert_allclose(to_sheet(log.forks[1].crotch_m), start + (0.2 / np.tan(OUT) + 1.2) * first, atol=1e-6)
    assert log.forks[1].diameter_m == pytest.approx(0.4, rel=1e-3)
    planes = [back[:3, :3] @ fork.normal for fork in log.forks]
    assert abs(planes[0][2]) == pytest.approx(1.0, abs=1e-6)
    assert abs(planes[1] @ first) < 1e-6
    assert abs(planes[1][2]) < 1e-6
    assert len(log.hearts) == 5
    np.testing.assert_allclose(log.hearts[1][-1], log.hearts[3][0], atol=1e-9)
    np.testing.assert_allclose(log.hearts[1][-1], log.hearts[4][0], atol=1e-9)
    assert volume_outside(log.wood, log.outer) < 1e-9
    assert log.wood.volume_m3 / log.outer.volume_m3 == pytest.approx(0.92**2, rel=5e-3)


def test_the_limbs_of_both_forks_may_be_measured_at_several_places():
    limbs = (
        replace(FIRST, sections=(round_section(0.3, 0.42), round_section(0.7, 0.4))),
        SECOND,
        replace(THIRD, sections=(round_section(0.2, 0.26), round_section(0.8, 0.2))),
        FOURTH,
    )

    log = log_from_sheet(twice_forked(limbs=limbs), 0.92)

    assert len(log.forks) == 2
    assert volume_outside(log.wood, log.outer) < 1e-9


def test_where_a_limb_leans_otherwise_what_leaves_it_goes_with_it():
    log = log_from_sheet(twice_forked(), 1.0)
    doubt = log.doubt
    leans = [k for k, kind in enumerate(doubt.kinds) if kind == "lean of the limbs"]
    assert len(leans) == 8
    moves = np.abs(doubt.outer_modes_m[:, leans[:2]]).max(axis=1)
    near = {k: np.linalg.norm(log.outer.vertices_m - log.hearts[k][-1], axis=1) < 0.25 for k in range(1, 5)}

    # The third and the fourth limb's ends are farther from where the first leans than its own end is.
    assert min(moves[near[k]].max() for k in (3, 4)) > 1.3 * moves[near[1]].max()
    assert moves[near[2]].max() < 0.05 * moves[near[3]].max()
    # The lean of what leaves it leaves the first limb where it is.
    own = np.abs(doubt.outer_modes_m[:, leans[4:6]]).max(axis=1)
    assert own[near[4]].max() < 0.2 * own[near[3]].max()
    form = np.zeros(len(doubt.kinds))
    form[leans[0]] = 1.0
    assert log.varied(SurfaceDraw(0.0, form)).outer.volume_m3 == pytest.approx(log.outer.volume_m3, rel=0.02)


@pytest.mark.parametrize(
    ("limbs", "line"),
    [
        ((FIRST, SECOND, THIRD), "limb, on: only one limb leaves limb 1"),
        ((FIRST, SECOND, replace(THIRD, on=3), FOURTH), "limb 3, on: 3 is no limb that is listed before it"),
        ((FIRST, SECOND, replace(THIRD, on=0), FOURTH), "limb 3, on: 0 is no limb"),
        ((FIRST, THIRD, FOURTH), "limb: only one given"),
        ((FIRST, SECOND, THIRD, replace(FOURTH, leaves_at_m=1.6)), "limb, leaves_at: from {1.2 m} to {1.6 m}"),
        ((FIRST, SECOND, THIRD, replace(FOURTH, leaves_at_m=1.0)), "limb 4, leaves_at: {1 m}, but limb 1 has a"),
        (
            (FIRST, SECOND, replace(THIRD, out_deg=2.0), replace(FOURTH, out_deg=2.0)),
            "below where limb 1 leaves",
        ),
    ],
)
def test_a_second_fork_that_cannot_be_is_refused_in_one_line(limbs, line):
    with pytest.raises(SheetError) as caught:
        log_from_sheet(twice_forked(limbs=limbs), 0.92)

    assert line in str(caught.value)
    assert "\n" not in str(caught.value)
