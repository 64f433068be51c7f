"""A log's plans: ranked, one by one, two side by side, and the cut list for the mill."""

from dataclasses import replace
from typing import Annotated, Any
from urllib.parse import quote, unquote

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from optimizer.documents.plan import Plan, PlanDocument
from optimizer.report.cautions import PLAN_LINE, cautions_of
from optimizer.report.plain_way_stop import passes_before_metal
from optimizer.report.tally_said import is_of_before
from service.contract.ticks import MOST_WHO, Change
from service.desk import Desk
from service.drawings.bed import end_on_bed, side_on_bed
from service.drawings.log import log_picture
from service.drawings.log_shape import shape_found
from service.drawings.net_bar import net_bar
from service.drawings.roll_chart import roll_chart
from service.drawings.slabs import slab_drawing, units_per_m
from service.pages import plan_view
from service.pages.in_round import in_round
from service.pages.rendering import OwnUnits, PageRoute, TypedIn, render, see
from service.web.api_parts import OwnDesk, PlanId, Step, WayKey
from service.words import (
    buck_words,
    cut_words,
    doubt_words,
    finish_words,
    lay_words,
    log_price_words,
    mill_words,
    money_words,
    proven,
    slab_words,
    support_words,
    time_words,
    turn_words,
)
from service.words.measures import Measures, board_feet_text, measures_in
from service.words.units import Units
from service.words.way_names import level_in_the_way

router = APIRouter(route_class=PageRoute)
Which = Annotated[str, Query(max_length=10)]
NAME_COOKIE = "name"


def _known(desk: Desk, plan_id: str, units: OwnUnits) -> dict[str, Any]:
    """Return what every page of a plan knows."""
    document = desk.plan_document(plan_id)
    log_id = _log_of(desk, plan_id)
    made = document.made
    notes = plan_view.notes_of(document)
    changed = plan_view.no_longer_kept(
        document,
        log_is_kept=desk.is_log_as_planned(plan_id, document),
        mill_is_kept=desk.kept_mill_id(document.mill) is not None,
        prices_are_kept=desk.kept_prices_id(document.prices) is not None,
    )
    return {
        "plan_id": plan_id,
        "log_id": log_id,
        "document": document,
        "m": measures_in(units, document.currency, document.mill),
        "ways": plan_view.ways(document, made),
        "own": plan_view.is_own_way(document),
        "view": plan_view,
        "board_feet": board_feet_text,
        "plan_line": PLAN_LINE,
        "made": made,
        "notes": replace(notes, said=(*changed, *notes.said)),
        "end_on_bed": end_on_bed,
        "side_on_bed": side_on_bed,
        "net_bar": net_bar,
        "bucking": buck_words,
        "laying": lay_words,
        "set_on": support_words,
        "turning": turn_words,
        "cutting": cut_words,
        "slab_in": slab_words,
        "money_in": money_words,
        "finishing": finish_words,
        "paying": log_price_words,
        "timing": time_words,
        "is_old_book": is_of_before(document.prices),
        "level_in_the_way": level_in_the_way,
        "doubt_in": doubt_words,
        "search_in": proven,
        "in_round": in_round(document.log.hearts, document.log.marks),
    }


def _log_of(desk: Desk, plan_id: str) -> str:
    # A plan bears the id of the job that made it.
    return desk.store.job(plan_id).log_id


@router.get("/plans/{plan_id}")
def plan_page(request: Request, desk: OwnDesk, plan_id: PlanId, units: OwnUnits) -> Response:
    """Show all ways of a plan, ranked."""
    known = _known(desk, plan_id, units)
    document, measures = _typed(known)
    chart = roll_chart(document, measures) if len(document.value_by_roll) > 1 else ""
    picture = log_picture(shape_found(document.log), f"{document.log.name}, as it lies")
    return render(
        request, "plans.html", **known, chart=chart, picture=picture,
        cautions=plan_view.cautions_part(document.cautions),
    )  # fmt: skip


def _typed(known: dict[str, Any]) -> tuple[PlanDocument, Measures]:
    return known["document"], known["m"]


@router.get("/plans/{plan_id}/compare")
def compare(
    request: Request, desk: OwnDesk, plan_id: PlanId, units: OwnUnits, a: Which = "1", b: Which = ""
) -> Response:
    """Show two ways side by side."""
    known = _known(desk, plan_id, units)
    document, _ = _typed(known)
    keys = [shown.key for shown in known["ways"]]
    second = b or next((key for key in keys if key != a), a)
    pair = [plan_view.way_of(document, key, known["made"]) for key in (a, second)]
    return render(request, "compare.html", **known, pair=pair)


