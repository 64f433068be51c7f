"""How far off a plan may be, in words."""

import re

from plan_documents import a_document, a_plan
from plan_texts import text_of

from optimizer.documents.plan import Bound, Doubt, DoubtSource, WouldPay

DOUBT = Doubt(
    samples=200,
    sources=(DoubtSource(source="roll", share=0.73), DoubtSource(source="bark", share=0.27)),
    would_pay=(WouldPay(action="Tape the length", gain=45.0, minutes=5.0),),
)


def a_doubtful_plan(**changes):
    plan = a_plan(net=1900.0, **changes)
    face = plan.first_face.model_copy(
        update={"max_width_m_p10": 0.4, "max_width_m_p90": 0.5, "length_m_p10": 2.0, "length_m_p90": 2.5}
    )
    return plan.model_copy(
        update={
            "net_expected": 1880.0, "net_p10": 1750.0, "net_p90": 2050.0, "chance_best": 0.46,
            "board_feet_p10": 180.0, "board_feet_p90": 205.0, "first_face": face,
        }
    )  # fmt: skip


def test_a_plan_in_doubt_says_from_where_to_where_and_why():
    first = a_doubtful_plan()
    other = first.model_copy(update={"rank": 2, "chance_best": 0.54})
    plain = first.model_copy(update={"rank": 0, "chance_best": None})
    text = text_of(a_document(plans=(first, other), plain_way=plain, doubt=DOUBT))
    flat = " ".join(text.split())

    assert "4 times out of 5: $1,750 to $2,050, 180.0 to 205.0 board feet" in flat
    assert "Plan 1: average net $1,880 " in flat
    assert re.search(r"^1 .* \$1,880 +\$1,750-2,050 +46%$", text, re.MULTILINE)
    assert re.search(r"^2 .* 54%$", text, re.MULTILINE)
    assert "Net if exactly as measured $1,900" in flat
    assert "Net to plan on $1,880" in flat
    assert "plans are ranked by it" in flat
    assert "Left after paying for it $1,730" in flat
    assert "What we're least sure of: how far you roll it 73%, bark thickness 27%." in flat
    assert "To firm it up: Tape the length: worth about $45 on average for 5 minutes' work" in flat
    assert "Outside 15 1/2 to 19 1/2 in wide or 6 ft 6 in to 8 ft 2 in long? Stop" in flat
    assert [line for line in text.splitlines() if len(line) > 80 and "long/" not in line] == []


def test_a_plan_without_doubt_says_nothing_of_it():
    text = text_of(a_document())

    assert not [word for word in ("Average", "average net", "to plan on") if word in text]
    assert "out of 5" not in text
    assert "To firm it up" not in text
    assert "More than a tenth off? Stop" in " ".join(text.split())


def test_how_plans_were_found_is_told_to_whoever_asks():
    first = a_doubtful_plan()
    bound = Bound(upper_net=2000.0, gap=0.05)
    document = a_document(plans=(first, first.model_copy(update={"rank": 2})), doubt=DOUBT, bound=bound)

    asked = text_of(document, verbose=True)

    found = (
        "Tried 100 setups in 1 s. We checked: if the log is exactly as measured, no setup could beat the best one "
        "for it by more than 6%. Averages are over 200 versions of your log."
    )
    assert found in " ".join(asked.split())
    untold = text_of(document)
    assert not [word for word in ("setups", "We checked", "200 versions") if word in untold]
    assert [line for line in asked.splitlines() if len(line) > 80 and "long/" not in line] == []
