"""What the text says of what a log is set on: each shim and all blocks, how safely it stands, how it would fall."""

import json
from typing import Any

import pytest
from plan_documents import a_document, a_mill, a_pass, a_plan
from plan_texts import text_of

from optimizer.documents.mill import Mill
from optimizer.documents.plan import Holding, Overturning, Plan, SupportPlaced, read_plan
from service.words.measures import Measures
from service.words.support_words import shim_at, stands_words, supports_short, supports_words
from service.words.units import Units

INCH_M = 0.0254
MILL = a_mill(bunk_spacing="24 in", first_bunk="6 in")
IMPERIAL = Measures(Units.IMPERIAL, a_mill(), "USD")
FLIPPED = ((1.0, 0.0, 0.0, 0.0), (0.0, -1.0, 0.0, 0.0), (0.0, 0.0, -1.0, 0.62), (0.0, 0.0, 0.0, 1.0))


def a_support(bunk: int, height_in: float, y_in: float | None, **changes: Any) -> SupportPlaced:
    """Return a support on a bunk of a mill whose bunks stand 6 in from the butt and every 24 in."""
    given: dict[str, Any] = {
        "x_m": (6.0 + 24.0 * (bunk - 1)) * INCH_M, "y_m": None if y_in is None else y_in * INCH_M, "member": "stem",
        "kind": "shim", "height_m": height_in * INCH_M, "load_kg": 100.0,
    }  # fmt: skip
    return SupportPlaced(**given | changes)


SHIM = a_support(1, 1.125, 3.0)
BLOCKS = a_support(5, 11.0, -14.0, member="limb_2", kind="prop", load_kg=200.0)
BEARS = a_support(3, 0.0, 1.0, kind="bears")
OVER = Overturning(
    flipped=False, blade_height_m=None, outside_m=3.5 * INCH_M, toward=(0.0, 1.0), moment_n_m=900.0,
    holding=Holding(x_m=54.0 * INCH_M, y_m=2.0 * INCH_M, height_m=14.0 * INCH_M),
)  # fmt: skip


def said(*supports: SupportPlaced, mill: Mill = MILL) -> list[str]:
    return supports_words(a_document(mill=mill), a_plan(supports=supports), IMPERIAL)


def test_each_shim_and_all_blocks_are_told_by_where_they_go() -> None:
    assert said(SHIM, BEARS, BLOCKS) == [
        "Shim 1 1/8 in under the butt, on bunk 1, 6 in from the butt, 3 in left of center",
        "Blocks 11 in under limb 2, on bunk 5, 8 ft 6 in from the butt, 14 in right of center; they carry about 440 lb",
    ]


@pytest.mark.parametrize(
    ("support", "words"),
    [
        (a_support(1, 1.0, 0.0), "under the butt, on bunk 1, 6 in from the butt, at center"),
        (a_support(3, 1.0, 1.0), "under the trunk, on bunk 3, 4 ft 6 in from the butt, 1 in left of center"),
        (a_support(5, 1.0, -1.0), "under the top, on bunk 5, 8 ft 6 in from the butt, 1 in right of center"),
        (a_support(1, 1.0, 0.0, x_m=0.1395), "under the butt, on bunk 1, 6 in from the butt, at center"),
    ],
)
def test_a_support_says_its_part_of_the_log_its_bunk_and_its_side(support: SupportPlaced, words: str) -> None:
    assert said(support) == [f"Shim 1 in {words}"]


def test_no_bunk_is_named_where_the_mill_does_not_say_where_bunks_are() -> None:
    assert said(SHIM, mill=a_mill()) == ["Shim 1 1/8 in under the butt, 6 in from the butt, 3 in left of center"]


def test_what_blocks_carry_is_told_roughly_and_in_the_readers_units() -> None:
    metric = Measures(Units.METRIC, a_mill(), "USD")
    (words,) = supports_words(a_document(mill=MILL), a_plan(supports=(BLOCKS,)), metric)
    assert words.endswith("2.59 m from the butt, 356 mm right of center; they carry about 200 kg")
    for load_kg in (None, 1.0):
        assert "carry" not in said(BLOCKS.model_copy(update={"load_kg": load_kg}))[0]


def test_the_setup_in_a_few_words() -> None:
    after = a_support(2, 2.0, 0.0, flipped=True)
    assert supports_short(a_plan(supports=(SHIM, BEARS, BLOCKS)), IMPERIAL) == (
        "1 1/8 in under the butt, blocks 11 in under limb 2"
    )
    assert supports_short(a_plan(supports=(BEARS,)), IMPERIAL) == "no shims"
    assert supports_short(a_plan(supports=(BEARS, after)), IMPERIAL) == ("no shims; after the flip 2 in under the butt")


