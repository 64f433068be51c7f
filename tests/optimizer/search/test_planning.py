"""The plan document as a whole: volumes close, slabs lie in the log, text comes back as it was written."""

import json

import books
import manifold3d
import numpy as np
import pytest
import shapes
from planned_logs import a_run, given_log, planned

from optimizer.documents.plan import SCHEMA, PlanDocument, PlanError, read_plan
from optimizer.documents.prices import PriceError, Tally
from optimizer.planning import NoPlanError, SearchSettings, price_way
from optimizer.search.given import Given
from optimizer.search.no_plan import explain_no_plan
from scans.units import POUND_KG


@pytest.fixture(scope="module")
def fork():
    log = shapes.forked(lumpy=0.06)
    return log, planned(log)


def all_plans(document):
    return [*document.plans, document.plain_way]


def test_slabs_waste_offcuts_and_kerf_make_the_stretch(fork):
    log, document = fork
    for plan in all_plans(document):
        parts = [*plan.slabs, *plan.waste, *plan.offcuts]

        assert sum(p.volume_m3 for p in parts) + plan.kerf_volume_m3 == pytest.approx(log.wood.volume_m3, rel=1e-6)


def test_every_slab_lies_inside_the_wood(fork):
    log, document = fork
    for plan in all_plans(document):
        body = shapes.manifold(log.wood).transform(np.array(plan.log_to_bed)[:3])
        for slab in plan.slabs:
            section = manifold3d.CrossSection([np.array(ring) for ring in slab.outline_m])
            for height in (slab.upper_face_m, slab.lower_face_m):
                outside = section - body.slice(height)

                # Outlines are written to a hundredth of a millimetre.
                assert outside.area() < 1e-5 * 2.0 * (slab.length_m + slab.max_width_m)


def test_layers_passes_and_faces_hang_together(fork):
    _, document = fork
    kerf = document.mill.kerf_m
    for plan in all_plans(document):
        heights = [p.blade_height_m for p in plan.passes]
        assert heights == sorted(heights, reverse=True)
        for slab in plan.slabs:
            assert slab.upper_face_m == pytest.approx(heights[slab.layer - 1])
            assert slab.lower_face_m == pytest.approx(heights[slab.layer] + kerf)
            assert slab.green_thickness_m == pytest.approx(slab.upper_face_m - slab.lower_face_m)
            assert slab.mean_width_m == pytest.approx(slab.area_m2 / slab.length_m)
            assert slab.min_width_m <= slab.mean_width_m <= slab.max_width_m
            density = document.wood.green_density_kg_m3  # this log has no bark
            assert slab.mass_kg == pytest.approx(slab.volume_m3 * density)
            assert slab.lower_face_m < slab.mass_centre_m[2] < slab.upper_face_m
        ids = [slab.id for slab in plan.slabs]
        assert len(set(ids)) == len(ids)
        gross = sum(slab.price for slab in plan.slabs)
        assert plan.gross == pytest.approx(gross)
        assert plan.net == pytest.approx(gross - plan.sawing_cost - plan.drying_cost)
        assert plan.board_feet == pytest.approx(sum(slab.board_feet for slab in plan.slabs))


def test_the_best_plan_is_never_worth_less_than_the_plain_way(fork):
    _, document = fork

    assert document.plans[0].net >= document.plain_way.net - 0.005


def test_pieces_of_one_layer_are_lettered_from_the_left():
    # Sawn flat in its fork plane above the stem, the two limbs are pieces of their own.
    log = shapes.forked(spread_deg=25.0, stem_m=0.2, limb_m=0.24)
    document = planned(log, books.mill(throat_m=2.5), books.prices((4,), (9.0,)))
    lettered = [s for plan in all_plans(document) for s in plan.slabs if s.id.endswith(("a", "b"))]

    assert lettered
    for plan in all_plans(document):
        for layer in {s.layer for s in plan.slabs}:
            slabs = [s for s in plan.slabs if s.layer == layer]
            if len(slabs) > 1:
                assert [s.id for s in slabs] == [f"{layer}{c}" for c in "abcdef"[: len(slabs)]]
                middle = [np.mean([y for _, y in s.outline_m[0]]) for s in slabs]
                assert middle == sorted(middle, reverse=True)


