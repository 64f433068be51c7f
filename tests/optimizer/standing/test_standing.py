"""Whether logs stand, against closed answers, and the fast way against the exact one."""

from itertools import combinations
from math import cos, degrees, pi, radians, sin

import numpy as np
import pytest
import shapely
import shapes
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from manifold3d import Manifold

from optimizer.bed.bodies import manifold_of
from optimizer.bed.lay import Lay
from optimizer.standing import supports as supports_module
from optimizer.standing.choice import balanced_shares, carried, fewest, supported
from optimizer.standing.hull import hull_of_spans, inside_by_m
from optimizer.standing.on_bed import Body
from optimizer.standing.standing import held_by, standing_of
from optimizer.standing.supports import MARGIN_M, Support, SupportRules, thirds_m
from optimizer.standing.sweep import Spans, sweep
from optimizer.standing.table import StandingTable
from optimizer.stations.chords import Chords

RULES = SupportRules(first_bunk_m=0.15, bunk_spacing_m=0.6, max_shim_m=0.1, max_prop_m=0.3)


def matrix(roll_deg=0.0, lift_m=0.0, tilt_deg=0.0):
    return Lay(roll_deg, tilt_deg, lift_m).log_to_bed


def bar(x_m, y_m, z_m):
    """A box from corner to corner, given as pairs (least, greatest)."""
    low, high = (tuple(pair[k] for pair in (x_m, y_m, z_m)) for k in (0, 1))
    return Manifold.cube(tuple(b - a for a, b in zip(low, high, strict=True))).translate(low)


def plain_inside_m(points, x_m, y_m):
    """The same by a library for plane shapes."""
    hull, place = shapely.MultiPoint(points).convex_hull, shapely.Point(x_m, y_m)
    if hull.geom_type == "Polygon" and hull.contains(place):
        return hull.exterior.distance(place)
    return -hull.distance(place)


# The hull.


def numbers(low, high):
    """Whole millimetres: a hull narrower than rounding is no hull."""
    return st.integers(round(1000 * low), round(1000 * high)).map(lambda mm: mm / 1000)


SPANS = st.lists(st.tuples(numbers(-1, 1), numbers(0, 0.5)), min_size=1, max_size=6)


@given(SPANS, numbers(-0.5, 4.0), numbers(-1.5, 1.5))
def test_the_hull_of_spans_is_the_hull_of_their_ends(spans, x_m, y_m):
    bunks = np.arange(len(spans)) * 0.6
    low = np.array([middle - half for middle, half in spans])
    high = np.array([middle + half for middle, half in spans])
    points = [(x, y) for x, a, b in zip(bunks, low, high, strict=True) for y in (a, b)]

    found = inside_by_m(hull_of_spans(bunks, low, high), x_m, y_m)

    assert found == pytest.approx(plain_inside_m(points, x_m, y_m), abs=1e-9)


def test_bunks_that_hold_nothing_are_no_part_of_the_hull():
    low, high = np.array([-0.1, np.inf, -0.1]), np.array([0.1, -np.inf, 0.1])
    assert inside_by_m(hull_of_spans(np.array([0.0, 5.0, 1.0]), low, high), 0.5, 0.0) == pytest.approx(0.1)
    assert inside_by_m(hull_of_spans(np.array([0.0]), np.array([np.inf]), np.array([-np.inf])), 0.5, 0.0) == -np.inf


# Closed answers.


@pytest.mark.parametrize("radius_m", [0.08, 0.10, 0.17, 0.4])
@pytest.mark.parametrize("roll_deg", [0.0, 33.0, 180.0])
def test_a_round_log_stands_at_any_roll_and_size(radius_m, roll_deg):
    body = manifold_of(shapes.cylinder(radius_m, 3.0, 360).outer)
    found = standing_of(body, matrix(roll_deg, radius_m), [1.4 * radius_m, 1.1 * radius_m], RULES)
    assert found.stands_by_m == pytest.approx(0.3 * radius_m, abs=0.01 * radius_m)
    assert found.stands
    assert found.overturning is None
    assert found.worst.spare_m == pytest.approx(0.3 * radius_m - min(MARGIN_M, 0.15 * radius_m), abs=0.01 * radius_m)


