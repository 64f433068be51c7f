"""A plan document as text: what must stand in it, and that it fits the page."""

import re
from pathlib import Path

import pytest
from plan_documents import a_document, a_log, a_mill, a_pass, a_plan, a_price_book, a_slab
from plan_texts import text_of

from optimizer.documents.plan import Doubt, LevelWhy, Mark, PlanDocument, Waste
from optimizer.report.cautions import PLAN_LINE, cautions_for
from service.words.slab_words import numbers_said
from service.words.units import Units

ROOT = Path(__file__).parents[3]


def wide_document(currency: str) -> PlanDocument:
    """Return a document whose numbers are as wide as real ones get."""
    slabs = tuple(
        a_slab(
            id=f"{k}b", layer=k, quarters=(8, 10, 12)[k % 3], mean_width_m=47.5 * 0.0254, min_width_m=35.6 * 0.0254,
            max_width_m=52 * 0.0254, length_m=3.9, board_feet=128.5, mass_kg=453.0, price=2345.6,
        )
        for k in range(1, 12)
    )  # fmt: skip
    passes = tuple(a_pass(k, (50.0 - 3.3125 * (k - 1)) * 0.0254) for k in range(1, 13))
    plan = a_plan(slabs=slabs, passes=passes, net=21345.0, gross=25000.0, board_feet=1413.5)
    return a_document(
        plans=(plan,), plain_way=plan.model_copy(update={"rank": 0, "net": 20000.0}), currency=currency, log=a_log()
    )


def in_doubt(document: PlanDocument) -> PlanDocument:
    """Return a document whose plans were weighed in doubt; five of them, in four thicknesses."""
    (plan,) = document.plans
    thick = tuple(
        slab.model_copy(update={"quarters": quarters})
        for slab, quarters in zip(plan.slabs, (6, 8, 8, 8, 10, 10, 10, 12, 12, 12, 12), strict=True)
    )
    doubtful = {"roll_deg": 181.0, "net_expected": 20345.0, "net_p10": 19999.0, "net_p90": 22222.0, "slabs": thick}
    plans = tuple(plan.model_copy(update={**doubtful, "rank": k, "chance_best": 0.2}) for k in range(1, 6))
    return document.model_copy(update={"plans": plans, "doubt": Doubt(samples=200, sources=())})


@pytest.mark.parametrize("units", list(Units))
@pytest.mark.parametrize(
    "document",
    [
        a_document(), wide_document("USD"), wide_document("EUR"),
        in_doubt(wide_document("USD")), in_doubt(wide_document("EUR")),
    ],
)  # fmt: skip
def test_lines_fit_a_page_of_80_columns(document: PlanDocument, units: Units) -> None:
    lines = text_of(document, units, show_all=True).splitlines()

    assert [line for line in lines if len(line) > 80 and "long/" not in line] == []


def test_plain_text_alone() -> None:
    assert text_of(a_document()).isascii()


def rows_of(text: str) -> list[list[str]]:
    """Return the cells of the table of cuts of the first plan shown."""
    lines = text.splitlines()
    start = next(at for at, line in enumerate(lines) if line.startswith("Cut ") and "Blade at" in line)
    end = next(at for at, line in enumerate(lines) if line.startswith("  Weight is"))
    return [line.split() for line in lines[start + 3 : end]]


def test_each_pass_shows_its_reading_and_what_comes_off() -> None:
    rows = rows_of(text_of(a_document()))

    assert [row[:4] for row in rows[:3]] == [
        ["1", "29", "round", "top"],
        ["2", "26", "11/16", "1"],
        ["3", "24", "3/8", "2a"],
    ]
    assert rows[3][:2] == ["2b", "12/4"]
    assert rows[0][4:] == ["110/138"]
    assert " ".join(rows[4]) == "no sale 20/25"
    assert " ".join(rows[5]) == "last piece on the bed 88/110"


def test_a_slabs_row() -> None:
    row = rows_of(text_of(a_document()))[1]

    assert row == [
        "2",
        "26",
        "11/16",
        "1",
        "8/4",
        "2",
        "1/4",
        "23",
        "1/2",
        "(20-28)",
        "8'",
        '2"',
        "32.5",
        "22/28",
        "$240",
    ]


