"""A log: what was seen of it, what to check against the tape, marks, and the way to its plans."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.contract.documents import MarkPlaced, PlanLine, PlanRequest
from service.contract.refusals import NotReadyError, error_shown
from service.desk import Desk, about_of, species_lines
from service.drawings.log import butt_clock, log_picture
from service.drawings.log_shape import clock_place, taped
from service.pages.asked import MARK
from service.pages.fields import Filled, checked, filled
from service.pages.in_round import in_round
from service.pages.job_pages import behind
from service.pages.plan_view import notes_of_reading
from service.pages.rendering import OwnUnits, PageRoute, TypedIn, errors_answer, render, see
from service.pages.shapes_kept import shape_kept
from service.typed.errors import InputError
from service.typed.log_reading import AboutLog
from service.typed.mark_sheet import MarkTyped
from service.typed.read_given import read_given
from service.typed.way import own_way_name
from service.web.api_parts import LogId, MarkId, OwnDesk
from service.words.measures import measures_in, turn_deg
from service.words.money_words import worth
from service.words.time_words import left_words
from service.words.turn_words import CLOCKWISE, COUNTERCLOCKWISE, turn_in_full
from service.words.units import Units

router = APIRouter(route_class=PageRoute)
_TAPE_EVERY_M = 0.6


@dataclass(frozen=True)
class ScanTyped:
    """What was typed of another scan and is wrong. scan_id : of which; empty where its file was not taken."""

    error: str = ""
    scan_id: str = ""
    fields: Mapping[str, str] = field(default_factory=dict)


NO_SCAN_TYPED = ScanTyped()
AnyMark = TypeVar("AnyMark", MarkTyped, MarkPlaced)
_LAYS = {"quick": 200, "usual": 800, "long": 3000}
ABOUT_FIELDS = tuple(AboutLog.model_fields)


@router.get("/logs/{log_id}")
def log_page(request: Request, desk: OwnDesk, log_id: LogId) -> Response:
    """Show a log, or how far its reading is."""
    return log_page_shown(request, desk, log_id, Filled({}))


def log_page_shown(
    request: Request,
    desk: Desk,
    log_id: str,
    form: Filled,
    status: int = 200,
    scan_typed: ScanTyped = NO_SCAN_TYPED,
) -> Response:
    """Return the page of a log. form : of a mark. scan_typed : of another scan."""
    log = desk.store.log(log_id)
    if log.state == "reading":
        job = None if log.job_id is None else desk.store.job(log.job_id)
        waits = "" if job is None else behind(desk, job)
        left = "" if job is None else left_words(job.seconds_left)
        then = f"/logs/{log_id}"
        return render(request, "log_reading.html", status, log=log, job=job, then=then, behind=waits, left=left)
    if log.state == "failed" or log.facts is None:
        return render(request, "log_failed.html", status, log=log, species=species_lines())
    shape = shape_kept(desk, log_id)
    spacing = max(1, round(_TAPE_EVERY_M * (len(shape.cuts) - 1) / max(log.facts.length_m, 0.1)))
    sizes = [size for cut in shape.cuts[1:-1:spacing] if (size := taped(cut)) is not None]
    marks = [
        (mark_id, mark, None if mark.kind == "pith" else turn_deg(clock_place(shape, mark)))
        for mark_id, mark in desk.store.marks(log_id)
    ]
    jobs = [job for job in desk.store.jobs(log_id) if job.kind in {"plan", "way"} and not job.state.is_ended]
    plans = desk.store.plans(log_id)
    return render(
        request, "log.html", status, log=log, facts=log.facts, picture=log_picture(shape, f"{log.name}, as it lies"),
        in_round=in_round(shape.hearts, shape.marks),
        clock=butt_clock(shape), sizes=sizes, marks=marks, form=form, asked=MARK, jobs=jobs, plans=plans,
        money={plan.id: measures_in(Units.IMPERIAL, plan.currency).money(worth(plan)) for plan in plans},
        names={plan.id: _called(desk, plan) for plan in plans},
        mills=desk.store.mills(), books=desk.store.price_books(), species=species_lines(),
        notes=notes_of_reading(log.facts.warnings), scan_typed=scan_typed, turn_in_full=turn_in_full,
        sides=(CLOCKWISE, COUNTERCLOCKWISE), part_files=[scan.file_name for scan in log.scans if scan.state == "part"],
    )  # fmt: skip


def _called(desk: Desk, plan: PlanLine) -> str:
    """Return what a plan is, for the list of them."""
    return "planned" if plan.kind == "plan" else own_way_name(desk.made_before(plan.id)).lower()


@router.get("/logs/{log_id}/picture.svg")
def picture(desk: OwnDesk, log_id: LogId) -> Response:
    """Return the log's picture for the yard."""
    try:
        drawn = log_picture(shape_kept(desk, log_id), "the log as it lies", 130.0)
    except NotReadyError:
        drawn = _BLANK
    return Response(drawn, media_type="image/svg+xml", headers={"Cache-Control": "private, max-age=60"})


_BLANK = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 340 130" width="340" height="130"></svg>'


