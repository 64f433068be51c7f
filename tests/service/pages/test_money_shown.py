"""What pages say of money: how slabs are counted, what to pay for the log, when money comes, what drying leaves."""

import html
import re

from kept_pages import Pages, Planned, desk_of, keep_log, keep_plan

from optimizer.documents.prices import PriceBook
from optimizer.report.tally_said import tally_said
from optimizer.wood.woods import find_wood
from service.words.finish_words import finish_words, slab_finish_words
from service.words.log_price_words import pay_words
from service.words.measures import measures_in
from service.words.time_words import first_money_words, first_month, stack_words
from service.words.units import Units


def shown(client: Pages, address: str) -> str:
    """What a page says, without its markup."""
    text = re.sub(r'<span class="meaning">.*?</span>', "", client.get(address).text)
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", text)).replace("\u00a0", " ").split())


def test_a_plan_says_how_it_counted_what_to_pay_and_when_money_comes(
    client: Pages, plan_id: str, planned: Planned
) -> None:
    document = planned.document
    best = document.plans[0]
    measures = measures_in(Units.IMPERIAL, "USD", document.mill)
    plans, way = (shown(client, f"/plans/{plan_id}{page}") for page in ("", "/1"))

    for text in (plans, way):
        assert f"{pay_words(best, measures)}. {first_money_words(best, document)}" in text
        assert document.tally in text
        assert document.tally.startswith("Slabs are counted dry")
        assert "New in price books" not in text
    assert "lost in drying" in way
    assert "Hauling it -$80" in way


def test_a_slab_says_how_thick_it_is_dry_and_flat_and_the_plan_which_are_thin(
    client: Pages, plan_id: str, planned: Planned
) -> None:
    best = planned.document.plans[0]
    measures = measures_in(Units.IMPERIAL, "USD", planned.document.mill)
    text = shown(client, f"/plans/{plan_id}/1")

    assert finish_words(best, measures)
    for said in (*finish_words(best, measures), *(slab_finish_words(slab, measures) for slab in best.slabs)):
        assert said in text


def test_the_cut_list_says_what_to_stack_together(client: Pages, plan_id: str, planned: Planned) -> None:
    said = stack_words(planned.document.plans[0], planned.document)

    assert said
    assert said in shown(client, f"/plans/{plan_id}/1/cut-list")


def test_two_ways_are_told_apart_by_when_money_comes(client: Pages, plan_id: str, planned: Planned) -> None:
    document = planned.document
    text = shown(client, f"/plans/{plan_id}/compare?a=1&b=plain")

    assert document.plain_way is not None
    months = [first_month(plan, document) for plan in (document.plans[0], document.plain_way)]
    assert f"First money about {' '.join(months)}" in text
    assert "Most you can pay for the log" in text


def test_a_plan_of_an_old_book_says_what_it_leaves_out(client: Pages, log_id: str, planned: Planned) -> None:
    limits = planned.document.prices.limits.model_dump()
    old = PriceBook.model_validate(
        {"per_board_foot": [{"species": "any", "quarters": q, "price": 5.0} for q in (8, 10, 12)], "limits": limits}
    )
    told = {"prices": old, "tally": tally_said(old, find_wood("sugar maple"))}
    plan_id = keep_plan(client, log_id, planned.document.model_copy(update=told))
    before = keep_plan(client, log_id, planned.document.model_copy(update={**told, "tally": ""}))
    text = shown(client, f"/plans/{plan_id}")

    assert "at the average width: slabs sold dry come out 4 to 7% narrower." in text
    assert "New in price books: how buyers measure" in text
    assert "First money" not in text
    assert "Stack by thickness" not in shown(client, f"/plans/{plan_id}/1/cut-list")
    # One from before plans told it says nothing.
    assert "Slabs are counted" not in shown(client, f"/plans/{before}")


def test_what_hauling_costs_and_what_taking_it_brings_is_asked_and_kept(client: Pages, planned: Planned) -> None:
    log_id = keep_log(client, planned.read, "Hauled")
    asked = client.get(f"/logs/{log_id}").text + client.get("/logs/new").text + client.get("/logs/sheet").text
    client.post(f"/logs/{log_id}/about", data={"cost": "20", "haul": "80.5", "fee_received": "100"})
    about = desk_of(client).store.log(log_id).about

    assert asked.count('name="haul"') == asked.count('name="fee_received"') == 3
    assert (about.cost, about.haul, about.fee_received) == (20.0, 80.5, 100.0)
