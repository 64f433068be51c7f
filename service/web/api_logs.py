"""Routes of logs and the marks on them."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Path, Query, Request, Response, status
from fastapi.concurrency import run_in_threadpool
from pydantic import BaseModel, ConfigDict, Field

from optimizer.documents.plan import Mark
from service.contract.documents import LogAdded, LogShown, MarkGiven, ScanAdded, ScanGiven
from service.desk import about_of, scan_given
from service.store.uploads import check_length, receiving
from service.typed.log_reading import AboutLog
from service.typed.log_sheet import LogSheetTyped
from service.web import api_examples
from service.web.api_parts import NOT_MODIFIED, Limit, LogId, MarkId, Offset, OwnDesk, ScanId, errors, tagged

router = APIRouter(prefix="/api/logs", tags=["logs"])

_FILE = {"type": "string", "format": "binary", "description": "A scan, a mesh or a log sheet (log.toml)."}
_NAME = {"type": "string", "maxLength": 200, "description": "What to call the log; else the file's name."}
_SCAN = {"type": "string", "format": "binary", "description": "A scan of the same log."}


def _body_of(file: dict[str, Any], fields: dict[str, Any], forms: Any, files: Any) -> dict[str, Any]:
    """Return what an upload takes: a form with the file and its fields, or the file alone."""
    schema = {"type": "object", "required": ["file"], "properties": {"file": file, **fields}}
    content = {
        "multipart/form-data": {"schema": schema, "examples": forms},
        "application/octet-stream": {"schema": file, "examples": files},
    }
    return {"requestBody": {"required": True, "content": content}}


_UPLOAD = _body_of(
    _FILE, {"name": _NAME, **AboutLog.model_json_schema()["properties"]}, api_examples.FORMS, api_examples.FILES
)
_SCAN_UPLOAD = _body_of(
    _SCAN, ScanGiven.model_json_schema()["properties"], api_examples.SCAN_FORMS, api_examples.SCAN_FILES
)
_MEDIA = {"ply": "application/x-ply", "stl": "model/stl", "obj": "model/obj", "glb": "model/gltf-binary"}
_SOLID: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "The mesh, in meters: +x from butt to top, z up (y in GLB).",
        "content": {media: {"schema": {"type": "string", "format": "binary"}} for media in _MEDIA.values()},
    }
}


class UploadQuery(AboutLog):
    """What may stand in the address of an upload: for a bare body, as a form says it itself."""

    file_name: str | None = Field(None, max_length=200, description="What the file is called.", examples=["log.ply"])
    name: str | None = Field(
        None,
        max_length=200,
        description="What to call the log; else the file's name.",
        examples=["Orchard Road maple"],
    )


class ScanQuery(ScanGiven):
    """What may stand in the address of another scan's upload: for a bare body, as a form says it itself."""

    file_name: str | None = Field(None, max_length=200, description="What the file is called.", examples=["log2.ply"])


class LogChange(BaseModel):
    """What to change of a log; what is left out stays."""

    model_config = ConfigDict(extra="forbid")

    name: str | None = Field(None, min_length=1, max_length=200, description="What to call it.")
    about: AboutLog | None = Field(None, description="What is said of it, whole; reads it again where that differs.")


class MarkKept(BaseModel):
    """A mark on a log."""

    mark_id: str = Field(description="The mark's id.")
    mark: Mark


def _answered(added: LogAdded, response: Response) -> LogAdded:
    if added.again:
        response.status_code = status.HTTP_200_OK
    response.headers["Location"] = f"/api/logs/{added.log.id}"
    return added


_ADDED: dict[int | str, dict[str, Any]] = {200: {"model": LogAdded, "description": "It was here already."}}


@router.get("", responses=errors(422))
def list_logs(desk: OwnDesk, limit: Limit = 100, offset: Offset = 0) -> list[LogShown]:
    """List the logs, the newest first."""
    return desk.store.logs(limit, offset)


@router.post("", status_code=202, responses={**_ADDED, **errors(422, 429, 507)}, openapi_extra=_UPLOAD)
async def upload_log(
    request: Request, response: Response, desk: OwnDesk, query: Annotated[UploadQuery, Query()]
) -> LogAdded:
    """Upload a scan, a mesh or a log sheet, as a form or as a bare body, and have it read.

    The same file with the same words again is the same log, so that an upload may be repeated after a bad line.
    """
    check_length(request.headers.get("content-length"), desk.files, desk.limits)
    content_type = request.headers.get("content-type", "")
    stream = request.stream()
    async with receiving(content_type, stream, query.file_name, desk.files, desk.limits) as received:
        name, about = about_of(query.model_dump(exclude={"file_name"}), received.fields)
        return _answered(await run_in_threadpool(desk.add_file, received, name, about), response)


