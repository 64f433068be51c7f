"""Each caution fires at its trigger and stays silent short of it. Wording is not tested."""

from typing import Any

import pytest
from plan_documents import FORK, IDENTITY, a_document, a_log, a_mill, a_pass, a_plan, a_shim, a_slab

from optimizer.documents.mill import Mill
from optimizer.documents.plan import Holding, LogFound, Mark, Offcut, Overturning, Plan, Waste
from optimizer.report.cautions import LEVELS, MOST_LINES, as_shown, cautions_for, cautions_of

ALWAYS = {
    "metal_find", "log_rolls", "log_clamped", "blade_guard", "lockout", "bystanders", "noise", "dust", "line_snaps",
    "under_load", "lift_margin", "lift_angle",
}  # fmt: skip
WITH_GEAR = {"lift_gear"}


def levels(
    log: LogFound | None = None, mill: Mill | None = None, plan: Plan | None = None, wood_name: str = "maple, sugar"
) -> dict[str, str]:
    """Level by id, of a log and plan that trigger nothing unless said otherwise."""
    shown = cautions_for(log or a_log(), mill or a_mill(), [plan or a_plan()], wood_name)

    assert len({caution.id for caution in shown}) == len(shown)
    assert all(caution.line and caution.reason for caution in shown)
    order = [(caution.standing, LEVELS.index(caution.level)) for caution in shown]
    assert order == sorted(order)
    return {caution.id: caution.level for caution in shown}


def with_slab(**changes: Any) -> Plan:
    return a_plan(slabs=(a_slab(**changes),))


def test_what_always_shows_shows_alone_where_nothing_is_the_matter() -> None:
    assert set(levels()) == ALWAYS


def test_a_light_level_log_that_stays_as_it_lay_has_the_sweep_for_metal_and_standing_rules_alone() -> None:
    sweep, *others = cautions_for(a_log(), a_mill(), [a_plan()], "maple, sugar")

    assert (sweep.id, sweep.level, sweep.standing) == ("metal_find", "warning", False)
    assert all(caution.standing and caution.level == "note" for caution in others)


@pytest.mark.parametrize("wood_name", ["maple, sugar", "oak, white"])
@pytest.mark.parametrize("roll_deg", [0.0, 10.0])
def test_a_rule_that_holds_for_every_log_stands_where_this_log_does_not_set_it_off(
    wood_name: str, roll_deg: float
) -> None:
    shown = cautions_for(a_log(), a_mill(), [a_plan(roll_deg=roll_deg)], wood_name)

    standing = {caution.id: caution.standing for caution in shown}
    assert standing["dust"] is (wood_name == "maple, sugar")
    assert standing["log_rolls"] is (roll_deg == 0.0)
    assert standing["lockout"]


FALLS = Overturning(flipped=False, blade_height_m=None, outside_m=0.1, toward=(0.0, 1.0), moment_n_m=900.0)
MANY = a_plan(
    roll_deg=10.0, tilt_deg=2.0, supports=(a_shim(0.1, 0.02),), slabs=(a_slab(mass_kg=90.0),), overturning=FALLS
)


@pytest.mark.parametrize(
    ("plan", "with_plan", "more"), [(a_plan(), 1, 0), (a_plan(roll_deg=10.0), 2, 0), (MANY, MOST_LINES, None)]
)
def test_few_lines_stand_with_the_plan_and_none_is_lost(plan: Plan, with_plan: int, more: int | None) -> None:
    cautions = cautions_for(a_log(forks=(FORK,), mass_kg=900.0) if more is None else a_log(), a_mill(), [plan], "")
    shown = as_shown(cautions)

    assert len(shown.with_plan) == with_plan
    assert (len(shown.more) > 0) if more is None else (len(shown.more) == more)
    assert (*shown.with_plan, *shown.more, *shown.standing) == cautions
    assert {caution.standing for caution in shown.standing} == {True}
    assert not any(caution.standing for caution in (*shown.with_plan, *shown.more))
    grave = [LEVELS.index(caution.level) for caution in (*shown.with_plan, *shown.more)]
    assert grave == sorted(grave)


def test_every_stop_stands_with_the_plan_and_the_sweep_for_metal_after_them() -> None:
    stop, *others = cautions_for(a_log(), a_mill(), [MANY], "")
    assert stop.level == "stop"

    *stops, first_warning = as_shown([*[stop] * 7, *others]).with_plan

    assert stops == [stop] * 7
    assert first_warning.id == "metal_find"