def test_a_document_comes_back_as_it_was_written(fork):
    _, document = fork
    text = document.model_dump_json()

    again, warnings = read_plan(json.loads(text))

    assert warnings == ()
    assert again.model_dump_json() == text
    assert json.loads(text)["schema"] == SCHEMA


def test_a_newer_minor_version_is_read_with_a_warning(fork):
    data = json.loads(fork[1].model_dump_json())
    data["schema"] = "pithline.plan/1.7"
    data["plans"][0]["something_new"] = 3

    again, warnings = read_plan(data)

    assert len(warnings) == 1
    assert again.plans[0].net == pytest.approx(fork[1].plans[0].net)


def test_a_plan_kept_from_before_supports_keeps_its_shims(fork):
    _, document = fork
    kept = json.loads(document.model_dump_json())
    for plan in (*kept["plans"], kept["plain_way"], kept["hearts_level"]):
        if plan:
            del plan["supports"], plan["stands_by_m"], plan["overturning"], plan["gaps_m"], plan["mass_centre_m"]
            plan["shims"] = [{"x_m": 0.4, "side": None, "height_m": 0.05}]

    read, _ = read_plan(kept)

    assert [(one.x_m, one.y_m, one.height_m) for one in read.plans[0].placed()] == [(0.4, None, 0.05)]
    assert read.plans[0].mass_centre_m is None


@pytest.mark.parametrize("schema", ["pithline.plan/2.0", "other/1.0", "nothing"])
def test_other_documents_are_refused(fork, schema):
    with pytest.raises(PlanError, match="schema"):
        read_plan({**json.loads(fork[1].model_dump_json()), "schema": schema})


def test_two_runs_differ_in_nothing_but_their_names():
    first, second = (planned(shapes.bent(), lays=60).model_dump() for _ in range(2))
    for run in (first, second):
        run["work"].pop("seconds")

    assert first == second


def test_no_doubt_is_told_where_none_was_weighed(fork):
    document = fork[1]
    assert document.doubt is None
    for plan in document.plans:
        assert plan.rests_by_itself is plan.net_expected is None


def test_every_field_of_the_documents_is_described():
    def fields(schema):
        yield from schema.get("properties", {}).items()

    schema = PlanDocument.model_json_schema()
    for model in [schema, *schema["$defs"].values()]:
        for name, part in fields(model):
            # A part that is a document of its own may be described there.
            target = schema["$defs"].get(part.get("$ref", "").rpartition("/")[2], {})
            assert part.get("description") or target.get("description"), (model.get("title"), name)


def test_sections_stand_at_both_ends_and_every_quarter_metre(fork):
    log, document = fork
    places = [s.x_m for s in document.log.sections]

    assert places[0] == pytest.approx(0.001)
    assert places[-1] == pytest.approx(log.length_m - 0.001)
    assert np.diff(places[1:-1]) == pytest.approx(0.25)
    assert all(s.wood_m for s in document.log.sections[:-1])


def test_diameters_rules_and_mass_of_a_frustum():
    log = shapes.frustum(0.30, 0.25, 3.2)
    found = planned(log, species="oak, northern red", trim=(0.0, 0.0), lays=40).log

    assert found.butt_diameter_m == pytest.approx(0.60, rel=2e-3)
    assert found.top_diameter_m == pytest.approx(0.50, rel=2e-3)
    # 19.7 in rounds to 20, 10.5 ft is 10 ft: Scribner Decimal C 170, International 175 (published tables).
    assert found.log_rules.diameter_in == 20
    assert found.log_rules.length_ft == 10
    assert found.log_rules.scribner_c == 170
    assert found.log_rules.international == 175
    # 64 lb/ft3 green (Wood Handbook's species, FIA moisture).
    volume = np.pi * 3.2 / 3.0 * (0.3**2 + 0.3 * 0.25 + 0.25**2)
    assert found.mass_kg == pytest.approx(volume * 64.0 * POUND_KG / 0.3048**3, rel=3e-3)
    assert found.max_width_m == pytest.approx(0.60, rel=1e-3)


