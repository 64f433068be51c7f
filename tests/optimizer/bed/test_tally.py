"""How buyers count a slab, on the mesh, against figures worked out by hand: a cylinder of 24 in by 10 ft.

One layer is looked at, both faces above the heart (which lies 12 in above the bunks): the upper face at 20 in, 8 in
over the heart, is 2 sqrt(12^2 - 8^2) = 17.8885 in wide; the lower at 17 3/4 in, 5 3/4 in over it, is
2 sqrt(12^2 - 5.75^2) = 21.0654 in. Its middle lies 6.875 in over the heart. No ends are lost: 120 in long.
"""

from math import atan, sqrt

import books
import numpy as np
import pytest
import shapely
import shapes

from optimizer.bed.faces import counted_profiles
from optimizer.bed.hearts import mean_heart_m
from optimizer.bed.lay import Lay
from optimizer.bed.outlines import width_profile
from optimizer.documents.prices import PricePerSlab, PricePerSquareFoot, Tally
from optimizer.wood.moisture import shrinkage_pct
from optimizer.wood.width_shrinkage import green_width, width_shrinkage
from optimizer.wood.woods import find_wood
from scans.units import FOOT_M, INCH_M

STEP_M = INCH_M / 16
UPPER_IN, LOWER_IN, HEART_IN, LONG_IN = 20.0, 17.75, 12.0, 120.0
NARROW_IN, WIDE_IN = 2.0 * sqrt(12.0**2 - 8.0**2), 2.0 * sqrt(12.0**2 - 5.75**2)
# White ash to 8 %, Wood Handbook (FPL-GTR-282) Table 4-3: 4.9 and 7.8 % to oven-dry; times (30 - 8) / 30.
ACROSS, ALONG = 0.049 * 22.0 / 30.0, 0.078 * 22.0 / 30.0


def book(**changes):
    """A board foot of 8/4 at 10, nothing for drying, no deductions, no width curve."""
    fields = {"per_board_foot": (books.PricePerBoardFoot(species="any", quarters=8, price=10.0, saw_m=2.25 * INCH_M),)}
    fields |= {"width_factor": (), "deduct": books.Deduct(), "drying": (), "limits": limits()}
    return books.prices(**{**fields, **changes})


def limits(**changes):
    return books.Limits(**{"min_width_m": 6 * INCH_M, "min_length_m": 4 * FOOT_M, **changes})


def cylinder():
    return shapes.cylinder(12 * INCH_M, LONG_IN * INCH_M, points=2880)


def slabs_of(prices, log=None, upper_in=UPPER_IN, lay=None, mill=None, trim=(0.0, 0.0)):
    problem = books.problem(log or cylinder(), mill, prices, end_trim_m=trim)
    (entry,) = problem.menu
    upper = round(upper_in * INCH_M / STEP_M)
    return problem.pricer.price(lay or Lay(0.0, 0.0, 12 * INCH_M), [upper, upper - entry.drop_steps], [entry]).slabs


def dry(width_in, off_in):
    """What is left of a green width, by facts on mixed ring orientation: S_R + (S_T - S_R) (2h/w) atan(w/2h)."""
    return 1.0 - (ACROSS + (ALONG - ACROSS) * (2 * off_in / width_in) * atan(width_in / (2 * off_in)))


