"""What the text says of a flip, of stretches, of metal, and of what heart, marks and feather cost or brought."""

import uuid
from typing import Any

import pytest
import shapes
from plan_documents import FORK, a_document, a_log, a_mill, a_pass, a_plan, a_price_book, a_slab

from optimizer.bed.marks import place_on_girth
from optimizer.documents.plan import Mark, Offcut, Plan, PlanDocument, Source
from optimizer.documents.prices import PriceBook
from optimizer.planning import LogGiven, Run, price_way
from optimizer.search.given import Given
from optimizer.wood.woods import find_wood
from service.words.cut_words import figure_words
from service.words.tables import FLIP_LINE, Assumed, plan_text
from service.words.units import Units
from service.words.worth import worth_inside

INCH_M = 0.0254
ASSUMED = Assumed(mill="m", prices="p", species="s", bark="b", end_trim="t")
FLIPPED = ((1.0, 0.0, 0.0, 0.0), (0.0, -1.0, 0.0, 0.0), (0.0, 0.0, -1.0, 0.62), (0.0, 0.0, 0.0, 1.0))
METAL = Mark(id="metal 1", kind="metal", x_m=1.2, y_m=0.0, z_m=20 * INCH_M, radius_m=INCH_M, depth_m=4 * INCH_M)
PITH = Mark(id="pith 1", kind="pith", x_m=0.0, y_m=0.0, z_m=0.0, radius_m=0.0, depth_m=0.0)
HEART = (((0.0, 0.0, 0.0), (2.9, 0.0, 0.0)),)


def text_of(units: Units = Units.IMPERIAL, *, show_all: bool = False, **changes: Any) -> str:
    return plan_text(a_document(**changes), ASSUMED, units, show_all=show_all)


def words_of(**changes: Any) -> str:
    return " ".join(text_of(**changes).split())


def a_flipped_plan(**changes: Any) -> Plan:
    after = [cut.model_copy(update={"flipped": True}) for cut in (a_pass(3, 15 * INCH_M), a_pass(4, 10 * INCH_M))]
    given: dict[str, Any] = {
        "passes": (a_pass(1, 29 * INCH_M), a_pass(2, 26 * INCH_M), *after),
        "flipped_log_to_bed": FLIPPED,
        "slabs": (a_slab(), *(a_slab(id=str(k), layer=k, flipped=True) for k in (2, 3))),
        "offcuts": tuple(
            Offcut(where=where, volume_m3=0.01, mass_kg=kg) for where, kg in (("first", 50.0), ("flipped", 40.0))
        ),
    }
    return a_plan(**given | changes)


def table_of(text: str) -> list[list[str]]:
    lines = text.splitlines()
    start = next(at for at, line in enumerate(lines) if line.startswith("Cut ") and "Blade at" in line)
    end = next(at for at, line in enumerate(lines) if line.startswith("  Weight is"))
    return [line.split() for line in lines[start + 3 : end]]


def test_the_flip_stands_between_the_passes_and_layers_go_on_after_it() -> None:
    rows = table_of(text_of(plans=(a_flipped_plan(),)))

    assert rows[2] == FLIP_LINE.split()
    starts = [rows[0][:3], rows[1][:3], rows[3][:3], rows[4][:3], rows[5][:2]]
    assert starts == [["1", "29", "round"], ["2", "26", "1"], ["3", "15", "round"], ["4", "10", "2"], ["3", "8/4"]]
    assert rows[3][-1] == "88/110"


def test_a_plan_without_a_flip_says_nothing_of_one() -> None:
    text = text_of()

    assert FLIP_LINE not in text
    assert "flip" not in text
    assert "urn the log" not in text


@pytest.mark.parametrize(("lower_face_m", "told"), [(0.0, True), (0.01, False)])
def test_a_slab_that_lies_on_the_bunks_at_the_end_is_told(lower_face_m: float, told: bool) -> None:
    slab = a_slab(id="3", layer=3, flipped=True, lower_face_m=lower_face_m)

    words = words_of(plans=(a_flipped_plan(slabs=(slab,)),))

    assert ("The last piece on the bed is slab 3." in words) is told
    assert "4 cuts, a flip" in words