@router.get("/plans/{plan_id}/remove")
def back_to_plan(plan_id: PlanId) -> Response:
    """Lead on whoever loads the address of the form again."""
    return see(f"/plans/{plan_id}")


@router.get("/plans/{plan_id}/{which}")
def one_way(request: Request, desk: OwnDesk, plan_id: PlanId, which: str, units: OwnUnits) -> Response:
    """Show one way in full: how the log lies, each slab, the sums."""
    known = _known(desk, plan_id, units)
    document, measures = _typed(known)
    shown = plan_view.way_of(document, which, known["made"])
    plan = shown.plan
    start_m = min((x for slab in plan.slabs for ring in slab.outline_m[:1] for x, _ in ring), default=0.0)
    scale = units_per_m(plan)
    drawn = [(slab, slab_drawing(slab, start_m, scale, measures)) for slab in plan.slabs]
    picture = log_picture(shape_found(document.log), f"{document.log.name}, as it lies")
    return render(
        request, "one_way.html", **known, shown=shown, plan=plan, drawn=drawn, picture=picture,
        is_stopped=plan is document.plain_way and passes_before_metal(document) is not None,
        cautions=_cautions_of(document, plan),
    )  # fmt: skip


def _cautions_of(document: PlanDocument, plan: Plan) -> plan_view.CautionsPart:
    return plan_view.cautions_part(cautions_of(document, plan))


@router.get("/plans/{plan_id}/{which}/cut-list")
def cut_list(request: Request, desk: OwnDesk, plan_id: PlanId, which: str, units: OwnUnits) -> Response:
    """Show what to do at the mill, one line a pass."""
    return cut_list_page(request, desk, plan_id, which, units, {}, {})


def cut_list_page(
    request: Request, desk: Desk, plan_id: str, which: str, units: Units, typed: dict[str, str], errors: dict[str, str]
) -> Response:
    """Return the cut list. typed, errors : of the form for a face as it was found."""
    known = _known(desk, plan_id, units)
    document, measures = _typed(known)
    shown = plan_view.way_of(document, which, known["made"])
    known["made"] = cut_words.made_before(document, shown.plan)
    cautions = cautions_of(document, shown.plan)
    return render(
        request, "cut_list.html", 422 if errors else 200, **known, shown=shown, plan=shown.plan,
        cautions=plan_view.cautions_part(cautions), milling=mill_words,
        mill_steps=mill_words.steps_of(document, shown.plan, measures, cautions, known["made"]),
        lines=cut_words.lines_of(shown.plan, measures), left=cut_words.left_on_bed(shown.plan),
        typed=typed, errors=errors, name=name_of(request), most_letters=MOST_WHO,
        ticks={tick.step: tick for tick in desk.store.ticks(plan_id) if tick.way == shown.key},
    )  # fmt: skip


@router.post("/plans/{plan_id}/{which}/ticks/{step}")
def tick(request: Request, desk: OwnDesk, plan_id: PlanId, which: WayKey, step: Step, typed: TypedIn) -> Response:
    """Tick a step off or take the tick back, for whoever's browser runs no scripts."""
    change = Change(is_ticked="ticked" in typed, who=name_of(request))
    desk.change_tick(plan_id, which, step, change)
    return back_to_tick(plan_id, which, step)


@router.get("/plans/{plan_id}/{which}/ticks/{step}")
def back_to_tick(plan_id: PlanId, which: WayKey, step: Step) -> Response:
    """Lead on to a tick, also whoever loads the address of its form again."""
    return see(f"/plans/{plan_id}/{which}/cut-list#tick-{step}")


@router.get("/plans/{plan_id}/{which}/name")
def back_to_name(plan_id: PlanId, which: WayKey) -> Response:
    """Lead on to the form of the name, also whoever loads its address again."""
    return see(f"/plans/{plan_id}/{which}/cut-list#name")


@router.post("/plans/{plan_id}/{which}/name")
def name_oneself(plan_id: PlanId, which: WayKey, typed: TypedIn) -> Response:
    """Keep the short name that stands beside the ticks of this browser."""
    there = back_to_name(plan_id, which)
    name = " ".join(typed.get("name", "").split())[:MOST_WHO]
    there.set_cookie(NAME_COOKIE, quote(name), max_age=400 * 86400, samesite="lax", httponly=True)
    return there


def name_of(request: Request) -> str:
    """Return the short name that this browser gave; nothing where it gave none."""
    return " ".join(unquote(request.cookies.get(NAME_COOKIE, "")).split())[:MOST_WHO]


@router.post("/plans/{plan_id}/remove")
def remove(desk: OwnDesk, plan_id: PlanId) -> Response:
    """Forget a plan."""
    log_id = _log_of(desk, plan_id)
    desk.store.remove_plan(plan_id)
    return see(f"/logs/{log_id}")