MEAN_IN = 0.5 * (NARROW_IN + WIDE_IN)  # 19.4770
BY_HAND = [
    # What the book says, width and length that count in inches, by hand.
    ("as before", {}, NARROW_IN, 120.0),
    ("narrow face", {"face": "narrow"}, NARROW_IN, 120.0),
    ("wide face", {"face": "wide"}, WIDE_IN, 120.0),
    ("mean of the faces", {"face": "mean"}, MEAN_IN, 120.0),
    ("to the half inch", {"round_width_m": INCH_M / 2}, 17.5, 120.0),
    ("wide, to the inch", {"face": "wide", "round_width_m": INCH_M}, 21.0, 120.0),
    ("to 18 in of length", {"round_length_m": 18 * INCH_M}, NARROW_IN, 108.0),
    ("a whole number of feet stays", {"round_length_m": FOOT_M}, NARROW_IN, 120.0),
    # 2 h / w = 13.75 / 17.8885 = 0.76865; atan(1 / 0.76865) = 0.91553; 0.035933 + 0.021267 x 0.70372 = 0.050899.
    ("dry", {"moisture": "dry"}, NARROW_IN * (1 - 0.050899), 120.0),
    ("dry, wide", {"moisture": "dry", "face": "wide"}, WIDE_IN * dry(WIDE_IN, 6.875), 120.0),
    # 17.8885 x 0.949101 = 16.9780, down to the half inch.
    ("dry, to the half inch", {"moisture": "dry", "round_width_m": INCH_M / 2}, 16.5, 120.0),
    ("at the middle", {"width": "middle"}, NARROW_IN, 120.0),
    ("three places", {"width": "three"}, NARROW_IN, 120.0),
    ("the least", {"width": "least"}, NARROW_IN, 120.0),
]


@pytest.mark.parametrize(("rule", "width_in", "length_in"), [row[1:] for row in BY_HAND], ids=[r[0] for r in BY_HAND])
def test_a_cylinder_counts_what_hand_arithmetic_says(rule, width_in, length_in):
    (slab,) = slabs_of(book(tally=Tally(**rule)))

    feet = width_in * length_in / 144.0 * 2.0
    assert slab.tally_width_m == pytest.approx(width_in * INCH_M, rel=1e-5)
    assert slab.tally_length_m == pytest.approx(length_in * INCH_M, rel=1e-9)
    assert slab.board_feet == pytest.approx(feet, rel=1e-5)
    assert slab.price == pytest.approx(10.0 * feet, rel=1e-5)
    assert slab.priced_by == "board_foot"
    # What is drawn stays the wood on both faces, green.
    assert slab.mean_width_m == pytest.approx(NARROW_IN * INCH_M, rel=1e-5)
    assert slab.length_m == pytest.approx(LONG_IN * INCH_M)


def test_moisture_of_the_book_is_what_dry_means():
    prices = book(tally=Tally(moisture="dry"), finish=books.Finish(moisture_pct=30.0))

    (slab,) = slabs_of(prices)

    assert slab.tally_width_m == pytest.approx(NARROW_IN * INCH_M, rel=1e-5)  # no wood shrinks above fiber saturation


def test_without_a_heart_wood_shrinks_by_the_mean():
    (slab,) = slabs_of(
        book(tally=Tally(moisture="dry")), shapes.cylinder(12 * INCH_M, LONG_IN * INCH_M, points=2880, heart=False)
    )

    assert slab.tally_width_m == pytest.approx(NARROW_IN * INCH_M * (1 - 0.5 * (ACROSS + ALONG)), rel=1e-5)


def test_limits_hold_for_what_is_counted():
    # 17.89 in of green wood dries to 16.98 in.
    assert len(slabs_of(book(limits=limits(min_width_m=16.9 * INCH_M), tally=Tally(moisture="dry")))) == 1
    assert slabs_of(book(limits=limits(min_width_m=17.1 * INCH_M), tally=Tally(moisture="dry"))) == ()
    assert len(slabs_of(book(limits=limits(min_width_m=20.0 * INCH_M), tally=Tally(face="wide")))) == 1
    # 17.89 in counts as 16 in where it is rounded down to 4 in, 120 in as 96 in where lengths come by 4 ft.
    rounded = Tally(round_width_m=4 * INCH_M)
    assert slabs_of(book(limits=limits(min_width_m=17.0 * INCH_M), tally=rounded)) == ()
    assert slabs_of(book(limits=limits(min_length_m=9 * FOOT_M), tally=Tally(round_length_m=4 * FOOT_M))) == ()


