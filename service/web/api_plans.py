"""Routes of plans, of ways that somebody chose, and of the jobs that make them."""

import gzip
from typing import Annotated, Any

from fastapi import APIRouter, Body, Query, Request, Response
from fastapi.responses import PlainTextResponse, StreamingResponse

from optimizer.documents.plan import PlanDocument
from service.contract.documents import JobShown, PlanLine, PlanRequest, TickSaid, TickShown, WayRequest
from service.web import api_examples
from service.web.api_parts import NOT_MODIFIED, JobId, Limit, LogId, OwnDesk, PlanId, Step, WayKey, errors, tagged
from service.words.units import Units

router = APIRouter(prefix="/api", tags=["plans and jobs"])

PlanAsked = Annotated[PlanRequest, Body(openapi_examples=api_examples.PLANS)]
WayAsked = Annotated[WayRequest, Body(openapi_examples=api_examples.WAYS)]
OfLog = Annotated[
    str | None, Query(pattern="^[0-9a-f]{32}$", description="Those of one log alone.", examples=["0" * 32])
]
OwnUnits = Annotated[
    Units,
    Query(
        description="What lengths and masses are written in.",
        openapi_examples={"metric": {"value": "metric"}, "imperial": {"value": "imperial"}},
    ),
]
TickAsked = Annotated[TickSaid, Query()]
Whole = Annotated[bool, Query(description="Every plan in full, as --all prints it.", examples=[True])]
_TEXT: dict[int | str, dict[str, Any]] = {
    200: {"description": "Plain text, UTF-8.", "content": {"text/plain": {"schema": {"type": "string"}}}}
}
_EVENTS: dict[int | str, dict[str, Any]] = {
    200: {
        "description": 'Events "job", each with the job as JSON; the stream ends with the job.',
        "content": {"text/event-stream": {"schema": {"type": "string"}}},
    }
}


@router.post("/logs/{log_id}/plans", status_code=202, responses=errors(404, 409, 422, 429))
def start_plan(response: Response, desk: OwnDesk, log_id: LogId, request: PlanAsked) -> JobShown:
    """Search for the best ways to lay and saw a log; the job that is returned makes the plan."""
    return _located(desk.start_plan(log_id, request), response)


@router.post("/logs/{log_id}/ways", status_code=202, responses=errors(404, 409, 422, 429))
def start_way(response: Response, desk: OwnDesk, log_id: LogId, request: WayAsked) -> JobShown:
    """Price a way that somebody chose, or plan on from passes made already."""
    return _located(desk.start_way(log_id, request), response)


def _located(job: JobShown, response: Response) -> JobShown:
    response.headers["Location"] = f"/api/jobs/{job.id}"
    return job


@router.get("/plans", responses=errors(422))
def list_plans(desk: OwnDesk, log_id: OfLog = None, limit: Limit = 100) -> list[PlanLine]:
    """List plans, the newest first."""
    return desk.store.plans(log_id, limit)


@router.get("/plans/{plan_id}", response_model=PlanDocument, responses={**NOT_MODIFIED, **errors(404, 422)})
def get_plan(request: Request, desk: OwnDesk, plan_id: PlanId) -> Response:
    """Return a plan document, as `pithline plan --json` writes it."""
    packed = desk.store.plan_gzip(plan_id)

    def document() -> Response:
        if "gzip" in request.headers.get("accept-encoding", ""):
            return Response(packed, media_type="application/json", headers={"Content-Encoding": "gzip"})
        return Response(gzip.decompress(packed), media_type="application/json")

    answer = tagged(request, plan_id, document)
    answer.headers["Vary"] = "Accept-Encoding"
    return answer


@router.get("/plans/{plan_id}/text", response_class=Response, responses={**_TEXT, **NOT_MODIFIED, **errors(404, 422)})
def get_plan_text(
    request: Request, desk: OwnDesk, plan_id: PlanId, units: OwnUnits = Units.IMPERIAL, whole: Whole = False
) -> Response:
    """Return a plan as `pithline plan` prints it: 80 columns of plain text."""
    return tagged(
        request,
        f"{plan_id}-{units}-{whole}",
        lambda: PlainTextResponse(desk.plan_text_of(plan_id, units, show_all=whole)),
    )


@router.delete("/plans/{plan_id}", status_code=204, responses=errors(404, 422))
def remove_plan(desk: OwnDesk, plan_id: PlanId) -> None:
    """Forget a plan."""
    desk.store.remove_plan(plan_id)


@router.get("/plans/{plan_id}/ticks", responses=errors(404, 422))
def list_ticks(desk: OwnDesk, plan_id: PlanId) -> list[TickShown]:
    """List the ticks on a plan's cut lists, those that were taken back too."""
    return desk.store.ticks(plan_id)


@router.put("/plans/{plan_id}/ticks/{way}/{step}", responses=errors(404, 422))
def tick(desk: OwnDesk, plan_id: PlanId, way: WayKey, step: Step, said: TickAsked) -> TickShown:
    """Tick a step of a cut list off; the answer says how it stands then, as a change that comes late may not."""
    return desk.change_tick(plan_id, way, step, said.change(is_ticked=True))


@router.delete("/plans/{plan_id}/ticks/{way}/{step}", responses=errors(404, 422))
def untick(desk: OwnDesk, plan_id: PlanId, way: WayKey, step: Step, said: TickAsked) -> TickShown:
    """Take a tick back; the answer says how it stands then, as one that comes late takes back none it did not see."""
    return desk.change_tick(plan_id, way, step, said.change(is_ticked=False))


@router.get("/jobs", responses=errors(422))
def list_jobs(desk: OwnDesk, log_id: OfLog = None, limit: Limit = 100) -> list[JobShown]:
    """List jobs, the newest first."""
    return desk.store.jobs(log_id, limit)


@router.get("/jobs/{job_id}", responses=errors(404, 422))
def get_job(desk: OwnDesk, job_id: JobId) -> JobShown:
    """Return a job."""
    return desk.store.job(job_id)


@router.post("/jobs/{job_id}/cancel", responses=errors(404, 409, 422))
def cancel_job(desk: OwnDesk, job_id: JobId) -> JobShown:
    """Cancel a job: at once where it waits, within a second where it runs."""
    return desk.cancel_job(job_id)


@router.get("/jobs/{job_id}/events", response_class=StreamingResponse, responses={**_EVENTS, **errors(404, 422, 429)})
def watch_job(request: Request, desk: OwnDesk, job_id: JobId) -> StreamingResponse:
    """Follow a job as server-sent events."""
    desk.store.job(job_id)
    events = request.app.state.streams.of_job(job_id)
    return StreamingResponse(events, media_type="text/event-stream", headers={"Cache-Control": "no-store"})
