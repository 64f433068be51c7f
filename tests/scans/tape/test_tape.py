from dataclasses import replace

import numpy as np
import pytest
from sheets_made import forked, round_section, straight
from solid_measures import clockwise, section_centres, section_points, span, string_gaps, volume_outside

from scans.errors import SheetError
from scans.tape.log_from_sheet import Bow, LogSheet, TapedLimb, TapedSection, log_from_sheet


def test_a_cylinder_has_its_volume_and_no_frame_of_its_own():
    log = log_from_sheet(straight(), 1.0)
    # Rings of 96 corners are drawn with the circle's own area.
    assert log.outer.volume_m3 == pytest.approx(np.pi * 0.3**2 * 3.0, rel=1e-6)
    assert log.length_m == pytest.approx(3.0, abs=1e-12)
    assert log.wood is log.outer
    assert log.bark_thickness_m == 0.0
    np.testing.assert_array_equal(log.scan_to_log, np.eye(4))
    np.testing.assert_allclose(log.hearts[0][[0, -1]], [[0, 0, 0], [3, 0, 0]], atol=1e-9)


def test_a_frustum_has_its_volume():
    log = log_from_sheet(straight(butt_m=0.8, top_m=0.5), 1.0)
    assert log.outer.volume_m3 == pytest.approx(np.pi * 3.0 / 3.0 * (0.4**2 + 0.4 * 0.25 + 0.25**2), rel=1e-6)
    assert 10_000 < len(log.outer.faces) < 60_000


def test_bark_off_every_section_leaves_the_ratio_squared_and_the_end_faces():
    log = log_from_sheet(straight(butt_m=0.8, top_m=0.5), 0.9)
    assert log.wood.volume_m3 / log.outer.volume_m3 == pytest.approx(0.81, rel=1e-9)
    np.testing.assert_allclose(log.wood.bounds_m[:, 0], log.outer.bounds_m[:, 0], atol=1e-12)
    assert volume_outside(log.wood, log.outer) < 1e-9
    assert log.bark_thickness_m == pytest.approx(0.05 * 0.65, rel=1e-3)


@pytest.mark.parametrize("lean_deg", [0.0, 20.0, 90.0, 135.0, 170.0])
def test_the_wide_diameter_leans_clockwise_seen_from_the_butt(lean_deg):
    sections = tuple(TapedSection(at, 0.9, 0.6, lean_deg) for at in (0.0, 2.0))
    log = log_from_sheet(LogSheet("invented", 2.0, True, sections), 1.0)
    points = section_points(log.outer.vertices_m, log.outer.faces, 1.01)
    spans = [span(points, degrees) for degrees in range(180)]
    assert np.argmax(spans) == pytest.approx(lean_deg, abs=1)
    assert max(spans) == pytest.approx(0.9, rel=1e-3)
    assert min(spans) == pytest.approx(0.6, rel=1e-3)
    assert log.outer.volume_m3 == pytest.approx(np.pi / 4 * 0.9 * 0.6 * 2.0, rel=1e-4)


def test_20_degrees_is_up_and_to_the_right_of_someone_at_the_butt():
    sections = tuple(TapedSection(at, 0.9, 0.6, 20.0) for at in (0.0, 2.0))
    log = log_from_sheet(LogSheet("invented", 2.0, True, sections), 1.0)
    farthest = log.outer.vertices_m[np.argmax(log.outer.vertices_m[:, 2])]
    # y is to the left, so the highest point of an oval that leans right has y below 0.
    assert farthest[1] < -0.05


def test_a_lean_that_turns_from_179_to_1_degrees_goes_the_short_way():
    sections = (TapedSection(0.0, 0.9, 0.6, 179.0), TapedSection(2.0, 0.9, 0.6, 1.0))
    log = log_from_sheet(LogSheet("invented", 2.0, True, sections), 1.0)
    points = section_points(log.outer.vertices_m, log.outer.faces, 1.01)
    assert span(points, 0.0) == pytest.approx(0.9, rel=2e-3)