RADIUS_M, HALF_M, BEYOND_M = 0.3, 0.15, 0.8


def weighted():
    """A round log with bars along its side, between bunks; and how far off the axis the mass centre lies, by formula.

    The section of the bars is what lies between z = -h and h beyond the circle, as far as y = b.
    """
    r, h, b, length_m = RADIUS_M, HALF_M, BEYOND_M, 4 * 0.5
    area = 2 * h * b - (h * np.sqrt(r**2 - h**2) + r**2 * np.arcsin(h / r))
    moment = h * (b**2 - r**2) + h**3 / 3.0
    off_m = moment * length_m / (3.0 * pi * r**2 + area * length_m)
    body = manifold_of(shapes.cylinder(r, 3.0, 720).outer)
    for k in range(4):
        body += bar((0.2 + 0.6 * k, 0.7 + 0.6 * k), (0.0, b), (-h, h))
    return body, off_m


@pytest.mark.parametrize("roll_deg", [0.0, 45.0, 51.0, 52.0, 60.0, 70.0, 75.0, 90.0, 130.0])
def test_a_weight_at_its_side_pulls_a_round_log_over(roll_deg):
    body, off_m = weighted()
    found = standing_of(body, matrix(roll_deg, RADIUS_M), [], RULES)
    expected = 0.3 * RADIUS_M - abs(off_m * cos(radians(roll_deg)))
    assert degrees(np.arccos(0.3 * RADIUS_M / off_m)) == pytest.approx(51.5, abs=0.1)
    assert found.stands_by_m == pytest.approx(expected, abs=2e-4)
    assert found.stands == (expected >= 0.5 * 0.3 * RADIUS_M)
    if not found.stands:
        falls = found.overturning
        assert falls.outside_m == pytest.approx(-expected, abs=2e-4)
        assert falls.toward == pytest.approx((0.0, np.sign(cos(radians(roll_deg)))), abs=1e-3)
        assert falls.holding is None


STEM_M, LIMB_M = 0.3, 0.18


def y_of_cylinders():
    """A stem and two limbs that lean out in the level; and its mass centre's x, by formula."""
    stem = shapes.tube([(0, 0, 0), (1.5, 0, 0)], STEM_M, STEM_M, 360)
    body = manifold_of(stem)
    for side in (1, -1):
        limb = shapes.tube([(1.499, side * 0.185, 0), (3, side * 0.785, 0)], LIMB_M, LIMB_M, 360)
        body += manifold_of(limb)
    areas = STEM_M**2, 2.0 * LIMB_M**2
    return body, (areas[0] * 0.75 + areas[1] * 2.25) / sum(areas)


def limb_y_m(x_m):
    return 0.185 + 0.6 * (x_m - 1.499) / 1.501


def test_a_fork_stands_on_its_stem_and_on_props_under_its_limbs():
    body, centre_x_m = y_of_cylinders()
    found = standing_of(body, matrix(0.0, STEM_M), [], RULES)
    points = [(x, y) for x in (0.15, 0.75, 1.35) for y in (-0.3 * STEM_M, 0.3 * STEM_M)]
    for x in (1.95, 2.55):
        points += [(x, side * (limb_y_m(x) + 0.3 * LIMB_M)) for side in (1, -1)]
    assert found.held[0].body.centre_m == pytest.approx((centre_x_m, 0.0, STEM_M), abs=1e-3)
    assert found.stands_by_m == pytest.approx(plain_inside_m(points, centre_x_m, 0.0), abs=1e-3)
    assert found.stands
    kinds = {(s.bunk, s.member): s.kind for s in found.sides[0].supports}
    assert kinds == {(0, 0): "bears", (1, 0): "bears", (2, 0): "bears"} | {
        (bunk, member): "prop" for bunk in (3, 4) for member in (0, 1)
    }


