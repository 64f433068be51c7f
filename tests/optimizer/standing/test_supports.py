"""What a log can bear on, against closed answers."""

from math import cos, hypot, pi, radians, sqrt, tan

import numpy as np
import pytest
import shapely
import shapes
from manifold3d import Manifold

from optimizer.bed.bodies import flip_matrix, manifold_of
from optimizer.bed.lay import Lay
from optimizer.standing.parts import lows_of, parts_of, touches_of
from optimizer.standing.supports import (
    SupportRules,
    is_possible,
    margin_m,
    radius_m,
    supports_under,
    upended,
)

RULES = SupportRules(first_bunk_m=0.15, bunk_spacing_m=0.6, max_shim_m=0.1, max_prop_m=0.3)


def supports_of(body, lay=None, rules=RULES):
    standing = upended(body, np.eye(4) if lay is None else lay.log_to_bed)
    box = standing.bounding_box()
    return supports_under(standing, rules.bunks_m(box[2], box[5]), rules)


def facet_m(radius_m, points):
    """How far the facets of a round log made of so many lie under its circle."""
    return radius_m * (1.0 - cos(pi / points))


def test_bunks_stand_from_the_butt_end_as_far_as_the_bolt_reaches():
    assert RULES.bunks_m(0.2, 3.2) == pytest.approx([0.35, 0.95, 1.55, 2.15, 2.75])
    assert len(RULES.bunks_m(0.2, 0.3)) == 0
    with pytest.raises(ValueError, match="bunk_spacing_m: must be above 0, not 0"):
        SupportRules(0.1, 0.0, 0.1)


def test_a_round_log_bears_on_every_bunk_and_is_held_over_its_share_of_the_radius():
    found = supports_of(manifold_of(shapes.cylinder(0.3, 3.0, 192).outer), Lay(12.0, 0.0, 0.3))
    assert [support.x_m for support in found] == pytest.approx([0.15, 0.75, 1.35, 1.95, 2.55])
    for support in found:
        assert (support.kind, support.member) == ("bears", 0)
        assert support.height_m == pytest.approx(0.0, abs=facet_m(0.3, 192))
        assert support.y_m == pytest.approx(0.0, abs=0.3 * pi / 192 + 1e-9)
        assert support.reach_m == pytest.approx(0.3 * 0.3, abs=1e-4)


def test_a_gap_is_what_taper_leaves_and_its_height_says_what_fills_it():
    # A level axis: the underside rises from the butt to the top by 5 cm per meter.
    rules = SupportRules(0.06, 0.71, 0.05, 0.1)
    found = supports_of(manifold_of(shapes.frustum(0.35, 0.20, 3.0).outer), Lay(0.0, 0.0, 0.35), rules)
    assert [support.height_m for support in found] == pytest.approx(
        [0.05 * (0.06 + 0.71 * k) for k in range(5)], abs=facet_m(0.35, 192)
    )
    assert [support.kind for support in found] == ["shim", "shim", "prop", "blocks", "blocks"]
    assert [support.is_allowed for support in found] == [True, True, True, False, False]


def test_a_tilt_lifts_the_top_end_off_the_bunks():
    found = supports_of(manifold_of(shapes.cylinder(0.3, 3.0, 720).outer), Lay(0.0, 2.0, 0.3 * cos(radians(2.0))))
    # The bolt begins where its upper edge at the butt does, that much before its lower one.
    butt_m = -0.3 * np.sin(radians(2.0))
    for k, support in enumerate(found):
        along_m = butt_m + 0.15 + 0.6 * k - 0.3 * np.sin(radians(2.0))
        assert support.height_m == pytest.approx(along_m * tan(radians(2.0)), abs=1e-4)


def test_limbs_are_members_counted_from_the_left():
    found = supports_of(manifold_of(shapes.forked().outer), Lay(0.0, 0.0, 0.3))
    last = [support for support in found if support.bunk == max(s.bunk for s in found)]
    assert [support.member for support in last] == [0, 1]
    assert last[0].y_m > 0.3
    assert last[1].y_m < -0.3
    assert last[0].reach_m < supports_of(manifold_of(shapes.forked().outer), Lay(0.0, 0.0, 0.3))[0].reach_m


def test_two_limbs_still_in_one_section_have_the_radius_of_one():
    lobes = shapely.union_all([shapely.Point(y, 0.0).buffer(0.2, 64) for y in (-0.19, 0.19)])
    assert radius_m(lobes) == pytest.approx(0.2, abs=1e-4)
    assert radius_m(shapely.affinity.rotate(lobes, 90)) == pytest.approx(0.2, abs=1e-4)
    assert radius_m(shapely.Point(0, 0).buffer(0.3, 256)) == pytest.approx(0.3, rel=1e-4)


