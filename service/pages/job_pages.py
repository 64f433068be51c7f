"""Long work: its bar, and where it leads."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from service.contract.job_state import JobState
from service.pages.rendering import OwnUnits, PageRoute, render, see
from service.web.api_parts import JobId, OwnDesk
from service.words.measures import measures_in
from service.words.proven import percent_more

router = APIRouter(route_class=PageRoute)
To = Annotated[str, Query(max_length=20)]


@router.get("/jobs/{job_id}")
def job_page(request: Request, desk: OwnDesk, job_id: JobId, units: OwnUnits, to: To = "") -> Response:
    """Show how far a job is; where it is done, what came of it. to : cut-list leads right there."""
    job = desk.store.job(job_id)
    if job.kind == "read":
        return see(f"/logs/{job.log_id}")
    if job.state is JobState.DONE and job.plan_id is not None:
        return see(f"/plans/{job.plan_id}{'/1/cut-list' if to == 'cut-list' else ''}")
    log = desk.store.log(job.log_id)
    if job.kind == "walk":
        there = f"/logs/{log.id}#scans"
        return see(there) if job.state.is_ended else render(request, "log_reading.html", log=log, job=job, then=there)
    asked = desk.store.job_request(job_id)
    currency = str(asked.get("prices", {}).get("currency", "USD"))
    money = None if job.best_net is None else measures_in(units, currency).money(job.best_net)
    return render(
        request, "job.html", job=job, made=desk.made_before(job_id),
        to="?to=cut-list" if to == "cut-list" else "", log=log, best=money,
        currency=currency, percent_more=percent_more,
        mill=asked.get("mill", {}).get("name", ""), prices=asked.get("prices", {}).get("name", ""),
    )  # fmt: skip


@router.post("/jobs/{job_id}/cancel")
def cancel(desk: OwnDesk, job_id: JobId) -> Response:
    """Stop a job."""
    return see(f"/jobs/{desk.cancel_job(job_id).id}")


@router.get("/jobs/{job_id}/cancel")
def back_to_job(job_id: JobId) -> Response:
    """Lead on whoever loads the address of the form again."""
    return see(f"/jobs/{job_id}")
