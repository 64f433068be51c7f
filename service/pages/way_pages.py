"""A way of one's own: asked for, checked as it is typed, and priced; or what is sawn already, and the rest planned."""

import re
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response
from pydantic import ValidationError

from optimizer.documents.plan import Plan, PlanDocument
from optimizer.documents.typed import what_is_wrong
from optimizer.report.cuts_made import cuts_made
from scans.messages import Refusal, quoted
from scans.units import INCH_M, LengthError
from service.contract.documents import WayRequest
from service.contract.refusals import NotFoundError, error_shown
from service.desk import Desk
from service.pages.boxes import PAGE
from service.pages.face_seen import face_typed
from service.pages.fields import length_m, length_text
from service.pages.found_otherwise import lowest_m, otherwise_typed
from service.pages.plan_pages import cut_list_page
from service.pages.plan_view import way_of
from service.pages.rendering import OwnUnits, PageRoute, TypedIn, errors_answer, render, see
from service.typed.way import buck_at_typed
from service.web.api_parts import LogId, OwnDesk, PlanId
from service.words.measures import measures_in
from service.words.support_words import BUTT, TOP, shim_at
from service.words.turn_words import CLOCKWISE, COUNTERCLOCKWISE, turn_and_side
from service.words.units import Units

router = APIRouter(route_class=PageRoute)
_ASKED = ("roll_deg", "shim_butt", "shim_top", "heights", "made", "seen", "stretch", "buck_at")
_MOST_ROLL_DEG = 360
Which = Annotated[str, Path(pattern="^[a-z0-9]{1,10}$")]
FromPlan = Annotated[str | None, Query(pattern="^[0-9a-f]{32}$")]
WhichOfPlan = Annotated[str, Query(pattern="^[a-z0-9]{1,10}$")]
Typed = dict[str, str]
Errors = dict[str, str]


@router.get("/logs/{log_id}/way")
def own_way(
    request: Request, desk: OwnDesk, log_id: LogId, units: OwnUnits, plan: FromPlan = None, which: WhichOfPlan = "1"
) -> Response:
    """Ask for a way of one's own, empty or from a way of a plan."""
    typed: Typed = {}
    if plan is not None:
        document = desk.plan_document(plan)
        chosen = way_of(document, which).plan
        measures = measures_in(units, document.currency, document.mill)
        degrees, side = turn_and_side(chosen.roll_deg)
        typed = {
            "roll_deg": str(degrees),
            "roll_side": side,
            "shim_butt": _shim_typed(shim_at(chosen, BUTT), units),
            "shim_top": _shim_typed(shim_at(chosen, TOP), units),
            "heights": "\n".join(measures.reading(cut.blade_height_m) for cut in chosen.passes if not cut.flipped),
            **_bucked_typed(document, chosen, units, INCH_M / 16.0),
            "mill_id": desk.kept_mill_id(document.mill) or "",
            "prices_id": desk.kept_prices_id(document.prices) or "",
        }
    return _page(request, desk, log_id, typed, {}, plan, which)


def _shim_typed(height_m: float, units: Units) -> str:
    step_m = 0.001 if units is Units.METRIC else INCH_M / 16.0
    return "0" if height_m == 0.0 else length_text(round(height_m / step_m) * step_m, units)


def _bucked_typed(document: PlanDocument, plan: Plan, units: Units, step_m: float) -> dict[str, str]:
    """Return where a plan bucks its log, as one would type it; of a log longer than the bed, what lies on it."""

    def length(place_m: float) -> str:
        return length_text(round(place_m / step_m) * step_m, units, in_feet=True)

    if any(cut.limb is not None for cut in cuts_made(plan, document.log.length_m)):
        return {"buck_at": buck_at_typed(document.log, plan, length)}
    from_m, to_m = plan.stretch_m
    whole = to_m - from_m >= document.log.length_m - 0.001
    return {"stretch": "" if whole else f"{length(from_m)} to {length(to_m)}"}