@pytest.mark.parametrize("marked", [True, False])
@pytest.mark.parametrize("plan", [a_plan(), MANY])
def test_the_sweep_for_metal_stands_with_every_plan_first_of_the_warnings(plan: Plan, marked: bool) -> None:
    log = a_log(forks=(FORK,), mass_kg=900.0, marks=(METAL,) if marked else ())

    shown = as_shown(cautions_for(log, a_mill(loader_limit_kg=800.0), [plan], "oak, white"))

    warnings = [caution for caution in shown.with_plan if caution.level == "warning"]
    assert warnings[0].id == "metal_find"
    assert ("marked" in warnings[0].reason) is marked


def test_what_this_log_sets_off_stands_before_what_most_logs_do() -> None:
    log = a_log(forks=(FORK,), mass_kg=900.0)

    shown = as_shown(cautions_for(log, a_mill(loader_limit_kg=800.0), [MANY], "oak, white"))

    with_plan, more = ({caution.id for caution in found} for found in (shown.with_plan, shown.more))
    assert {"log_overturns", "fork_tension", "loader_limit", "lift_gear"} <= with_plan
    assert {"dust", "lift_person", "tilted_log"} <= more


@pytest.mark.parametrize(("slabs_stay_on", "layers", "fires"), [(True, 2, True), (True, 1, False), (False, 2, False)])
def test_slabs_that_stay_on_the_log_are_strapped(slabs_stay_on: bool, layers: int, fires: bool) -> None:
    plan = a_plan(slabs=tuple(a_slab(id=str(k), layer=k) for k in range(1, layers + 1)))

    assert ("bundle" in levels(mill=a_mill(slabs_stay_on=slabs_stay_on), plan=plan)) is fires


@pytest.mark.parametrize(("height_m", "fires"), [(0.0, False), (0.00158, False), (0.0016, True)])
def test_a_shim_that_nobody_can_place_is_none(height_m: float, fires: bool) -> None:
    shown = {
        c.id: c
        for c in cautions_for(a_log(), a_mill(), [a_plan(supports=(a_shim(0.1, height_m),))], "")
        if not c.standing
    }

    assert set(shown) - {"metal_find"} == ({"shims", "log_rolls"} if fires else set())


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
        ({"tilt_deg": 0.049}, {}),
        ({"tilt_deg": -0.05}, {"tilted_log": "warning"}),
        ({"supports": (a_shim(0.1, 0.02),)}, {"log_rolls": "warning", "shims": "warning"}),
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
    ("outside_m", "clamps_hold"), [(0.05, False), (-0.01, False), (None, False), (0.05, True), (None, True)]
)
def test_a_log_that_does_not_stand_is_a_stop_or_hangs_on_its_clamps(outside_m: float | None, clamps_hold: bool) -> None:
    falls = Overturning(flipped=False, blade_height_m=0.5, outside_m=outside_m, toward=None, moment_n_m=None)

    shown = levels(mill=a_mill(clamps_hold=clamps_hold), plan=a_plan(overturning=falls))

    assert shown["log_overturns"] == ("warning" if clamps_hold and outside_m is not None else "stop")
    assert "log_overturns" not in levels()


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
    assert "{112.5 kg}" in shown[0].reason


METAL = Mark(id="metal 1", kind="metal", x_m=1.2, y_m=0.0, z_m=0.6, radius_m=0.02, depth_m=0.1)
"""A rod from 0.6 m up down to 0.5 m: the hearts of these logs are at 0."""
HEART = (((0.0, 0.0, 0.0), (2.9, 0.0, 0.0)),)
FLIPPED = ((1.0, 0.0, 0.0, 0.0), (0.0, -1.0, 0.0, 0.0), (0.0, 0.0, -1.0, 0.3), (0.0, 0.0, 0.0, 1.0))
"""Turned over onto a face sawn at 0.3 m."""
KERF_M = a_mill().kerf_m


def metal_levels(*heights_m: float, mark: Mark = METAL, keep_out_m: float = 0.05, **changes: Any) -> dict[str, str]:
    passes = tuple(a_pass(k, height_m) for k, height_m in enumerate(heights_m, start=1))
    plan = a_plan(**{"passes": passes, "slabs": (), **changes})
    shown = levels(a_log(marks=(mark,), hearts=HEART), a_mill(metal_keep_out_m=keep_out_m), plan)
    return {key: value for key, value in shown.items() if key == "metal_known"}


