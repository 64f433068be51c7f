"""When money comes, what drying and waiting take, what a log may cost, and how slabs are counted, in words."""

import re
from typing import Any

import pytest
from plan_documents import a_document, a_log, a_mill, a_plan, a_price_book, a_slab
from plan_texts import text_of

from optimizer.documents.plan import Plan, PlanDocument
from optimizer.report.tally_said import is_of_before, tally_said
from optimizer.wood.woods import find_wood
from service.words.log_price_words import log_cost_rows, pay_words
from service.words.measures import measures_in
from service.words.money_words import sum_rows
from service.words.time_words import drying_words, first_money_words, first_month, stack_words
from service.words.units import Units

DOLLARS = measures_in(Units.IMPERIAL)
ROWS = [
    {"quarters": 8, "cost_per_board_foot": 1.0, "months": 14, "lost": 0.05},
    {"quarters": 12, "cost_per_board_foot": 1.5, "months": 27, "lost": 0.1},
]
THIN, THICK = a_slab(price=1000.0, board_feet=40.0), a_slab(id="2", layer=2, quarters=12, price=500.0, board_feet=20.0)


def dried(*slabs: Any, drying: Any = ROWS, rate: float = 0.08, **changes: Any) -> tuple[Plan, PlanDocument]:
    book = a_price_book(drying=drying, money={"yearly_rate": rate})
    cost = sum(
        slab.board_feet * book.drying_of(slab.quarters).cost_per_board_foot
        + slab.price * (1.0 - book.kept_share(book.drying_of(slab.quarters)))
        for slab in slabs
    )
    plan = a_plan(slabs=slabs, drying_cost=cost, **changes)
    return plan, a_document(prices=book, plans=(plan,), made_at="2026-11-30T20:00:00+00:00")


def test_the_drying_cost_says_what_it_is_made_of() -> None:
    """By hand: 40 and 30 to dry, 5% of 1000 and 10% of 500 lost; the other 950 and 450 wait 14 and 27 months."""
    plan, document = dried(THIN, THICK)
    waits = 950.0 * (1.0 - 1.08 ** (-14 / 12)) + 450.0 * (1.0 - 1.08 ** (-27 / 12))

    assert drying_words(plan, document.prices, DOLLARS) == f"$70 to dry, $100 lost in drying, ${waits:.0f} for the wait"
    assert plan.drying_cost == pytest.approx(170.0 + waits)
    assert f"$70 to dry, $100 lost in drying, ${waits:.0f} for the wait" in " ".join(text_of(document).split())


def test_drying_alone_needs_no_words() -> None:
    plan, document = dried(THIN, drying={"cost_per_board_foot": 0.8})

    assert drying_words(plan, document.prices, DOLLARS) == ""
    assert first_money_words(plan, document) == stack_words(plan, document) == first_month(plan, document) == ""
    assert "money" not in text_of(document).split("Cautions")[0].replace("you make money", "")


def test_the_first_money_comes_with_the_thickness_that_is_sold_soonest() -> None:
    plan, document = dried(THICK, THIN)

    assert first_money_words(plan, document) == (
        "First money about January 2028: 8/4 takes 14 months, 12/4 takes 27 months from the saw to the sale."
    )
    assert "First money about January 2028: 8/4 takes 14 months" in " ".join(text_of(document).split())
    assert first_month(plan, document) == "January 2028"
    assert stack_words(plan, document) == (
        "Stack by thickness: 8/4 (slab 1), sold about January 2028; 12/4 (slab 2), sold about February 2029."
    )


@pytest.mark.parametrize(
    ("made_at", "months", "said"),
    [
        ("2026-11-30", 1, "Money about December 2026: 8/4 takes 1 month"),
        ("2026-12-01", 1, "Money about January 2027: 8/4 takes 1 month"),
        ("2026-01-31", 12, "Money about January 2027: 8/4 takes 12 months"),
        ("2026-05-05", 0.2, "Money about May 2026: 8/4 takes under a month"),
        ("2026-06-01", 24, "Money about June 2028: 8/4 takes 24 months"),
    ],
)
def test_months_are_counted_from_the_day_of_the_plan(made_at: str, months: float, said: str) -> None:
    plan, document = dried(THIN, drying=[{"quarters": 8, "months": months}])

    told = first_money_words(plan, document.model_copy(update={"made_at": f"{made_at}T23:59:00+00:00"}))
    assert told == f"{said} from the saw to the sale."