def test_what_is_placed_after_a_flip_is_told_with_the_flip() -> None:
    cuts = (a_pass(1, 0.7), a_pass(2, 0.4), a_pass(3, 0.3).model_copy(update={"flipped": True}))
    plan = a_plan(
        supports=(SHIM, a_support(2, 2.0, 1.0, flipped=True)), passes=cuts, slabs=(), flipped_log_to_bed=FLIPPED
    )
    lines = text_of(a_document(plans=(plan,))).splitlines()
    turned = next(at for at, line in enumerate(lines) if "Turn the log over" in line)

    assert lines[turned + 1] == "  Shim 2 in under the butt, on bunk 2, 2 ft 6 in from the butt, 1 in left of"
    assert lines[turned + 2] == "    center"
    assert not any("Shim 2 in" in line for line in lines[:turned])
    assert any(line.startswith("  Set    Shim 1 1/8 in under the butt,") for line in lines[:turned])


def test_a_log_on_its_bunks_alone_needs_no_shims() -> None:
    assert "  Set    No shims\n" in text_of(a_document(plans=(a_plan(supports=(BEARS,)),)))


def test_how_safely_it_stands_is_told_with_the_setup() -> None:
    text = text_of(a_document(plans=(a_plan(stands_by_m=2.75 * INCH_M),)))

    assert "Stands by 2 3/4 in: through every cut its weight stays that far inside what holds it" in " ".join(
        text.split()
    )
    assert "Stands" not in text_of(a_document(plans=(a_plan(),)))


def test_a_way_that_turns_over_says_so_first_and_where_blocks_would_hold_it() -> None:
    lines = text_of(a_document(plans=(a_plan(overturning=OVER),)), title="Your way").splitlines()
    table = next(at for at, line in enumerate(lines) if line.startswith("Plan "))
    head = " ".join(" ".join(lines[:table]).split())

    assert "STOP The log will turn over on the bed in this setup." in head
    assert "blocks 14 in high, 4 ft 6 in from the butt, 2 in left of center, would hold it" in head
    assert "  Stands no: read the stop before you set it up" in lines


@pytest.mark.parametrize(
    ("outside_m", "clamps_hold", "words"),
    [(0.1, False, "no: read"), (0.1, True, "only as long as the clamps hold it"), (None, True, "no: read")],
)
def test_only_clamps_may_hold_what_would_turn_over(outside_m: float | None, clamps_hold: bool, words: str) -> None:
    plan = a_plan(overturning=OVER.model_copy(update={"outside_m": outside_m}), stands_by_m=-0.1)

    assert stands_words(a_document(mill=a_mill(clamps_hold=clamps_hold)), plan, IMPERIAL).startswith(words)


def test_the_table_and_ones_own_way_begin_with_the_gaps_of_both_ends() -> None:
    known = a_plan(supports=(SHIM, a_support(3, 5.0, 0.0), BLOCKS), gaps_m=(1.0 * INCH_M, 0.0))
    kept = known.model_copy(update={"gaps_m": None})

    assert [shim_at(known, end) for end in ("butt", "top")] == [pytest.approx(1.0 * INCH_M), 0.0]
    assert [shim_at(kept, end) for end in ("butt", "top")] == [
        pytest.approx(5.0 * INCH_M), pytest.approx(11.0 * INCH_M)
    ]  # fmt: skip
    row = next(line for line in text_of(a_document(plans=(known,))).splitlines() if line.startswith("1 "))
    assert row.split()[2:4] == ["1", "none"]


def test_a_plan_from_before_supports_tells_its_shims_without_a_side() -> None:
    data = json.loads(a_document().model_dump_json())
    for plan in (*data["plans"], data["plain_way"]):
        for name in ("supports", "gaps_m", "stands_by_m", "overturning", "mass_centre_m"):
            del plan[name]
    data["plans"][0]["shims"] = [{"x_m": 0.55, "side": "left", "height_m": 1.5 * INCH_M}]
    kept, _ = read_plan(data)
    best: Plan = kept.plans[0]

    assert supports_words(kept, best, IMPERIAL) == [
        "Shim 1 1/2 in under the butt, on bunk 2, 1 ft 9 1/2 in from the butt"
    ]
    assert "  Set    Shim 1 1/2 in under the butt, on bunk 2," in text_of(kept)
