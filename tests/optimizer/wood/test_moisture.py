import pytest

from optimizer.wood.moisture import density_kg_m3, most_moisture_pct, shrinkage_pct


def test_fiber_saturation_of_a_species_may_be_given():
    assert shrinkage_pct(6.0, 11, fiber_saturation_pct=22) == pytest.approx(3.0)
    assert shrinkage_pct(6.0, 25, fiber_saturation_pct=22) == 0.0


def test_wood_full_of_water_weighs_its_wall_and_its_water():
    """Wall substance of 1.54 times water, all other room water: per m3, Gb of wall and 1 - Gb / 1.54 of water."""
    gravity = 0.5

    full = density_kg_m3(gravity, most_moisture_pct(gravity))
    assert full == pytest.approx(1000 * (gravity + 1 - gravity / 1.54), rel=1e-12)


@pytest.mark.parametrize(
    ("call", "line"),
    [
        (lambda: shrinkage_pct(-1, 8), r"total_pct must lie in \[0, 100\), got -1"),
        (lambda: shrinkage_pct(100, 8), "total_pct"),
        (lambda: shrinkage_pct(8, -2), "moisture_pct must be at least 0, got -2"),
        (lambda: most_moisture_pct(0), "specific_gravity_green must be above 0 to 1.54, got 0"),
        (lambda: most_moisture_pct(1.6), "specific_gravity_green"),
    ],
)
def test_refuses(call, line):
    with pytest.raises(ValueError, match=line):
        call()
