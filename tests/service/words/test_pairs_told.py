"""Pairs, a set that was asked for and one thickness alone, as people read them."""

import pytest
from plan_documents import a_document, a_mill, a_plan
from plan_texts import text_of

from optimizer.documents.plan import OneThickness, SlabSet
from service.words.measures import Measures
from service.words.money_words import one_thickness_words, set_words, sum_rows
from service.words.units import Units

IMPERIAL = Measures(Units.IMPERIAL, a_mill(), "USD")
PAIRED = {"pairs": (("1", "2a"),), "pairs_premium": 48.08, "net": 619.28}


def test_the_sums_add_up_with_what_pairs_bring() -> None:
    document = a_document()
    rows = {what: amount for what, amount, _ in sum_rows(a_plan(**PAIRED), document, IMPERIAL)}

    assert rows["Sold in pairs"] == "$48"
    assert rows["Net"] == "$619"
    amounts = [float(rows[what].replace("$", "")) for what in ("Slabs sell for", "Sold in pairs", "Sawing", "Drying")]
    assert sum(amounts) == pytest.approx(619.28, abs=2.0)
    assert "Sold in pairs" not in [row[0] for row in sum_rows(a_plan(), document, IMPERIAL)]
    assert "more for slabs 1 and 2a" in text_of(a_document(plans=(a_plan(**PAIRED),)))


@pytest.mark.parametrize(
    ("without", "expected", "said"),
    [
        (600.2, None, "Getting 4 slabs of 8/4 costs you $29 against the best plan without them."),
        (571.2, None, "Getting 4 slabs of 8/4 costs you nothing: the best plan has them."),
        (900.0, 650.0, "Getting 4 slabs of 8/4 costs you $150 against the best plan without them."),
    ],
)
def test_a_set_says_what_it_costs(without: float, expected: float | None, said: str) -> None:
    best = a_plan(net_expected=None if expected is None else 500.0)
    asked = SlabSet(count=4, quarters=8, net_without=without, net_without_expected=expected)
    document = a_document(plans=(best,), set_=asked)

    assert set_words(document, IMPERIAL) == said
    assert " ".join(said.split()[:4]) in " ".join(text_of(document).split())
    assert set_words(a_document(), IMPERIAL) == ""


@pytest.mark.parametrize(
    ("net", "said"),
    [
        (500.0, "All in 8/4 would net $71 less."),
        (571.2, "All in 8/4 would net the same."),
        (580.2, "All in 8/4 would net $9 more."),
    ],
)
def test_one_thickness_says_what_it_nets_less(net: float, said: str) -> None:
    document = a_document(one_thickness=OneThickness(quarters=8, net=net))

    assert one_thickness_words(document, IMPERIAL) == said
    assert said in " ".join(text_of(document).split())
    assert one_thickness_words(a_document(), IMPERIAL) == ""