def test_bark_counts_for_lift_and_reach_and_not_for_slabs():
    bare = shapes.cylinder(0.3, points=360)
    barked = shapes.with_bark(bare, 0.9)
    document = planned(barked, prices=books.prices((8,), (7.0,)), lays=40)
    plan = document.plans[0]
    widest = max(plan.passes, key=lambda p: p.reach_m)

    assert document.log.volume_m3 == pytest.approx(0.81 * bare.wood.volume_m3, rel=1e-6)
    assert np.array(plan.log_to_bed)[2, 3] == pytest.approx(0.3, abs=1e-3)
    assert widest.cut_area_m2 / widest.cut_length_m < 0.93 * widest.reach_m
    assert max(s.max_width_m for s in plan.slabs) <= 0.54 + 1e-6


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"max_log_mass_kg": 200.0}, "max_log_mass_kg"),
        ({"bed_length_m": 1.2}, "bed_length"),
        ({"between_posts_m": 0.5}, "between_posts"),
        ({"throat_m": 0.12}, "throat"),
        ({"throat_depth_m": 0.02, "max_shim_m": 0.0, "max_prop_m": 0.0}, "throat_depth"),
        ({"lowest_blade_m": 0.59, "max_shim_m": 0.0, "max_prop_m": 0.0}, "lowest_blade"),
        ({"highest_blade_m": 0.03, "max_shim_m": 0.0, "max_prop_m": 0.0}, "highest_blade"),
    ],
)
def test_a_log_the_mill_cannot_take_names_the_limit(changes, word):
    with pytest.raises(NoPlanError, match=word) as refused:
        planned(shapes.cylinder(0.3), books.mill(**changes), lays=40)

    assert "\n" not in str(refused.value)


def test_a_throat_in_the_way_says_what_would_help_and_only_what_would():
    # A stem of 0.6 m, and limbs that spread to over a metre: under the fork the stem alone fits the throat.
    fork = books.problem(shapes.forked(stem_length_m=2.0), books.mill(throat_m=0.65))
    assert "cutting off a limb, or bucking it below the crotch, at about {" in str(explain_no_plan(fork))
    # Half of a crooked log is less crooked; neither half of one that is too thick throughout fits better.
    crooked = books.problem(shapes.bent(bow_m=0.5, length_m=4.0), books.mill(throat_m=0.55))
    assert "or bucking it, such as at {2 m} from the butt end" in str(explain_no_plan(crooked))
    # Of a stretch, too, places are told from the butt end of the log.
    stretch = books.problem(shapes.bent(bow_m=1.0, length_m=8.0), books.mill(throat_m=0.55)).stretch(2.0, 6.0)
    assert "or bucking it, such as at {4 m} from the butt end" in str(explain_no_plan(stretch))
    thick = books.problem(shapes.cylinder(0.3), books.mill(throat_m=0.12))
    assert "throat" in str(explain_no_plan(thick))
    assert "bucking" not in str(explain_no_plan(thick))


def test_hollow_logs_say_how_tall_the_blocks_must_be():
    # A barrel: its belly is down whatever the roll.
    x = np.linspace(0.0, 3.0, 61)
    radius = 0.25 + 0.06 * np.sin(np.pi * x / 3.0)
    log = shapes.log_of(shapes.tube(np.stack([x, 0.0 * x, 0.0 * x], axis=1), radius, radius, 48))

    with pytest.raises(NoPlanError, match="max_prop"):
        planned(log, books.mill(max_shim_m=0.0, max_prop_m=0.0), lays=40)


def test_short_logs_small_slabs_and_poor_prices_say_so():
    with pytest.raises(NoPlanError, match="min_length"):
        planned(shapes.cylinder(length_m=1.25), lays=40)
    with pytest.raises(NoPlanError, match="min_width"):
        planned(shapes.cylinder(0.06), lays=40)
    with pytest.raises(NoPlanError, match="money"):
        planned(shapes.cylinder(), prices=books.prices((8,), (0.5,)), lays=40)


def test_prices_without_the_species_say_what_is_priced():
    rows = (books.PricePerBoardFoot(species="cherry, black", quarters=8, price=9.0),)

    with pytest.raises(PriceError, match="cherry, black"):
        planned(shapes.cylinder(), prices=books.prices(per_board_foot=rows), lays=40)


