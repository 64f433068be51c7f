"""The bar of a net: its range, its average and sawing straight through stand in order; nothing where none is known."""

import xml.etree.ElementTree as ET

import pytest
from plan_documents import a_document, a_mill, a_plan

from service.drawings.net_bar import WIDTH, net_bar
from service.words.measures import Measures
from service.words.units import Units

SVG = "{http://www.w3.org/2000/svg}"
MEASURES = Measures(Units.IMPERIAL, a_mill(), "USD")
RANGE = {"net_expected": 1000.0, "net_p10": 800.0, "net_p90": 1300.0}


def circles(svg: str, css: str) -> list[float]:
    root = ET.fromstring(svg)  # noqa: S314 - made here
    return [float(one.get("cx") or "nan") for one in root.iter(f"{SVG}circle") if one.get("class") == css]


@pytest.mark.parametrize("straight", [700.0, 900.0, 1400.0])
def test_the_average_lies_in_its_range_and_straight_through_where_it_nets(straight: float) -> None:
    plan = a_plan(**RANGE)
    plain = a_plan(rank=0, **{**RANGE, "net_expected": straight})
    drawn = net_bar(a_document(plans=(plan,), plain_way=plain), plan, MEASURES)
    root = ET.fromstring(drawn)  # noqa: S314 - made here
    (bar,) = (one for one in root.iter(f"{SVG}rect") if one.get("class") == "range")
    start, wide = float(bar.get("x") or "nan"), float(bar.get("width") or "nan")
    (best,), (other,) = circles(drawn, "best"), circles(drawn, "other")

    assert (best - start) / wide == pytest.approx(0.4, abs=0.01)
    assert (other - start) / wide == pytest.approx((straight - 800.0) / 500.0, abs=0.01)
    assert 0.0 <= start < start + wide <= WIDTH
    assert f"straight through ${straight:,.0f}" in {text.text for text in root.iter(f"{SVG}text")}


def test_without_doubt_there_is_no_bar_and_without_comparison_no_ring() -> None:
    bare, known = a_plan(), a_plan(**RANGE)

    assert net_bar(a_document(plans=(bare,)), bare, MEASURES) == ""
    assert circles(net_bar(a_document(plans=(known,), plain_way=None), known, MEASURES), "other") == []