def _page(
    request: Request, desk: Desk, log_id: str, typed: Typed, errors: Errors, plan: str | None, which: str,
    status: int = 200,
) -> Response:  # fmt: skip
    """Return the form. plan, which : what it began with; its mill and prices are offered, kept or not."""
    log = desk.ready_log(log_id)
    document = None
    if plan is not None:
        try:
            document = desk.plan_document(plan)
        except NotFoundError:
            plan = None  # removed meanwhile: the form then offers what is kept
    return render(
        request, "way.html", status, log=log, typed=typed, errors=errors, mills=desk.store.mills(),
        sides=(CLOCKWISE, COUNTERCLOCKWISE),
        books=desk.store.price_books(), began="" if plan is None else f"?plan={plan}&which={which}",
        own_mill=document is not None and desk.kept_mill_id(document.mill) is None and document.mill.name,
        own_prices=document is not None and desk.kept_prices_id(document.prices) is None and document.prices.name,
    )  # fmt: skip


@router.post("/logs/{log_id}/way")
def price_own_way(
    request: Request, desk: OwnDesk, log_id: LogId, typed: TypedIn, units: OwnUnits, plan: FromPlan = None,
    which: WhichOfPlan = "1",
) -> Response:  # fmt: skip
    """Price a way of one's own, or plan on from what is sawn already; or show the form with what is wrong."""
    asked, errors = asked_of(desk, typed, units, plan)
    if asked is not None:
        try:
            return see(f"/jobs/{desk.start_way(log_id, asked).id}")
        except ValueError as error:
            errors |= _said(error)
    return _page(request, desk, log_id, typed, errors, plan, which, 422)


@router.post("/check/way")
def check_way(desk: OwnDesk, typed: TypedIn, units: OwnUnits, plan: FromPlan = None) -> Response:
    """Say what is wrong with a way as it stands."""
    return errors_answer(asked_of(desk, typed, units, plan)[1], units)


@router.post("/plans/{plan_id}/{which}/seen")
def plan_on(request: Request, desk: OwnDesk, plan_id: PlanId, which: str, typed: TypedIn, units: OwnUnits) -> Response:
    """Plan the rest anew from what is sawn already and the face that was found; or show the cut list again."""
    document = desk.plan_document(plan_id)
    plan = way_of(document, which).plan
    cuts = [cut for cut in plan.passes if not cut.flipped]
    face = face_typed(typed, document, cuts, units)
    last = next((cut for cut in cuts if cut.order == face.made), None)
    found = otherwise_typed(typed, document, plan, last, units)
    errors = face.errors | found.errors
    log_id = desk.store.job(plan_id).log_id
    if not desk.is_log_as_planned(plan_id, document):
        errors = {"": "The log was read again since this plan. Plan it again from the log's page"}
    if not errors:
        measures = measures_in(units, document.currency, document.mill)
        sawn_m = [cut.blade_height_m for cut in cuts if cut.order <= face.made]
        sawn_m[-1] = lowest_m(sawn_m[-1], found.dip_m, document.mill.height_step_m)
        way = {
            "roll_deg": f"{plan.roll_deg:.6f}",
            "shim_butt": length_text(round(shim_at(plan, BUTT), 6), units),
            "shim_top": length_text(round(shim_at(plan, TOP), 6), units),
            "heights": ", ".join(measures.reading(height_m) for height_m in sawn_m),
            "made": str(face.made),
            "seen": face.seen,
            **_bucked_typed(document, plan, units, 1e-6),
        }
        asked, errors = asked_of(desk, way, units, plan_id)
        if asked is not None:
            try:
                if found.mark is not None:
                    desk.mark_once(log_id, found.mark)
                return see(f"/jobs/{desk.start_way(log_id, asked).id}?to=cut-list")
            except ValueError as error:
                errors = _said(error)
        errors = {"": "; ".join(errors.values())}  # of what nobody typed here
    return cut_list_page(request, desk, plan_id, which, units, typed, errors)


