"""How far off a plan may be, in words."""

import re

from plan_documents import a_document, a_plan
from plan_texts import text_of

from optimizer.documents.plan import Doubt, DoubtSource, WouldPay

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

    assert "from $1,750 to $2,050" in flat
    assert "Plan 1: net $1,880 in the mean" in flat
    assert re.search(r"^1 .* \$1,880 \$1,750-2,050 +46 %$", text, re.MULTILINE)
    assert re.search(r"^2 .* 54 %$", text, re.MULTILINE)
    assert "Net as given $1,900 on the log exactly as given" in re.sub(r" +", " ", flat)
    assert "plans are ranked by it" in flat
    assert "which leaves $1,730" in flat
    assert "how it is rolled 73 %, the bark's thickness 27 %" in flat
    assert "To be surer: Tape the length" in flat
    assert "$45 more in the mean, for about 5 minutes" in flat
    assert "likely 15 1/2 to 19 1/2 in" in flat
    assert [line for line in text.splitlines() if len(line) > 80 and "long/" not in line] == []


def test_a_plan_without_doubt_says_nothing_of_it():
    text = text_of(a_document())

    assert "ikely" not in text
    assert "To be surer" not in text