@pytest.mark.parametrize(("butt_m", "top_m"), [(0.6, 0.6), (0.8, 0.5)])
@pytest.mark.parametrize(("at_m", "toward_deg"), [(2.0, 90.0), (1.4, 0.0), (2.5, 215.0)])
def test_a_string_along_the_hollow_side_finds_the_bow_again(at_m, toward_deg, butt_m, top_m):
    sheet = straight(4.0, butt_m, top_m, bow=Bow(0.08, at_m, toward_deg))
    log = log_from_sheet(sheet, 0.92)
    places = np.linspace(0.005, 3.995, 240)
    back = np.linalg.inv(log.scan_to_log)
    vertices = log.outer.vertices_m @ back[:3, :3].T + back[:3, 3]
    gaps = string_gaps(vertices, log.outer.faces, toward_deg, places)
    assert gaps.max() == pytest.approx(0.08, abs=0.001)
    assert places[np.argmax(gaps)] == pytest.approx(at_m, abs=0.1)
    belly = string_gaps(vertices, log.outer.faces, toward_deg + 180.0, places)
    assert belly.max() < 0.005
    assert volume_outside(log.wood, log.outer) < 1e-9
    # The heart bends away from the hollow.
    middle = log.hearts[0][len(log.hearts[0]) // 2]
    ends = log.hearts[0][[0, -1]].mean(axis=0)
    assert (middle - ends)[1:] @ clockwise(toward_deg) < -0.04


def test_sections_of_a_bowed_log_keep_their_diameter_square_to_the_line():
    log = log_from_sheet(straight(4.0, bow=Bow(0.25, 2.0, 90.0)), 1.0)
    x = 0.5
    line = log.hearts[0]
    slope = np.interp(x, line[:, 0], np.gradient(line[:, 1], line[:, 0]))
    points = section_points(log.outer.vertices_m, log.outer.faces, x)
    assert slope > 0.1
    assert span(points, 90.0) * np.cos(np.arctan(slope)) == pytest.approx(0.6, rel=3e-3)
    assert span(points, 0.0) == pytest.approx(0.6, rel=1e-3)


def test_a_butt_flare_counts_in_the_gap_under_the_string():
    sections = (round_section(0.0, 0.9), round_section(0.6, 0.66), round_section(2.0, 0.62), round_section(4.0, 0.6))
    log = log_from_sheet(LogSheet("invented", 4.0, True, sections, Bow(0.12, 1.8, 0.0)), 1.0)
    places = np.linspace(0.005, 3.995, 200)
    back = np.linalg.inv(log.scan_to_log)
    vertices = log.outer.vertices_m @ back[:3, :3].T + back[:3, 3]
    assert string_gaps(vertices, log.outer.faces, 0.0, places).max() == pytest.approx(0.12, abs=0.002)


def test_a_fork_of_two_limbs_alike_is_its_own_mirror_image():
    log = log_from_sheet(forked(), 0.92)
    for solid in (log.outer, log.wood):
        low, high = solid.bounds_m
        np.testing.assert_allclose(low[1:], -high[1:], atol=1e-5)
        for x in (1.2, 2.2, 2.8):
            points = section_points(solid.vertices_m, solid.faces, x)
            assert points[:, 0].max() == pytest.approx(-points[:, 0].min(), abs=1e-4)
            assert points[:, 1].max() == pytest.approx(-points[:, 1].min(), abs=1e-4)
    assert volume_outside(log.wood, log.outer) < 1e-9
    assert len(log.hearts) == 3
    np.testing.assert_allclose(log.hearts[1] * [1, -1, 1], log.hearts[2], atol=1e-4)


def test_the_bark_parts_where_the_sheet_says():
    log = log_from_sheet(forked(), 1.0)
    (fork,) = log.forks
    np.testing.assert_allclose(fork.crotch_m, [2.0, 0.0, 0.0], atol=1e-4)
    np.testing.assert_allclose(np.abs(fork.normal), [0, 0, 1], atol=1e-6)
    np.testing.assert_allclose(fork.direction, [1, 0, 0], atol=1e-4)
    assert fork.diameter_m == pytest.approx(0.6, rel=1e-3)
    # From one diameter below where the hearts meet, which for limbs alike is r / sin(25) below the crotch.
    assert fork.below_m == pytest.approx(0.6 + 0.2 / np.sin(np.radians(25.0)), rel=1e-3)
    assert fork.above_m == 0.0
    np.testing.assert_allclose(log.hearts[0][-1], [2.0 - 0.2 / np.sin(np.radians(25.0)), 0, 0], atol=1e-4)
    vertices, faces = log.outer.vertices_m, log.outer.faces
    above, below = (section_points(vertices, faces, x) for x in (2.02, 1.98))
    # Above the crotch there is air on the middle line, and below it wood: no points near the middle there.
    assert np.abs(above[np.abs(above[:, 1]) < 0.05, 0]).min() < 0.02
    assert np.abs(below[np.abs(below[:, 1]) < 0.05, 0]).min() > 0.3


def test_the_volume_of_a_fork_is_that_of_a_cylinder_and_two_slanting_ones():
    log = log_from_sheet(forked(), 1.0)
    generator = np.random.default_rng(1)
    box = np.array([[0.0, -1.1, -0.31], [3.4, 1.1, 0.31]])
    points = generator.uniform(box[0], box[1], (1_500_000, 3))
    inside = (points[:, 0] < 2.0) & (np.hypot(points[:, 1], points[:, 2]) < 0.3)
    out = np.radians(25.0)
    start = np.array([2.0 - 0.2 / np.sin(out), 0.0, 0.0])
    for side in (-1.0, 1.0):
        direction = np.array([np.cos(out), side * np.sin(out), 0.0])
        along = (points - start) @ direction
        across = np.linalg.norm(points - start - along[:, None] * direction, axis=1)
        # The limb's tape begins beside the crotch: r / tan(25) from where the hearts meet.
        inside |= (along > 0.0) & (along < 0.2 / np.tan(out) + 1.2) & (across < 0.2)
    expected = inside.mean() * np.prod(box[1] - box[0])
    # 1.5 million points: one standard error is 0.13 % of the volume.
    assert log.outer.volume_m3 == pytest.approx(expected, rel=0.005)


def test_three_limbs_and_a_bow_still_make_one_solid():
    limb = TapedLimb(2.0, 25.0, 0.0, (round_section(0.2, 0.3), round_section(1.2, 0.25)))
    limbs = (limb, replace(limb, toward_deg=120.0), replace(limb, toward_deg=240.0, out_deg=30.0))
    log = log_from_sheet(forked(limbs=limbs, bow=Bow(0.05, 1.0, 40.0)), 0.92)
    assert len(log.hearts) == 4
    assert len(log.forks) == 1
    assert volume_outside(log.wood, log.outer) < 1e-9
    for line in log.hearts:
        assert (np.diff(line[:, 0]) > 0).all()


def test_a_stem_that_was_not_measured_up_to_the_fork_passes_into_its_limbs():
    log = log_from_sheet(forked(sections=(round_section(0.0, 0.6),)), 0.95)
    assert log.outer.volume_m3 < log_from_sheet(forked(), 0.95).outer.volume_m3
    assert volume_outside(log.wood, log.outer) < 1e-9


def test_a_yard_sheet_in_inches_agrees_with_its_stated_length():
    inch = 0.0254
    limbs = (
        TapedLimb(72 * inch, 25.0, 90.0, (TapedSection(48 * inch, girth_m=58 * inch),)),
        TapedLimb(72 * inch, 28.0, 270.0, (TapedSection(49 * inch, girth_m=54 * inch),)),
    )
    sections = (TapedSection(0.0, 38 * inch, 32 * inch, 20.0), TapedSection(72 * inch, 30 * inch, 28 * inch))
    log = log_from_sheet(LogSheet("invented", 116 * inch, True, sections, None, limbs), 0.92)
    assert log.length_m == pytest.approx(116 * inch, abs=0.05)
    butt, fork = (section_points(log.outer.vertices_m, log.outer.faces, x) for x in (0.01, 71.5 * inch))
    assert span(butt, 20.0) == pytest.approx(38 * inch, rel=3e-3)
    assert span(butt, 110.0) == pytest.approx(32 * inch, rel=3e-3)
    # Across the fork plane the stem is as thick as was measured; in it the limbs already reach out.
    assert span(fork, 0.0) == pytest.approx(30 * inch, rel=3e-3)
    assert log.wood.volume_m3 / log.outer.volume_m3 == pytest.approx(0.92**2, rel=5e-3)
    assert 20_000 < len(log.outer.faces) < 60_000
    assert abs(log.forks[0].normal @ log.forks[0].direction) < 1e-9


def test_unequal_limbs_turn_the_log_into_its_own_frame():
    limb = TapedLimb(2.0, 25.0, 90.0, (round_section(1.2, 0.4),))
    short = TapedLimb(2.0, 35.0, 270.0, (round_section(0.8, 0.3),))
    log = log_from_sheet(forked(limbs=(limb, short)), 1.0)
    assert log.outer.bounds_m[0, 0] == pytest.approx(0.0, abs=1e-9)
    turn = log.scan_to_log[:3, :3]
    np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-12)
    assert 0.01 < abs(turn[0, 1]) < 0.2
    x, centres = section_centres(log.outer.vertices_m, log.outer.faces)
    slopes, middle = np.polyfit(x, centres, 1)
    # The shorter limb ends between two stations, others here than in the code: that moves the line a little.
    np.testing.assert_allclose(slopes, 0.0, atol=5e-3)
    np.testing.assert_allclose(slopes * log.length_m / 2 + middle, 0.0, atol=5e-3)