@pytest.mark.parametrize(
    ("stretch_m", "said"),
    [
        ((0.0, 2.9), None),
        ((0.0, 60 * INCH_M), "5 ft from the butt, square to the log Keep the butt piece for the bed."),
        (
            (30 * INCH_M, 90 * INCH_M),
            "2 ft 6 in from the butt, square to the log 7 ft 6 in from the butt, square to the log Keep the middle",
        ),
        ((30 * INCH_M, 2.9), "2 ft 6 in from the butt, square to the log Keep the top piece for the bed."),
    ],
)
def test_a_stretch_says_where_it_is_bucked(stretch_m: tuple[float, float], said: str | None) -> None:
    words = words_of(plans=(a_plan(stretch_m=stretch_m),))

    assert (said is None and "Buck" not in words) or (said is not None and f"Buck {said}" in words)


def test_plans_bucked_alike_are_named_together() -> None:
    first, second = (a_plan(rank=rank, stretch_m=(0.0, 60 * INCH_M)) for rank in (1, 2))
    plain = a_plan(rank=0, stretch_m=(30 * INCH_M, 2.9))

    words = words_of(plans=(first, second), plain_way=plain)

    assert "Buck the log first: 5 ft from the butt (1, 2); 2 ft 6 in from the butt (straight)." in words
    plain = a_plan(rank=0, stretch_m=(0.0, 60 * INCH_M))
    words = words_of(plans=(first, second), plain_way=plain)
    assert "Buck the log first: 5 ft from the butt (all plans)." in words


def test_marks_are_listed_with_the_log() -> None:
    words = words_of(log=a_log(marks=(METAL, PITH)))

    assert (
        "Marked: metal 1 at 3 ft 11 in from the butt, 2 in across and 4 in deep; pith 1 at 0 in from the butt" in words
    )


def test_metal_shows_how_high_it_lies_before_and_after_a_flip() -> None:
    log = a_log(marks=(METAL,), hearts=HEART)

    # No blade within 2 in of it: its bottom 22 in up at least, its top, 1/16 in higher, 14 in at most.
    said = (
        "Metal metal 1 sits 16 in to 20 in above the bunks: keep the blade above 22 in or below 13 7/8 in on the scale"
    )
    mill = a_mill(metal_keep_out="2 in")
    assert f"{said} Check" in words_of(log=log, mill=mill)
    zero = a_mill(metal_keep_out="2 in", scale_zero="1 in")
    assert "above 21 in or below 12 7/8 in on the scale Check" in words_of(log=log, mill=zero)
    wide = a_mill(metal_keep_out="17 in")
    assert "keep the blade above 37 in on the scale Check" in words_of(log=log, mill=wide)
    assert "Metal metal 1 sits 16 in to 20 in above the bunks Check" in words_of(
        log=log, mill=a_mill(metal_keep_out="0")
    )
    # 0.62 m is 24 3/8 in: turned over, 16 to 20 in lie at 4 3/8 to 8 3/8 in.
    flipped = words_of(log=log, plans=(a_flipped_plan(),))
    assert "metal 1 sits 4 3/8 in to 8 3/8 in above the bunks after the flip" in flipped


def test_pith_level_stands_beside_straight_through_with_its_differences() -> None:
    text = text_of(hearts_level=a_plan(rank=0, net=421.2))

    names = [line.split()[0] for line in text.splitlines() if line.startswith(("level ", "straight "))]
    assert names == ["level", "straight"]
    assert next(line for line in text.splitlines() if line.startswith("level ")).endswith("-$50")
    assert "$150 less than plan 1" in " ".join(text.split())


def test_what_cannot_be_told_in_money_is_told_as_areas() -> None:
    book = a_price_book(figure={"feather_per_board_foot": 10.0})
    slab = a_slab(figure_area_m2=0.1, marked_area_m2=0.01)
    log = a_log(forks=(FORK, FORK))

    words = words_of(prices=book, log=log, plans=(a_plan(slabs=(slab,)),))

    assert "marks in slab 1 16 in2" in words
    assert "crotch figure in slab 1 155 in2" in words


