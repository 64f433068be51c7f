"""The application: `create_app(settings)`.

Routes under /api parse, call one function, and serialise. Pages call the same functions, with no HTTP between:

    desk = request.app.state.desk                       service.desk.Desk; or the dependency api_parts.OwnDesk
    desk.store.logs(), .log(log_id)                     LogShown (documents.py): state reading | ready | failed, facts
    desk.add_file(received, name, about)                keep an upload (uploads.receiving) and queue its reading
    desk.add_scan(data, file_name, name, about)         the same for bytes; .add_sheet(sheet), .add_sample()
    desk.change_log(...), desk.remove_log(log_id)
    desk.read_of(log_id)                                LogRead: the solid with wood, hearts, marks, doubt
    desk.solid_file(log_id, ".glb", wood=False)         bytes of a mesh file
    desk.store.marks(log_id)                            [(mark_id, Mark)]; desk.add_mark(log_id, mark)
    desk.store.mills(), .mill(id | None)                MillKept, last written first; .write_mill(mill, id | None)
    desk.store.price_books(), .price_book(id | None)    PriceBookKept; .write_price_book(prices, id | None)
    species_lines()                                     SpeciesLine: a function of service.desk
    desk.start_plan(log_id, PlanRequest())              JobShown; desk.start_way(log_id, WayRequest(...))
    desk.store.jobs(log_id | None), .job(id)            JobShown; desk.cancel_job(job_id)
    desk.store.plans(log_id | None)                     PlanLine; desk.plan_document(plan_id): PlanDocument

Progress comes from /api/jobs/{id}/events. Where pages have a router of their own it is `service.pages.router`, and is
included in `create_app`, with the others.
"""

import importlib.util
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib import import_module
from importlib.metadata import version

from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware

from service.desk import Desk, open_desk
from service.jobs.events import Streams
from service.jobs.runner import JobRunner
from service.jobs.slots import slots_for
from service.settings import Settings
from service.store.passphrase import check_reach, passphrase_hash
from service.web import api_logs, api_mills, api_plans, api_session
from service.web.api_errors import add_error_handlers
from service.web.body_limit import BodyLimit
from service.web.guard import Guard
from service.web.sessions import Sessions
from service.web.wrapping import Wrapping

_PAGES = "service.pages"


def create_app(settings: Settings | None = None, opened: Desk | None = None) -> FastAPI:
    """Return the application; its data folder is open, and its jobs run, while it is served.

    opened : the desk, where it is open already. Raises InputError where others could reach it without a passphrase,
    and for an executor that cannot be had.
    """
    chosen = settings or Settings()
    check_reach(chosen)
    # Somebody else's executor is had at once, so that what is wrong with it is told before anything is served.
    elsewhere = None if chosen.executor is None else slots_for(chosen)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        desk = opened or open_desk(chosen)
        runner = JobRunner(
            desk.store, str(desk.files.folder), slots_for(chosen) if elsewhere is None else elsewhere, chosen
        )
        app.state.desk, app.state.runner = desk, runner
        app.state.sessions = Sessions(desk.store.database, chosen, passphrase_hash(chosen))
        app.state.streams = Streams(desk.store, chosen.most_streams)
        runner.start()
        try:
            yield
        finally:
            app.state.streams.closing = True
            runner.close()
            desk.close()

    app = FastAPI(
        title="Pithline",
        description="Plans how a log is sawn into live-edge slabs, before the first cut.",
        version=version("pithline"),
        lifespan=lifespan,
        openapi_url="/api/openapi.json",
        docs_url=None,  # their scripts come from another site
        redoc_url=None,
    )
    add_error_handlers(app)
    app.state.routers = [module.router for module in (api_logs, api_mills, api_plans, api_session)]
    if importlib.util.find_spec(_PAGES) is not None:
        pages = import_module(_PAGES)
        app.state.routers.append(pages.router)
        app.state.error_page = pages.error_page
    for router in app.state.routers:
        app.include_router(router)
    # The last that is added is the first that a request meets.
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    app.add_middleware(BodyLimit, most=chosen.body_bytes)
    app.add_middleware(Guard, settings=chosen)
    app.add_middleware(Wrapping)
    return app