def test_readings_follow_the_scales_zero() -> None:
    document = a_document(mill=a_mill(scale_zero="1 in"))

    assert [row[:2] for row in rows_of(text_of(document))[:3]] == [["1", "28"], ["2", "25"], ["3", "23"]]


def test_plans_stand_beside_straight_through_with_the_difference_in_money() -> None:
    text = text_of(a_document())

    assert re.search(r"^1 .* \$571 +\+\$100$", text, re.MULTILINE)
    assert re.search(r"^straight .* \$471$", text, re.MULTILINE)
    assert "Plan 1 should net about $100 (21%) more than sawing it as it lies." in text


@pytest.mark.parametrize(("plain_net", "share"), [(60.0, "$511 (852%) more"), (50.0, "$521 more"), (0.0, "$571 more")])
def test_a_plain_way_that_is_worth_next_to_nothing_is_no_measure(plain_net: float, share: str) -> None:
    text = text_of(a_document(plain_way=a_plan(rank=0, net=plain_net)))

    assert f"Plan 1 should net about {share} than sawing it as it lies." in " ".join(text.split())


@pytest.mark.parametrize(
    ("at_m", "said"),
    [(22.0, "the metal stops that after 3 cuts. A sawyer would go around it"), (10.0, ""), (27.0, "")],
)
@pytest.mark.parametrize("plain_net", [471.2, 571.2, 900.0])
def test_nothing_is_held_against_a_straight_way_that_metal_stops(at_m: float, said: str, plain_net: float) -> None:
    # Passes at 29, 26 11/16 and 24 3/8 in: the next would be at 22 1/16 in.
    height_m = at_m * 0.0254
    metal = Mark(id="metal 1", kind="metal", x_m=1.2, y_m=0.3, z_m=height_m, radius_m=0.01, depth_m=0.05)
    heart = ((0.0, 0.0, height_m), (2.9, 0.0, height_m))
    document = a_document(log=a_log(marks=(metal,), hearts=(heart,)), plain_way=a_plan(rank=0, net=plain_net))

    for title in ("Plan 1", "Your way"):
        text = " ".join(text_of(document, title=title).split())
        assert ("the metal stops" in text) is bool(said)
        assert said in text
        assert ("than sawing it as it lies." in text) is (not said)
        assert ("+$100" in text) is (not said and plain_net == 471.2)


def test_a_log_that_cannot_be_sawn_as_it_lies() -> None:
    text = " ".join(text_of(a_document(plain_way=None)).split())

    assert "$571" in text
    assert "Can't compare with sawing it as it lies: your mill can't take it that way." in text
    assert "straight" not in text  # nor an empty column for it


def test_after_cuts_are_made_nothing_is_held_against_sawing_straight_through() -> None:
    document = a_document(kind="rest", made=2)
    text = " ".join(text_of(document, title="The rest planned again after 2 cuts").split())

    assert "With the 2 cuts you've made, the log should net about $571 in all." in text
    assert "more than sawing" not in text
    assert "+$100" not in text


def test_the_shim_names_its_bunk_and_height() -> None:
    assert re.search(r"Shim 1 1/2 in under the butt, on bunk 2,", text_of(a_document()))


def test_only_the_best_plan_is_in_full_unless_all_are_asked_for() -> None:
    heads = re.compile(r"^(?:Plan \d|Straight through): net", re.MULTILINE)

    assert len(heads.findall(text_of(a_document()))) == 1
    assert len(heads.findall(text_of(a_document(), show_all=True))) == 3


def test_the_reader_learns_what_was_assumed_and_from_where() -> None:
    text = text_of(a_document(prices=a_price_book(name="Harbour book")))

    assert "Harbour book" in text
    assert all(where in text for where in ("mill.toml", "p.toml", "S1", "B1", "T1"))


