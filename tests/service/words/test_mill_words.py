"""The steps at the mill: which face is measured, who lifts, what is swept, how far down the blade goes."""

import pytest
from plan_documents import a_document, a_pass, a_plan

from optimizer.documents.plan import Caution
from service.words.cut_words import face_to_measure
from service.words.measures import measures_in
from service.words.mill_words import side_up_words, steps_of, who_lifts
from service.words.units import Units


def faced(order: int, height_m: float, width_m: float, length_m: float):
    return a_pass(order, height_m).model_copy(update={"face_width_m": width_m, "face_length_m": length_m})


INCH_M = 0.0254
CUTS = (
    faced(1, 29.0 * INCH_M, 0.05, 0.4),
    faced(2, 26.6875 * INCH_M, 0.3, 0.2),
    faced(3, 24.375 * INCH_M, 0.4, 2.0),
)


def measures():
    return measures_in(Units.IMPERIAL, "USD", a_document().mill)


def test_the_first_face_that_is_wide_and_long_enough_is_measured():
    assert face_to_measure(a_plan(passes=CUTS), measures()).order == 3
    assert face_to_measure(a_plan(passes=CUTS[:2]), measures()) is None
    assert face_to_measure(a_plan(), measures()).order == 1  # a plan kept from before knows its first face alone


def test_steps_come_in_the_order_of_work_and_each_cut_after_the_first_asks_for_a_sweep():
    document = a_document()
    steps = steps_of(document, a_plan(passes=CUTS), measures(), (), 0)

    assert [step.tick for step in steps] == ["roll", "shim-0", "sweep", "pass-1", "pass-2", "pass-3", "face"]
    assert [step.sweep for step in steps if step.kind == "pass"] == ["", "sweep-2", "sweep-3"]
    assert [step.drop for step in steps if step.kind == "pass"] == ["", "2 5/16", "2 5/16"]
    assert [step.next_reading for step in steps if step.kind == "pass"] == ["26 11/16", "24 3/8", ""]
    assert "face" not in [step.tick for step in steps_of(document, a_plan(passes=CUTS), measures(), (), 3)]


def test_a_stop_comes_first_and_lockout_stands_with_the_sweep():
    cautions = (
        Caution(id="log_overturns", level="stop", line="It will turn over.", reason=""),
        Caution(id="lockout", level="note", line="Engine off.", reason="", standing=True),
    )
    steps = steps_of(a_document(), a_plan(), measures(), cautions, 0)

    assert steps[0].tick == "stop"
    assert steps[0].care == ("It will turn over.",)
    assert next(step for step in steps if step.tick == "sweep").care == ("Engine off.",)


@pytest.mark.parametrize(
    ("load_kg", "who"),
    [(23.0, "one person"), (23.1, "2 people"), (46.1, "3 people"), (50.1, "a machine"), (700.0, "your loader lifts")],
)
def test_who_lifts_by_the_limits_of_the_cautions(load_kg, who):
    mill = a_document().mill.model_copy(update={"loader_limit_kg": 600.0})

    assert who in who_lifts(load_kg, mill, measures())


@pytest.mark.parametrize(("roll_deg", "hour"), [(90.0, 9), (270.0, 3), (25.0, 11), (180.0, 6), (300.0, 2), (355.0, 12)])
def test_the_side_that_comes_up_is_told_as_on_a_clock(roll_deg, hour):
    assert f"about {hour} o'clock" in side_up_words(roll_deg)
    assert side_up_words(0.0) == ""
