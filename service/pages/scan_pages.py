"""Another scan of a log, which was rolled before it: sent, asked about where its roll is not sure, or left out."""

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response

from scans.messages import quoted
from service.contract.documents import ScanGiven
from service.contract.refusals import DiskFullError, TooLargeError, error_shown
from service.desk import scan_given
from service.pages.fields import Filled
from service.pages.log_pages import ScanTyped, log_page_shown
from service.pages.rendering import PageRoute, TypedIn, see
from service.store.uploads import check_length, receiving
from service.typed.errors import InputError
from service.web.api_parts import LogId, OwnDesk, ScanId
from service.words.turn_words import COUNTERCLOCKWISE

router = APIRouter(route_class=PageRoute)


@router.post("/logs/{log_id}/scans")
async def add_scan(request: Request, desk: OwnDesk, log_id: LogId) -> Response:
    """Take another scan of a log, straight to disk."""
    try:
        check_length(request.headers.get("content-length"), desk.files, desk.limits)
        kind = request.headers.get("content-type", "")
        async with receiving(kind, request.stream(), None, desk.files, desk.limits) as received:
            added = await run_in_threadpool(desk.add_walk, log_id, received, rolled_in(received.fields))
    except (InputError, TooLargeError, DiskFullError) as error:
        shown = error_shown(error)
        typed = ScanTyped(shown.message if shown is not None else str(error))
        status = 507 if isinstance(error, DiskFullError) else 422
        return await run_in_threadpool(log_page_shown, request, desk, log_id, Filled({}), status, typed)
    return see(f"/jobs/{added.job.id}")


@router.post("/logs/{log_id}/scans/{scan_id}")
def fit_scan(request: Request, desk: OwnDesk, log_id: LogId, scan_id: ScanId, typed: TypedIn) -> Response:
    """Fit a scan that was refused once more, with what is said now of the roll."""
    try:
        given = rolled_in(typed)
    except InputError as error:
        return log_page_shown(request, desk, log_id, Filled({}), 422, ScanTyped(str(error), scan_id, typed))
    return see(f"/jobs/{desk.fit_walk(log_id, scan_id, given).job.id}")


@router.post("/logs/{log_id}/scans/{scan_id}/remove")
def remove_scan(desk: OwnDesk, log_id: LogId, scan_id: ScanId) -> Response:
    """Forget a scan that was refused."""
    desk.remove_walk(log_id, scan_id)
    return back_to_scans(log_id)


@router.get("/logs/{log_id}/scans")
def back_to_scans(log_id: LogId) -> Response:
    """Lead on to the scans of a log, also whoever loads the address of their form again."""
    return see(f"/logs/{log_id}#scans")


@router.get("/logs/{log_id}/scans/{scan_id}")
@router.get("/logs/{log_id}/scans/{scan_id}/remove")
def back_to_scan(log_id: LogId, scan_id: ScanId) -> Response:
    """Lead on whoever loads the address of a form again."""
    del scan_id
    return back_to_scans(log_id)


def rolled_in(typed: dict[str, str]) -> ScanGiven:
    """Return what a form says of the roll; of one left empty it is to be found. Raises InputError."""
    text = typed.get("rolled_deg", "").strip()
    if not text:
        return ScanGiven()
    try:
        rolled_deg = float(text)
    except ValueError:
        raise InputError(
            f"the roll must be a number of degrees, got {quoted(text)}", "write it like 150", field="rolled_deg"
        ) from None
    return scan_given({"rolled_deg": -rolled_deg if typed.get("roll_side") == COUNTERCLOCKWISE else rolled_deg})
