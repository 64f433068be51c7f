"""Plan documents to test with, invented throughout: their numbers fit no log, only the fields' bounds."""

from typing import Any

from optimizer.documents.mill import Mill
from optimizer.documents.plan import (
    Caution,
    FirstFace,
    ForkFound,
    HeartHeight,
    LogFound,
    LogRules,
    NetAtRoll,
    Offcut,
    Pass,
    Plan,
    PlanDocument,
    Slab,
    Source,
    SupportPlaced,
    Waste,
    WoodAssumed,
    Work,
)
from optimizer.documents.prices import PriceBook

INCH_M = 0.0254
IDENTITY = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))
SQUARE = ((0.0, -0.3), (2.5, -0.3), (2.5, 0.3), (0.0, 0.3))
FORK = ForkFound(
    crotch_m=(1.5, 0.0, 0.0),
    normal=(0.0, 0.0, 1.0),
    direction=(1.0, 0.0, 0.0),
    diameter_m=0.6,
    below_m=0.6,
    above_m=0.0,
)


def a_mill(**changes: Any) -> Mill:
    given: dict[str, Any] = {"throat": "56 in", "kerf": "1/16 in", "height_step": "1/16 in"}
    return Mill.model_validate(given | changes)


def a_price_book(**changes: Any) -> PriceBook:
    given: dict[str, Any] = {
        "per_board_foot": [{"species": "any", "quarters": 8, "price": 6.0}],
        "limits": {"min_width": "10 in", "min_length": "4 ft"},
    }
    return PriceBook.model_validate(given | changes)


def a_log(**changes: Any) -> LogFound:
    given: dict[str, Any] = {
        "name": "Invented log",
        "source": Source(kind="sheet", sha256="0" * 64),
        "species": "maple, sugar",
        "bark": False,
        "bark_thickness_m": 0.0,
        "length_m": 2.9,
        "end_trim_m": (0.05, 0.05),
        "volume_m3": 1.1,
        "mass_kg": 30.0,
        "butt_diameter_m": 0.8,
        "top_diameter_m": 0.5,
        "max_width_m": 1.0,
        "log_rules": LogRules(doyle=98.0, scribner_c=110.0, international=None, diameter_in=18, length_ft=8),
        "scan_to_log": IDENTITY,
        "hearts": (),
        "heart_radius_m": 0.0254,
        "forks": (),
        "marks": (),
        "sections": (),
    }
    return LogFound(**given | changes)


def a_slab(**changes: Any) -> Slab:
    given: dict[str, Any] = {
        "id": "1",
        "layer": 1,
        "piece": 1,
        "upper_face_m": 29.0 * INCH_M,
        "lower_face_m": 26.75 * INCH_M,
        "green_thickness_m": 2.25 * INCH_M,
        "quarters": 8,
        "outline_m": (SQUARE,),
        "span_m": (0.0, 2.5),
        "length_m": 2.5,
        "mean_width_m": 0.6,
        "min_width_m": 0.5,
        "max_width_m": 0.7,
        "area_m2": 1.5,
        "board_feet": 32.3,
        "volume_m3": 0.09,
        "mass_kg": 10.0,
        "mass_centre_m": (1.2, 0.0, 0.7),
        "heart_area_m2": 0.0,
        "heart_m": (),
        "price": 240.4,
    }
    return Slab(**given | changes)


def a_pass(order: int, blade_height_m: float) -> Pass:
    return Pass(order=order, blade_height_m=blade_height_m, reach_m=0.8, cut_length_m=2.8, cut_area_m2=1.6, minutes=6.2)


def a_shim(x_m: float, height_m: float) -> SupportPlaced:
    return SupportPlaced(x_m=x_m, y_m=0.0, member="stem", kind="shim", height_m=height_m, load_kg=100.0)


def a_plan(**changes: Any) -> Plan:
    """Return a plan of two layers: a slab; a slab's two pieces and waste."""
    given: dict[str, Any] = {
        "rank": 1,
        "roll_deg": 0.0,
        "tilt_deg": 0.0,
        "log_to_bed": IDENTITY,
        "supports": (),
        "hearts": (HeartHeight(end="butt", height_m=0.4),),
        "stretch_m": (0.0, 2.9),
        "first_face": FirstFace(blade_height_m=29.0 * INCH_M, max_width_m=0.45, length_m=2.2),
        "passes": (a_pass(1, 29.0 * INCH_M), a_pass(2, 26.6875 * INCH_M), a_pass(3, 24.375 * INCH_M)),
        "slabs": (a_slab(), a_slab(id="2a", layer=2), a_slab(id="2b", layer=2, piece=2, quarters=12)),
        "waste": (),
        "offcuts": (),
        "kerf_volume_m3": 0.01,
        "gross": 721.2,
        "sawing_cost": 80.0,
        "drying_cost": 70.0,
        "net": 571.2,
        "break_even_log_price": 571.2,
        "board_feet": 96.9,
        "recovery": 0.5,
    }
    return Plan(**given | changes)


def a_document(**changes: Any) -> PlanDocument:
    """Return a document of two plans, the plain way, an offcut, waste, a shim, a warning and cautions."""
    shim = a_shim(22.0 * INCH_M, 1.5 * INCH_M)
    best = a_plan(
        roll_deg=325.0,
        tilt_deg=1.0,
        supports=(shim,),
        waste=(Waste(layer=2, volume_m3=0.01, mass_kg=9.0),),
        offcuts=(
            Offcut(where="first", volume_m3=0.05, mass_kg=50.0),
            Offcut(where="last", volume_m3=0.04, mass_kg=40.0),
        ),
    )
    given: dict[str, Any] = {
        "id": "1",
        "made_at": "2026-01-01T00:00:00+00:00",
        "made_with": "a test",
        "currency": "USD",
        "log": a_log(forks=(FORK,), cost=150.0, bark=True, bark_thickness_m=0.01),
        "mill": a_mill(bunk_spacing="24 in", first_bunk="6 in"),
        "prices": a_price_book(),
        "wood": WoodAssumed(
            name="maple, sugar", scientific_name="Acer saccharum", known=True, status="seen", green_density_kg_m3=900.0,
            bark_density_kg_m3=900.0, bark_ratio=0.96, shrinkage_radial_pct=4.8, shrinkage_tangential_pct=9.9,
        ),
        "plans": (best, a_plan(rank=2, roll_deg=90.0, net=500.0)),
        "plain_way": a_plan(rank=0, net=471.2),
        "value_by_roll": (NetAtRoll(roll_deg=0.0, net=471.2),),
        "work": Work(lays=100, stopped_by="lays", seed=0, seconds=1.0),
        "warnings": ("The top end was not measured.",),
        "cautions": (
            Caution(id="a", level="stop", line="Do not.", reason="it is too heavy"),
            Caution(id="b", level="note", line="Take care.", reason="a blade runs"),
        ),
    }  # fmt: skip
    return PlanDocument(**given | changes)