@pytest.mark.parametrize(
    ("field", "value"), [("lays", 0), ("seconds", 0.0), ("gap", 0.0), ("gap", 1.0), ("workers", 0)]
)
def test_settings_out_of_bounds_are_refused(field, value):
    with pytest.raises(ValueError, match=field):
        SearchSettings(**{field: value})


SHORT_BED = books.mill(bed_length_m=2.2)


@pytest.fixture(scope="module")
def long_log():
    log = shapes.bent(0.06, 0.2, 3.1)
    return log, planned(log, SHORT_BED, lays=60).plans[0]


def own_way(plan, **changes):
    fields = {
        "roll_deg": plan.roll_deg,
        "shim_butt_m": plan.gaps_m[0],
        "shim_top_m": plan.gaps_m[1],
        "heights_m": tuple(p.blade_height_m for p in plan.passes),
        "stretch_m": plan.stretch_m,
    }
    return Given(**{**fields, **changes})


def test_a_plan_of_a_log_longer_than_the_bed_can_be_typed_in(long_log):
    log, plan = long_log

    typed = price_way(given_log(log), SHORT_BED, books.prices(), own_way(plan), run=a_run()).plans[0]

    assert plan.stretch_m[1] - plan.stretch_m[0] == pytest.approx(2.2)
    assert typed.stretch_m == pytest.approx(plan.stretch_m)
    assert typed.net == pytest.approx(plan.net, rel=1e-6)


@pytest.mark.parametrize(("early_m", "late_m"), [(0.00635, 0.00635), (-0.00635, 0.00635)])
def test_a_stretch_typed_as_it_is_shown_is_taken(long_log, early_m, late_m):
    """Lengths along a log are shown to half an inch: each end may be a quarter of an inch off."""
    log, _ = long_log
    bed_m, length_m = SHORT_BED.bed_length_m, log.length_m
    way = Given(0.0, 0.0, 0.0, (0.3, 0.24), stretch_m=(length_m - bed_m - early_m, length_m + late_m))

    from_m, to_m = price_way(given_log(log), SHORT_BED, books.prices(), way, run=a_run()).plans[0].stretch_m

    assert to_m <= length_m
    assert bed_m - 0.013 < to_m - from_m <= bed_m + 1e-9


def test_its_rest_is_planned_anew_in_doubt_too(long_log):
    log, plan = long_log
    way = own_way(plan, heights_m=tuple(p.blade_height_m for p in plan.passes)[:2], made=2)

    onward = price_way(given_log(log), SHORT_BED, books.prices(), way, run=a_run(), doubt=True).plans[0]

    assert onward.stretch_m == pytest.approx(plan.stretch_m)
    assert len(onward.passes) > 2


@pytest.mark.parametrize(
    ("stretch_m", "said"),
    [
        (None, "the log is longer than the bed: .* more than {:bed_length}; give the part of it .* as {:stretch}"),
        ((0.5, 3.4), "{:stretch} must lie on the log, in 0 to"),
        ((1.5, 1.0), "{:stretch} must lie on the log, in 0 to"),
        ((0.2, 2.6), "more than {:bed_length}; give a shorter one"),
        ((1.0, 1.08), "the end trim leaves nothing of it"),
    ],
)
def test_a_stretch_that_cannot_be_says_why(long_log, stretch_m, said):
    log, plan = long_log
    with pytest.raises(NoPlanError, match=said):
        price_way(given_log(log), SHORT_BED, books.prices(), own_way(plan, stretch_m=stretch_m), run=a_run())


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ({"face": "wide"}, "on the wide face"),
        ({"face": "mean"}, "by the average of their two faces"),
        ({"width": "middle"}, "by their width at the middle"),
        ({"width": "three"}, "by their width at three places"),
        ({"moisture": "dry", "face": "narrow", "width": "least"}, None),
    ],
)
def test_a_plan_says_where_nothing_is_proven(rule, words):
    document = planned(shapes.frustum(), prices=books.prices(tally=Tally(**rule)))

    notes = [note.text for note in document.warnings if note.kind == "no_bound"]
    assert (document.bound is None) is bool(words)
    assert len(notes) == (1 if words else 0)
    assert words is None or f"slabs counted {words}." in notes[0]