def test_after_a_flip_the_whole_width_of_the_sawn_face_holds():
    lay, face_m = Lay(0.0, 0.0, 0.3), 0.4
    body = manifold_of(shapes.cylinder(0.3, 3.0, 720).outer)
    standing = upended(body, flip_matrix(face_m) @ lay.log_to_bed).trim_by_plane((0.0, 1.0, 0.0), 0.0)
    half_m = sqrt(0.3**2 - (face_m - 0.3) ** 2)
    for support in supports_under(standing, RULES.bunks_m(0.0, 3.0), RULES):
        assert (support.kind, support.height_m) == ("bears", pytest.approx(0.0, abs=1e-9))
        assert (support.from_y_m, support.to_y_m) == pytest.approx((-half_m, half_m), abs=1e-4)


def test_two_feet_at_one_bunk_are_two_supports():
    top = Manifold.cube((3.0, 0.8, 0.3)).translate((0.0, -0.4, 0.1))
    feet = [Manifold.cube((3.0, 0.2, 0.15)).translate((0.0, y, 0.0)) for y in (-0.4, 0.2)]
    found = [support for support in supports_of(top + feet[0] + feet[1]) if support.bunk == 1]
    assert [(s.member, s.from_y_m, s.to_y_m) for s in sorted(found, key=lambda s: s.y_m)] == [
        (0, pytest.approx(-0.4), pytest.approx(-0.2)),
        (0, pytest.approx(0.2), pytest.approx(0.4)),
    ]


def test_a_twig_bears_nothing():
    # Both lie beside the log, along it.
    log = manifold_of(shapes.cylinder().outer)
    twig, branch = (
        Manifold.cylinder(1.0, radius_m).rotate((0.0, 90.0, 0.0)).translate((0.3, 0.8, 0.0))
        for radius_m in (0.02, 0.08)
    )
    assert len(supports_of(log + twig, Lay(0.0, 0.0, 0.3))) == 5
    assert len(supports_of(log + branch, Lay(0.0, 0.0, 0.3))) == 6


def test_a_bunk_under_the_very_end_of_a_member_bears_nothing():
    body = manifold_of(shapes.cylinder(0.3, 3.0).outer)
    lay = Lay(0.0, 0.0, 0.3)
    assert [s.x_m for s in supports_of(body, lay, SupportRules(0.04, 1.46, 0.1))] == pytest.approx([1.5])
    assert [s.x_m for s in supports_of(body, lay, SupportRules(0.06, 1.44, 0.1))] == pytest.approx([0.06, 1.5, 2.94])


def test_both_thirds_need_a_support_that_the_mill_has():
    body = manifold_of(shapes.cylinder(0.3, 3.0).outer)
    steep = Lay(0.0, 6.0, 0.3 * cos(radians(6.0)))
    assert is_possible(supports_of(body, Lay(0.0, 0.0, 0.3)), 0.0, 3.0)
    assert is_possible(supports_of(body, steep), 0.0, 3.0)
    low = SupportRules(0.15, 0.6, 0.1, 0.2)
    assert not is_possible(supports_of(body, steep, low), 0.0, 3.0)
    assert not is_possible([s for s in supports_of(body, Lay(0.0, 0.0, 0.3)) if s.x_m > 1.1], 0.0, 3.0)


@pytest.mark.parametrize(("radius", "margin"), [(0.1, 0.015), (0.17, 0.0255), (0.4, 0.0508)])
def test_the_margin_is_two_inches_but_half_the_reach_of_a_small_log(radius, margin):
    found = supports_of(manifold_of(shapes.cylinder(radius, 3.0, 720).outer), Lay(0.0, 0.0, radius))
    assert margin_m(found) == pytest.approx(margin, abs=1e-5)


@pytest.mark.parametrize("tilt_deg", [-6.0, 0.0, 3.0])
@pytest.mark.parametrize("roll_deg", [0.0, 40.0, 90.0, 200.0])
def test_what_the_search_looks_up_is_what_the_mesh_says(roll_deg, tilt_deg):
    body = manifold_of(shapes.forked(lumpy=0.02).outer)
    lay = Lay(roll_deg, tilt_deg, 2.0)
    exact = supports_of(body, lay)
    parts = parts_of(body, 0.05)
    box = upended(body, lay.log_to_bed).bounding_box()
    touches = touches_of(
        parts, lows_of(parts, radians(roll_deg)), RULES.bunks_m(box[2], box[5]), radians(tilt_deg), 2.0
    )
    # Where limbs part, within a station or two, the one may see two members and the other one.
    missed = 0
    for support in exact:
        rows = [k for k in range(len(touches.bunk)) if touches.bunk[k] == support.bunk]
        apart = [hypot(touches.y_m[k] - support.y_m, touches.gap_m[k] - support.height_m) for k in rows]
        if not rows or min(apart) > 0.15:
            missed += 1
            continue
        k = rows[int(np.argmin(apart))]
        # A limb's end is slanted to the bed: its section there differs more from that square to the log.
        assert touches.gap_m[k] == pytest.approx(support.height_m, abs=0.006 if support.bunk < 4 else 0.03)
        assert touches.y_m[k] == pytest.approx(support.y_m, abs=0.02)
        assert 0.5 * (touches.to_m[k] - touches.from_m[k]) == pytest.approx(support.reach_m, abs=0.012)
    assert missed <= 1
    assert abs(len(touches.bunk) - len(exact)) <= 1