def test_a_fork_that_nothing_props_falls_over_its_last_bunk_and_one_stack_of_blocks_holds_it():
    body, centre_x_m = y_of_cylinders()
    bare = SupportRules(0.15, 0.6, 0.1, 0.1)
    found = standing_of(body, matrix(0.0, STEM_M), [], bare)
    assert found.stands_by_m == pytest.approx(1.35 - centre_x_m, abs=1e-3)
    assert not found.is_possible
    falls = found.overturning
    assert falls.outside_m == pytest.approx(centre_x_m - 1.35, abs=1e-3)
    assert falls.toward == pytest.approx((1.0, 0.0), abs=1e-6)
    assert falls.volume_m3 == pytest.approx(body.volume())
    assert (falls.flipped, falls.blade_height_m) == (False, None)
    assert falls.holding.height_m == pytest.approx(STEM_M - LIMB_M, abs=1e-4)
    assert falls.holding.bunk in {3, 4}
    assert falls.holding.kind == "blocks"


def test_clamps_may_hold_what_would_turn_over():
    body, _ = weighted()
    assert not standing_of(body, matrix(0.0, RADIUS_M), [], RULES).is_allowed
    assert standing_of(body, matrix(0.0, RADIUS_M), [], SupportRules(0.15, 0.6, 0.1, 0.3, clamps_hold=True)).is_allowed


def three_feet():
    return (
        bar((0.0, 3.0), (-0.4, 0.4), (0.1, 0.4))
        + bar((0.0, 0.3), (0.3, 0.4), (0.0, 0.2))
        + bar((0.0, 0.3), (-0.4, -0.3), (0.0, 0.2))
        + bar((2.4, 2.7), (-0.05, 0.05), (0.0, 0.2))
    )


def test_a_box_stands_on_three_feet():
    rules = SupportRules(0.15, 0.6, 0.05, 0.05)
    found = standing_of(three_feet(), matrix(), [], rules)
    # A foot is narrower than what friction holds of a member half as high again as 0.4 m.
    reach = 0.3 * 0.2
    feet = [(0.15, y + d) for y in (-0.35, 0.35) for d in (-reach, reach)] + [(2.55, -reach), (2.55, reach)]
    centre = found.held[0].body.centre_m
    whole_x = (0.72 * 1.5 + 2 * 0.003 * 0.15 + 0.003 * 2.55) / 0.729
    assert centre[0] == pytest.approx(whole_x, abs=1e-9)
    assert found.stands_by_m == pytest.approx(plain_inside_m(feet, whole_x, 0.0), abs=1e-4)
    loads = supported(found, 1000.0).first
    assert [(c.support.bunk, c.support.kind) for c in loads] == [(0, "bears"), (0, "bears"), (4, "bears")]
    # Three points: each load by the lever, moments about the third foot's bunk.
    share = (2.55 - whole_x) / 2.4
    assert [c.load_kg for c in loads] == pytest.approx([729 * share / 2, 729 * share / 2, 729 * (1 - share)])


def arch(to_m):
    """A bridge over two legs, of which the second ends here."""
    return (
        bar((0.0, 3.0), (-0.2, 0.2), (0.4, 0.7))
        + bar((0.0, 0.9), (-0.2, 0.2), (0.0, 0.5))
        + bar((2.0, to_m), (-0.2, 0.2), (0.0, 0.5))
    )


def test_what_a_pass_cuts_in_two_has_to_stand_as_two():
    rules = SupportRules(0.15, 0.6, 0.1, 0.1)
    assert standing_of(arch(3.0), matrix(), [0.5], rules).stands
    found = standing_of(arch(3.0), matrix(), [0.3], rules)
    one, other = sorted((held for held in found.held if held.blade_height_m == 0.3), key=lambda h: h.body.centre_m[0])
    # Over bunks at 0.15 and 0.75, and over one alone at 2.55.
    assert (one.body.centre_m[0], one.inside_by_m) == pytest.approx((0.45, 0.2))
    assert (other.body.centre_m[0], other.inside_by_m) == pytest.approx((2.5, -0.05))
    assert not found.stands
    assert found.overturning.blade_height_m == 0.3


