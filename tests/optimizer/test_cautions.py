"""Each caution fires at its trigger and stays silent short of it. Wording is not tested."""

from typing import Any

import pytest
from plan_documents import FORK, IDENTITY, a_log, a_mill, a_pass, a_plan, a_slab

from optimizer.cautions import LEVELS, cautions_for
from optimizer.mill import Mill
from optimizer.plan import LogFound, Offcut, Plan, Shim, Waste

ALWAYS = {"metal_find", "log_rolls", "log_clamped", "blade_guard", "bystanders", "noise", "dust"}
WITH_GEAR = {"lift_gear", "lift_margin", "lift_angle", "under_load"}


def levels(
    log: LogFound | None = None, mill: Mill | None = None, plan: Plan | None = None, wood_name: str = "maple, sugar"
) -> dict[str, str]:
    """Level by id, of a log and plan that trigger nothing unless said otherwise."""
    shown = cautions_for(log or a_log(), mill or a_mill(), [plan or a_plan()], wood_name)

    assert len({caution.id for caution in shown}) == len(shown)
    assert all(caution.line and caution.reason for caution in shown)
    order = [LEVELS.index(caution.level) for caution in shown]
    assert order == sorted(order)
    return {caution.id: caution.level for caution in shown}


def with_slab(**changes: Any) -> Plan:
    return a_plan(slabs=(a_slab(**changes),))


def test_what_always_shows_shows_alone_where_nothing_is_the_matter() -> None:
    assert set(levels()) == ALWAYS


def test_a_light_level_log_that_stays_as_it_lay_has_notes_only_but_for_metal() -> None:
    shown = levels()

    assert {caution for caution, level in shown.items() if level != "note"} == {"metal_find"}


@pytest.mark.parametrize(
    ("slab_kg", "fires"),
    [(23.0 / 1.25, set()), (23.01 / 1.25, {"lift_person"}), (50.0 / 1.25, {"lift_person"}),
     (50.01 / 1.25, {"lift_person"} | WITH_GEAR)],
)  # fmt: skip
def test_lifting_a_slab_counts_its_lift_mass(slab_kg: float, fires: set[str]) -> None:
    assert set(levels(plan=with_slab(mass_kg=slab_kg))) - ALWAYS == fires


@pytest.mark.parametrize(("log_kg", "fires"), [(50.0 / 1.25, set()), (50.01 / 1.25, WITH_GEAR)])
def test_lifting_the_log_counts_its_lift_mass(log_kg: float, fires: set[str]) -> None:
    assert set(levels(log=a_log(mass_kg=log_kg))) - ALWAYS == fires


@pytest.mark.parametrize(
    ("log_kg", "found"),
    [(79.9, {}), (80.0, {}), (80.1, {"log_near_limit": "warning"}), (100.0, {"log_near_limit": "warning"}),
     (100.1, {"log_too_heavy": "stop"})],
)  # fmt: skip
def test_a_log_over_the_mills_limit_is_a_stop_and_near_it_a_warning(log_kg: float, found: dict[str, str]) -> None:
    shown = levels(log=a_log(mass_kg=log_kg), mill=a_mill(max_log_mass_kg=100.0))

    assert {key: value for key, value in shown.items() if key in {"log_near_limit", "log_too_heavy"}} == found


@pytest.mark.parametrize(("log_kg", "slab_kg", "fires"), [(40.0, 30.0, False), (40.1, 30.0, True), (30.0, 40.1, True)])
def test_the_loaders_limit_counts_lift_mass(log_kg: float, slab_kg: float, fires: bool) -> None:
    shown = levels(log=a_log(mass_kg=log_kg), mill=a_mill(loader_limit_kg=50.0), plan=with_slab(mass_kg=slab_kg))

    assert ("loader_limit" in shown) is fires