@router.get("/plans/{plan_id}/{which}/seen")
def back_to_cut_list(plan_id: PlanId, which: Which) -> Response:
    """Lead on whoever loads the address of the form again."""
    return see(f"/plans/{plan_id}/{which}/cut-list")


@router.post("/check/plans/{plan_id}/{which}/seen")
def check_face(desk: OwnDesk, plan_id: PlanId, which: str, typed: TypedIn, units: OwnUnits) -> Response:
    """Say what is wrong with a face as it stands."""
    document = desk.plan_document(plan_id)
    cuts = [cut for cut in way_of(document, which).plan.passes if not cut.flipped]
    face = face_typed(typed, document, cuts, units)
    last = next((cut for cut in cuts if cut.order == face.made), None)
    found = otherwise_typed(typed, document, way_of(document, which).plan, last, units)
    return errors_answer(face.errors | found.errors, units)


def asked_of(desk: Desk, typed: Typed, units: Units, of_plan: str | None = None) -> tuple[WayRequest | None, Errors]:
    """Return what was asked for; None where something is wrong, with what it is by the field's name.

    of_plan : the plan whose mill and prices serve where none are chosen.
    """
    errors: Errors = {}
    heights = ", ".join(part.strip() for part in re.split(r"[,;\n]", typed.get("heights", "")) if part.strip())
    fields: dict[str, Any] = {
        "heights": heights,
        "shim_butt": typed.get("shim_butt", "").strip() or "0",
        "shim_top": typed.get("shim_top", "").strip() or "0",
        "units": units,
        "mill_id": typed.get("mill_id") or None,
        "prices_id": typed.get("prices_id") or None,
        "of_plan": of_plan,
        "seen": tuple(part for part in (typed.get("seen", "").strip(),) if part),
        "stretch": typed.get("stretch", "").strip(),
        "buck_at": typed.get("buck_at", "").strip(),
    }
    if not heights:
        errors["heights"] = "Write at least one blade height"
    for name, empty, kind in (("roll_deg", "0", float), ("made", "", int)):
        text = typed.get(name, "").strip() or empty
        try:
            fields[name] = kind(text) if text else None
        except ValueError:
            errors[name] = f"This must be a {'whole ' if kind is int else ''}number, got {quoted(text)}"
    if "roll_deg" in fields:
        if not 0.0 <= fields["roll_deg"] <= _MOST_ROLL_DEG:
            errors["roll_deg"] = f"This must lie in 0 to {_MOST_ROLL_DEG} degrees, got {quoted(typed['roll_deg'])}"
        elif typed.get("roll_side") == COUNTERCLOCKWISE:
            fields["roll_deg"] = -fields["roll_deg"] or 0.0
    errors |= _not_lengths({"shim_butt": [fields["shim_butt"]], "shim_top": [fields["shim_top"]]}, units)
    errors |= _not_lengths({"heights": heights.split(", ")} if heights else {}, units)
    if errors:
        return None, errors
    try:
        asked = WayRequest(**fields)
        desk.check_way(asked)
    except (ValueError, NotFoundError) as error:
        return None, _said(error)
    return asked, {}


def _not_lengths(typed: dict[str, list[str]], units: Units) -> Errors:
    """Return by field what is no length."""
    errors: Errors = {}
    for name, texts in typed.items():
        for text in texts:
            try:
                length_m(text, units)
            except LengthError as error:
                errors.setdefault(name, str(error))
    return errors


def _said(error: Exception) -> Errors:
    """Return what is wrong by the field that it is wrong in; "" for the whole."""
    if isinstance(error, ValidationError):
        return {
            name if name in _ASKED else "": f"{PAGE.called(name)} {what_is_wrong(found)}"
            for found in error.errors(include_url=False)
            for name in [str(found["loc"][0]) if found["loc"] else ""]
        }
    if isinstance(error, Refusal):
        return {error.field if error.field in _ASKED else "": str(error)}
    shown = error_shown(error)
    return {"": "This cannot be read; check each number" if shown is None else shown.message}
