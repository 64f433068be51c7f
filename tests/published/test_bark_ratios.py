"""Bark ratios, inside / outside diameter, against the USDA Forest Service's growth model.

Forest Vegetation Simulator source, sn/bratio.f, after Clark A and others 1991, Table 9 p. 54: linear
equations, clamped to 0.80-0.99; and its constant ratios for the Northeast, Central States (no citation in
the source) and Lake States (after Raile 1982, Research Paper NC-224).
"""

import pytest

from optimizer.wood.woods import find_wood
from scans.units import INCH_M

# Species as the source names them; k at 12, 20 and 30 in outside the bark, to three digits.
EQUATIONS = [
    ("White ash", 0.898, 0.914, 0.922),
    ("Green ash", 0.911, 0.922, 0.928),
    ("Black ash", 0.923, 0.931, 0.935),
    ("American basswood", 0.923, 0.935, 0.941),
    ("American beech", 0.96, 0.964, 0.966),
    ("Butternut", 0.908, 0.922, 0.929),
    ("Black cherry", 0.931, 0.935, 0.937),
    ("Eastern cottonwood", 0.923, 0.931, 0.935),
    ("American elm", 0.928, 0.942, 0.949),
    ("Slippery elm", 0.928, 0.942, 0.949),
    ("Winged elm", 0.928, 0.942, 0.949),
    ("Common hackberry", 0.942, 0.949, 0.952),
    ("Honeylocust", 0.908, 0.922, 0.929),
    ("Black locust", 0.861, 0.873, 0.88),
    ("Red maple", 0.938, 0.942, 0.943),
    ("Silver maple", 0.938, 0.942, 0.943),
    ("Sugar maple", 0.938, 0.942, 0.943),
    ("White oak", 0.918, 0.926, 0.93),
    ("Post oak", 0.897, 0.906, 0.91),
    ("Live oak", 0.889, 0.913, 0.925),
    ("Chestnut oak", 0.885, 0.9, 0.907),
    ("Northern red oak", 0.909, 0.926, 0.935),
    ("Southern red oak", 0.895, 0.909, 0.916),
    ("Black oak", 0.889, 0.913, 0.925),
    ("Scarlet oak", 0.912, 0.926, 0.933),
    ("Sweetgum", 0.927, 0.94, 0.947),
    ("American sycamore", 0.956, 0.96, 0.961),
    ("Blackgum", 0.906, 0.899, 0.896),
    ("Black walnut", 0.908, 0.922, 0.929),
    ("Tuliptree", 0.905, 0.913, 0.916),
    ("Baldcypress", 0.953, 0.962, 0.966),
    ("Eastern hemlock", 0.919, 0.92, 0.921),
    ("Eastern white pine", 0.894, 0.905, 0.91),
    ("Loblolly pine", 0.874, 0.89, 0.898),
    ("Longleaf pine", 0.889, 0.905, 0.912),
    ("Shortleaf pine", 0.894, 0.908, 0.916),
]
# Species without an equation: the regional ratios listed.
REGIONAL = [
    ("Yellow birch", (0.948, 0.94)),
    ("Shagbark hickory", (0.9, 0.93, 0.94)),
    ("Pecan", (0.93,)),
    ("Bur oak", (0.91, 0.93, 0.91)),
    ("Osage-orange", (0.9, 0.95)),
    ("Eastern redcedar", (0.95, 0.95, 0.91)),
    ("Red pine", (0.92, 0.91)),
]


def test_tables_are_whole():
    assert len(EQUATIONS) + len(REGIONAL) == 43


@pytest.mark.parametrize(("species", "at_12_in", "at_20_in", "at_30_in"), EQUATIONS)
def test_equations(species, at_12_in, at_20_in, at_30_in):
    wood = find_wood(species)
    ratios = [wood.bark_ratio(diameter_in * INCH_M) for diameter_in in (12, 20, 30)]

    # Half of the third digit.
    assert ratios == pytest.approx([at_12_in, at_20_in, at_30_in], abs=0.0005 + 1e-9)
    assert wood.bark_ratio_basis == "the species' equation"


@pytest.mark.parametrize(("species", "listed"), REGIONAL)
def test_regional_ratios_by_their_mean(species, listed):
    """The mean of the regions is this project's choice, no source: it must lie among what is listed."""
    wood = find_wood(species)

    assert sorted(wood.bark_ratios) == sorted(listed)
    assert wood.bark_ratio(0.5) == pytest.approx(sum(listed) / len(listed), rel=1e-12)
    assert min(listed) - 1e-12 <= wood.bark_ratio(0.5) <= max(listed) + 1e-12


def test_white_ash_at_twenty_inches():
    # -0.48735 + 0.93847 x 20 = 18.2821 in inside; double bark 1.718 in.
    ratio = find_wood("white ash").bark_ratio(20 * INCH_M)

    assert 20 * ratio == pytest.approx(18.2821, abs=5e-5)
    assert 20 * (1 - ratio) == pytest.approx(1.718, abs=5e-4)


def test_clamp():
    # White ash at 3 in would be 0.776, and black gum's equation passes 0.99 under 2 in.
    assert find_wood("white ash").bark_ratio(3 * INCH_M) == 0.80
    assert find_wood("blackgum").bark_ratio(1 * INCH_M) == 0.99


def test_unknown_species_is_a_usual_ratio():
    # Common practice, no source; it must lie among the published ones.
    published = [ratio for _, *ratios in EQUATIONS for ratio in ratios]

    assert find_wood("").bark_ratio(0.5) == pytest.approx(0.92, rel=1e-12)
    assert min(published) < 0.92 < max(published)