@pytest.mark.parametrize(
    ("change", "fires"),
    [
        ({}, {}),
        ({"roll_deg": 10.0}, {"log_rolls": "warning"}),
        ({"tilt_deg": 0.5}, {"tilted_log": "warning"}),
        ({"tilt_deg": -0.5}, {"tilted_log": "warning"}),
        ({"shims": (Shim(x_m=0.1, height_m=0.02),)}, {"log_rolls": "warning", "tilted_log": "warning"}),
        ({"rests_by_itself": False}, {"log_rolls": "warning"}),
        ({"rests_by_itself": True}, {}),
        ({"offcuts": (Offcut(where="first", volume_m3=0.01, mass_kg=9.0),)}, {"offcut_falls": "warning"}),
        ({"offcuts": (Offcut(where="first", volume_m3=0.0, mass_kg=0.0),)}, {}),
        ({"waste": (Waste(layer=1, volume_m3=0.01, mass_kg=9.0),)}, {"offcut_falls": "warning"}),
        (
            {"passes": (a_pass(1, 0.5), a_pass(2, 0.4).model_copy(update={"flipped": True}))},
            {"flip": "warning", "log_rolls": "warning"},
        ),
    ],
)
def test_how_the_log_is_laid_and_sawn(change: dict[str, Any], fires: dict[str, str]) -> None:
    shown = levels(plan=a_plan(**change))

    assert {key: value for key, value in shown.items() if value == "warning" and key != "metal_find"} == fires


@pytest.mark.parametrize(
    ("forks", "span_m", "fires"),
    [
        ((), (0.0, 2.5), set()),
        ((FORK,), (0.0, 1.4), {"fork_tension"}),
        ((FORK,), (1.6, 2.5), {"fork_tension"}),
        ((FORK,), (0.0, 2.5), {"fork_tension", "bark_inclusion"}),
    ],
)
def test_a_fork_and_slabs_across_it(forks: Any, span_m: tuple[float, float], fires: set[str]) -> None:
    assert set(levels(log=a_log(forks=forks), plan=with_slab(span_m=span_m))) - ALWAYS == fires


def test_slabs_across_a_fork_are_found_where_the_lay_has_moved_it() -> None:
    moved = ((*IDENTITY[0][:3], 0.5), *IDENTITY[1:])
    slab = a_slab(span_m=(1.6, 2.5))

    shown = levels(log=a_log(forks=(FORK,)), plan=a_plan(log_to_bed=moved, slabs=(slab,)))

    assert "bark_inclusion" in shown


@pytest.mark.parametrize(
    ("wood_name", "dust", "fires"),
    [
        ("maple, sugar", "note", set()),
        ("unknown", "note", set()),
        ("oak, white", "warning", set()),
        ("beech, american", "warning", set()),
        ("birch, yellow", "warning", set()),
        ("walnut, black", "warning", {"dust_allergy"}),
        ("cedar, western redcedar", "warning", {"dust_allergy"}),
        ("cedar, eastern redcedar", "note", {"dust_allergy"}),
        ("cedar, incense", "note", set()),
        ("locust, black", "note", {"dust_allergy"}),
        ("honeylocust", "note", set()),
        ("osage-orange", "note", {"dust_allergy"}),
        ("mesquite, honey", "note", {"dust_allergy"}),
        ("ash, white", "note", {"eab_ash"}),
        ("sassafras", "note", set()),
        ("alder, red", "note", set()),
        ("aspen, quaking", "note", set()),
    ],
)
def test_the_wood(wood_name: str, dust: str, fires: set[str]) -> None:
    shown = levels(wood_name=wood_name)

    assert shown["dust"] == dust
    assert set(shown) - ALWAYS == fires


@pytest.mark.parametrize("bark", [True, False])
def test_insects_where_the_bark_is_on(bark: bool) -> None:
    assert ("insects_in_slab" in levels(log=a_log(bark=bark))) is bark


def test_a_caution_shows_once_for_the_worst_of_several_plans() -> None:
    plans = [with_slab(mass_kg=20.0), with_slab(mass_kg=90.0), with_slab(mass_kg=30.0)]

    shown = [c for c in cautions_for(a_log(), a_mill(), plans, "maple, sugar") if c.id == "lift_person"]

    assert len(shown) == 1
    assert "112 kg" in shown[0].reason