def test_what_a_pass_cuts_off_over_no_bunk_falls_whatever_clamps_hold():
    rules = SupportRules(0.15, 0.6, 0.1, 0.45, clamps_hold=True)
    assert standing_of(arch(2.45), matrix(), [], rules).stands
    found = standing_of(arch(2.45), matrix(), [0.3], rules)
    assert found.stands_by_m == -np.inf
    assert not found.is_allowed
    assert found.overturning.toward is None
    by_hand = standing_of(arch(2.45), matrix(), [0.3], SupportRules(0.15, 0.6, 0.1, 0.45, loose_m3=0.06))
    assert by_hand.stands
    assert [body.volume_m3 for _, _, body in by_hand.loose] == pytest.approx([0.45 * 0.4 * 0.3])


def test_after_a_flip_it_stands_on_its_sawn_face():
    body = manifold_of(shapes.cylinder(0.3, 3.0, 720).outer)
    found = standing_of(body, matrix(0.0, 0.3), [0.5, 0.4], RULES, [0.25, 0.1])
    flipped = [held for held in found.held if held.flipped]
    assert [held.blade_height_m for held in flipped] == [None, 0.25, 0.1]
    half_m = np.sqrt(0.3**2 - 0.1**2)
    assert [held.inside_by_m for held in flipped] == pytest.approx([half_m] * 3, abs=1e-3)
    assert [held.margin_m for held in flipped] == pytest.approx([MARGIN_M] * 3)
    # What lies below the face: half the round and a bit, its volume by the circle's segment.
    angle = 2.0 * np.arccos(0.1 / 0.3)
    segment = 0.5 * 0.3**2 * (angle - sin(angle))
    assert flipped[0].body.volume_m3 == pytest.approx(3.0 * (pi * 0.3**2 - segment), rel=1e-4)
    with pytest.raises(ValueError, match="a flip needs a sawn face"):
        standing_of(body, matrix(0.0, 0.3), [], RULES, [0.1])


SECTIONS = {
    "box": [(0, 0), (0.6, 0), (0.6, 0.4), (0, 0.4)],
    "leaning": [(0, 0), (0.4, 0), (1.0, 0.8), (0.6, 0.8)],
    "blunt wedge": [(0, 0), (0.25, 0), (0.9, 0.5), (0.1, 0.3)],
}


@pytest.mark.parametrize("name", SECTIONS)
def test_without_friction_a_prism_stands_on_the_faces_that_a_library_finds_stable(name, monkeypatch):
    monkeypatch.setattr(supports_module, "REACH_SHARE", 0.0)
    ring = np.array(SECTIONS[name])
    corners = np.array([(x, *point) for x in (0.0, 2.0) for point in ring])
    hull = trimesh.convex.convex_hull(corners)
    body = Manifold.hull_points(corners)
    transforms, _ = trimesh.poses.compute_stable_poses(hull, sigma=0.0, threshold=0.0)
    answers = []
    for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        # Anticlockwise: the wood lies to the left of each side, so that turned along +y the side is down.
        roll = -np.arctan2(*(b - a)[::-1])
        down = np.array([0.0, (b - a)[1], -(b - a)[0]]) / np.linalg.norm(b - a)
        stable = any(transform[2, :3] @ down < -1.0 + 1e-9 for transform in transforms)
        low = -(a[0] * sin(roll) + a[1] * cos(roll))
        found = standing_of(body, matrix(degrees(roll), low), [], SupportRules(0.05, 0.2, 0.0, 0.0))
        assert (found.stands_by_m > 0.0) == stable
        answers.append(stable)
    assert any(answers)
    assert all(answers) == (name == "box")


# Which supports, and their loads.


@given(
    st.lists(st.tuples(numbers(-2, 2), numbers(-1, 1)), min_size=3, max_size=12),
    st.lists(st.floats(0.01, 1.0), min_size=12, max_size=12),
)
def test_loads_sum_to_the_weight_and_balance_its_moments(points, weights):
    places = np.array(points)
    weights = np.array(weights[: len(places)])
    centre = weights @ places / weights.sum()
    shares = balanced_shares(places, (centre[0], centre[1]))
    assert shares.min() >= 0.0
    assert shares.sum() == pytest.approx(1.0, abs=1e-6)
    assert shares @ places == pytest.approx(centre, abs=1e-6)
    # No other balanced loads have less sum of squares, so not those that placed the centre either.
    assert (shares**2).sum() <= ((weights / weights.sum()) ** 2).sum() + 1e-6


