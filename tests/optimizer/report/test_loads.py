"""What is lifted at which step, and which cautions say so."""

import pytest
from plan_documents import a_log, a_mill, a_pass, a_plan, a_slab

from optimizer.documents.plan import Offcut, Waste
from optimizer.report.cautions import cautions_for
from optimizer.report.loads import bundle_kg, loads_of

PLAN = a_plan(
    slabs=(a_slab(mass_kg=60.0), a_slab(id="2a", layer=2, mass_kg=30.0)),
    waste=(Waste(layer=2, volume_m3=0.01, mass_kg=24.0),),
    offcuts=(Offcut(where="first", volume_m3=0.1, mass_kg=40.0), Offcut(where="last", volume_m3=0.1, mass_kg=80.0)),
)
"""Two layers: cut 2 frees slab 1, cut 3 the rest."""
TURNED = {"flipped": True}
FLIPPED = a_plan(
    passes=(
        a_pass(1, 0.7),
        a_pass(2, 0.6),
        a_pass(3, 0.3).model_copy(update=TURNED),
        a_pass(4, 0.2).model_copy(update=TURNED),
    ),
    slabs=(
        a_slab(mass_kg=60.0),
        a_slab(id="2", layer=2, mass_kg=50.0, **TURNED),
        a_slab(id="3", layer=3, mass_kg=20.0, **TURNED),
    ),
    offcuts=(Offcut(where="first", volume_m3=0.1, mass_kg=40.0), Offcut(where="flipped", volume_m3=0.1, mass_kg=45.0)),
)
"""A slab before the flip; after it one that cut 4 frees, and one on the bunks."""


def with_slab(k):
    return FLIPPED.model_copy(update={"slabs": FLIPPED.slabs[k : k + 1]})


def reason_of(caution, plans, **mill):
    found = [c for c in cautions_for(a_log(mass_kg=100.0), a_mill(**mill), plans, "") if c.id == caution]
    return found[0].reason if found else None


@pytest.mark.parametrize(
    ("plan", "stay_on", "steps"),
    [
        (PLAN, False, {"last": ("the last piece on the bed", 3), "slab": ("slab 1", 2), "first": ("the round top", 1),
                       "waste": ("the no-sale wood of layer 2", 3)}),
        (PLAN, True, {"last": ("the last piece on the bed", 3), "slab": ("slab 1", 3), "first": ("the round top", 3),
                      "waste": ("the no-sale wood of layer 2", 3)}),
        (FLIPPED, False, {"slab": ("slab 1", 2), "first": ("the round top", 3)}),
        (FLIPPED, True, {"slab": ("slab 1", 2), "first": ("the round top", 4)}),
        (with_slab(1), False, {"slab": ("slab 2", 4), "first": ("the round top", 3)}),
        (with_slab(2), False, {"slab": ("slab 3", 4), "first": ("the round top", 3)}),
    ],
)  # fmt: skip
def test_each_kind_of_thing_is_named_with_the_cut_that_frees_it(plan, stay_on, steps):
    loads = loads_of(a_log(mass_kg=100.0), a_mill(slabs_stay_on=stay_on), [plan])

    assert {load.kind: (load.name, load.step) for load in loads if load.kind != "log"} == {
        kind: (name, f"after cut {cut}") for kind, (name, cut) in steps.items()
    }
    assert [load.mass_kg for load in loads] == sorted((load.mass_kg for load in loads), reverse=True)
    assert (loads[0].name, loads[0].step, loads[0].lift_kg) == ("the log", "when you load it", 125.0)


def test_the_loaders_limit_says_what_passes_it_and_when_the_worst_first():
    assert reason_of("loader_limit", [PLAN], loader_limit_kg=50.0) == (
        "the log could weigh {125 kg} when you load it, "
        "the last piece on the bed could weigh {100 kg} after cut 3, "
        "slab 1 could weigh {75 kg} after cut 2, 25% over the average; the loader lifts {50 kg}"
    )
    assert reason_of("loader_limit", [PLAN], loader_limit_kg=110.0) == (
        "the log could weigh {125 kg} when you load it, 25% over the average; the loader lifts {110 kg}"
    )
    assert reason_of("loader_limit", [PLAN], loader_limit_kg=125.0) is None


def test_one_person_is_told_of_all_that_is_too_heavy_but_the_log():
    assert reason_of("lift_person", [PLAN]) == (
        "the last piece on the bed could weigh {100 kg} after cut 3, "
        "slab 1 could weigh {75 kg} after cut 2, the round top could weigh {50 kg} after cut 1, "
        "the no-sale wood of layer 2 could weigh {30 kg} after cut 3, 25% over the average; "
        "one person's limit at best is {23 kg}"
    )


def test_of_several_plans_the_worst_is_named():
    lighter = a_plan(rank=2, slabs=(a_slab(mass_kg=50.0),))

    assert "slab 1 of plan 1 could weigh {75 kg}" in reason_of("lift_person", [lighter, PLAN])
    assert "the round top of plan 1 could" in reason_of("lift_person", [lighter, PLAN])


def test_without_plans_the_log_is_what_is_lifted():
    (log,) = loads_of(a_log(mass_kg=100.0), a_mill(), [])

    assert (log.name, log.mass_kg) == ("the log", 100.0)


@pytest.mark.parametrize(("plan", "mass_kg"), [(PLAN, 234.0), (FLIPPED, 115.0)])
def test_a_bundle_is_all_that_stays_on_the_bed_together(plan, mass_kg):
    assert bundle_kg(a_mill(), plan) == pytest.approx(mass_kg)


@pytest.mark.parametrize(
    ("limit", "end"),
    [
        ({}, ""),
        ({"loader_limit_kg": 292.0}, "; the loader lifts {292 kg}, too little for it"),
        ({"loader_limit_kg": 293.0}, "; the loader lifts {293 kg}, enough for it"),
    ],
)
def test_a_bundle_is_told_with_its_lift_weight_beside_the_loaders(limit, end):
    assert reason_of("bundle", [PLAN], slabs_stay_on=True, **limit) == (
        "sawn slabs stay on the log until the last cut, and the bundle could weigh {292.5 kg}, 25% over the average"
        + end
    )
    assert reason_of("bundle", [PLAN], **limit) is None


def test_the_bundles_line_tells_to_strap_it():
    (bundle,) = [c for c in cautions_for(a_log(), a_mill(slabs_stay_on=True), [PLAN], "") if c.id == "bundle"]

    assert "Strap the bundle before you move it" in bundle.line
    assert "one at a time" in bundle.line
