"""Green weights of wood, bark and logs against USDA Forest Service figures.

Forest Inventory and Analysis, FIADB reference table REF_SPECIES (issues of 2021 and 2022), values compiled
in Miles PD, Smith WB 2009, Research Note NRS-38. Its moistures come back to whole pounds a cubic foot,
with water of 62.4 lb/ft3.
"""

import pytest

from optimizer.wood.woods import find_wood, known_woods
from scans.units import FOOT_M, POUND_KG

GREEN_WEIGHTS = [
    ("white ash", 50.0),
    ("beech", 54.0),
    ("black cherry", 45.0),
    ("cedar elm", 61.0),
    ("pecan", 62.0),
    ("honeylocust", 60.0),
    ("hackberry", 50.0),
    ("northern red oak", 64.0),
    ("white oak", 63.0),
    ("bur oak", 63.0),
    ("live oak", 76.0),
    ("post oak", 64.0),
    ("black locust", 58.0),
    ("Osage-orange", 62.0),
    ("sugar maple", 55.0),
    ("red maple", 50.0),
    ("sycamore", 52.0),
    ("sweetgum", 50.0),
    ("black walnut", 57.0),
    ("eastern redcedar", 37.0),
    ("loblolly pine", 53.0),
]


def pounds(mass_kg):
    """kg to lb where water weighs 1000 kg/m3 and 62.4 lb/ft3, as the tables have it."""
    return mass_kg / 1000 / FOOT_M**3 * 62.4


@pytest.mark.parametrize(("species", "pounds_ft3"), GREEN_WEIGHTS)
def test_green_weight_is_a_whole_pound(species, pounds_ft3):
    # The moisture is rounded to 0.1 %: up to 62.4 x 0.80 x 0.0005 = 0.025 lb/ft3.
    density = find_wood(species).green_density_kg_m3 * 62.4 / 1000

    assert density == pytest.approx(pounds_ft3, abs=0.03)


def test_osage_orange_on_its_technical_sheet():
    # Forest Products Laboratory technical sheet, Maclura pomifera: 62 lb/ft3 (993 kg/m3) green.
    assert find_wood("Maclura pomifera").green_density_kg_m3 == pytest.approx(993, abs=0.5)


def test_log_with_bark():
    """20 ft3 of northern red oak: wood 1279.6 lb; bark 20 % of it, 4 ft3 x 62.4 x 0.68 x 1.909 = 324 lb."""
    oak = find_wood("northern red oak")
    wood_m3 = 20 * FOOT_M**3
    wood_kg = oak.log_mass_kg(wood_m3, wood_m3)
    bark_kg = oak.log_mass_kg(wood_m3) - wood_kg

    # One decimal of a tie, 1279.65; whole pounds.
    assert pounds(wood_kg) == pytest.approx(1279.6, abs=0.1)
    assert pounds(bark_kg) == pytest.approx(324, abs=0.5)
    # FIA's bark share of the whole is B / (100 + B): a log known by its outer volume weighs the same.
    outer_m3 = wood_m3 / (1 - 20 / (100 + 20))
    assert oak.log_mass_kg(wood_m3, outer_m3) == pytest.approx(wood_kg + bark_kg, rel=1e-12)


def test_unknown_wood_is_as_heavy_as_any():
    # 76 lb/ft3, live oak's, the densest green wood of the table.
    unknown = find_wood("unknown")

    assert unknown.green_density_kg_m3 == pytest.approx(76 * POUND_KG / FOOT_M**3, abs=0.5)
    assert unknown.green_density_kg_m3 == pytest.approx(1217, abs=1e-9)
    # Live oak itself comes out at 1217.6 from its rounded figures.
    heaviest = max(known_woods().values(), key=lambda wood: wood.green_density_kg_m3)
    assert heaviest.name == "oak, live"
    assert heaviest.green_density_kg_m3 <= unknown.green_density_kg_m3 + 1