def test_no_loads_balance_a_centre_outside_all_supports():
    with pytest.raises(ValueError, match="outside the hull"):
        balanced_shares(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]), (0.6, 0.6))


def test_two_ends_carry_a_round_log():
    found = standing_of(manifold_of(shapes.cylinder(0.3, 3.0, 360).outer), matrix(0.0, 0.3), [0.4, 0.3], RULES)
    carried_by = supported(found, 1000.0).first
    assert [c.support.bunk for c in carried_by] == [0, 4]
    mass_kg = 1000.0 * 3.0 * pi * 0.09
    assert [c.load_kg for c in carried_by] == pytest.approx([mass_kg * 1.05 / 2.4, mass_kg * 1.35 / 2.4], rel=1e-3)
    assert [c.at_y_m for c in carried_by] == pytest.approx([0.0, 0.0], abs=1e-3)


def test_a_load_acts_within_the_reach_of_its_support():
    body, off_m = weighted()
    side = standing_of(body, matrix(75.0, RADIUS_M), [], RULES).sides[0]
    loads = carried(side.states[0].bodies, [side.supports[0], side.supports[-1]], 1.0)
    centre = side.states[0].bodies[0].centre_m
    assert centre[1] == pytest.approx(off_m * cos(radians(75.0)), abs=2e-4)
    assert sum(c.load_kg for c in loads) == pytest.approx(body.volume(), rel=1e-9)
    assert sum(c.load_kg * c.at_y_m for c in loads) == pytest.approx(body.volume() * centre[1], rel=1e-6)
    assert sum(c.load_kg * c.support.x_m for c in loads) == pytest.approx(body.volume() * centre[0], rel=1e-6)
    assert all(c.support.from_y_m <= c.at_y_m <= c.support.to_y_m for c in loads)


@pytest.mark.parametrize(("roll_deg", "heights"), [(0.0, (0.5, 0.35)), (10.0, (0.6,)), (60.0, (0.9,))])
def test_the_fewest_supports_are_those_that_trying_all_sets_finds(roll_deg, heights):
    log = shapes.forked()
    roll = StandingTable.of(log, None, RULES).at(radians(roll_deg))
    tilt = roll.resting_tilt_rad
    found = standing_of(
        manifold_of(log.outer), matrix(roll_deg, roll.lift_m(tilt), degrees(tilt)), list(heights), RULES
    )
    side = found.sides[0]
    chosen = fewest(side, RULES)
    held = held_by(side, RULES)
    butt_m, top_m = thirds_m(side.from_m, side.to_m)

    def holds(indices):
        places = [side.supports[k].x_m for k in indices]
        if min(places) > butt_m or max(places) < top_m:
            return False
        for each in held:
            under = [side.supports[k] for k in indices if k in each.body.supports]
            points = [(s.x_m, y) for s in under for y in (s.from_y_m, s.to_y_m)]
            if not points or plain_inside_m(points, *each.body.centre_m[:2]) < each.margin_m:
                return False
        return True

    allowed = [k for k, s in enumerate(side.supports) if s.is_allowed]
    size = next((n for n in range(1, len(allowed) + 1) if any(holds(c) for c in combinations(allowed, n))), None)
    assert found.stands == (size is not None)
    if size is None:
        assert chosen is None
        return
    assert len(chosen) == size
    assert holds(chosen)

    def kinds(indices):
        return tuple(sum(side.supports[k].kind == kind for k in indices) for kind in ("prop", "shim"))

    assert kinds(chosen) == min(kinds(c) for c in combinations(allowed, size) if holds(c))
    # And what they carry is the whole.
    loads = supported(found, 900.0).first
    assert sum(c.load_kg for c in loads) == pytest.approx(900.0 * held[0].body.volume_m3, rel=1e-6)