def test_the_stated_length_is_what_is_built():
    sheet = straight(length_m=3.0, butt_m=0.8, top_m=0.5)
    longer = log_from_sheet(replace(sheet, length_m=3.05), 1.0)
    assert longer.length_m == pytest.approx(3.05, abs=1e-9)
    top = section_points(longer.outer.vertices_m, longer.outer.faces, 3.0499)
    assert span(top, 0.0) == pytest.approx(0.8 - 0.1 * 3.05, rel=2e-3)


LIMB = TapedLimb(2.0, 25.0, 90.0, (round_section(1.2, 0.4),))
OTHER = replace(LIMB, toward_deg=270.0)

REFUSED = [
    (straight(sections=(round_section(0.0, 0.6),)), "section: 1 given"),
    (straight(sections=()), "section: 0 given"),
    (straight(sections=tuple(round_section(at, 0.6) for at in (0.0, 2.0, 1.0, 3.0))), "section 3, at: {1 m}"),
    (straight(sections=tuple(round_section(at, 0.6) for at in (0.0, 3.0, 3.0))), "section 3, at: {3 m}"),
    (straight(sections=(TapedSection(0.0, 0.5, 0.6), round_section(3.0, 0.6))), "section 1, narrow: {60 cm} is more"),
    (straight(sections=(TapedSection(0.0, 0.5, 0.1), round_section(3.0, 0.6))), "section 1, narrow: {10 cm} is under"),
    (straight(sections=(TapedSection(0.0), round_section(3.0, 0.6))), "section 1: give either"),
    (straight(sections=(TapedSection(0.0, 0.5, 0.4, 0.0, 1.5), round_section(3.0, 0.6))), "not both"),
    (straight(sections=(TapedSection(0.0, -0.5), round_section(3.0, 0.6))), "section 1, wide: must be over 0"),
    (straight(sections=(TapedSection(0.0, np.nan), round_section(3.0, 0.6))), "section 1, wide: must be a number"),
    (straight(sections=(TapedSection(0.0, 0.6, 0.5, np.inf), round_section(3.0, 0.6))), "section 1, wide_deg"),
    (straight(butt_m=2.6), "section 1: {260 cm} x {260 cm} across"),
    (straight(top_m=0.04), "section 2: {4 cm} x {4 cm} across"),
    (straight(sections=(round_section(0.5, 0.6), round_section(3.0, 0.6))), "section 1, at: {0.5 m} from the butt"),
    (straight(length_m=0.25), "length: {0.25 m}, a log is"),
    (straight(length_m=15.5), "length: {15.5 m}, a log is"),
    (straight(length_m=-3.0), "length: must be over 0"),
    (replace(straight(), length_m=3.2), "length: {3.2 m}, but the last section is at {3 m}"),
    (replace(straight(), length_m=2.8), "length: {2.8 m}, but the last section is at {3 m}"),
    (straight(heart_radius_m=0.0), "heart_radius: must be over 0"),
    (straight(bow=Bow(0.9, 1.5, 0.0)), "bow, gap: {90 cm}, must be at most"),
    (straight(bow=Bow(0.0, 1.5, 0.0)), "bow, gap: must be over 0"),
    (straight(bow=Bow(0.1, 3.5, 0.0)), "bow, at: {3.5 m}"),
    (straight(bow=Bow(0.1, 1.5, np.nan)), "bow, toward_deg"),
    (
        straight(
            sections=(round_section(0.0, 1.2), round_section(0.5, 0.6), round_section(3.0, 0.6)),
            bow=Bow(0.02, 1.5, 0.0),
        ),
        "bow, gap: {2 cm}, but the sections' taper alone",
    ),
    (forked(limbs=(LIMB,)), "limb: only one given"),
    (forked(limbs=(replace(LIMB, out_deg=0.0), OTHER)), "limb 1, out_deg"),
    (forked(limbs=(LIMB, replace(OTHER, out_deg=81.0))), "limb 2, out_deg"),
    (forked(limbs=(replace(LIMB, leaves_at_m=1.5), OTHER)), "limb 1, leaves_at: {1.5 m}, but the stem has a section"),
    (forked(limbs=(LIMB, replace(OTHER, leaves_at_m=2.4))), "limb, leaves_at: from {2 m} to {2.4 m}"),
    (forked(length_m=1.9), "limb 1, leaves_at: {2 m} is not under the length"),
    (forked(limbs=(LIMB, replace(OTHER, sections=()))), "limb 2, section: none given"),
    (forked(limbs=(LIMB, replace(OTHER, toward_deg=90.0))), "two limbs run the same way"),
    (forked(limbs=(replace(LIMB, out_deg=2.0), replace(OTHER, out_deg=2.0))), "hearts meet {373"),
    (
        forked(limbs=(replace(LIMB, out_deg=70.0, sections=(round_section(4.0, 0.55),)), replace(OTHER, out_deg=75.0))),
        "limb 2, out_deg: the limbs turn the log's axis by",
    ),
    (forked(length_m=2.5), "length: {2.5 m}, but leaves_at"),
    (forked(length_m=3.6), "length: {3.6 m}, but leaves_at"),
]


@pytest.mark.parametrize(("sheet", "line"), REFUSED, ids=[line for _, line in REFUSED])
def test_a_sheet_that_contradicts_itself_is_refused_in_one_line(sheet, line):
    with pytest.raises(SheetError) as caught:
        log_from_sheet(sheet, 0.92)
    assert line in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("bark_on", "ratio"), [(True, 1.1), (True, 0.3), (True, np.nan), (False, 0.92)])
def test_a_bark_ratio_that_cannot_be_is_refused(bark_on, ratio):
    with pytest.raises(SheetError, match=r"^bark: "):
        log_from_sheet(straight(bark_on=bark_on), ratio)