@pytest.mark.parametrize(
    ("height_m", "level"),
    [
        (0.701, None),
        (0.699, "warning"),
        (0.6501, "warning"),
        (0.6498, "stop"),
        (0.55, "stop"),
        (0.4502 - KERF_M, "stop"),
        (0.4499 - KERF_M, "warning"),
        (0.401 - KERF_M, "warning"),
        (0.399 - KERF_M, None),
    ],
)
def test_a_pass_within_the_keep_out_of_metal_is_a_stop_and_one_within_two_a_warning(
    height_m: float, level: str | None
) -> None:
    assert metal_levels(height_m) == ({"metal_known": level} if level else {})


@pytest.mark.parametrize(("height_m", "level"), [(0.652, None), (0.65, "warning"), (0.601, "warning"), (0.599, "stop")])
def test_a_mill_without_a_keep_out_is_warned_within_two_inches(height_m: float, level: str | None) -> None:
    assert metal_levels(height_m, keep_out_m=0.0) == ({"metal_known": level} if level else {})


@pytest.mark.parametrize(
    ("slab", "holds"),
    [
        ({"upper_face_m": 0.65, "lower_face_m": 0.59}, True),
        ({"upper_face_m": 0.65, "lower_face_m": 0.601}, False),
        ({"upper_face_m": 0.65, "lower_face_m": 0.59, "span_m": (0.0, 1.17)}, False),
        ({"upper_face_m": 0.65, "lower_face_m": 0.59, "span_m": (0.0, 1.19)}, True),
        ({"upper_face_m": 0.65, "lower_face_m": 0.59, "span_m": (1.23, 2.5)}, False),
        ({"upper_face_m": 0.65, "lower_face_m": 0.59, "flipped": True}, False),
    ],
)
def test_a_slab_that_holds_metal_is_a_warning(slab: dict[str, Any], holds: bool) -> None:
    assert metal_levels(0.9, slabs=(a_slab(**slab),)) == ({"metal_known": "warning"} if holds else {})


def test_metal_goes_with_the_log_when_it_is_flipped() -> None:
    low = METAL.model_copy(update={"z_m": -0.6})
    after = {"passes": (a_pass(1, 0.3), a_pass(2, 0.85).model_copy(update={"flipped": True}))}

    assert metal_levels(mark=low) == {}
    assert metal_levels(mark=low, flipped_log_to_bed=FLIPPED, **after) == {"metal_known": "stop"}


def test_each_pass_is_judged_where_the_log_then_lies() -> None:
    low = METAL.model_copy(update={"z_m": -0.6})
    passes = (a_pass(1, 0.85), a_pass(2, 0.2).model_copy(update={"flipped": True}))

    assert metal_levels(mark=low, flipped_log_to_bed=FLIPPED, passes=passes) == {}


@pytest.mark.parametrize(("depth_m", "level"), [(0.05, None), (0.08, "stop")])
def test_metal_that_was_sawn_off_before_the_flip_is_gone(depth_m: float, level: str | None) -> None:
    after = (a_pass(2, 0.025).model_copy(update={"flipped": True}),)
    high = METAL.model_copy(update={"z_m": 0.36, "depth_m": depth_m})

    found = metal_levels(mark=high, flipped_log_to_bed=FLIPPED, passes=after)

    assert found == ({"metal_known": level} if level else {})


@pytest.mark.parametrize(("stretch_m", "level"), [((1.0, 2.9), "stop"), ((1.23, 2.9), None), ((0.0, 1.17), None)])
def test_metal_that_is_crosscut_off_is_gone(stretch_m: tuple[float, float], level: str | None) -> None:
    assert metal_levels(0.55, stretch_m=stretch_m) == ({"metal_known": level} if level else {})


