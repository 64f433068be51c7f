"""Pages that tell what a log is set on: the same words on each, a stop first, and plans kept from before."""

import json
import re
from html import unescape

import pytest
from kept_pages import Pages, Planned, keep_plan
from test_drawings import flipped

from optimizer.documents.plan import Holding, Overturning, Plan, PlanDocument, read_plan
from optimizer.report.cautions import cautions_for
from service.pages.rendering import measures_in
from service.words.support_words import supports_short, supports_words
from service.words.units import Units


def shown(client: Pages, address: str) -> str:
    """Return what a page says, drawings left out."""
    main = client.get(address).text.partition("<main")[2].partition("</main>")[0]
    told = re.sub(r"<[^>]*>", " ", re.sub(r"<svg.*?</svg>", " ", main, flags=re.DOTALL))
    return " ".join(unescape(told).replace("\u00a0", " ").split())


def with_best(document: PlanDocument, **changes: object) -> PlanDocument:
    best: Plan = document.plans[0].model_copy(update=changes)
    return document.model_copy(update={"plans": (best, *document.plans[1:])})


def test_every_page_of_a_way_tells_its_supports_alike(
    client: Pages, planned: Planned, plan_id: str
) -> None:  # fmt: skip
    document, best = planned.document, planned.document.plans[0]
    measures = measures_in(Units.IMPERIAL, document.currency, document.mill)
    in_full, in_short = supports_words(document, best, measures), supports_short(best, measures)

    assert in_full
    assert best.stands_by_m is not None
    for address in ("1", "1/cut-list"):
        text = shown(client, f"/plans/{plan_id}/{address}")
        assert [words for words in in_full if words not in text] == []
        assert f"by {measures.short(best.stands_by_m)}: through every cut" in text
    for address in ("", "/compare?a=1&b=2"):
        assert in_short in shown(client, f"/plans/{plan_id}{address}")


def test_a_way_that_turns_over_is_told_before_anything_else(client: Pages, planned: Planned, log_id: str) -> None:
    over = Overturning(
        flipped=False, blade_height_m=None, outside_m=0.1, toward=(0.0, 1.0), moment_n_m=900.0,
        holding=Holding(x_m=planned.document.plans[0].supports[0].x_m, y_m=0.1, height_m=0.5),
    )  # fmt: skip
    falls = with_best(planned.document, overturning=over)
    cautions = cautions_for(falls.log, falls.mill, falls.plans[:1], falls.wood.name)
    own = falls.model_copy(update={"kind": "own_way", "plans": falls.plans[:1], "cautions": cautions})
    plan_id = keep_plan(client, log_id, own)

    for address, after in (("", "Your way: "), ("/1", "Your way: "), ("/1/cut-list", "1. Set up the log")):
        text = shown(client, f"/plans/{plan_id}{address}")
        stop = text.index("Stop. The log will turn over on the bed in this setup.")
        assert stop < text.index("blocks 19 5/8 in high,") < text.index("would hold it") < text.index(after)


def test_what_is_placed_after_a_flip_stands_with_the_flip(client: Pages, planned: Planned, log_id: str) -> None:
    turned = flipped(planned.document)
    support = planned.document.plans[0].placed()[0]
    after = support.model_copy(update={"flipped": True, "height_m": 0.0635})
    document = with_best(turned, supports=(*turned.plans[0].supports, after))
    plan_id = keep_plan(client, log_id, document)

    at_the_mill, _, cut_list = shown(client, f"/plans/{plan_id}/1/cut-list").partition("Set up the log")
    assert at_the_mill.index("Turn the log over first") < at_the_mill.index("Shim 2 1/2 in under")
    told = cut_list.index("Shim 2 1/2 in under")
    assert cut_list.index("Turn the log over") < told < cut_list.index(f"Cut {turned.plans[0].passes[-1].order} ")
    assert cut_list.count("Shim 2 1/2 in under") == 1
    one_way = shown(client, f"/plans/{plan_id}/1")
    assert one_way.index("After the flip") < one_way.index("Shim 2 1/2 in under")


@pytest.mark.parametrize("address", ["", "/1", "/1/cut-list", "/compare?a=1&b=2"])
def test_a_plan_from_before_supports_is_shown_still(
    client: Pages, planned: Planned, log_id: str, address: str
) -> None:  # fmt: skip
    data = json.loads(planned.document.model_dump_json())
    for plan in filter(None, (*data["plans"], data["plain_way"], data["hearts_level"])):
        for name in ("supports", "gaps_m", "stands_by_m", "overturning", "mass_centre_m"):
            del plan[name]
        plan["shims"] = [{"x_m": 0.2, "side": "left", "height_m": 0.0381}]
    kept, _ = read_plan(data)
    plan_id = keep_plan(client, log_id, kept)

    text = shown(client, f"/plans/{plan_id}{address}")
    assert "1 1/2 in under the butt" in text
    assert "of center" not in text
    assert "Stands" not in text.replace("Stands by", "")


def test_ones_own_way_begins_with_the_gaps_of_the_plan(client: Pages, planned: Planned, log_id: str) -> None:
    plan_id = keep_plan(client, log_id, with_best(planned.document, gaps_m=(0.0254, 0.0508)))
    text = client.get(f"/logs/{log_id}/way?plan={plan_id}&which=1").text

    for name, height in (("shim_butt", "1 in"), ("shim_top", "2 in")):
        assert re.search(rf'name="{name}" value="{height}"', text)