def test_the_buyers_maximum_caps_what_is_counted_dry():
    # 17.8885 in dries to 16.978: a maximum of 16 counts, one of 17.5 does not, though the green wood is wider.
    for most_in, counted_in in ((16.0, 16.0), (17.5, NARROW_IN * dry(NARROW_IN, 6.875))):
        (slab,) = slabs_of(book(limits=limits(max_width_m=most_in * INCH_M), tally=Tally(moisture="dry")))

        assert slab.tally_width_m == pytest.approx(counted_in * INCH_M, rel=1e-5)
        assert slab.board_feet == pytest.approx(counted_in * 120.0 / 72.0, rel=1e-5)


def test_width_factor_goes_by_the_width_that_is_counted():
    curve = (books.WidthFactor(at_m=16 * INCH_M, factor=1.0), books.WidthFactor(at_m=18 * INCH_M, factor=2.0))
    (slab,) = slabs_of(book(width_factor=curve, tally=Tally(moisture="dry", round_width_m=INCH_M / 2)))

    # 16 1/2 in: a quarter of the way from 16 to 18.
    assert slab.price == pytest.approx(10.0 * 16.5 * 120 / 72 * 1.25, rel=1e-5)


def test_where_a_slab_tapers_it_matters_where_it_is_measured():
    # A cone frustum from 30 to 18 in over 10 ft, upper face through its axis: 30 - 0.1 x in wide, the heart in it.
    log = shapes.frustum(15 * INCH_M, 9 * INCH_M, LONG_IN * INCH_M, points=2880)
    # Middle 24; a foot from the ends 28.8 and 19.2: mean 24; least 18, all by the upper face, the wider of the two.
    for width, width_in in (("mean", 24.0), ("middle", 24.0), ("three", 24.0), ("least", 18.0)):
        (slab,) = slabs_of(book(tally=Tally(face="wide", width=width)), log, 15.0, Lay(0.0, 0.0, 15 * INCH_M))

        assert slab.tally_width_m == pytest.approx(width_in * INCH_M, rel=1e-4)
    # Cut off at 25 in of width by the buyer's maximum, 3/4 of the length has less: from 5/12 on.
    for width, width_in in (("mean", 25 * 5 / 12 + 21.5 * 7 / 12), ("three", (25.0 + 24.0 + 19.2) / 3), ("middle", 24)):
        most = limits(max_width_m=25 * INCH_M)
        (slab,) = slabs_of(
            book(limits=most, tally=Tally(face="wide", width=width)), log, 15.0, Lay(0.0, 0.0, 15 * INCH_M)
        )

        assert slab.tally_width_m == pytest.approx(width_in * INCH_M, rel=1e-4)


FORMS = [
    # Square foot at 25, slab rows (price, least width, least length in inches), by which it is paid, and how much.
    # 17.8885 x 120 / 144 = 14.9071 ft2; at 10 a board foot of 8/4 that is 298.14.
    (0.0, [], "board_foot", 298.142),
    (15.0, [], "board_foot", 298.142),
    (25.0, [], "square_foot", 372.678),
    (25.0, [(350.0, 12, 96)], "square_foot", 372.678),
    (25.0, [(350.0, 12, 96), (400.0, 17, 120)], "slab", 400.0),
    (0.0, [(400.0, 18, 96), (390.0, 12, 121), (310.0, 12, 96), (305.0, 10, 60)], "slab", 310.0),
]


@pytest.mark.parametrize(("square_foot", "rows", "priced_by", "price"), FORMS)
def test_the_form_of_price_that_pays_most_counts(square_foot, rows, priced_by, price):
    by_slab = tuple(
        PricePerSlab(species="any", quarters=8, price=p, least_width_m=w * INCH_M, least_length_m=x * INCH_M)
        for p, w, x in rows
    )
    by_face = (PricePerSquareFoot(species="any", quarters=8, price=square_foot),) if square_foot else ()
    (slab,) = slabs_of(book(per_square_foot=by_face, per_slab=by_slab))

    assert slab.priced_by == priced_by
    assert slab.price == pytest.approx(price, rel=1e-5)
    assert slab.sound_price == slab.price
    assert slab.board_feet == pytest.approx(17.8885 * 120 / 72, rel=1e-5)