@pytest.mark.parametrize(
    ("stretch_m", "kind", "level"),
    [
        ((0.0, 2.9), "metal", None),
        ((0.0, 1.2), "metal", "stop"),
        ((1.181, 2.9), "metal", "stop"),
        ((1.179, 2.9), "metal", "warning"),
        ((1.081, 2.9), "metal", "warning"),
        ((1.079, 2.9), "metal", None),
        ((0.0, 1.319), "metal", "warning"),
        ((0.0, 1.321), "metal", None),
        ((0.5, 1.219), "metal", "stop"),
        ((0.0, 1.2), "knot", None),
    ],
)
def test_a_crosscut_through_metal_is_a_stop_and_one_near_it_a_warning(
    stretch_m: tuple[float, float], kind: str, level: str | None
) -> None:
    log = a_log(marks=(METAL.model_copy(update={"kind": kind}),), hearts=HEART)
    plan = a_plan(passes=(), slabs=(), stretch_m=stretch_m)

    shown = levels(log, a_mill(metal_keep_out_m=0.05), plan)

    assert shown.get("crosscut_metal") == level


def test_the_ends_of_the_log_are_no_crosscuts() -> None:
    at_butt = METAL.model_copy(update={"x_m": 0.0, "z_m": 0.1})

    shown = levels(a_log(marks=(at_butt,), hearts=HEART), a_mill(), a_plan(stretch_m=(0.0, 1.5)))

    assert "crosscut_metal" not in shown


@pytest.mark.parametrize("kind", ["knot", "rot", "crack", "pith"])
def test_other_marks_are_no_metal(kind: str) -> None:
    assert metal_levels(0.55, mark=METAL.model_copy(update={"kind": kind})) == {}


@pytest.mark.parametrize(
    ("kind", "fires"),
    [
        ("rot", {"rotten_log": "warning", "spalt": "warning"}),
        ("crack", {"rotten_log": "note"}),
        ("knot", {}),
        ("pith", {}),
    ],
)
def test_rot_and_cracks(kind: str, fires: dict[str, str]) -> None:
    shown = levels(log=a_log(marks=(METAL.model_copy(update={"kind": kind}),)))

    assert {key: level for key, level in shown.items() if key not in ALWAYS} == fires


@pytest.mark.parametrize(("figure_area_m2", "fires"), [(None, False), (0.0, False), (0.01, True)])
def test_a_slab_of_feather_may_split_like_one_across_the_fork(figure_area_m2: float | None, fires: bool) -> None:
    plan = with_slab(span_m=(0.0, 1.4), figure_area_m2=figure_area_m2)

    assert ("bark_inclusion" in levels(log=a_log(forks=(FORK,)), plan=plan)) is fires


@pytest.mark.parametrize(("stretch_m", "fires"), [((0.0, 2.9), False), ((0.0, 2.895), False), ((0.0, 2.85), True)])
def test_a_stretch_is_crosscut(stretch_m: tuple[float, float], fires: bool) -> None:
    assert ("chainsaw" in levels(plan=a_plan(stretch_m=stretch_m))) is fires


@pytest.mark.parametrize(
    ("most_kg", "found"),
    [(15.1, {"log_near_limit"}), (14.9, {"log_too_heavy"}), (18.9, set()), (18.7, {"log_near_limit"})],
)
def test_the_mills_limit_is_for_what_goes_on_the_bed(most_kg: float, found: set[str]) -> None:
    shown = levels(mill=a_mill(max_log_mass_kg=most_kg), plan=HALF)

    assert set(shown) & {"log_near_limit", "log_too_heavy"} == found


HALF = a_plan(
    stretch_m=(0.0, 1.5),
    slabs=(a_slab(volume_m3=0.3),),
    waste=(Waste(layer=1, volume_m3=0.1, mass_kg=0.1),),
    offcuts=(Offcut(where="first", volume_m3=0.14, mass_kg=0.1),),
    kerf_volume_m3=0.01,
)
"""Half of the 1.1 m3 of wood: half of the log's mass."""


@pytest.mark.parametrize(("log_kg", "fires"), [(80.0, False), (80.1, True)])
def test_the_loader_lifts_the_length_that_goes_on_the_bed(log_kg: float, fires: bool) -> None:
    shown = levels(log=a_log(mass_kg=log_kg), mill=a_mill(loader_limit_kg=50.0), plan=HALF)

    assert ("loader_limit" in shown) is fires


@pytest.mark.parametrize(("log_kg", "fires"), [(80.0, False), (80.1, True)])
def test_gear_lifts_the_length_that_goes_on_the_bed(log_kg: float, fires: bool) -> None:
    assert ("lift_gear" in levels(log=a_log(mass_kg=log_kg), plan=HALF)) is fires


