"""The pages: server-rendered HTML that reads without scripts, for a phone at the mill first.

`router` holds all their routes; each module of routes is one part of the house: the yard and its logs, plans, mills
and price books, signing in, the files that pages load.
"""

from fastapi import APIRouter

from service.pages import (
    job_pages,
    log_pages,
    mill_pages,
    new_log_pages,
    plan_pages,
    scan_pages,
    session_pages,
    solid_pages,
    static_files,
    way_pages,
)
from service.pages.rendering import error_page

PARTS = (
    new_log_pages, log_pages, scan_pages, way_pages, job_pages, plan_pages, mill_pages, session_pages, solid_pages,
    static_files,
)  # fmt: skip
router = APIRouter(include_in_schema=False)
for _part in PARTS:
    router.include_router(_part.router)

__all__ = ["PARTS", "error_page", "router"]