def test_a_plan_that_sells_nothing_brings_money_never() -> None:
    plan, document = dried()

    assert first_money_words(plan, document) == stack_words(plan, document) == ""


def test_what_the_log_and_its_hauling_cost_stands_in_the_sums() -> None:
    log = a_log(cost=100.0, haul=80.0, fee_received=30.0)
    plan = a_plan(net_expected=500.0, break_even_log_price=450.0, break_even_safe=310.0)

    assert log_cost_rows(plan, log, 500.0, DOLLARS) == [
        ("The log cost", "-$100", ""),
        ("Hauling it", "-$80", ""),
        ("Paid to you to take it", "$30", ""),
        ("Left after paying for it", "$350", ""),
        ("Most you can pay for it", "$450", "on average you then break even"),
        ("Safe to pay for it", "$310", "you lose money 1 time in 5"),
    ]
    assert pay_words(plan, DOLLARS) == "Pay at most $450 for the log, or $310 to be safe"


def test_a_log_that_brings_less_than_its_hauling_is_taken_for_money_alone() -> None:
    plan = a_plan(break_even_log_price=-40.0, break_even_safe=-90.0)
    rows = {what: (amount, remark) for what, amount, remark in log_cost_rows(plan, a_log(), 20.0, DOLLARS)}

    assert rows["Most you can pay for it"] == ("$0", "take it only if you are paid $40 or more")
    assert rows["Safe to pay for it"] == ("$0", "take it only if you are paid $90 or more")
    assert pay_words(plan, DOLLARS) == "Take the log only if you are paid $40 or more"
    assert pay_words(a_plan(break_even_log_price=40.0, break_even_safe=-9.0), DOLLARS).endswith("or $0 to be safe")


def test_sawing_says_that_blades_and_metal_are_in_it() -> None:
    plain, worn = a_document(), a_document(mill=a_mill(pace={"blade_cost": "0.15 per ft2"}, metal=METAL))
    remarks = [{row[0]: row[2] for row in sum_rows(d.plans[0], d, DOLLARS)}["Sawing"] for d in (plain, worn)]

    assert remarks[0].endswith("plus handling")
    assert remarks[1].endswith("plus handling, blades, $4 set aside for hidden metal")


METAL = {"strike_chance": 0.1, "strike_cost": 40.0}
NARROW_FACE = (
    "dry, on the narrower face, at the average of three places, widths rounded down to {1.27 cm}, lengths rounded down "
    "to {30.48 cm}."
)
MAPLE = find_wood("sugar maple")


@pytest.mark.parametrize(
    ("tally", "said"),
    [
        # Sugar maple dries by 4.8 and 9.9% to oven-dry (Wood Handbook, Table 4-3), so by 22/30 of that to 8%.
        ({}, "green, on both faces, at the average width: slabs sold dry come out 4 to 7% narrower."),
        ({"moisture": "dry"}, "dry, on both faces, at the average width."),
        (
            {"moisture": "dry", "face": "narrow", "width": "three", "round_width": "1/2 in", "round_length": "1 ft"},
            NARROW_FACE,
        ),
        ({"moisture": "dry", "face": "mean", "width": "middle"}, "dry, halfway between the two faces, at the middle."),
    ],
)
def test_the_tally_is_told_in_one_line(tally: dict[str, str], said: str) -> None:
    assert tally_said(a_price_book(tally=tally), MAPLE) == f"Slabs are counted {said}"


def test_a_book_that_sells_green_leaves_nothing_out() -> None:
    assert tally_said(a_price_book(finish={"moisture_pct": 30}), MAPLE).endswith("at the average width.")


def test_every_plan_says_how_slabs_are_counted() -> None:
    rule = tally_said(a_price_book(tally={"moisture": "dry", "round_width": "1/2 in"}), MAPLE)
    text = " ".join(text_of(a_document(tally=rule, prices=a_price_book(tally={"moisture": "dry"}))).split())

    assert "Slabs are counted dry, on both faces, at the average width, widths rounded down to 1/2 in." in text
    assert "New in price books" not in text


def test_an_old_book_says_once_what_it_does_not_tell() -> None:
    old, new = a_price_book(), a_price_book(drying=[{"quarters": 8, "months": 3}])
    text = " ".join(text_of(a_document(tally=tally_said(old, MAPLE), prices=old)).split())

    assert [is_of_before(book) for book in (old, new, a_price_book(pairs={"premium": 0.1}))] == [True, False, False]
    assert re.search(r"Note: New in price books: how buyers measure.* pithline init FOLDER writes one", text)