def test_cautions_come_last_the_stop_first_and_then_the_line_of_every_plan() -> None:
    text = " ".join(text_of(a_document(), show_all=True).split())

    assert text.index("The top end was not measured.") < text.rindex("STOP") < text.index("NOTE Take care")
    assert text.index("STOP") < text.index("Plan Roll")
    assert text.endswith(PLAN_LINE)


def test_log_rules_are_shown_where_they_reach_and_not_for_a_crotch_log() -> None:
    text = text_of(a_document(log=a_log()))

    assert "Doyle" not in text_of(a_document())

    assert "Doyle 98" in text
    assert "International" not in text


def test_what_the_log_cost_and_what_it_may_cost() -> None:
    text = text_of(a_document())

    assert re.search(r"The log cost +-\$150\n +Left after paying for it +\$421\n", text)
    assert re.search(r"Most you can pay for it +\$571", text)


def test_a_first_pass_that_opens_nothing_is_not_offered_as_a_check() -> None:
    face = a_plan().first_face.model_copy(update={"length_m": 0.01})

    assert "no cut opens a face large enough to measure" in text_of(a_document(plans=(a_plan(first_face=face),)))


def test_a_first_face_that_may_be_next_to_nothing_is_checked_for_being_too_large_alone() -> None:
    face = a_plan().first_face.model_copy(
        update={"max_width_m_p10": 0.01, "max_width_m_p90": 0.5, "length_m_p10": 0.1, "length_m_p90": 2.5}
    )
    text = " ".join(text_of(a_document(plans=(a_plan(first_face=face),))).split())

    assert "17 1/2 in x 7 ft 2 in. Over 19 1/2 in wide or 8 ft 2 in long? Stop" in text


def test_pieces_too_light_to_show_are_left_out() -> None:
    crumbs = (Waste(layer=1, volume_m3=1e-5, mass_kg=0.01), Waste(layer=2, volume_m3=0.01, mass_kg=9.0))
    text = text_of(a_document(plans=(a_plan(waste=crumbs),)))

    assert [row[-1] for row in rows_of(text) if row[:2] == ["no", "sale"]] == ["20/25"]


@pytest.mark.parametrize("show_all", [False, True])
def test_the_rules_that_always_hold_are_shown_with_all_alone(show_all: bool) -> None:
    document = a_document()
    cautions = cautions_for(document.log, document.mill, document.plans, document.wood.name)

    text = " ".join(text_of(document.model_copy(update={"cautions": cautions}), show_all=show_all).split())

    standing = [caution.line for caution in cautions if caution.standing]
    assert len(standing) > 5
    assert [line in text for line in standing] == [show_all] * len(standing)
    assert ("Rules that always hold" in text) is show_all
    assert ("--all" in text) is not show_all


def test_a_plan_alone_has_its_own_cautions_alone() -> None:
    light = a_plan(slabs=(a_slab(mass_kg=1.0),))
    heavy = a_plan(rank=2, slabs=(a_slab(mass_kg=90.0),))
    document = a_document(plans=(light, heavy))
    document = document.model_copy(
        update={"cautions": cautions_for(document.log, document.mill, document.plans, document.wood.name)}
    )

    assert "Too heavy for one person" not in text_of(document)
    assert "slab 1 of plan 2 could weigh 248 lb" in " ".join(text_of(document, show_all=True).split())


def test_a_way_beside_the_plans_has_its_own_cautions_under_it() -> None:
    light = a_plan(slabs=(a_slab(mass_kg=1.0),))
    heavy = a_plan(rank=0, slabs=(a_slab(mass_kg=90.0),))
    for beside, name in (("plain_way", "straight through"), ("hearts_level", "pith level")):
        document = a_document(plans=(light,), **{"plain_way": None, "hearts_level": None, beside: heavy})
        before, _, after = text_of(document, show_all=True).partition(f"Cautions: {name}\n")
        own, _, of_plans = after.partition("Cautions: the plans\n")

        assert "WARNING Too heavy for one person" in own
        assert "Too heavy" not in before + of_plans
        assert "Cautions:" not in text_of(document)
        assert "Too heavy" not in text_of(document)


