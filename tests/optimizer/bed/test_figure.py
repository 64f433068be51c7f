"""Figured wood: the mean of what a slab's two faces show, on a beam whose answers are closed; by mesh and by kernel."""

from dataclasses import replace

import books
import manifold3d
import numpy as np
import pytest
import shapes

from optimizer.bed.zones import Zone, alignment
from optimizer.documents.plan import Mark
from optimizer.problem import Problem
from optimizer.stations.passes import layer_between, room_of
from scans.log import Fork, Solid

LONG_M, WIDE_M, HIGH_M = 3.0, 0.8, 0.4
PREMIUM = 6.0
UP = np.array([0.0, 0.0, 1.0])


def beam():
    """A beam about the x axis, wider than high."""
    body = manifold3d.Manifold.cube((LONG_M, WIDE_M, HIGH_M)).translate((0.0, -0.5 * WIDE_M, -0.5 * HIGH_M))
    mesh = body.to_mesh64()
    solid = Solid(np.asarray(mesh.vert_properties)[:, :3].copy(), np.asarray(mesh.tri_verts).astype(np.int64))
    return shapes.log_of(solid)


def box_of(x_m, y_m, z_m):
    """A box-shaped feather, its fork plane level."""
    corners = np.array([(x, y, z) for x in x_m for y in y_m for z in z_m])
    return Zone(corners, 0.0, feather=True, normal=UP)


def problem_of(log, zones=None, marks=(), premium=PREMIUM, **deduct):
    prices = books.prices(
        (8,), (7.0,), flat=True, heart=0.0,
        figure=books.FigurePremium(feather_per_board_foot=premium), deduct=books.Deduct(**deduct),
    )  # fmt: skip
    plain = books.problem(log, prices_=prices)
    problem = Problem(plain.log, plain.mill, plain.prices, plain.menu, plain.end_trim_m, tuple(marks))
    if zones is not None:
        vars(problem)["zones"] = zones  # in place of those that follow from forks and marks
    return problem


class Layer:
    """One layer of a beam, priced on the mesh and by the kernel; faces in the log frame of a level beam."""

    def __init__(self, problem, upper_row, roll_deg=0.0):
        (entry,) = problem.menu
        rolled = problem.supports.turned(roll_deg)
        lay = rolled.lay(0.0)
        rows = upper_row, upper_row - entry.drop_steps
        (self.slab,) = problem.price_rows(lay, rows, [entry]).slabs
        self.faces_m = self.slab.upper_face_m - lay.lift_m, self.slab.lower_face_m - lay.lift_m
        table = problem.table(problem.fine, rolled, 0.0, must_stand=False)
        upper, lower = (row - table.lowest_row for row in rows)
        own = self.slab.board_feet * problem.menu[0].drying_per_board_foot
        own += problem.mill.money(problem.mill.pace.minutes_per_slab)
        self.kernel_price = own + layer_between(
            problem.terms, table, 0, table.upper, upper, 0.0, table.lower, lower, problem.mill.kerf_m,
            room_of(table), 0.0,
        )  # fmt: skip


def premium_of(area_m2):
    """What a figured area brings on an 8/4 slab."""
    return PREMIUM * area_m2 / 0.3048**2 * 2.0


ROW = 150
"""A pass near the middle of the beam, in height steps."""


@pytest.mark.parametrize(
    ("above", "below", "shown"),
    [
        ((-0.01, 0.01), (-0.01, 0.01), 1.0),  # through both faces
        ((-0.01, 0.01), None, 0.5),  # in the upper face alone
        (None, (-0.01, 0.01), 0.5),  # in the lower face alone
        (None, None, 0.0),  # between them: neither face shows it
    ],
)
def test_a_slab_has_the_mean_of_what_its_faces_show(above, below, shown):
    log = beam()
    upper_m, lower_m = Layer(problem_of(log, ()), ROW).faces_m
    high_m = upper_m + above[1] if above else upper_m - 0.01
    low_m = lower_m + below[0] if below else lower_m + 0.01
    zone = box_of((1.0, 1.5), (-0.2, 0.1), (low_m, high_m))

    plain, figured = (Layer(problem_of(log, zones), ROW) for zones in ((), (zone,)))

    area = shown * 0.5 * 0.3
    assert figured.slab.figured_m2 == pytest.approx(area, abs=1e-9)
    assert figured.slab.price == pytest.approx(plain.slab.price + premium_of(area), rel=1e-9)
    assert figured.kernel_price == pytest.approx(plain.kernel_price + premium_of(area), rel=2e-3)


