"""What slabs are like once they are dry and flat, in words."""

import pytest
from plan_documents import a_document, a_plan, a_slab
from plan_texts import text_of

from optimizer.documents.plan import Slab
from service.words.finish_words import finish_words, slab_finish_words
from service.words.measures import measures_in
from service.words.units import Units

INCH_M = 0.0254
IMPERIAL, METRIC = measures_in(Units.IMPERIAL), measures_in(Units.METRIC)


def slab(number: int, finish_in: float, saw_in: float | None, cup_in: float = 0.5, quarters: int = 8) -> Slab:
    saw_m = None if saw_in is None else saw_in * INCH_M
    return a_slab(
        id=str(number), layer=number, quarters=quarters, cup_m=cup_in * INCH_M, finish_m=finish_in * INCH_M,
        saw_for_full_m=saw_m,
    )  # fmt: skip


def test_slabs_that_come_out_thin_are_named_with_what_to_saw() -> None:
    slabs = (slab(1, 1.75, 2.5), slab(2, 2.0, None, 0.1), slab(3, 1.375, 2.75, 0.625), slab(4, 2.5, 3.5, 0.75, 12))
    plan = a_plan(slabs=slabs)

    assert finish_words(plan, IMPERIAL) == [
        (
            "If nothing holds them flat as they dry, slabs 1 and 3 may finish only 1 3/8 to 1 3/4 in thick, not full "
            "8/4: cupping takes up to 5/8 in. Weight the stack well. To be sure of full 8/4, saw 2.750 in thick."
        ),
        (
            "If nothing holds them flat as they dry, slab 4 may finish only 2 1/2 in thick, not full 12/4: "
            "cupping takes up to 3/4 in. Weight the stack well. To be sure of full 12/4, saw 3.500 in thick."
        ),
    ]
    assert "slab 4 may finish only 64 mm thick, not full 12/4" in finish_words(plan, METRIC)[1]


def test_what_to_saw_is_told_as_the_mill_sets_it() -> None:
    document = a_document(plans=(a_plan(slabs=(slab(1, 1.5, 2.75),)),))

    assert "To be sure of full 8/4, saw 2 3/4 in thick" in " ".join(text_of(document).split())


@pytest.mark.parametrize("slabs", [(), (a_slab(),), (slab(1, 2.0, None),)])
def test_nothing_is_said_of_slabs_that_come_out_full_or_are_not_known(slabs: tuple[Slab, ...]) -> None:
    plan = a_plan(slabs=slabs)

    assert finish_words(plan, IMPERIAL) == []
    assert "as they dry" not in text_of(a_document(plans=(plan,)))


def test_slabs_that_hold_the_pith_are_said_to_split() -> None:
    slabs = (a_slab(heart_area_m2=0.1), slab(2, 2.0, None, 0.1).model_copy(update={"heart_area_m2": 0.1}))

    assert finish_words(a_plan(slabs=slabs), IMPERIAL) == [
        "Slab 1 holds the pith: look for a split along it as it dries."
    ]


def test_a_slab_says_its_own() -> None:
    assert slab_finish_words(slab(1, 1.75, 2.5), IMPERIAL) == "Dry and flat about 1 3/4 in (may cup 1/2 in)."
    assert slab_finish_words(slab(1, 2.0, None, 0.05), IMPERIAL) == "Dry and flat about 2 in."
    assert slab_finish_words(a_slab(), IMPERIAL) == ""
