"""What a buyer counts of a slab, and what to rip it into, in words."""

from plan_documents import a_document, a_mill, a_plan, a_slab
from plan_texts import text_of

from optimizer.documents.plan import RippedPart
from service.words.measures import Measures
from service.words.slab_words import counted_words, ripped_words
from service.words.units import Units

INCH_M = 0.0254
IMPERIAL = Measures(Units.IMPERIAL, a_mill(), "USD")


def part(side: str, wide_in: float, price: float) -> RippedPart:
    ring = ((0.0, 0.0), (2.5, 0.0), (2.5, 0.3), (0.0, 0.3))
    return RippedPart.model_validate(
        {
            "side": side, "outline_m": (ring,), "span_m": (0.0, 2.44), "tally_width_m": wide_in * INCH_M,
            "tally_length_m": 96 * INCH_M, "board_feet": 12.0, "price": price, "priced_by": "board_foot",
        }
    )  # fmt: skip


def test_a_ripped_slab_says_both_its_parts() -> None:
    slab = a_slab(id="4", ripped=(part("left", 12.0, 150.0), part("right", 13.5, 170.0)))
    said = "Rip slab 4 along both sides of the pith: left 12 in by 8' 0\" for $150, right 13 1/2 in by 8' 0\" for $170."

    assert ripped_words(slab, IMPERIAL).replace("8 ft 0 in", "8' 0\"").replace("8 ft", "8' 0\"") == said
    assert ripped_words(a_slab(), IMPERIAL) == ""
    assert "Rip slab 4 along both sides of the pith" in " ".join(
        text_of(a_document(plans=(a_plan(slabs=(slab,)),))).split()
    )


def test_a_slab_says_what_the_buyer_counts_where_that_is_another_size() -> None:
    plain = a_slab()
    same = plain.model_copy(update={"tally_width_m": plain.mean_width_m, "tally_length_m": plain.length_m})
    narrower = same.model_copy(update={"tally_width_m": 10.0 * INCH_M, "tally_length_m": 48 * INCH_M})

    assert counted_words(plain, IMPERIAL) == counted_words(same, IMPERIAL) == ""
    assert counted_words(narrower, IMPERIAL).startswith("Counts as 10 in by 4")
    by_slab = same.model_copy(update={"priced_by": "slab"})
    assert counted_words(by_slab, IMPERIAL).endswith(", paid by the slab.")