def test_a_zone_that_narrows_downwards_shows_less_below():
    log = beam()
    upper_m, lower_m = Layer(problem_of(log, ()), ROW).faces_m
    # A wedge, 0.6 m long on the upper face and 0.2 m on the lower.
    corners = np.array([(x, y, z) for z, x0, x1 in ((upper_m, 1.0, 1.6), (lower_m, 1.2, 1.4))
                        for x in (x0, x1) for y in (-0.2, 0.2)])  # fmt: skip
    # A hair inside, where a face does not end at the zone's own.
    middle = corners.mean(axis=0)
    zone = Zone(middle + (corners - middle) * (1 + 1e-9), 0.0, feather=True, normal=UP)

    plain, figured = (Layer(problem_of(log, zones), ROW) for zones in ((), (zone,)))

    area = 0.4 * 0.5 * (0.6 + 0.2)
    assert figured.slab.figured_upper.area == pytest.approx(0.4 * 0.6, rel=1e-6)
    assert figured.slab.figured_lower.area == pytest.approx(0.4 * 0.2, rel=1e-6)
    assert figured.slab.price == pytest.approx(plain.slab.price + premium_of(area), rel=1e-6)
    assert figured.kernel_price == pytest.approx(plain.kernel_price + premium_of(area), rel=2e-3)


def test_two_feathers_count_once_where_they_lie_over_one_another():
    log = beam()
    upper_m, lower_m = Layer(problem_of(log, ()), ROW).faces_m
    through = (lower_m - 0.01, upper_m + 0.01)
    zones = box_of((1.0, 1.5), (-0.2, 0.1), through), box_of((1.2, 1.7), (-0.1, 0.2), (upper_m - 0.01, upper_m + 0.01))

    plain, figured = (Layer(problem_of(log, found), ROW) for found in ((), zones))

    both, more = 0.5 * 0.3, 0.5 * 0.3 - 0.3 * 0.2
    area = both + 0.5 * more
    assert figured.slab.figured_m2 == pytest.approx(area, abs=1e-9)
    assert figured.slab.price == pytest.approx(plain.slab.price + premium_of(area), rel=1e-9)
    assert figured.kernel_price == pytest.approx(plain.kernel_price + premium_of(area), rel=2e-3)


def test_a_bark_pocket_takes_its_area_off_the_figure_and_its_share_off_the_price():
    log = beam()
    radius_m, share = 0.1, 0.6
    pocket = Mark(
        id="p", kind="bark_pocket", x_m=1.25, y_m=0.0, z_m=0.5 * HIGH_M, radius_m=radius_m, depth_m=0.9 * HIGH_M
    )
    fork = Fork(
        crotch_m=np.array([1.5, 0.0, 0.0]), normal=UP, direction=np.array([1.0, 0.0, 0.0]), diameter_m=1.2,
        below_m=0.5, above_m=0.0,
    )  # fmt: skip
    forked = replace(log, forks=(fork,))

    plain, figured, marked = (
        Layer(problem_of(forked, marks=marks, premium=premium, bark_pocket=share), ROW)
        for marks, premium in (((), 0.0), ((), PREMIUM), ((pocket,), PREMIUM))
    )

    # The zone is 0.36 m high and 0.5 m long; as wide as it is, the beam's own width counts.
    whole, hidden = 0.5 * WIDE_M, np.pi * radius_m**2
    assert figured.slab.figured_m2 == pytest.approx(whole, rel=1e-6)
    assert marked.slab.figured_m2 == pytest.approx(whole - hidden, rel=1e-6)
    sound = plain.slab.price * (1.0 - share * hidden / plain.slab.uncapped_m2)
    assert marked.slab.price == pytest.approx(sound + premium_of(whole - hidden), rel=1e-6)
    assert marked.kernel_price == pytest.approx(marked.slab.price, rel=2e-3)


@pytest.mark.parametrize(("roll_deg", "shows"), [(0.0, True), (29.0, True), (30.0, False), (45.0, False)])
def test_a_slab_thirty_degrees_off_the_fork_plane_shows_no_figure(roll_deg, shows):
    round_log = shapes.cylinder(0.35, 3.0, heart=False)
    fork = Fork(
        crotch_m=np.array([1.8, 0.0, 0.0]), normal=UP, direction=np.array([1.0, 0.0, 0.0]), diameter_m=0.7,
        below_m=0.8, above_m=0.0,
    )  # fmt: skip
    forked = replace(round_log, forks=(fork,))
    row = round(0.35 / books.mill().height_step_m) + 10

    plain, figured = (Layer(problem_of(forked, premium=premium), row, roll_deg) for premium in (0.0, PREMIUM))

    part = alignment(UP, np.array([0.0, np.sin(np.radians(roll_deg)), np.cos(np.radians(roll_deg))]))
    assert (figured.slab.figured_m2 > 0.05) is shows
    assert figured.slab.figured_m2 == 0.0 or shows
    premium = figured.slab.price - plain.slab.price
    assert premium == pytest.approx(part * premium_of(figured.slab.figured_m2), abs=1e-6)
    assert figured.kernel_price - plain.kernel_price == pytest.approx(premium, rel=1e-2, abs=1e-6)