def test_a_width_factor_is_for_faces_and_board_feet_only():
    double = (books.WidthFactor(at_m=0.0, factor=2.0),)
    face = PricePerSquareFoot(species="any", quarters=8, price=25.0)
    whole = PricePerSlab(species="any", quarters=8, price=400.0)

    (by_face,) = slabs_of(book(width_factor=double, per_square_foot=(face,)))
    (by_slab,) = slabs_of(
        book(width_factor=double, per_board_foot=(), per_slab=(whole.model_copy(update={"saw_m": 2.25 * INCH_M}),))
    )

    assert by_face.price == pytest.approx(745.356, rel=1e-5)
    assert by_slab.price == 400.0


def test_drying_takes_its_share_of_every_form():
    drying = (books.Drying(quarters=8, lost=0.1, months=12),)
    money = books.Money(yearly_rate=0.25)
    face = PricePerSquareFoot(species="any", quarters=8, price=25.0)
    (slab,) = slabs_of(book(per_square_foot=(face,), drying=drying, money=money))

    # A tenth is lost, and what comes in a year is worth 1 / 1.25 today: 0.72 is left.
    assert slab.drying_cost == pytest.approx(0.28 * 372.678, rel=1e-5)


RADIUS_IN = 1.0
"""Of the heart strip."""
OVER_HEART_IN = 13.0
"""The upper face of a layer with the heart in it: from 13 in to 10 3/4 in, the heart at 12."""
FACE_IN = 2.0 * sqrt(144.0 - 1.25**2)  # 23.8694, the lower and narrower face


def test_a_slab_with_heart_loses_its_share_of_the_whole():
    deduct = books.Deduct(heart=0.4, slab_with_heart=0.3)
    few = limits(min_width_m=12 * INCH_M)  # its halves are 10.93 in wide: too narrow to be sold ripped

    (slab,) = slabs_of(book(deduct=deduct, limits=few), upper_in=OVER_HEART_IN)

    # The strip is 2 in wide: 0.4 of 2 / 23.8694 of the area, and 0.3 of all.
    whole = 10.0 * FACE_IN * 120 / 72
    assert slab.sound_price == pytest.approx(whole, rel=1e-5)
    assert slab.price == pytest.approx(whole * (1.0 - 0.4 * 2.0 / FACE_IN - 0.3), rel=1e-3)
    assert slab.ripped == ()
    # A layer that the heart is not in loses nothing.
    (above,) = slabs_of(book(deduct=deduct, limits=few))
    assert above.price == above.sound_price


def test_a_slab_is_ripped_where_that_brings_more():
    deduct = books.Deduct(heart=0.4, slab_with_heart=0.3)

    (slab,) = slabs_of(book(deduct=deduct), upper_in=OVER_HEART_IN)

    # Each side is (23.8694 - 2) / 2 = 10.9347 in wide; two of them keep 0.916 of the whole, which keeps 0.666.
    side_in = 0.5 * (FACE_IN - 2.0 * RADIUS_IN)
    assert [part.is_left for part in slab.ripped] == [True, False]
    for part in slab.ripped:
        assert part.tally_width_m == pytest.approx(side_in * INCH_M, rel=1e-4)
        assert part.span_m == pytest.approx((0.0, LONG_IN * INCH_M))
        assert part.board_feet == pytest.approx(side_in * 120 / 72, rel=1e-4)
        assert part.price == pytest.approx(10.0 * side_in * 120 / 72, rel=1e-4)
    assert slab.price == pytest.approx(sum(part.price for part in slab.ripped))
    assert slab.board_feet == pytest.approx(sum(part.board_feet for part in slab.ripped))
    assert slab.ripped[0].shape.bounds[1] == pytest.approx(RADIUS_IN * INCH_M)


def test_a_slab_stays_whole_where_wide_ones_bring_more():
    curve = (books.WidthFactor(at_m=12 * INCH_M, factor=1.0), books.WidthFactor(at_m=20 * INCH_M, factor=2.0))
    deduct = books.Deduct(heart=0.4, slab_with_heart=0.3)

    (slab,) = slabs_of(book(deduct=deduct, width_factor=curve), upper_in=OVER_HEART_IN)

    # Whole: 2 x 0.666; ripped: 0.916 at a factor of 1.
    assert slab.ripped == ()


