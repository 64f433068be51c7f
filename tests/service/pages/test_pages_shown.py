"""Every page from real documents: there, escaped, small, with nothing from outside and no script or style inline."""

import html
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from kept_pages import NASTY, Pages, Planned, desk_of, keep_log, keep_plan

from optimizer.documents.plan import Bound, Doubt, DoubtSource, NetAtRoll
from optimizer.doubt.possible_logs import SURFACE
from optimizer.report.cautions import as_shown, cautions_of
from optimizer.report.metal_cautions import metal_on_bed
from scans.messages import Note, mass, short_length
from service.contract import job_state
from service.contract.documents import BestShown, ErrorShown, PlanRequest, WayRequest
from service.pages import plan_view
from service.pages.rendering import unbroken
from service.pages.words import WORDS
from service.words.doubt_words import best_pick
from service.words.lay_words import metal_words
from service.words.measures import measures_in
from service.words.proven import bound_said, percent_more
from service.words.turn_words import turn_told
from service.words.units import Units

MOST_BYTES = 150_000
_VOID = {"meta", "link", "input", "br", "img", "hr"}
PAGES = (
    "/", "/logs/new", "/logs/sheet", "/words", "/mills", "/mills/new", "/prices", "/prices/new", "/sign-in",
    "/logs/{log}", "/logs/{log}/way", "/logs/{log}/way?plan={plan}&which=1",
    "/plans/{plan}", "/plans/{plan}/1", "/plans/{plan}/plain", "/plans/{plan}/1/cut-list",
    "/plans/{plan}/compare?a=1&b=plain",
)  # fmt: skip


