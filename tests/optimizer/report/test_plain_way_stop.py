"""Whether the plain way stops at metal, told from the document, against the plain way of the log without it."""

import json
from dataclasses import replace
from itertools import count
from math import asin, degrees

import books
import pytest
import shapes

from optimizer.bed.marks import place_on_girth
from optimizer.documents.plan import Mark, PlanDocument, Source
from optimizer.documents.prices import Limits
from optimizer.planning import LogGiven, Run, price_way
from optimizer.report.plain_way_stop import passes_before_metal
from optimizer.search.given import Given
from optimizer.search.plain_way import plain_way, why_none
from optimizer.wood.woods import find_wood
from scans.messages import Note

RADIUS_M = 0.3


def document_of(*depths_and_girths, mill=None, prices=None, doubt=False):
    """My way on a cylinder; metal by its depth and where on the girth."""
    log = shapes.cylinder(RADIUS_M, 3.0)
    marks = []
    for number, (toward_deg, depth_m) in enumerate(depths_and_girths):
        x, y, z = (float(v) for v in place_on_girth(log, 1.5, toward_deg))
        marks.append(Mark(id=f"m{number}", kind="metal", x_m=x, y_m=y, z_m=z, radius_m=0.01, depth_m=depth_m))
    ticks = count()
    given = LogGiven(
        log=log,
        source=Source(kind="solid", sha256="0" * 64),
        wood=find_wood("ash, white"),
        end_trim_m=(0.05, 0.05),
        bark_on=False,
        bark_ratio=1.0,
        marks=tuple(marks),
    )
    run = Run("way", "2026-01-01T00:00:00+00:00", "test", lambda: float(next(ticks)))
    mill = mill or books.mill(metal_keep_out_m=0.03, max_shim_m=0.0)
    way = Given(0.0, 0.0, 0.0, (0.594,))
    document = price_way(given, mill, prices or books.prices((8,), (7.0,)), way, run=run, doubt=doubt)
    # What is checked is what is read back.
    return PlanDocument.model_validate(json.loads(document.model_dump_json()))


def passes_of(document):
    return [cut.blade_height_m for cut in document.plain_way.passes]


@pytest.mark.parametrize("toward_deg", [60.0, 90.0, 100.0, 120.0, 270.0])
def test_it_stops_where_the_log_without_metal_is_sawn_on(toward_deg):
    free, marked = document_of(), document_of((toward_deg, 0.05))

    assert passes_before_metal(free) is None
    stop = passes_before_metal(marked)
    assert stop == len(passes_of(marked)) < len(passes_of(free))
    assert passes_of(marked) == pytest.approx(passes_of(free)[:stop])


def test_metal_that_no_pass_meets_stops_nothing():
    # Between two passes that are farther apart than it is thick, the keep-out being small.
    free = document_of(mill=books.mill(max_shim_m=0.0))
    upper, lower = passes_of(free)[3:5]
    height_m = 0.5 * (upper + lower) - RADIUS_M
    toward_deg = 90.0 - degrees(asin(height_m / RADIUS_M))
    marked = document_of((toward_deg, 0.02), mill=books.mill(max_shim_m=0.0, metal_keep_out_m=0.002))

    assert passes_of(marked) == pytest.approx(passes_of(free))
    assert passes_before_metal(marked) is None


def test_metal_under_the_lowest_blade_stops_nothing():
    # The plain way ends above it, as it must.
    mill = books.mill(max_shim_m=0.0, lowest_blade_m=0.2, metal_keep_out_m=0.01)
    marked = document_of((180.0, 0.1), mill=mill)

    assert min(passes_of(marked)) >= 0.2
    assert passes_before_metal(marked) is None


@pytest.mark.parametrize(("metal", "stop"), [((36.0, 0.1), 1), ((110.0, 0.02), None)])
def test_after_one_pass_metal_in_the_way_of_any_thickness_counts(metal, stop):
    document = document_of(metal, prices=books.prices((4, 12), (5.0, 7.0)))
    one = document.plain_way.model_copy(update={"passes": document.plain_way.passes[:1]})

    assert passes_before_metal(document.model_copy(update={"plain_way": one})) == stop