def test_a_heart_in_a_quarter_of_the_slab_or_less_does_not_count():
    # The heart rises by 8 in over 10 ft and leaves the layer, 10 3/4 to 13 in, after 15 x (13 - start) inches of it.
    deduct = books.Deduct(slab_with_heart=0.3)
    for start_in, counts in ((10.9, True), (11.2, False)):
        ends = [(0.0, 0.0, (start_in - 12) * INCH_M), (LONG_IN * INCH_M, 0.0, (start_in - 4) * INCH_M)]
        log = shapes.log_of(cylinder().outer, [ends])

        (slab,) = slabs_of(book(deduct=deduct, limits=limits(min_width_m=12 * INCH_M)), log, OVER_HEART_IN)

        assert slab.price == pytest.approx(slab.sound_price * (0.7 if counts else 1.0), rel=1e-6)


def test_a_slab_with_two_hearts_side_by_side_is_not_ripped():
    hearts = [[(0.0, y * INCH_M, 0.0), (LONG_IN * INCH_M, y * INCH_M, 0.0)] for y in (-4.0, 4.0)]
    log = shapes.log_of(cylinder().outer, hearts)

    (slab,) = slabs_of(book(deduct=books.Deduct(slab_with_heart=0.3)), log, OVER_HEART_IN)

    assert slab.ripped == ()
    assert slab.price == pytest.approx(0.7 * slab.sound_price)


def test_rip_cuts_are_straight_and_leave_all_of_a_crooked_heart_between_them():
    # The heart bows by 3 in to the left in the middle, and its ends are 1 in to the right of the left end's.
    x = np.linspace(0.0, LONG_IN, 49)
    y = 3.0 * 4.0 * (x / LONG_IN) * (1.0 - x / LONG_IN) - x / LONG_IN
    log = shapes.log_of(cylinder().outer, [np.stack([x, y, 0.0 * x], axis=1) * INCH_M])

    (slab,) = slabs_of(book(deduct=books.Deduct(slab_with_heart=0.5)), log, OVER_HEART_IN)

    left, right = (part.tally_width_m / INCH_M for part in slab.ripped)
    lean = sqrt(1.0 + (1.0 / LONG_IN) ** 2)
    assert left == pytest.approx(FACE_IN / 2 + 0.5 - 3.0 - RADIUS_IN * lean, rel=1e-3)
    assert right == pytest.approx(FACE_IN / 2 - 0.5 - RADIUS_IN * lean, rel=1e-3)


def box(x0, y0, x1, y1):
    return shapely.box(x0, y0, x1, y1)


def test_a_face_belongs_to_the_pieces_that_it_meets():
    # The upper face is one board, 6 wide; the lower two of 2 and 1, 2 apart; and islands that meet nothing.
    upper, lower = [box(0, 0, 10, 6), box(0, 8, 10, 9)], [box(0, 0, 10, 2), box(0, 4, 10, 5), box(12, 0, 20, 6)]
    pieces = [box(0, 0, 10, 2), box(0, 4, 10, 5)]
    # Cut half-way, at 3: 3 wide each on the upper face.
    for face, widths in (("both", (2, 1)), ("narrow", (2, 1)), ("wide", (3, 3)), ("mean", (2.5, 2))):
        profiles = counted_profiles(pieces, upper, lower, face)

        for profile, width in zip(profiles, widths, strict=True):
            assert profile.x_m[[0, -1]] == pytest.approx([0, 10])
            assert profile.area_m2() == pytest.approx(10 * width)
            assert profile.least_m() == profile.most_m() == pytest.approx(width)