class Page(HTMLParser):
    """What a page is made of; elements must close in order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in _VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in _VOID:
            assert self.open, f"</{tag}> closes nothing"
            assert self.open.pop() == tag

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))


@pytest.fixture(params=PAGES)
def page(request: pytest.FixtureRequest, client: Pages, log_id: str, plan_id: str) -> str:
    found = client.get(request.param.format(log=log_id, plan=plan_id))
    assert found.status_code == 200
    assert found.headers["content-type"].startswith("text/html")
    return found.text


def test_a_page_closes_what_it_opens(page: str) -> None:
    assert Page(page).open == []


def test_names_are_shown_as_they_are_and_run_nothing(page: str) -> None:
    assert "<script>alert" not in page
    assert "alert('x')" not in page


def test_scripts_and_styles_are_files_of_its_own(page: str) -> None:
    for tag, attributes in Page(page).elements:
        assert "style" not in attributes
        assert not [name for name in attributes if name.startswith("on")]
        if tag == "script":
            assert (attributes.get("src") or "").startswith("/static/")
        assert tag != "style"


def test_nothing_comes_from_another_host(page: str) -> None:
    addresses = [
        value or ""
        for _, attributes in Page(page).elements
        for name, value in attributes.items()
        if name in {"src", "href", "action", "data-solid", "data-plan", "data-marks"}
    ]
    assert addresses
    assert all(re.match(r"[/#]", address) and not address.startswith("//") for address in addresses)


def test_a_page_with_all_that_it_loads_is_light(page: str, client: Pages) -> None:
    loaded = {
        value or ""
        for tag, attributes in Page(page).elements
        for name, value in attributes.items()
        if tag in {"script", "link", "img"} and name in {"src", "href"}
    }
    sizes = [len(client.get(address).content) for address in loaded if "solid" not in address]
    assert len(page.encode()) + sum(sizes) < MOST_BYTES


def test_every_field_has_a_label(page: str) -> None:
    elements = Page(page).elements
    labelled = {attributes["for"] for tag, attributes in elements if tag == "label" and "for" in attributes}
    fields = [
        attributes
        for tag, attributes in elements
        if tag in {"input", "select"} and attributes.get("type") not in {"hidden", "radio", "checkbox", "range"}
    ]
    assert [field.get("name") for field in fields if field.get("id") not in labelled] == []


def test_ids_are_not_given_twice(page: str) -> None:
    ids = [attributes["id"] for _, attributes in Page(page).elements if "id" in attributes]
    assert sorted(ids) == sorted(set(ids))


TERMS = {
    r"roll\b": {"roll"}, r"shims?\b": {"shim"}, r"supports?\b": {"support"}, r"blocks\b": {"prop"},
    r"stands by\b": {"stands"}, r"bunks?\b": {"bunk"}, r"kerf\b": {"kerf"}, r"pass(es)?\b": {"pass"},
    r"slabs?\b": {"slab"}, r"round top\b": {"offcut"}, r"no sale\b": {"waste"}, r"(cut 1|\d cuts)\b": {"pass"},
    r"flip\b": {"flip"}, r"hearts?\b": {"heart"}, r"pith level\b": {"hearts-level"},
    r"pith\b(?! level)": {"pith", "heart"}, r"crotch figure\b": {"feather"}, r"fork(ed)?\b": {"fork"},
    r"girth\b": {"girth"}, r"(?<!\d )(4|5|6|8|10|12|16)/4\b": {"quarters"}, r"net\b": {"net"},
    r"board f(oo|ee)t\b": {"board-foot"}, r"first face\b": {"first-face"},
    r"(?<!it )straight through\b": {"plain-way"}, r"4 times out of 5\b": {"doubt"}, r"lift at\b": {"lift-mass"},
    r"throat\b": {"throat"}, r"bow\b": {"bow"}, r"limbs?\b": {"limb", "fork"}, r"(?<!check )marks?\b": {"mark"},
    r"crotch(es)?\b": {"fork", "feather"}, r"trunk\b": {"stem"}, r"setups?\b": {"lay"}, r"buck\b": {"buck"},
}  # fmt: skip
"""Words of the trade as they stand on pages, and the explanations of which one must be at hand there."""


@pytest.mark.parametrize("address", [page for page in PAGES if page != "/words"])
def test_every_word_of_the_trade_explains_itself_where_it_stands(
    client: Pages, log_id: str, plan_id: str, address: str
) -> None:
    text = client.get(address.format(log=log_id, plan=plan_id)).text
    main = text.partition("<main")[2].partition("</main>")[0].partition('<section class="cautions"')[0]
    explained = {re.sub(r"\W", "", word) for word in re.findall(r'<span class="meaning"><b>([^<]*)</b>', main)}
    meanings = {key for key, word in WORDS.items() if re.sub(r"\W", "", word.term) in explained}
    shown = re.sub(
        r"<(title|svg|option|datalist)\b.*?</\1>",
        " ",
        re.sub(r'<span class="meaning">.*?</span>', " ", main),
        flags=re.DOTALL,
    )
    said = re.sub(r"<[^>]*>", " ", shown).lower().replace("\u00a0", " ")
    missing = [term for term, keys in TERMS.items() if re.search(rf"(?<![\w/]){term}", said) and not keys & meanings]
    assert missing == []


def test_the_log_page_shows_its_name_and_marks_escaped(client: Pages, log_id: str) -> None:
    text = client.get(f"/logs/{log_id}").text
    assert "&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt; &amp; &#34;maple&#34;" in text
    assert "<b>metal 1</b>" in text
    assert NASTY not in text


def test_a_way_and_its_cut_list_say_how_high_metal_lies(client: Pages, plan_id: str, planned: Planned) -> None:
    document = planned.document
    (_, corners), *_ = metal_on_bed(document.log, document.plans[0], flipped=False)
    measures = measures_in(Units.IMPERIAL, document.currency, document.mill)
    (says,) = metal_words(document.plans[0], document.log, measures)
    sits = (
        f"metal 1 sits {measures.short(corners[:, 2].min())} to {measures.short(corners[:, 2].max())} above the bunks"
    )
    assert says.startswith(sits)
    assert unbroken(says) in client.get(f"/plans/{plan_id}/1").text
    assert f"{unbroken(says)}.</b>" in client.get(f"/plans/{plan_id}/1/cut-list").text


def test_the_plan_page_says_what_the_best_way_brings(client: Pages, plan_id: str, planned: Planned) -> None:
    document = planned.document
    text = client.get(f"/plans/{plan_id}").text
    assert f'<h1 class="big">${document.plans[0].net:,.0f}</h1>' in text
    assert text.count('class="card way') == len(document.plans) + (document.hearts_level is not None)
    assert "4 times out of 5" not in text  # until doubt is weighed


def test_the_best_way_stands_open_with_its_slider_and_the_others_are_folded(
    client: Pages, plan_id: str, planned: Planned
) -> None:
    text = client.get(f"/plans/{plan_id}").text
    slider, best, others = (text.index(what) for what in ("data-apart", 'class="first"', '<ol class="ways"'))
    assert best < slider < others
    picture = text[best : text.index("</figure>", best)]
    assert "<svg" in picture
    assert "<details" not in picture
    folded = re.findall(r'<li class="card way"><details class="fold"><summary>(.*?)</details></li>', text, re.DOTALL)
    ways = plan_view.ways(planned.document)[1:]
    assert len(folded) == len(ways)
    for shown, inside in zip(ways, folded, strict=True):
        summary, _, rest = inside.partition("</summary>")
        assert shown.label in summary
        assert f"/plans/{plan_id}/{shown.key}/cut-list" in rest
        assert "<svg" in rest


def test_warnings_are_folded_where_one_chooses_and_open_where_one_saws(
    client: Pages, plan_id: str, planned: Planned
) -> None:
    for address, folded in ((f"/plans/{plan_id}", True), (f"/plans/{plan_id}/1/cut-list", False)):
        document = planned.document
        shown = as_shown(document.cautions if folded else cautions_of(document, document.plans[0]))
        lines = {caution.line for caution in shown.with_plan if caution.level == "warning"}
        assert lines
        text = html.unescape(client.get(address).text)
        assert all(caution.line in text for caution in (*shown.more, *shown.standing))
        inside = text.partition('<details class="notes warned">')[2].partition("</details>")[0]
        assert all(line in text for line in lines)
        assert {line for line in lines if line in inside} == (lines if folded else set())


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("17 1/2 in wide and 3 ft 4 in long", "17~1/2~in wide and 3~ft~4~in long"),
        ("3 in under the butt end, on bunk 1, 6 in from it", "3~in under the butt end, on bunk 1, 6~in from it"),
        ("2 ft 1 1/2 in to 9 ft", "2~ft~1~1/2~in to 9~ft"),
        ("530 mm and 2.70 m", "530~mm and 2.70~m"),
        ("4 inside, 5 more", "4 inside, 5 more"),
    ],
)
def test_a_measure_stays_on_one_line(text: str, shown: str) -> None:
    assert unbroken(text) == shown.replace("~", "\u00a0")


def test_doubt_and_bound_show_once_they_are_there(client: Pages, log_id: str, planned: Planned) -> None:
    document = planned.document
    best = document.plans[0].model_copy(
        update={"net_p10": 1000.0, "net_p90": 5000.0, "net_expected": 2222.0, "chance_best": 0.4}
    )
    most = max(plan.net for plan in document.plans)
    sources = (DoubtSource(source=SURFACE, share=0.75), DoubtSource(source="luck", share=0.25))
    doubt = Doubt(samples=9, sources=sources)
    told = document.model_copy(
        update={
            "plans": (best, *document.plans[1:]),
            "bound": Bound(upper_net=most * 1.012, gap=0.0119),
            "doubt": doubt,
        }
    )
    text = client.get(f"/plans/{keep_plan(client, log_id, told)}").text
    assert "4 times out of 5</dfn>" in text
    assert ": $1,000 to $5,000</div>" in text
    assert '<h1 class="big">$2,222</h1>' in text
    assert "<dd>40% of the time" in text
    assert "average net" in text
    assert "the surface: 75%" in text
    folded = text.partition("how it was found</h2></summary>")[2].partition("Change it yourself")[0]
    assert f"If the log is exactly as measured, plan 1 nets ${best.net:,.0f}." in folded
    assert (
        "We checked: if the log is exactly as measured, no setup could beat the best one for it by more than 2%"
        in folded
    )
    assert "Averages are over 9 versions of your log." in folded


@pytest.mark.parametrize(
    ("gap", "percent"),
    [(0.0, "0"), (0.0001, "0.1"), (0.009, "1"), (1.0 - 1.0 / 1.05, "5"), (0.0566, "6"), (0.5, "100")],
)
def test_how_much_more_is_possible_is_never_too_little(gap: float, percent: str) -> None:
    assert percent_more(gap) == percent


@pytest.mark.parametrize(
    ("upper", "says"),
    [
        (1.0, "We checked: no setup could beat this."),
        (1.004, "We checked: no setup could beat this by more than 0.4%."),
        (1.0501, "We checked: no setup could beat this by more than 6%."),
    ],
)
def test_a_proven_bound_is_told_of_the_best_net(planned: Planned, upper: float, says: str) -> None:
    most = max(plan.net for plan in planned.document.plans)
    bound = Bound(upper_net=most * upper, gap=1.0 - 1.0 / upper)
    assert bound_said(planned.document.model_copy(update={"bound": bound})) == says


def test_a_search_says_how_much_more_is_possible(client: Pages, log_id: str) -> None:
    desk = desk_of(client)
    job = desk.store.step_job(desk.start_plan(log_id, PlanRequest()).id, job_state.started)
    assert job is not None
    desk.store.note_progress(job.id, job.attempt, "searching", 3, 9, 1240.0, 0.08)
    text = client.get(f"/jobs/{job.id}").text
    desk.cancel_job(job.id)
    assert "data-best>$1,240</p>" in text
    assert "at most 9% more is possible" in text


def test_a_search_shows_its_best_plan_so_far_and_a_job_that_waits_what_it_is_behind(
    client: Pages, log_id: str, planned: Planned
) -> None:
    desk = desk_of(client)
    job = desk.store.step_job(desk.start_plan(log_id, PlanRequest()).id, job_state.started)
    assert job is not None
    plan = planned.document.plans[0]
    best = BestShown(
        net=777.0, roll_deg=plan.roll_deg, log_to_bed=plan.log_to_bed, stretch_m=plan.stretch_m,
        blade_heights_m=tuple(cut.blade_height_m for cut in plan.passes), buck_cuts=plan.buck_cuts,
    )  # fmt: skip
    desk.store.note_progress(job.id, job.attempt, "scouting", 3, 9, 1240.0, None, best, 0.25, 42.0)
    waiting = desk.start_plan(log_id, PlanRequest(lays=33))
    text, behind = client.get(f"/jobs/{job.id}").text, client.get(f"/jobs/{waiting.id}").text
    drawn = client.get(f"/jobs/{job.id}/best.svg")
    name = desk.store.log(log_id).name
    for one in (waiting, job):
        desk.cancel_job(one.id)

    assert turn_told(plan.roll_deg) in html.unescape(drawn.text)
    assert "data-best>$777</p>" in text
    assert "about 40 seconds left" in text
    assert "end-on-bed" in text
    assert re.search(rf"Waiting behind planning {re.escape(name)}( and \d+ more)?\.", html.unescape(behind))


def test_plans_that_lie_alike_are_told_their_chance_together(planned: Planned) -> None:
    first = planned.document.plans[0]
    plans = tuple(
        first.model_copy(update={"rank": rank, "roll_deg": roll_deg, "chance_best": chance})
        for rank, roll_deg, chance in ((1, 358.0, 0.39), (2, 4.0, 0.125), (3, 150.0, 0.19), (4, 10.0, 0.1))
    )
    document = planned.document.model_copy(update={"plans": plans})
    said = [best_pick(document, plan) for plan in plans]
    assert said == [
        "39% of the time; with plans 2 and 4, nearly the same setup, 62%",
        "12% of the time; with plans 1 and 4, nearly the same setup, 62%",
        "19% of the time",
        "10% of the time; with plans 1 and 2, nearly the same setup, 62%",
    ]
    assert best_pick(document, first) == ""


@pytest.mark.parametrize(
    ("made", "called"),
    [(None, "Your way"), (1, "The rest planned again after 1 cut"), (2, "The rest planned again after 2 cuts")],
)
def test_the_rest_planned_again_is_called_so(
    client: Pages, planned: Planned, log_id: str, made: int | None, called: str
) -> None:
    desk = desk_of(client)
    way = WayRequest(roll_deg=0.0, heights="28, 24 5/8", made=made)
    job = desk.store.step_job(desk.start_way(log_id, way).id, job_state.started)
    assert job is not None
    assert ("Planning the rest again" in client.get(f"/jobs/{job.id}").text) is (made is not None)
    first = planned.document.plans[0]
    what = {"kind": "own_way" if made is None else "rest", "made": made or 0}
    told = planned.document.model_copy(
        update={"id": job.id, **what, "plans": (first,), "value_by_roll": (), "bound": None}
    )
    desk.store.finish_plan(job.id, job.attempt, told)
    for address, said in (
        (f"/plans/{job.id}", called), (f"/plans/{job.id}/1", called), (f"/plans/{job.id}/1/cut-list", called.lower()),
        (f"/plans/{job.id}/compare", called), (f"/logs/{log_id}", called.lower()),
    ):  # fmt: skip
        text = client.get(address).text
        assert said in text
        assert (made is None) or "Your way" not in text
    assert client.get(f"/api/plans/{job.id}/text").text.count(f"{called}: net") == 1


def test_each_way_shows_its_own_cautions(client: Pages, planned: Planned, log_id: str) -> None:
    first = planned.document.plans[0]
    light = first.model_copy(
        update={
            kind: tuple(piece.model_copy(update={"mass_kg": 5.0}) for piece in getattr(first, kind))
            for kind in ("slabs", "waste", "offcuts")
        }
    )
    heavy = first.model_copy(update={"rank": 2})
    document = planned.document.model_copy(update={"plans": (light, heavy)})
    plan_id = keep_plan(client, log_id, document)
    for page in ("", "/cut-list"):
        own, other = (client.get(f"/plans/{plan_id}/{rank}{page}").text for rank in (1, 2))
        assert "Too heavy for one person" not in own
        assert "Too heavy for one person" in other
        assert "of plan" not in other.partition('class="cautions"')[2]


@pytest.mark.parametrize("bark", [True, False])
def test_weights_are_said_once_to_include_the_bark(client: Pages, planned: Planned, log_id: str, bark: bool) -> None:
    log = planned.document.log.model_copy(update={"bark": bark})
    plan_id = keep_plan(client, log_id, planned.document.model_copy(update={"log": log}))

    for page in ("", "/cut-list"):
        assert client.get(f"/plans/{plan_id}/1{page}").text.count("Weight includes bark.") == bark


def test_a_plain_way_that_metal_stops_before_a_slab_says_so(client: Pages, planned: Planned, log_id: str) -> None:
    document = planned.document
    assert document.plain_way is not None
    (_, corners), *_ = metal_on_bed(document.log, document.plain_way, flipped=False)
    middle_m = float(corners[:, 2].mean())
    passes = tuple(
        cut.model_copy(update={"blade_height_m": middle_m + above_m})
        for cut, above_m in zip(document.plain_way.passes, (0.2, 0.1), strict=False)
    )
    stopped = document.plain_way.model_copy(update={"passes": passes, "slabs": ()})
    plan_id = keep_plan(client, log_id, document.model_copy(update={"plain_way": stopped}))
    text = client.get(f"/plans/{plan_id}/plain").text
    assert "The metal that you marked stops it before there is a slab." in text
    assert "Can&#39;t compare with sawing it " in text
    assert ": the metal stops that after 2 cuts." in text
    bare = document.plans[0].model_copy(update={"slabs": ()})
    plan_id = keep_plan(client, log_id, document.model_copy(update={"plans": (bare,)}))
    assert "Sawn this way the log gives no slab that your buyers take." in client.get(f"/plans/{plan_id}/1").text


@pytest.mark.parametrize("net", [None, 100.0])
def test_a_gap_in_the_line_of_rolls_is_explained_where_there_is_one(
    client: Pages, planned: Planned, log_id: str, net: float | None
) -> None:
    rolls = (*planned.document.value_by_roll, NetAtRoll(roll_deg=181.5, net=net))
    plan_id = keep_plan(client, log_id, planned.document.model_copy(update={"value_by_roll": rolls}))
    assert (
        "Where the line is broken, your mill can't take the log that way" in client.get(f"/plans/{plan_id}").text
    ) is (net is None)


@pytest.mark.parametrize(("stopped_by", "ended"), [("time", True), ("cancelled", True), ("lays", False)])
def test_a_search_that_was_ended_does_not_blame_the_mill_for_rolls_not_looked_at(
    client: Pages, planned: Planned, log_id: str, stopped_by: str, ended: bool
) -> None:
    rolls = (*planned.document.value_by_roll, NetAtRoll(roll_deg=181.5, net=None))
    work = planned.document.work.model_copy(update={"stopped_by": stopped_by})
    changed = planned.document.model_copy(update={"value_by_roll": rolls, "work": work})
    text = client.get(f"/plans/{keep_plan(client, log_id, changed)}").text

    assert "Where the line is broken, your mill can't take the log that way" in text
    assert ("or the search ended before it looked there" in text) is ended


LITTLE_SEEN = "The scan saw little of the girth. Film both sides again."


def test_notes_of_reading_are_folded_and_what_bears_on_the_plan_is_not(client: Pages, planned: Planned) -> None:
    ordinary = ("The file is in m, and so is the plan.", "Up in the file is z.")
    found = "Cut 2: 21 in x 9 ft found against 26 in x 9 ft 5 in expected."
    notes = [Note("ordinary", text) for text in ordinary]
    grave = [Note("grave", text, bears_on_plan=True) for text in (LITTLE_SEEN, found)]
    read = replace(planned.read, warnings=(*notes, grave[0]))
    log_id = keep_log(client, read, "Noted")
    told = planned.document.model_copy(update={"warnings": (*read.warnings, grave[1])})
    plan_id = keep_plan(client, log_id, told)
    for address in (f"/plans/{plan_id}", f"/plans/{plan_id}/1/cut-list"):
        text = client.get(address).text
        folded = text.partition("<summary>2 notes on the log</summary>")[2].partition("</details>")[0]
        assert [note for note in (*ordinary, LITTLE_SEEN, found) if note in folded] == list(ordinary)
        told = re.findall(r'<p class="note">(.*?)</p>', text)
        assert [note for note in told if "This plan uses" not in note][:2] == [LITTLE_SEEN, found]


def test_the_cut_list_has_a_line_for_each_pass(client: Pages, plan_id: str, planned: Planned) -> None:
    plan = planned.document.plans[0]
    text = client.get(f"/plans/{plan_id}/1/cut-list").text
    assert [int(order) for order in re.findall(r'data-tick="pass-(\d+)"', text)] == [cut.order for cut in plan.passes]
    for slab in plan.slabs:
        assert f"<b>Slab {slab.id}</b>" in text
    assert text.count("Turn the log over") == (plan.flipped_log_to_bed is not None)


def test_pages_that_are_kept_tell_of_which_log_they_are_and_what_they_are(
    client: Pages, log_id: str, plan_id: str, planned: Planned
) -> None:
    keys = [shown.key for shown in plan_view.ways(planned.document)]
    ways = [f"/plans/{plan_id}/{key}{more}" for key in keys for more in ("", "/cut-list")]
    names, titles = set(), set()
    for address in (f"/logs/{log_id}", f"/plans/{plan_id}", *ways):
        text = client.get(address).text
        of_log, name = re.findall(r'<meta name="(?:of-log|page-name)" content="([^"]*)">', text)
        assert html.unescape(of_log) == f"{log_id} {NASTY}"
        names.add(name)
        titles |= set(re.findall(r"<title>(.*?)</title>", text))
    assert len(names) == len(titles) == len(ways) + 2


def test_metric_is_read_where_it_is_chosen(client: Pages, plan_id: str) -> None:
    chosen = client.post("/units", data={"units": "metric", "back": "/mills"}, follow_redirects=False)
    assert (chosen.status_code, chosen.headers["location"]) == (303, "/mills")
    try:
        text = client.get(f"/plans/{plan_id}/1/cut-list").text
        assert ", in millimeters." in text
        assert " kg" in text
        assert " lb" not in text
    finally:
        client.cookies.clear()


FOREIGN = {
    Units.IMPERIAL: r"\d\s?(?:m|cm|mm|m2|m3|m³|kg)\b|millimet|kilogram|[{}]",
    Units.METRIC: r"\d\s?(?:in|ft|ft3|ft³|lb)\b(?! the)|\b(?:inch|inches|pounds)\b|[{}]",
}


@pytest.mark.parametrize("units", list(Units))
def test_a_page_has_no_unit_that_its_reader_did_not_choose(client: Pages, planned: Planned, units: Units) -> None:
    document = planned.document
    said = (f"Bark of {short_length(0.016)} on average taken off.", f"Rolled so, it weighs {mass(900.0)}.")
    found = tuple(Note("given", text, bears_on_plan=True) for text in said)
    warned = document.model_copy(update={"warnings": found})
    log_id = keep_log(client, replace(planned.read, warnings=found), f"Lane maple in {units.value} units")
    plan_id = keep_plan(client, log_id, warned)
    client.cookies.set("units", units.value)
    try:
        for address in set(PAGES) - {"/words"}:
            main = (
                client.get(address.format(log=log_id, plan=plan_id)).text.partition("<main")[2].partition("</main>")[0]
            )
            # A quarter is a quarter of an inch everywhere, and a sample's name is its own.
            shown = re.sub(r'<span class="meaning">.*?</span>|<option.*?</option>', " ", main, flags=re.DOTALL)
            said = " ".join(re.sub(r"<[^>]*>", " ", shown).split())
            assert re.findall(rf".{{0,40}}(?:{FOREIGN[units]}).{{0,20}}", said) == [], address
        folded = client.get(f"/plans/{plan_id}").text
        assert ("16 mm" if units is Units.METRIC else "5/8 in on average") in folded
    finally:
        client.cookies.clear()


@pytest.mark.parametrize(
    ("units", "said"), [(Units.IMPERIAL, "the log has 2,375 lb"), (Units.METRIC, "the log has 1,077 kg")]
)
def test_why_no_plan_came_of_it_is_in_the_readers_units(client: Pages, log_id: str, units: Units, said: str) -> None:
    desk = desk_of(client)
    job = desk.store.step_job(desk.start_plan(log_id, PlanRequest()).id, job_state.started)
    assert job is not None
    error = ErrorShown(status=409, message="the log has {1077.3 kg}", what_to_do="Crosscut it.")
    desk.store.step_job(
        job.id, lambda status: job_state.failed(status, error.message), attempt=job.attempt, error=error
    )
    client.cookies.set("units", units.value)
    try:
        assert said in client.get(f"/jobs/{job.id}").text
    finally:
        client.cookies.clear()
    assert client.get(f"/api/jobs/{job.id}").json()["error"]["message"] == "the log has 1077.3 kg"


@pytest.mark.parametrize("back", ["https://example.org/", "//example.org/", "/\\example.org", "/\t/example.org", ""])
def test_a_form_leads_to_no_other_site(client: Pages, back: str) -> None:
    chosen = client.post("/units", data={"units": "imperial", "back": back}, follow_redirects=False)
    client.cookies.clear()
    assert chosen.headers["location"] == "/"


def test_an_address_that_nobody_knows_is_a_page_for_who_looks_for_one(client: Pages) -> None:
    looked_for = {"Accept": "text/html,application/xhtml+xml"}
    lost = client.get("/nowhere", headers=looked_for)
    not_so = client.get("/check/way", headers=looked_for)
    assert (lost.status_code, not_so.status_code) == (404, 405)
    assert "There is no such page." in lost.text
    assert "Go to your yard" in not_so.text
    assert not_so.headers["allow"] == "POST"
    for programs in (client.get("/nowhere"), client.get("/api/nowhere", headers=looked_for)):
        assert programs.status_code == 404
        assert programs.json()["error"]["status"] == 404


def test_what_is_not_there_is_a_page_too(client: Pages) -> None:
    for address in (f"/logs/{'0' * 32}", f"/plans/{'0' * 32}", f"/jobs/{'0' * 32}", "/logs/none", "/plans/x/1"):
        found = client.get(address)
        assert found.status_code == 404
        assert "That did not work" in found.text
        assert "/api" not in found.text


def test_files_are_kept_for_a_year_under_their_own_mark(client: Pages) -> None:
    address = re.search(r"/static/pages\.css\?\w+", client.get("/").text)
    assert address is not None
    found = client.get(address[0])
    assert "immutable" in found.headers["cache-control"]
    assert client.get("/static/pages.css").headers["cache-control"] == "no-cache"
    again = client.get(address[0], headers={"if-none-match": found.headers["etag"]})
    assert again.status_code == 304
    for name in ("../pages/__init__.py", "%2e%2e/rendering.py", "templates/base.html", "nothing.css"):
        assert client.get(f"/static/{name}").status_code == 404


def test_solids_are_sent_once(client: Pages, log_id: str, plan_id: str) -> None:
    for address in (f"/logs/{log_id}/solid.bin", f"/plans/{plan_id}/1/slabs.bin", f"/plans/{plan_id}/plain/slabs.bin"):
        found = client.get(address)
        assert found.content[:4] == b"PSB1"
        assert len(found.content) < 1_500_000
        again = client.get(address, headers={"if-none-match": found.headers["etag"]})
        assert (again.status_code, again.content) == (304, b"")
    assert client.get(f"/plans/{plan_id}/9/slabs.bin").status_code == 404


def test_a_mark_more_is_another_solid(client: Pages, planned: Planned) -> None:
    log_id = keep_log(client, planned.read, "Marked once more")
    before = client.get(f"/logs/{log_id}/solid.bin").headers["etag"]
    desk_of(client).store.add_mark(log_id, planned.read.marks[0])
    assert client.get(f"/logs/{log_id}/solid.bin", headers={"if-none-match": before}).status_code == 200
