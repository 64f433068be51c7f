from dataclasses import FrozenInstanceError, replace

import pytest

from optimizer.wood.woods import find_wood, known_woods, unknown_wood

MAPLE = find_wood("maple, sugar")


def test_table_in_its_order_by_lower_case_names():
    names = list(known_woods())

    assert len(names) == 70
    assert names[0] == "alder, red"
    assert names[-1] == "tamarack"
    assert all(name == wood.name == name.lower() for name, wood in known_woods().items())
    assert all(wood.known for wood in known_woods().values())


def test_a_row_lands_in_its_fields():
    # The row of the data file, read by eye.
    assert MAPLE.scientific_name == "Acer saccharum"
    assert (MAPLE.specific_gravity_green, MAPLE.green_moisture_pct) == (0.56, 57.4)
    assert (MAPLE.shrinkage_radial_pct, MAPLE.shrinkage_tangential_pct) == (4.8, 9.9)
    assert MAPLE.shrinkage_volumetric_pct == 14.7
    assert (MAPLE.bark_volume_pct, MAPLE.bark_specific_gravity, MAPLE.bark_moisture_pct) == (15.6, 0.54, 89.9)
    assert MAPLE.specific_gravity_12pct == 0.63
    assert MAPLE.status == "seen"
    assert find_wood("black locust").status == "memory"
    assert find_wood("black locust").note.startswith("memory fields:")


def test_woods_are_frozen_and_shared():
    with pytest.raises(FrozenInstanceError):
        MAPLE.name = "oak"
    with pytest.raises(TypeError):
        known_woods()["new"] = MAPLE
    assert find_wood("Sugar Maple") is MAPLE


@pytest.mark.parametrize("name", ["", "  ", "unknown", "Unknown"])
def test_unknown_wood(name):
    wood = find_wood(name)

    assert wood is unknown_wood()
    assert not wood.known
    assert wood.name == "unknown"
    assert wood.green_density_kg_m3 == pytest.approx(1217.0, abs=1e-9)
    assert wood.bark_ratio(0.3) == wood.bark_ratio(1.2) == pytest.approx(0.92)
    radial = [each.shrinkage_radial_pct for each in known_woods().values()]
    assert wood.shrinkage_radial_pct == pytest.approx(sum(radial) / 70)
    assert wood.shrinkage_radial_pct < wood.shrinkage_tangential_pct < wood.shrinkage_volumetric_pct


def test_unknown_log_weighs_its_outer_volume():
    wood = unknown_wood()
    inside = 0.92**2

    assert wood.log_mass_kg(inside, 1.0) == pytest.approx(1217.0)
    assert wood.log_mass_kg(inside) == pytest.approx(1217.0)


def test_mean_shrinkage_is_zero_for_green_slabs():
    assert MAPLE.mean_shrinkage_pct(30) == MAPLE.mean_shrinkage_pct(60) == 0.0
    assert MAPLE.green_thickness_m(8, 0.0, 30) == pytest.approx(0.0508)


def test_green_thickness_grows_with_all_that_asks_for_wood():
    base = MAPLE.green_thickness_m(8, 0.003, 8)

    assert MAPLE.green_thickness_m(9, 0.003, 8) > base
    assert MAPLE.green_thickness_m(8, 0.004, 8) > base
    assert MAPLE.green_thickness_m(8, 0.003, 6) > base


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        ((0, 0.0, 8.0), "quarters must be at least 1, got 0"),
        ((8, -0.001, 8.0), "allowance_m must be a finite length of at least 0, got -0.001"),
        ((8, float("nan"), 8.0), "allowance_m must be"),
        ((8, 0.0, -1.0), "moisture_pct must be at least 0, got -1"),
    ],
)
def test_green_thickness_refuses(arguments, line):
    with pytest.raises(ValueError, match=line):
        MAPLE.green_thickness_m(*arguments)


def test_bark_ratio_takes_the_best_that_is_known():
    # Equation, then regions, then the share of volume.
    regional = replace(MAPLE, bark_intercept_in=None, bark_slope=None)
    by_volume = replace(regional, bark_ratios=())

    assert MAPLE.bark_ratio_basis == "the species' equation"
    assert regional.bark_ratio(0.5) == pytest.approx((0.92 + 0.93 + 0.94) / 3)
    assert regional.bark_ratio_basis == "the mean of 3 regional ratios"
    # A ring of bark of 15.6 % of the wood's area: k^-2 = 1.156.
    assert by_volume.bark_ratio(0.5) ** -2 == pytest.approx(1.156)
    assert by_volume.bark_ratio_basis == "the species' share of bark"
    assert find_wood("pecan").bark_ratio_basis == "one region's ratio"
    assert "not known" in unknown_wood().bark_ratio_basis


@pytest.mark.parametrize("name", list(known_woods()))
def test_bark_ratio_of_every_wood_is_a_ratio(name):
    ratios = [find_wood(name).bark_ratio(diameter_m) for diameter_m in (0.02, 0.2, 0.5, 1.0, 2.5)]

    assert all(0.80 <= ratio <= 0.99 for ratio in ratios)


@pytest.mark.parametrize("diameter_m", [0.0, -0.3, float("nan"), float("inf")])
def test_bark_ratio_refuses(diameter_m):
    with pytest.raises(ValueError, match="outer_diameter_m must be a finite length above 0"):
        MAPLE.bark_ratio(diameter_m)


def test_log_mass_of_wood_alone_and_with_measured_bark():
    wood_kg = MAPLE.log_mass_kg(2.0, 2.0)

    assert wood_kg == pytest.approx(2.0 * MAPLE.green_density_kg_m3)
    assert MAPLE.log_mass_kg(2.0, 2.25) - wood_kg == pytest.approx(0.25 * MAPLE.bark_density_kg_m3)
    # Digits lost between two volumes of one mesh are no negative bark.
    assert MAPLE.log_mass_kg(2.0, 2.0 - 1e-12) == pytest.approx(wood_kg)


@pytest.mark.parametrize(
    ("volumes_m3", "line"),
    [
        ((-1.0, None), "wood_volume_m3 must be finite and at least 0, got -1"),
        ((2.0, 1.9), "outer_volume_m3 must be at least wood_volume_m3, 2, got 1.9"),
        ((2.0, float("nan")), "outer_volume_m3 must be"),
    ],
)
def test_log_mass_refuses(volumes_m3, line):
    with pytest.raises(ValueError, match=line):
        MAPLE.log_mass_kg(*volumes_m3)