def test_the_narrower_face_may_change_along_the_slab():
    # One face widens from 1 to 3, the other narrows from 3 to 1, both from y = 0: they cross half-way, at 2.
    one = shapely.Polygon([(0, 0), (10, 0), (10, 3), (0, 1)])
    other = shapely.Polygon([(0, 0), (10, 0), (10, 1), (0, 3)])
    outline = one.intersection(other)
    for face, mean in (("narrow", 1.5), ("wide", 2.5), ("mean", 2.0), ("both", 1.5)):
        (profile,) = counted_profiles([outline], [one], [other], face)

        assert profile.area_m2() == pytest.approx(10 * mean)
        assert profile.at_m(5.0) == pytest.approx(2.0)


def test_widths_on_both_faces_are_those_of_the_outline():
    rng = np.random.default_rng(2)
    for _ in range(20):
        ring = shapely.Polygon(
            [
                (5 * np.cos(a), r * np.sin(a))
                for a, r in zip(np.linspace(0, 6.2, 40), rng.uniform(1, 3, 40), strict=True)
            ]
        )
        for piece in getattr(ring.buffer(0), "geoms", [ring.buffer(0)]):
            (profile,) = counted_profiles([piece], [], [], "both")
            assert profile.area_m2() == pytest.approx(width_profile(piece).area_m2())
            for x in rng.uniform(*piece.bounds[::2], 10):
                assert profile.at_m(x) == pytest.approx(width_profile(piece).at_m(x), abs=1e-9)


def test_the_mean_place_of_the_hearts_weighs_each_by_its_length():
    lines = [np.array([[0.0, 0, 0], [2.0, 0, 2.0]]), np.array([[2.0, 0, 2.0], [3.0, 1.0, 5.0]])]

    # From 1 on: one metre at a mean height of 1.5 and one at 3.5.
    assert mean_heart_m(lines, 1.0, 9.0) == pytest.approx([2.0, 0.25, 2.5])
    assert np.isnan(mean_heart_m([], 0.0, 1.0)).all()
    assert np.isnan(mean_heart_m(lines, 4.0, 5.0)).all()


def test_width_shrinkage_of_mixed_rings():
    oak = find_wood("northern red oak")
    radial, tangential = oak.shrinkage_radial_pct, oak.shrinkage_tangential_pct  # 4.0 and 8.6, FPL-GTR-282 Table 4-3

    # 20 in wide, 5 in from the heart: 4 + 4.6 x 0.5 x atan(2) = 4 + 2.3 x 1.107149.
    assert width_shrinkage(radial, tangential, 5.0, 20.0) == pytest.approx(6.5464, abs=5e-5)
    assert width_shrinkage(radial, tangential, 0.0, 20.0) == radial  # over the heart wood shrinks across the rings
    assert width_shrinkage(radial, tangential, 1e6, 20.0) == pytest.approx(tangential)
    assert width_shrinkage(radial, tangential, np.nan, 20.0) == pytest.approx(6.3)
    # Between: the mean over the face of S_T cos^2 + S_R sin^2 of each place's ring angle.
    x = (np.arange(100_000) + 0.5) / 100_000 * 10.0
    angle = np.arctan(x / 5.0)
    each = tangential * np.cos(angle) ** 2 + radial * np.sin(angle) ** 2
    assert width_shrinkage(radial, tangential, 5.0, 20.0) == pytest.approx(each.mean(), rel=1e-8)


def test_the_ash_of_these_tests_is_the_tables():
    ash = find_wood("ash, white")

    assert shrinkage_pct(ash.shrinkage_radial_pct, 8) / 100 == pytest.approx(ACROSS)
    assert shrinkage_pct(ash.shrinkage_tangential_pct, 8) / 100 == pytest.approx(ALONG)


@pytest.mark.parametrize("off_m", [0.0, 0.01, 0.1, 0.5, np.nan])
def test_a_green_width_dries_to_what_it_was_asked_for(off_m):
    green_m = green_width(0.2, 0.04, 0.10, off_m)

    assert green_m * (1.0 - width_shrinkage(0.04, 0.10, off_m, green_m)) == pytest.approx(0.2, abs=1e-9)
    assert green_width(0.2, 0.0, 0.0, off_m) == 0.2
