"""Long work: its bar, the best so far, and where it leads."""

from typing import Annotated

import numpy as np
from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from optimizer.bed.buck_cuts import BuckCut
from optimizer.planning import BestSoFar
from service.contract.documents import BestShown, JobShown
from service.contract.job_state import JobState
from service.contract.refusals import NotFoundError
from service.desk import Desk
from service.drawings.bed import best_on_bed
from service.pages.rendering import OwnUnits, PageRoute, render, see
from service.pages.shapes_kept import shape_kept
from service.web.api_parts import JobId, OwnDesk
from service.words.job_words import behind_words
from service.words.measures import Measures, measures_in
from service.words.proven import percent_more
from service.words.time_words import left_words

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
        if job.state.is_ended:
            return see(there)
        waits, left = behind(desk, job), left_words(job.seconds_left)
        return render(request, "log_reading.html", log=log, job=job, then=there, behind=waits, left=left)
    mill, prices = desk.ordered(job_id)
    measures = measures_in(units, prices.currency, mill)
    # The money is that of the picture, which follows a little behind.
    net = job.best_net if job.best is None else job.best.net
    money = None if net is None else measures.money(net)
    return render(
        request, "job.html", job=job, made=desk.made_before(job_id), behind=behind(desk, job),
        picture=_picture(desk, job, measures), left=left_words(job.seconds_left),
        to="?to=cut-list" if to == "cut-list" else "", log=log, best=money,
        currency=measures.currency, percent_more=percent_more,
        mill=mill.name, prices=prices.name,
    )  # fmt: skip


def behind(desk: Desk, job: JobShown) -> str:
    """Say what a job that waits is behind; nothing of one that does not wait."""
    ahead = desk.store.ahead_of(job.id)
    return behind_words(ahead[0].kind, desk.store.log(ahead[0].log_id).name, len(ahead) - 1) if ahead else ""


@router.get("/jobs/{job_id}/best.svg")
def best_so_far(desk: OwnDesk, job_id: JobId, units: OwnUnits) -> Response:
    """Draw the best plan so far; nothing where there is none yet."""
    job = desk.store.job(job_id)
    if job.kind not in {"plan", "way"}:
        raise NotFoundError("there is no picture of this job")
    mill, prices = desk.ordered(job_id)
    drawn = _picture(desk, job, measures_in(units, prices.currency, mill))
    return Response(drawn, media_type="image/svg+xml", headers={"Cache-Control": "no-store"})


def _picture(desk: Desk, job: JobShown, measures: Measures) -> str:
    if job.best is None or job.state.is_ended:
        return ""
    return best_on_bed(shape_kept(desk, job.log_id), _best(job.best), measures)


def _best(shown: BestShown) -> BestSoFar:
    cuts = tuple(BuckCut(cut.member, cut.at_m, cut.point_m, cut.normal) for cut in shown.buck_cuts)
    return BestSoFar(
        shown.net, shown.roll_deg, np.array(shown.log_to_bed), shown.stretch_m, shown.blade_heights_m, cuts
    )  # fmt: skip


@router.post("/jobs/{job_id}/cancel")
def cancel(desk: OwnDesk, job_id: JobId) -> Response:
    """Stop a job."""
    return see(f"/jobs/{desk.cancel_job(job_id).id}")


@router.get("/jobs/{job_id}/cancel")
def back_to_job(job_id: JobId) -> Response:
    """Lead on whoever loads the address of the form again."""
    return see(f"/jobs/{job_id}")