def test_many_thicknesses_are_told_as_slabs_where_money_takes_the_room() -> None:
    assert " 11, mixed " in text_of(in_doubt(wide_document("EUR")))
    assert "kinds" not in text_of(in_doubt(wide_document("EUR")))


def test_how_often_a_plan_is_the_best_pick_has_one_name_here_and_on_pages() -> None:
    text = text_of(in_doubt(wide_document("USD")))
    page = (ROOT / "service" / "pages" / "templates" / "plans.html").read_text()

    assert re.search(r"Best\n.* pick\n", text)
    assert "Best pick is how often a plan beats the others" in " ".join(text.split())
    assert "<dt>Best pick</dt>" in page
    assert "rings most" not in text + page


def test_break_even_is_what_the_document_says() -> None:
    plan = in_doubt(wide_document("USD")).plans[0].model_copy(update={"break_even_log_price": 20111.0})

    assert re.search(r"Most you can pay for it +\$20,111 ", text_of(a_document(plans=(plan,))))


def test_a_number_that_no_slab_has_is_explained() -> None:
    said = "Slabs are numbered by layer, in sawing order; layer 1 gives no slab to sell."
    second = a_plan(slabs=(a_slab(id="2", layer=2),))

    assert said in " ".join(text_of(a_document(plans=(second,))).split())
    assert "numbered by layer" not in text_of(a_document())


MAY = "no slab to sell, unless the log is bigger than measured."
NONE = "Slabs are numbered by layer, in sawing order;"


@pytest.mark.parametrize(
    ("layers", "meant", "said"),
    [
        ((2,), (1,), f"{NONE} layer 1 gives {MAY}"),
        ((3,), (1, 2), f"{NONE} layers 1 and 2 give {MAY}"),
        ((4,), (2, 5), f"{NONE} layers 1, 2 and 3 give no slab to sell. Layers 2 and 5 give {MAY}"),
        ((1, 2), (3,), f"Layer 3 gives {MAY}"),
        ((3,), (), f"{NONE} layers 1 and 2 give no slab to sell."),
        ((), (1,), f"Layer 1 gives {MAY}"),
    ],
)
def test_a_layer_that_may_give_a_slab_is_told_in_doubt(
    layers: tuple[int, ...], meant: tuple[int, ...], said: str
) -> None:
    slabs = tuple(a_slab(id=str(layer), layer=layer) for layer in layers)
    waste = tuple(Waste(layer=layer, volume_m3=0.01, mass_kg=9.0, quarters=8) for layer in meant)
    plan = a_plan(slabs=slabs, waste=waste)

    assert numbers_said(plan.model_copy(update={"net_p10": 1000.0})) == said
    assert "unless" not in numbers_said(plan)


@pytest.mark.parametrize(("bark", "kerf_mass_kg", "times"), [(True, 9.0, 1), (False, 9.0, 0), (True, None, 0)])
def test_weights_are_said_to_include_the_bark_where_they_do(bark: bool, kerf_mass_kg: float | None, times: int) -> None:
    text = text_of(a_document(log=a_log(bark=bark), plans=(a_plan(kerf_mass_kg=kerf_mass_kg),)))

    assert " ".join(text.split()).count("(25% more). Weight includes bark.") == times
    assert text.count("includes bark") == times


@pytest.mark.parametrize(
    ("kind", "over_m", "said"),
    [
        ("posts", 0.1016, "the log is 4 in too wide for your posts that way"),
        ("throat", 0.0508, "the cuts are 2 in too wide for your mill that way"),
        ("prop", 0.0254, "blocks must be 1 in higher than your highest"),
        ("shim", None, "a shim must be higher than your highest"),
        ("stands", 0.0254, "the log turns over that way, as its weight lies 1 in too far out"),
    ],
)
def test_what_keeps_piths_from_being_level_is_told(kind: str, over_m: float | None, said: str) -> None:
    why = LevelWhy.model_validate({"kind": kind, "over_m": over_m})

    text = " ".join(text_of(a_document(hearts_level_why=why)).split())

    assert f"Pith level does not work here: {said}" in text
    assert "does not work here" not in text_of(a_document())
