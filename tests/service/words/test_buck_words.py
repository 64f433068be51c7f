"""Where a log is bucked and what becomes of each piece cut off, as people read it."""

from typing import Any

import numpy as np
import pytest
from plan_documents import FORK, a_document, a_log, a_mill, a_plan

from optimizer.documents.plan import BoltFound, BuckCutMade, PlanDocument
from service.typed.way import buck_at_typed
from service.words.buck_words import cut_words, cuts_short, is_bucked, kept_words, pieces_off, sides_words
from service.words.measures import Measures
from service.words.money_words import sum_rows
from service.words.units import Units

FOOT_M = 0.3048
UP = (0.0, 0.0, 1.0)
LEAN = np.radians(30.0)
ALONG_1 = np.array([np.cos(LEAN), np.sin(LEAN), 0.0])
ALONG_2 = np.array([np.cos(LEAN), -np.sin(LEAN), 0.0])
MEET = np.array([5.0 * FOOT_M, 0.0, 0.0])
"""Two limbs 8 ft long leave a stem of 5 ft by 30 degrees, to the left and to the right; the bark parts 2 ft on."""
CLEAR_M = 2.0 * FOOT_M * np.cos(LEAN)
"""Where along each limb's heart the crotch lies beside it."""
IMPERIAL = Measures(Units.IMPERIAL, a_mill(), "USD")
METRIC = Measures(Units.METRIC, a_mill(), "USD")


def line(*points: np.ndarray) -> tuple[tuple[float, float, float], ...]:
    return tuple((float(x), float(y), float(z)) for x, y, z in points)


def a_fork(**changes: Any) -> Any:
    hearts = (
        line(np.zeros(3), MEET),
        line(MEET, MEET + 8.0 * FOOT_M * ALONG_1),
        line(MEET, MEET + 8.0 * FOOT_M * ALONG_2),
    )
    fork = FORK.model_copy(update={"crotch_m": (7.0 * FOOT_M, 0.0, 0.0), "normal": UP})
    return a_log(length_m=12.0 * FOOT_M, hearts=hearts, forks=(fork,), **changes)


def limb_cut(limb: int, past_m: float) -> BuckCutMade:
    along = ALONG_1 if limb == 1 else ALONG_2
    at_m = CLEAR_M + past_m
    point, way = (line(found)[0] for found in (MEET + at_m * along, along))
    return BuckCutMade(member=f"limb_{limb}", at_m=at_m, from_butt_m=5.0 * FOOT_M + at_m, point_m=point, normal=way)


def end_cut(member: str, at_m: float) -> BuckCutMade:
    way = (-1.0, 0.0, 0.0) if member == "butt" else (1.0, 0.0, 0.0)
    return BuckCutMade(member=member, at_m=at_m, from_butt_m=at_m, point_m=(at_m, 0.0, 0.0), normal=way)


def bolt(number: int, member: str, net: float | None, worth: float) -> BoltFound:
    return BoltFound(id=f"bolt {number}", member=member, length_m=3 * FOOT_M, mass_kg=100.0, net=net, worth=worth)


def bucked(*cuts: BuckCutMade, bolts: tuple[BoltFound, ...] = ()) -> PlanDocument:
    return a_document(log=a_fork(), plans=(a_plan(buck_cuts=cuts, bolts=bolts, stretch_m=(0.0, 12.0 * FOOT_M)),))


def test_a_limb_is_cut_past_the_crotch_and_square_to_it() -> None:
    document = bucked(limb_cut(1, 2.5 * FOOT_M), limb_cut(2, 3.0 * FOOT_M))
    plan = document.plans[0]

    # By tape: 5 ft along the stem, 2 ft x cos 30 to beside the crotch, and on.
    assert cut_words(document, plan, IMPERIAL) == [
        "Limb 1 (the left one): 2 ft 6 in past the crotch, square to the limb; 9 ft 3 in from the butt",
        "Limb 2 (the right one): 3 ft past the crotch, square to the limb; 9 ft 9 in from the butt",
    ]
    assert cuts_short(document, plan, IMPERIAL) == "limb 1: 2 ft 6 in, limb 2: 3 ft past the crotch"
    assert cuts_short(document, plan, METRIC) == "limb 1: 0.76 m, limb 2: 0.91 m past the crotch"
    assert kept_words(document, plan) == "keep the piece with the crotch for the bed"
    assert "looking at the butt" in sides_words(document, plan)