@pytest.mark.parametrize("piece", ["offcuts", "waste"])
@pytest.mark.parametrize(("piece_kg", "named"), [(40.0, False), (40.1, True)])
def test_the_loader_lifts_what_is_not_sold_too(piece: str, piece_kg: float, named: bool) -> None:
    pieces = {
        "offcuts": (Offcut(where="last", volume_m3=0.01, mass_kg=piece_kg),),
        "waste": (Waste(layer=1, volume_m3=0.01, mass_kg=piece_kg),),
    }
    plan = a_plan(**{piece: pieces[piece]})

    shown = cautions_for(a_log(), a_mill(loader_limit_kg=50.0), [plan], "")

    assert any(caution.id == "loader_limit" for caution in shown) is named


def test_a_plan_is_named_only_where_several_are_shown() -> None:
    metal = a_log(marks=(METAL,), hearts=HEART)
    heavy = a_plan(rank=2, passes=(a_pass(1, 0.55),), slabs=(a_slab(mass_kg=90.0),))
    light = a_plan(passes=(a_pass(1, 1.0),), slabs=(a_slab(mass_kg=1.0),))

    for plans, is_named in (([light, heavy], True), ([heavy], False)):
        shown = cautions_for(metal, a_mill(metal_keep_out_m=0.05), plans, "")
        reasons = {caution.id: caution.reason for caution in shown}
        for caution in ("metal_known", "lift_person", "lift_gear"):
            assert ("of plan 2" in reasons[caution]) is is_named
            assert "plan 1" not in reasons[caution]


def test_the_cautions_of_one_way_are_its_own_and_the_logs() -> None:
    heavy, light = a_plan(rank=2, slabs=(a_slab(mass_kg=90.0),)), a_plan(slabs=(a_slab(mass_kg=1.0),))
    log = a_log(forks=(FORK,))
    document = a_document(log=log, plans=(light, heavy), cautions=())

    of_light, of_heavy = ({c.id for c in cautions_of(document, plan)} for plan in (light, heavy))

    assert "lift_person" in of_heavy
    assert "lift_person" not in of_light
    assert "fork_tension" in of_light & of_heavy


def test_all_that_can_make_the_log_roll_is_said_the_flip_too() -> None:
    plan = a_plan(roll_deg=10.0, passes=(a_pass(1, 0.5), a_pass(2, 0.4).model_copy(update={"flipped": True})))
    (rolls,) = [c for c in cautions_for(a_log(), a_mill(), [plan], "maple, sugar") if c.id == "log_rolls"]
    (still,) = [c for c in cautions_for(a_log(), a_mill(), [a_plan(roll_deg=10.0)], "") if c.id == "log_rolls"]

    assert "flipped" in rolls.reason
    assert "rolled" in rolls.reason
    assert "flipped" not in still.reason


@pytest.mark.parametrize(
    ("reach_m", "level"), [(1.299, None), (1.301, "note"), (1.384, "note"), (1.386, "warning"), (1.4, "warning")]
)
def test_a_pass_near_the_throat_asks_for_stubs_to_be_trimmed(reach_m: float, level: str | None) -> None:
    passes = (a_pass(1, 0.7), a_pass(2, 0.6).model_copy(update={"reach_m": reach_m}))

    shown = cautions_for(a_log(), Mill(throat_m=1.4, kerf_m=0.001, height_step_m=0.001), [a_plan(passes=passes)], "oak")

    found = {caution.id: caution for caution in shown}
    assert (found["near_throat"].level if level else found.get("near_throat")) == level
    assert level is None or found["near_throat"].reason.startswith("cut 2 ")
    # Who trims works with a chainsaw.
    assert ("chainsaw" in found) == (level is not None)


@pytest.mark.parametrize("x_m", [0.1524 + 2 * 0.6096, 0.1524 + 2 * 0.6096 - 0.013])
def test_blocks_that_would_hold_it_are_told_by_their_bunks_place_however_it_is_tilted(x_m: float) -> None:
    holding = Holding(x_m=x_m, y_m=-0.05, height_m=0.4)
    falls = FALLS.model_copy(update={"holding": holding})

    (caution,) = (
        c for c in cautions_for(a_log(), a_mill(), [a_plan(overturning=falls)], "") if c.id == "log_overturns"
    )
    assert "blocks {40 cm} high, {1.3716 m} from the butt, {5 cm} right of center, would hold it" in caution.reason
    assert not caution.line.startswith("STOP")