@router.post("/logs/{log_id}/rename")
def rename(desk: OwnDesk, log_id: LogId, typed: TypedIn) -> Response:
    """Give a log another name."""
    name = typed.get("name", "").strip()[:200]
    if not name:
        raise InputError("the name is empty; write a name for the log")
    desk.change_log(log_id, name, None)
    return see(f"/logs/{log_id}")


@router.post("/logs/{log_id}/about")
def say_otherwise(desk: OwnDesk, log_id: LogId, typed: TypedIn) -> Response:
    """Say something else of a log, which reads it again."""
    _, about = about_of({name: typed.get(name, "").strip() for name in ABOUT_FIELDS})
    desk.change_log(log_id, None, about)
    return see(f"/logs/{log_id}")


@router.post("/logs/{log_id}/remove")
def remove(desk: OwnDesk, log_id: LogId) -> Response:
    """Forget a log."""
    desk.remove_log(log_id)
    return see("/")


@router.post("/logs/{log_id}/marks")
def add_mark(request: Request, desk: OwnDesk, log_id: LogId, typed: TypedIn, units: OwnUnits) -> Response:
    """Put a mark on a log; show the form again with what is wrong."""
    form, mark = mark_of(typed, units)
    if mark is not None:
        try:
            desk.add_mark(log_id, mark)
        except (InputError, ValueError) as error:
            shown = error_shown(error)
            if shown is None or isinstance(error, NotReadyError):
                raise
            form.errors[MARK.name_of(shown.field or "")] = shown.message
        else:
            return see(f"/logs/{log_id}#marks")
    return log_page_shown(request, desk, log_id, form, 422)


@router.post("/check/mark")
def check_mark(typed: TypedIn, units: OwnUnits) -> Response:
    """Say what is wrong with a mark as it stands."""
    return errors_answer(mark_of(typed, units)[0].errors, units)


def mark_of(typed: dict[str, str], units: Units) -> tuple[Filled, MarkTyped | MarkPlaced | None]:
    """Return a form and its mark, typed or pointed out; None where something is wrong."""
    form = filled(MARK, typed, units)
    document = form.document
    if any(document.get(axis) for axis in ("x_m", "y_m", "z_m")):
        for axis in ("x_m", "y_m", "z_m"):
            try:
                document[axis] = float(document.get(axis, ""))
            except ValueError:
                form.errors[""] = "Tap the place on the log again"
        for name in ("at_m", "toward_deg", "from_middle_m"):
            document.pop(name, None)
        return form, _sized(MarkPlaced, form, units)
    for axis in ("x_m", "y_m", "z_m"):
        document.pop(axis, None)
    if "at_m" not in document and "at_m" not in form.errors:
        form.errors["at_m"] = "Write how far along the log it is, or tap the place on the log above"
    if not {"toward_deg", "from_middle_m"} & {*document, *form.errors} and document.get("kind") != "pith":
        form.errors["toward_deg"] = "Write where around the log it is: 0 is up, 90 is right, looking at the butt"
    return form, _sized(MarkTyped, form, units)


def _sized(model: type[AnyMark], form: Filled, units: Units) -> AnyMark | None:
    """Return a mark that has the size that its kind needs; else None, with what is wrong noted at its field."""
    is_pith = form.document.get("kind") == "pith"
    for name, what in (("radius_m", "half its width"), ("depth_m", "how deep it goes")):
        if name in form.errors:
            continue
        if is_pith and name in form.document:
            form.errors[name] = "Leave this empty for pith"
        elif not is_pith and name not in form.document:
            form.errors[name] = f"Write {what}"
    # What the model says of a size that is missing is said above, at its field.
    return None if form.errors else checked(model, MARK, form, units)


@router.post("/logs/{log_id}/marks/{mark_id}/remove")
def remove_mark(desk: OwnDesk, log_id: LogId, mark_id: MarkId) -> Response:
    """Take a mark off a log."""
    desk.store.remove_mark(log_id, mark_id)
    return see(f"/logs/{log_id}#marks")


@router.post("/logs/{log_id}/plans")
def start_plan(desk: OwnDesk, log_id: LogId, typed: TypedIn) -> Response:
    """Search for the best ways to saw a log."""
    request = read_given(
        PlanRequest,
        lays=min(_LAYS.get(typed.get("search", ""), _LAYS["usual"]), desk.settings.most_lays),
        mill_id=typed.get("mill_id") or None,
        prices_id=typed.get("prices_id") or None,
        doubt="off" if typed.get("search") == "quick" else "on",
        set=typed.get("set", "").strip() or None,
    )
    return see(f"/jobs/{desk.start_plan(log_id, request).id}")


@router.get("/logs/{log_id}/rename")
@router.get("/logs/{log_id}/about")
@router.get("/logs/{log_id}/remove")
@router.get("/logs/{log_id}/marks")
@router.get("/logs/{log_id}/marks/{mark_id}/remove")
@router.get("/logs/{log_id}/plans")
def back_to_log(log_id: LogId) -> Response:
    """Lead on whoever loads the address of one of the log's forms again."""
    return see(f"/logs/{log_id}")