def test_a_plain_way_of_one_pass_is_told_from_the_run():
    document = document_of((36.0, 0.1))

    assert len(passes_of(document)) == 1
    assert passes_before_metal(document) == 1


def test_without_a_plain_way_nothing_stops():
    assert passes_before_metal(document_of().model_copy(update={"plain_way": None})) is None


def ringed(depth_m):
    """A cylinder with metal all round its middle."""
    log = shapes.cylinder(RADIUS_M, 3.0)
    places = [place_on_girth(log, 1.5, float(turn)) for turn in range(0, 360, 10)]
    marks = tuple(
        Mark(id=f"m{n}", kind="metal", x_m=float(x), y_m=float(y), z_m=float(z), radius_m=0.01, depth_m=depth_m)
        for n, (x, y, z) in enumerate(places)
    )
    return replace(books.problem(log, books.mill(metal_keep_out_m=0.03, max_shim_m=0.0)), marks=marks)


def test_a_log_without_a_plain_way_says_what_is_in_the_way():
    # Metal all round leaves no first pass at any roll; without it there would be one.
    metal = ringed(0.25)
    assert plain_way(metal) is None
    assert "marked metal" in why_none(metal).text
    assert plain_way(replace(metal, marks=())) is not None
    # A throat as narrow as that is in the way whether or not there is metal.
    narrow = books.problem(shapes.cylinder(RADIUS_M, 3.0), books.mill(throat_m=0.1, max_shim_m=0.0))
    assert plain_way(narrow) is None
    assert why_none(narrow) == Note(
        "no_plain_way",
        "Can't compare with sawing the log straight through, as it lies: at every roll that the mill can take, a "
        "first cut "
        "is too wide for the mill.",
        bears_on_plan=True,
    )


def test_thicknesses_over_the_throat_depth_are_told_apart_from_the_wood_above_a_first_pass():
    # A face 0.5 m wide lies 13 cm under the top; layers of 8/4 take almost 6 cm.
    for min_width_m, depth_m, said in ((0.15, 0.05, "every thickness"), (0.5, 0.1, "above a first cut")):
        limits = Limits(min_width_m=min_width_m, min_length_m=1.2)
        prices = books.prices((8,), (7.0,), limits=limits)
        shallow = books.problem(
            shapes.cylinder(RADIUS_M, 3.0), books.mill(throat_depth_m=depth_m, max_shim_m=0.0), prices
        )

        assert plain_way(shallow) is None
        assert said in why_none(shallow).text


def test_a_log_without_a_plain_way_does_not_hold_up_a_stop():
    asked = count(1)

    def stop():
        return "time" if next(asked) > 3 else None

    # No face is as wide as that, whatever limit is lifted: every roll is looked at for each.
    limits = Limits(min_width_m=1.0, min_length_m=1.2)
    small = books.problem(shapes.cylinder(RADIUS_M, 3.0), books.mill(), books.prices(limits=limits))
    assert why_none(small, stop).text == "Can't compare with sawing the log straight through, as it lies."
    assert next(asked) < 12


def test_the_document_notes_why_there_is_no_plain_way():
    assert not any(note.kind == "no_plain_way" for note in document_of().warnings)
    narrow = books.mill(throat_m=0.3, throat_depth_m=0.01, max_shim_m=0.0)
    (note,) = [note for note in document_of(mill=narrow).warnings if note.kind == "no_plain_way"]
    assert "is more, with its kerf, than {:throat_depth}, {10 mm}" in note.text


def test_beside_a_way_in_doubt_the_plain_way_is_told_in_the_mean_too():
    doubtful, sure = document_of(doubt=True), document_of()
    plain = doubtful.plain_way

    assert plain.net == pytest.approx(sure.plain_way.net)
    assert plain.net_p10 < plain.net_expected < plain.net_p90
    assert sure.plain_way.net_expected is None