@router.post("/sheet", status_code=202, responses={**_ADDED, **errors(422, 429, 507)})
def add_sheet(
    response: Response, desk: OwnDesk, sheet: Annotated[LogSheetTyped, Body(openapi_examples=api_examples.SHEETS)]
) -> LogAdded:
    """Add a log measured with a tape: the log sheet as JSON. As TOML it is uploaded like a scan."""
    return _answered(desk.add_sheet(sheet), response)


@router.post("/sample", status_code=202, responses={**_ADDED, **errors(429, 507)})
def add_sample(response: Response, desk: OwnDesk) -> LogAdded:
    """Add the invented log that comes with Pithline, to try things on."""
    return _answered(desk.add_sample(), response)


@router.get("/{log_id}", responses=errors(404, 422))
def get_log(desk: OwnDesk, log_id: LogId) -> LogShown:
    """Return a log."""
    return desk.store.log(log_id)


@router.patch("/{log_id}", responses=errors(404, 409, 422, 429))
def change_log(
    desk: OwnDesk, log_id: LogId, change: Annotated[LogChange, Body(openapi_examples=api_examples.CHANGES)]
) -> LogShown:
    """Give a log another name, or say something else of it, which reads it again."""
    return desk.change_log(log_id, change.name, change.about)


@router.delete("/{log_id}", status_code=204, responses=errors(404, 422))
def remove_log(desk: OwnDesk, log_id: LogId) -> None:
    """Forget a log with its marks, jobs, plans and files."""
    desk.remove_log(log_id)


@router.post("/{log_id}/scans", status_code=202, responses=errors(404, 409, 422, 429, 507), openapi_extra=_SCAN_UPLOAD)
async def add_scan(request: Request, desk: OwnDesk, log_id: LogId, query: Annotated[ScanQuery, Query()]) -> ScanAdded:
    """Upload another scan of a log, which was rolled since the first, and have it fitted to the others.

    The log stays as it is until that is done, and where it is refused. What was planned before stays too.
    """
    check_length(request.headers.get("content-length"), desk.files, desk.limits)
    kind = request.headers.get("content-type", "")
    async with receiving(kind, request.stream(), query.file_name, desk.files, desk.limits) as received:
        given = scan_given(query.model_dump(exclude={"file_name"}), received.fields)
        return await run_in_threadpool(desk.add_walk, log_id, received, given)


@router.patch("/{log_id}/scans/{scan_id}", status_code=202, responses=errors(404, 409, 422, 429))
def fit_scan(
    desk: OwnDesk,
    log_id: LogId,
    scan_id: ScanId,
    given: Annotated[ScanGiven, Body(openapi_examples=api_examples.SCANS)],
) -> ScanAdded:
    """Fit a scan that was refused once more, with what is said now of how far the log was rolled."""
    return desk.fit_walk(log_id, scan_id, given)


@router.delete("/{log_id}/scans/{scan_id}", status_code=204, responses=errors(404, 409, 422))
def remove_scan(desk: OwnDesk, log_id: LogId, scan_id: ScanId) -> None:
    """Forget a scan that the log is not made of, and its file."""
    desk.remove_walk(log_id, scan_id)


@router.get(
    "/{log_id}/solid.{ending}", response_class=Response, responses={**_SOLID, **NOT_MODIFIED, **errors(404, 409, 422)}
)
def get_solid(
    request: Request,
    desk: OwnDesk,
    log_id: LogId,
    ending: Annotated[Literal["ply", "stl", "obj", "glb"], Path(description="The kind of file.", examples=["glb"])],
    wood: Annotated[bool, Query(description="The wood alone, without its bark.", examples=[True])] = False,
) -> Response:
    """Return the log's closed mesh as a file."""
    tag = f"{desk.solid_tag(log_id)}-{ending}-{wood}"
    return tagged(
        request,
        tag,
        lambda: Response(desk.solid_file(log_id, f".{ending}", wood=wood), media_type=_MEDIA[ending]),
    )


@router.get("/{log_id}/marks", responses=errors(404, 422))
def list_marks(desk: OwnDesk, log_id: LogId) -> list[MarkKept]:
    """List the marks on a log, the oldest first."""
    return [MarkKept(mark_id=mark_id, mark=mark) for mark_id, mark in desk.store.marks(log_id)]


@router.post("/{log_id}/marks", status_code=201, responses=errors(404, 409, 422, 429))
def add_mark(
    desk: OwnDesk, log_id: LogId, mark: Annotated[MarkGiven, Body(openapi_examples=api_examples.MARKS)]
) -> MarkKept:
    """Put a mark on a log: measured along it and round it, or pointed out by its place in the log frame."""
    mark_id, found = desk.add_mark(log_id, mark)
    return MarkKept(mark_id=mark_id, mark=found)


@router.delete("/{log_id}/marks/{mark_id}", status_code=204, responses=errors(404, 422))
def remove_mark(desk: OwnDesk, log_id: LogId, mark_id: MarkId) -> None:
    """Take a mark off a log."""
    desk.store.remove_mark(log_id, mark_id)
