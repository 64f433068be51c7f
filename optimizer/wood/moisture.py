"""What water does to the size and the weight of wood.

"Wood Handbook" is FPL-GTR-282 (USDA Forest Service, Forest Products Laboratory, 2021). Moisture content is
the mass of water as a percentage of the oven-dry mass.
"""

WATER_KG_M3 = 1000.0
FIBER_SATURATION_PCT = 30.0
"""Moisture below which wood shrinks, where the species' own is not known (Wood Handbook Eq. 4-9)."""


def shrinkage_pct(total_pct: float, moisture_pct: float, fiber_saturation_pct: float = FIBER_SATURATION_PCT) -> float:
    """Return shrinkage from green to a moisture content, of the green size. [%].

    A straight line under fiber saturation, 0 above it (Wood Handbook Eq. 4-9, p. 4-10). Single boards vary
    widely; collapse and drying set are not in it.

    total_pct : green to oven-dry, in [0, 100).
    moisture_pct : at least 0.
    """
    if not 0.0 <= total_pct < 100.0:
        raise ValueError(f"total_pct must lie in [0, 100), got {total_pct:g}")
    if not moisture_pct >= 0.0:
        raise ValueError(f"moisture_pct must be at least 0, got {moisture_pct:g}")
    return total_pct * max(fiber_saturation_pct - moisture_pct, 0.0) / fiber_saturation_pct


def density_kg_m3(specific_gravity: float, moisture_pct: float) -> float:
    """Return mass by volume from a gravity on the volume at that moisture (Wood Handbook Eq. 4-14). [kg/m3]."""
    return WATER_KG_M3 * specific_gravity * (1.0 + moisture_pct / 100.0)