def test_where_it_does_not_stand_the_lowest_of_both_thirds_are_named_without_loads():
    body, _ = weighted()
    found = supported(standing_of(body, matrix(0.0, RADIUS_M), [], RULES), 1000.0).first
    assert [c.support.x_m < 1.5 for c in found] == [True, False]
    assert all(c.load_kg is None for c in found)


# The fast way.


def plain_sweep(counts, y_m, x_bed_m, shift_m, cell_m2, spans, bunks_m, loose_m3):
    """Slow and obvious: for each row the cells below it, joined by walking from neighbour to neighbour."""
    rows, n = counts.shape
    answers = []
    for top in range(rows):
        cells = [
            (r, i, float(y_m[r, 2 * j, i]), float(y_m[r, 2 * j + 1, i]))
            for r in range(top + 1)
            for i in range(n)
            for j in range(counts[r, i] // 2)
        ]
        bodies, left = [], set(cells)
        while left:
            edge = [left.pop()]
            body = list(edge)
            while edge:
                r, i, low, high = edge.pop()
                beside = [
                    c for c in left if (abs(c[0] - r), abs(c[1] - i)) in {(0, 1), (1, 0)} and c[2] < high and low < c[3]
                ]
                left.difference_update(beside)
                edge += beside
                body += beside
            bodies.append(body)
        volumes = [sum(cell_m2[i] * (high - low) for _, i, low, high in body) for body in bodies]
        worst = np.inf
        for body, volume in zip(bodies, volumes, strict=True):
            if volume < loose_m3 and not (top == rows - 1 and volume == max(volumes)):
                continue
            x = sum(cell_m2[i] * (b - a) * (x_bed_m[i] + shift_m[r]) for r, i, a, b in body) / volume
            y = sum(cell_m2[i] * (b - a) * 0.5 * (a + b) for _, i, a, b in body) / volume
            points = []
            for k in range(len(spans.bunk)):
                reach = 0.5 * (spans.high_m[k] - spans.low_m[k])
                for r in range(spans.first_row[k], top + 1):
                    near = [
                        (max(0.0, c[2] - spans.y_m[k], spans.y_m[k] - c[3]), c)
                        for c in cells
                        if c[0] == r and c[1] == spans.station[k]
                    ]
                    if near and min(near)[0] <= reach:
                        if min(near)[1] in body:
                            points += [
                                (bunks_m[spans.bunk[k]], spans.low_m[k]),
                                (bunks_m[spans.bunk[k]], spans.high_m[k]),
                            ]
                        break
            worst = min(worst, plain_inside_m(points, x, y) if points else -np.inf)
        answers.append(worst)
    return answers


@pytest.mark.parametrize("seed", range(6))
def test_the_sweep_finds_what_walking_through_all_cells_finds(seed):
    rng = np.random.default_rng(seed)
    rows, n = 7, 9
    counts = rng.choice([0, 2, 2, 4], (rows, n)).astype(np.uint8)
    y_m = np.sort(rng.uniform(-1, 1, (rows, 4, n)), axis=1).astype(np.float32)
    bunks_m = np.array([0.2, 0.5, 0.8])
    middle, half = rng.uniform(-0.8, 0.8, 5), rng.uniform(0.02, 0.3, 5)
    spans = Spans(
        rng.integers(0, 3, 5), rng.integers(0, n, 5), rng.integers(0, 3, 5), middle, middle - half, middle + half
    )
    table = Chords(counts, y_m, 4)
    given_m = np.linspace(0.0, 1.0, n), rng.uniform(-0.1, 0.1, rows), rng.uniform(0.01, 0.02, n)
    inside, _, total = sweep(table.counts, table.y, *given_m, spans, bunks_m, 0.03)
    assert inside == pytest.approx(plain_sweep(counts, y_m, *given_m, spans, bunks_m, 0.03), abs=1e-6)
    widths = sum(np.where(counts > 2 * j, y_m[:, 2 * j + 1] - y_m[:, 2 * j], 0.0) for j in range(2))
    assert total == pytest.approx(float((widths * given_m[2]).sum()), rel=1e-6)


LOGS = {
    "round": shapes.cylinder(0.12, 2.6, 96),
    "bent": shapes.bent(0.1, 0.22, 3.1),
    "forked": shapes.forked(lumpy=0.02),
    "wide fork": shapes.forked(spread_deg=30.0, limb_m=0.22),
}
FAST_ERROR_M = 0.012
"""Of stations 5 cm apart and rows of 15 mm, where a body is the same just below and just above the height."""


@pytest.mark.parametrize("name", LOGS)
@pytest.mark.parametrize("roll_deg", [0.0, 25.0, 80.0, 155.0, 270.0])
def test_the_fast_way_is_near_the_exact_one(name, roll_deg):
    log = LOGS[name]
    roll = StandingTable.of(log, None, RULES).at(radians(roll_deg))
    body = manifold_of(log.outer)
    compared = 0
    for tilt in (roll.resting_tilt_rad, roll.resting_tilt_rad + radians(1.0)):
        lift_m = roll.lift_m(tilt)
        to_bed = matrix(roll_deg, lift_m, degrees(tilt))
        lay = roll.lay(tilt)
        top_m = float((log.outer.vertices_m @ to_bed[2, :3]).max()) + lift_m
        # In the middle between rows, what is cut off is nearest to what is below either.
        heights = lay.row_zero_m + lay.row_m * np.unique(np.round(np.linspace(0.3, 0.9, 6) * top_m / lay.row_m))
        exact = standing_of(body, to_bed, list(heights), RULES)
        assert lay.is_possible == exact.is_possible
        if not lay.is_possible:
            continue
        allowed = sum(support.is_allowed for support in exact.sides[0].supports)
        same_supports = allowed == np.count_nonzero(roll.touches(tilt).gap_m <= RULES.highest_m)
        assert lay.stands_by_m() == pytest.approx(exact.held[0].inside_by_m, abs=0.006)
        for height in heights:
            held = [each for each in exact.held if each.blade_height_m == height]
            here = float(lay.spares_m([height])[0])
            if held:
                worst = min(each.spare_m for each in held)
                assert here <= worst + FAST_ERROR_M
                # A bunk under the slanted end of a limb may count for the mesh alone.
                if same_supports:
                    assert here == pytest.approx(worst, abs=FAST_ERROR_M)
                compared += same_supports
    # Nothing is compared only where the mesh alone finds a bunk under a limb's end, or no lay is possible.
    assert compared >= 5 or roll_deg == 80.0


def test_a_roll_rests_where_both_thirds_come_down_alike():
    roll = StandingTable.of(shapes.frustum(0.35, 0.25, 3.0), None, RULES).at(0.3)
    butt, top = roll.third_gaps_m(roll.resting_tilt_rad)
    assert degrees(roll.resting_tilt_rad) == pytest.approx(-degrees(np.arctan(0.1 / 3.0)), abs=1e-3)
    assert (butt, top) == pytest.approx((0.0, 0.0), abs=1e-4)
    belly = StandingTable.of(shapes.bent(0.1, 0.22, 3.2, toward_deg=180.0), None, RULES).at(0.0)
    butt, top = belly.third_gaps_m(belly.resting_tilt_rad)
    assert butt == pytest.approx(top, abs=1e-5)
    assert butt > 0.01


def test_the_tilts_that_a_roll_allows_end_where_a_third_has_no_support():
    roll = StandingTable.of(shapes.cylinder(0.3, 3.0), None, RULES).at(0.0)
    low, high = roll.tilts_within_rad(0.0)
    for tilt, end in ((low, 0), (high, 1)):
        assert roll.third_gaps_m(tilt)[end] == pytest.approx(RULES.highest_m, abs=1e-4)
        assert roll.lay(0.999 * tilt).is_possible
        assert not roll.lay(1.001 * tilt).is_possible
    hard = SupportRules(0.15, 0.6, 0.0, 0.0)
    sagging = shapes.bent(0.1, 0.22, 3.2, toward_deg=180.0)
    assert StandingTable.of(sagging, None, hard).at(0.0).tilts_within_rad(0.0) is None


def test_a_stretch_stands_as_the_log_crosscut_there():
    log = shapes.frustum(0.35, 0.2, 3.0)
    part = StandingTable.of(log, (0.5, 2.0), RULES).at(0.0)
    assert part.ends_m(0.0) == pytest.approx((0.5, 2.0))
    assert part.bunks_m(0.0) == pytest.approx([0.65, 1.25, 1.85])
    assert part.lay(0.0).volume_m3 == pytest.approx(pi / 3 * 1.5 * (0.325**2 + 0.325 * 0.25 + 0.25**2), rel=2e-3)


@pytest.mark.parametrize("roll_deg", [0.0, 20.0])
def test_the_fast_way_flips_as_the_exact_one(roll_deg):
    log = LOGS["forked"]
    roll = StandingTable.of(log, None, RULES).at(radians(roll_deg))
    tilt = roll.resting_tilt_rad
    face_m = 0.45
    exact = standing_of(
        manifold_of(log.outer), matrix(roll_deg, roll.lift_m(tilt), degrees(tilt)), [face_m], RULES, [0.3, 0.15]
    )
    flipped = [held for held in exact.held if held.flipped]
    fast = roll.flipped(tilt, face_m)
    found = [fast.stands_by_m() + 0.0, *(fast.spares_m([height])[0] for height in (0.3, 0.15))]
    wanted = [flipped[0].inside_by_m]
    wanted += [min(each.spare_m for each in flipped if each.blade_height_m == height) for height in (0.3, 0.15)]
    # Members that hang free of the face could be propped, which the fast way leaves out.
    assert all(f <= w + 0.01 for f, w in zip(found, wanted, strict=True))
    if all(support.height_m == 0.0 for support in exact.sides[1].supports):
        assert found == pytest.approx(wanted, abs=0.02)
    else:
        assert roll_deg == 0.0
    with pytest.raises(ValueError, match="below all wood"):
        roll.flipped(tilt, -0.1)


def test_each_height_is_judged_by_itself():
    log = LOGS["wide fork"]
    lay = StandingTable.of(log, None, RULES).at(0.4).lay(0.0)
    heights = np.arange(0.1, 1.0, 0.07)
    assert lay.stands_by_m(heights) == min(lay.stands_by_m([height]) for height in heights)
    assert lay.stands(heights) == all(lay.stands([height]) for height in heights)


def test_a_body_has_the_supports_that_it_lies_on():
    side = standing_of(arch(3.0), matrix(), [0.3], SupportRules(0.15, 0.6, 0.1, 0.1)).sides[0]
    bunks = [{side.supports[k].bunk for k in body.supports} for body in side.states[1].bodies]
    assert sorted(map(sorted, bunks)) == [[0, 1], [4]]
    assert isinstance(side.states[0].bodies[0], Body)
    assert isinstance(side.supports[0], Support)


def test_two_rails_that_a_pass_parts_stand_each_on_its_own_supports():
    rails = [bar((0.0, 3.0), (y, y + 0.3), (0.0, 0.5)) for y in (-0.5, 0.2)]
    bridged = bar((0.0, 3.0), (-0.5, 0.5), (0.4, 0.7)) + rails[0] + rails[1]
    found = standing_of(bridged, matrix(), [0.3], RULES)
    assert [held.inside_by_m for held in found.held] == pytest.approx([0.5, 0.15, 0.15])
    one, other = (set(body.supports) for body in found.sides[0].states[1].bodies)
    assert (len(one), len(other), one & other) == (5, 5, set())


def test_a_shim_is_chosen_before_a_prop():
    # Level, the underside of a taper of 5 cm per metre rises to 10.8 cm at 2.15 m and to 12.8 cm at 2.55 m.
    rules = SupportRules(0.15, 0.4, 0.11, 0.3)
    found = standing_of(manifold_of(shapes.frustum(0.35, 0.20, 3.0).outer), matrix(0.0, 0.35), [], rules)
    assert [(c.support.bunk, c.support.kind) for c in supported(found, 1000.0).first] == [(0, "shim"), (5, "shim")]
