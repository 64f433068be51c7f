"""The yard, and how logs come into it: a scan, a log sheet, the sample."""

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response

from optimizer.wood.woods import UnknownSpeciesError, find_wood
from scans.errors import ScanError
from scans.tape.log_from_sheet import log_from_sheet
from service.contract.refusals import DiskFullError, TooLargeError, error_shown
from service.desk import Desk, about_of, species_lines
from service.pages.asked import SHEET
from service.pages.fields import Filled, checked, filled, row_numbers
from service.pages.rendering import UNITS_COOKIE, OwnUnits, PageRoute, TypedIn, errors_answer, own_path, render, see
from service.pages.words import WORDS
from service.store.uploads import check_length, receiving
from service.typed.errors import InputError
from service.typed.log_reading import AboutLog
from service.typed.log_sheet import LogSheetTyped
from service.web.api_parts import OwnDesk
from service.words.measures import measures_in
from service.words.money_words import worth
from service.words.units import Units

router = APIRouter(route_class=PageRoute)
_FIRST_SECTIONS = 3
_MOST_ROWS = 40
UPLOAD_FIELDS = ("name", *AboutLog.model_fields)


@router.get("/")
def yard(request: Request, desk: OwnDesk, units: OwnUnits) -> Response:
    """Show all logs."""
    logs = desk.store.logs(limit=200)
    newest_last = reversed(desk.store.plans(limit=1000))
    best = {plan.log_id: plan for plan in newest_last if plan.kind == "plan"}
    money = {log_id: measures_in(units, plan.currency).money(worth(plan)) for log_id, plan in best.items()}
    return render(request, "yard.html", logs=logs, worth=money)


@router.get("/words")
def words(request: Request) -> Response:
    """Explain every word."""
    return render(request, "words.html", words=sorted(WORDS.values(), key=lambda word: word.term))


@router.post("/units")
def choose_units(typed: TypedIn) -> Response:
    """Remember the units that somebody reads in."""
    there = see(own_path(typed.get("back")))
    units = Units.METRIC if typed.get("units") == Units.METRIC else Units.IMPERIAL
    there.set_cookie(UNITS_COOKIE, units, max_age=400 * 86400, samesite="lax", httponly=True)
    return there


@router.get("/units")
@router.get("/logs/sample")
def back_to_yard() -> Response:
    """Lead on whoever loads the address of a form again."""
    return see("/")


@router.get("/logs")
def back_to_new_log() -> Response:
    """Lead on whoever loads the address of the form again."""
    return see("/logs/new")


@router.get("/logs/new")
def new_log(request: Request, desk: OwnDesk) -> Response:
    """Ask for a scan, or for a log sheet."""
    return _upload_page(request, desk, {}, "")


def _upload_page(request: Request, desk: Desk, typed: dict[str, str], error: str, status: int = 200) -> Response:
    return render(
        request, "log_new.html", status, typed=typed, error=error, species=species_lines(),
        most_bytes=desk.settings.upload_bytes,
    )  # fmt: skip


@router.post("/logs")
async def upload(request: Request, desk: OwnDesk) -> Response:
    """Take a scan, straight to disk."""
    typed: dict[str, str] = {}
    try:
        check_length(request.headers.get("content-length"), desk.files, desk.limits)
        kind = request.headers.get("content-type", "")
        async with receiving(kind, request.stream(), None, desk.files, desk.limits) as received:
            typed = received.fields
            name, about = about_of({key: typed.get(key, "").strip() for key in UPLOAD_FIELDS})
            added = await run_in_threadpool(desk.add_file, received, name, about)
    except (InputError, UnknownSpeciesError, TooLargeError, DiskFullError) as error:
        shown = error_shown(error)
        message = shown.message if shown is not None else str(error)
        status = 507 if isinstance(error, DiskFullError) else 422
        return await run_in_threadpool(_upload_page, request, desk, typed, message, status)
    return see(f"/logs/{added.log.id}")


@router.post("/logs/sample")
def sample(desk: OwnDesk) -> Response:
    """Add the invented log that comes with Pithline."""
    return see(f"/logs/{desk.add_sample().log.id}")


@router.get("/logs/sheet")
def new_sheet(request: Request, desk: OwnDesk) -> Response:
    """Ask for the tape's numbers."""
    blank = {f"section.{k}.at_m": "" for k in range(_FIRST_SECTIONS)}
    return _sheet_page(request, desk, Filled({"bark": "on", **blank}))


@router.post("/logs/sheet")
def add_sheet(request: Request, desk: OwnDesk, typed: TypedIn, units: OwnUnits) -> Response:
    """Add a log from the tape's numbers; or show the form again with more rows, or with what is wrong."""
    more = typed.pop("more", "")
    if more:
        return _sheet_page(request, desk, Filled(_with_row(typed, more)))
    form, sheet = sheet_of(typed, units)
    if sheet is None:
        return _sheet_page(request, desk, form, 422)
    return see(f"/logs/{desk.add_sheet(sheet).log.id}")


@router.post("/check/sheet")
def check_sheet(typed: TypedIn, units: OwnUnits) -> Response:
    """Say what is wrong with a log sheet as it stands."""
    return errors_answer(sheet_of(typed, units)[0].errors, units)


def sheet_of(typed: dict[str, str], units: Units) -> tuple[Filled, LogSheetTyped | None]:
    """Return a form and its log sheet; None where something is wrong, which the form then says."""
    form = filled(SHEET, typed, units)
    sheet = checked(LogSheetTyped, SHEET, form, units)
    if sheet is not None and sheet.species is not None:
        try:
            find_wood(sheet.species)
        except UnknownSpeciesError as error:
            form.errors["species"] = str(error)
            return form, None
    if sheet is not None:
        try:
            log_from_sheet(sheet.taped(), 1.0)
        except ScanError as error:
            form.errors[SHEET.name_of(error.field)] = str(error)
            return form, None
    return form, sheet


def _with_row(typed: dict[str, str], rows: str) -> dict[str, str]:
    """Add a blank row to a list that a button names."""
    steps = rows.split(".")
    is_list = rows in {"section", "limb", "mark"} or (
        len(steps) == 3 and steps[0] == "limb" and steps[1].isdigit() and steps[2] == "section"
    )
    numbers = row_numbers(typed, rows)
    if not is_list or len(numbers) >= _MOST_ROWS:
        return typed
    new = f"{rows}.{max(numbers, default=-1) + 1}"
    first = {"limb": "leaves_at_m", "mark": "kind"}.get(rows, "at_m")
    return {**typed, f"{new}.{first}": ""}


def _sheet_page(request: Request, desk: Desk, form: Filled, status: int = 200) -> Response:
    del desk
    limbs = row_numbers(form.typed, "limb")
    return render(
        request, "log_sheet.html", status, form=form, asked=SHEET, species=species_lines(),
        sections=row_numbers(form.typed, "section"), marks=row_numbers(form.typed, "mark"),
        limbs=[(limb, row_numbers(form.typed, f"limb.{limb}.section") or [0]) for limb in limbs],
    )  # fmt: skip