@pytest.mark.parametrize("units", list(Units))
def test_lines_fit_a_page_of_80_columns(units: Units) -> None:
    slabs = tuple(
        a_slab(id=f"{k}b", layer=k, flipped=k > 1, marked_area_m2=0.3, figure_area_m2=0.2, price=2345.6)
        for k in range(1, 4)
    )
    plan = a_flipped_plan(slabs=slabs, stretch_m=(0.3, 1.9))
    text = text_of(
        units, show_all=True, plans=(plan,), hearts_level=a_plan(rank=0, net=123456.0),
        log=a_log(marks=(METAL, PITH), hearts=HEART, forks=(FORK,)),
        prices=a_price_book(figure={"feather_per_board_foot": 10.0}),
    )  # fmt: skip

    assert [line for line in text.splitlines() if len(line) > 80] == []


def priced(log: Any, book: PriceBook, marks: tuple[Mark, ...]) -> PlanDocument:
    wood = find_wood("white ash")
    given = LogGiven(
        log, Source(kind="sheet", sha256="0" * 64), wood, (0.05, 0.05), bark_on=False, bark_ratio=1.0, marks=marks
    )
    mill = a_mill(max_shim="8 in", throat="90 in")
    middle_m = 0.28
    heights = tuple(middle_m + off_m for off_m in (0.15, 0.09, 0.03, -0.03))
    run = Run(id=uuid.uuid4().hex, made_at="", made_with="a test", clock=lambda: 0.0)
    return price_way(given, mill, book, Given(0.0, 0.0, 0.0, heights), run=run)


def test_what_heart_marks_and_feather_changed_is_what_the_same_slabs_sell_for_without_them() -> None:
    log = shapes.forked()
    place = place_on_girth(log, 1.0, 0.0)
    knot = Mark(id="knot 1", kind="knot", x_m=place[0], y_m=place[1], z_m=place[2], radius_m=0.05, depth_m=0.4)
    size = {"limits": {"min_width": "5 in", "min_length": "2 ft"}}
    whole = priced(log, a_price_book(**size), (knot,))
    flawed = priced(log, a_price_book(**size, deduct={"heart": 0.4, "knot": 0.5}), (knot,))
    premium = {"feather_per_board_foot": 10.0}
    figured = priced(log, a_price_book(**size, deduct={"heart": 0.4, "knot": 0.5}, figure=premium), (knot,))

    gross = [document.plans[0].gross for document in (whole, flawed, figured)]
    worth = worth_inside(figured.plans[0], figured)

    assert [len(document.plans[0].slabs) for document in (whole, flawed, figured)] == [len(whole.plans[0].slabs)] * 3
    assert worth is not None
    assert worth.lost == pytest.approx(gross[0] - gross[1], rel=1e-6)
    assert worth.brought == pytest.approx(gross[2] - gross[1], rel=1e-6)
    assert min(worth.lost, worth.brought) > 1.0
    # 3.5 in to either side of the fork plane: the first cut is too high, the second opens it.
    assert figure_words(whole.plans[0], whole) == ""
    assert figure_words(figured.plans[0], figured) == "Cut 2 opens the crotch figure."


RINGS = (((0.5, -0.1), (0.8, -0.1), (0.8, 0.1), (0.5, 0.1)),)


@pytest.mark.parametrize(
    ("shown", "told"),
    [
        ([], ""),
        # Layer 1 lies between cuts 1 and 2, layer 2 between 3 and 4, layer 3 under cut 4 on the bunks.
        ([(1, "figure_m")], "Cut 1 opens the crotch figure."),
        ([(1, "figure_below_m"), (2, "figure_m")], "Cut 2 opens the crotch figure."),
        ([(3, "figure_m"), (2, "figure_below_m")], "Cut 4 opens the crotch figure."),
        ([(3, "figure_below_m")], ""),
    ],
)
def test_the_first_cut_that_opens_crotch_figure_is_told(shown: list[tuple[int, str]], told: str) -> None:
    slabs = tuple(
        a_slab(id=str(k), layer=k, flipped=k > 1, figure_area_m2=0.03, **{face: RINGS for at, face in shown if at == k})
        for k in (1, 2, 3)
    )
    plan = a_flipped_plan(slabs=slabs)

    words = words_of(plans=(plan,))

    assert figure_words(plan, a_document(plans=(plan,))) == told
    assert words.count("opens the crotch figure") == bool(told)
    assert told in words