def test_limbs_over_one_another_are_the_upper_and_the_lower() -> None:
    turned = [tuple((x, -z, y) for x, y, z in one) for one in a_fork().hearts]
    document = bucked(limb_cut(1, FOOT_M))
    document = document.model_copy(update={"log": document.log.model_copy(update={"hearts": tuple(turned)})})

    (said,) = cut_words(document, document.plans[0], IMPERIAL)
    assert said.startswith("Limb 1 (the upper one): ")


@pytest.mark.parametrize(
    ("cuts", "said", "kept"),
    [
        ((end_cut("butt", 2.5 * FOOT_M),), ["2 ft 6 in from the butt, square to the log"], "top piece"),
        ((end_cut("stem", 7.0 * FOOT_M),), ["7 ft from the butt, square to the log"], "butt piece"),
        (
            (end_cut("butt", FOOT_M), end_cut("stem", 7.0 * FOOT_M)),
            ["1 ft from the butt, square to the log", "7 ft from the butt, square to the log"],
            "middle piece",
        ),
        ((limb_cut(1, FOOT_M), end_cut("butt", FOOT_M)), None, "piece with the crotch"),
    ],
)
def test_butt_and_stem_are_cut_square_to_the_log(
    cuts: tuple[BuckCutMade, ...], said: list[str] | None, kept: str
) -> None:
    document = bucked(*cuts)
    plan = document.plans[0]

    if said is not None:
        assert cut_words(document, plan, IMPERIAL) == said
        assert sides_words(document, plan) == ""
    assert kept_words(document, plan) == f"keep the {kept} for the bed"


def test_what_becomes_of_each_piece_is_told_with_its_weights() -> None:
    bolts = (bolt(1, "limb_1", 120.4, 120.4), bolt(2, "stem", None, 8.2), bolt(3, "stem", None, 0.3))
    document = bucked(limb_cut(1, FOOT_M), end_cut("stem", 8.0 * FOOT_M), bolts=bolts)

    # 100 kg is 220.5 lb, and 1.25 times that is 275.6 lb.
    assert [piece.line for piece in pieces_off(document.plans[0], IMPERIAL)] == [
        "Off limb 1: 3 ft long, 220 lb, lift at 276 lb; saw it as a log of its own: about $120",
        "Off the top, piece 1 of 2: 3 ft long, 220 lb, lift at 276 lb; firewood: $8",
        "Off the top, piece 2 of 2: 3 ft long, 220 lb, lift at 276 lb; no sale",
    ]


def test_what_pieces_bring_stands_in_the_sums() -> None:
    bolts = (bolt(1, "limb_1", 120.0, 120.0), bolt(2, "limb_2", None, 8.0))
    document = bucked(limb_cut(1, FOOT_M), limb_cut(2, FOOT_M), bolts=bolts)

    rows = {what: (amount, remark) for what, amount, remark in sum_rows(document.plans[0], document, IMPERIAL)}
    assert rows["Bucked off"] == ("$128", "2 pieces")
    assert rows["Sawing"][1].endswith(", 2 buck cuts")


def test_nothing_is_said_of_a_log_that_is_not_bucked() -> None:
    document = bucked()
    plan = document.plans[0]

    assert not is_bucked(document, plan)
    assert (cut_words(document, plan, IMPERIAL), cuts_short(document, plan, IMPERIAL)) == ([], "")
    assert (kept_words(document, plan), pieces_off(plan, IMPERIAL)) == ("", [])
    assert "Bucked off" not in [row[0] for row in sum_rows(plan, document, IMPERIAL)]


def test_a_plans_cuts_are_typed_back_as_they_are_told() -> None:
    document = bucked(limb_cut(2, 2.5 * FOOT_M), end_cut("butt", FOOT_M), end_cut("stem", 8.0 * FOOT_M))

    typed = buck_at_typed(document.log, document.plans[0], lambda length_m: f"{length_m / FOOT_M:.2f} ft")
    assert typed == "limb 2 at 2.50 ft, butt at 1.00 ft, top at 8.00 ft"
