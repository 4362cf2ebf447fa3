"""Routes of the job that lies open: its view, gestures, tiles, events, tasks and files."""

import asyncio
import json
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, TypeAlias

from starlette.requests import Request
from starlette.responses import FileResponse, Response, StreamingResponse
from starlette.routing import Route

from drawing.errors import ScantlingError
from tracing import routes_look
from tracing.asked import asked_values, one_of, whole
from tracing.desk import Desk
from tracing.guard import RefusedError
from tracing.result_files import FILES

if TYPE_CHECKING:
    from tracing.open_job import OpenJob

Answer: TypeAlias = Callable[[Request, "OpenJob"], Awaitable[Response]]

KEEP = "private, max-age=31536000, immutable"
"""For tiles asked for with the picture they are of: those never change."""

REPORT_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data: blob:; font-src data:; sandbox"
"""A report has its styles and pictures inside; nothing in it may run, whatever a plan's name holds."""


def job_routes(desk: Desk) -> list[Route]:
    """Give the routes."""

    def of_job(answer: Answer) -> Callable[[Request], Awaitable[Response]]:
        async def answered(request: Request) -> Response:
            job = desk.job
            if job is None or request.path_params["key"] != job.key:
                text = "Another job lies open now, so this was not done: reload the page to see it."
                return _json(json.dumps({"error": text, "gone": True}), 409)
            try:
                return await answer(request, job)
            except ScantlingError as error:
                from tracing.session import StaleRevision

                if not isinstance(error, StaleRevision):
                    raise
                stale = f'{{"error": {json.dumps(str(error))}, "stale": true, "reply": {job.reply()}}}'
                return _json(stale, 409)

        return answered

    def get(path: str, answer: Answer) -> Route:
        return Route(f"/api/job/{{key}}{path}", of_job(answer))

    def post(path: str, answer: Answer) -> Route:
        return Route(f"/api/job/{{key}}{path}", of_job(answer), methods=["POST"])

    return [
        get("", _view),
        get("/events", _events),
        get("/landmarks", _landmarks),
        get("/tiles/{level:int}/{x:int}/{y:int}", _tile),
        get("/files/{name}", _result),
        get("/flat.jpg", routes_look.flat),
        post("/snap", routes_look.snap),
        post("/ink_way", routes_look.ink_way),
        post("/ink_path", routes_look.ink_path),
        post("/shared_edge", routes_look.shared_edge),
        post("/measure", routes_look.measure),
        post("/command", _command),
        post("/undo", _undo),
        post("/redo", _redo),
        post("/conflict", _conflict),
        post("/export", _export),
        post("/tasks/{task}/cancel", _cancel),
    ]


async def _view(request: Request, job: "OpenJob") -> Response:
    return _json(job.view())


async def _events(request: Request, job: "OpenJob") -> Response:
    return StreamingResponse(job.hub.stream(job.first_events()), media_type="text/event-stream")


async def _landmarks(request: Request, job: "OpenJob") -> Response:
    seen = job.stages.seen
    points = [] if seen is None else seen.landmarks_px.round(3).tolist()
    return _json(json.dumps({"points": points}))


async def _tile(request: Request, job: "OpenJob") -> Response:
    level, x, y = (request.path_params[name] for name in ("level", "x", "y"))
    tiles = job.tiles
    found = None if tiles is None else await asyncio.to_thread(tiles.tile, level, x, y)
    if found is None:
        raise RefusedError(404, "There is no such part of the picture, or it is still being read: try again shortly.")
    content, kind = found
    kept = job.pyramid is not None and request.query_params.get("of") == job.pyramid.folder.name
    return Response(content, media_type=kind, headers={"cache-control": KEEP if kept else "no-store"})


async def _command(request: Request, job: "OpenJob") -> Response:
    values = await asked_values(request)
    command = values.get("command")
    if not isinstance(command, dict):
        raise RefusedError(422, "The request holds no command; one was needed: reload the page.")
    return _json(job.do(command, base=whole(values, "base")))


async def _undo(request: Request, job: "OpenJob") -> Response:
    return _json(job.undo(base=whole(await asked_values(request), "base")))


async def _redo(request: Request, job: "OpenJob") -> Response:
    return _json(job.redo(base=whole(await asked_values(request), "base")))


async def _conflict(request: Request, job: "OpenJob") -> Response:
    return _json(job.resolve(one_of(await asked_values(request), "keep", ("mine", "theirs"))))


async def _export(request: Request, job: "OpenJob") -> Response:
    await asked_values(request)
    return _json(json.dumps({"task": job.export()}))


async def _cancel(request: Request, job: "OpenJob") -> Response:
    await asked_values(request)
    if not job.cancel(request.path_params["task"]):
        raise RefusedError(404, "That work is over already; nothing was stopped.")
    return _json("{}")


async def _result(request: Request, job: "OpenJob") -> Response:
    name = request.path_params["name"]
    # Only these names: whatever else lies in the folder is not the page's to show.
    if name not in FILES:
        raise RefusedError(404, "There is no such file among the job's results.")
    path = job.folder / name
    if path.is_symlink() or not path.is_file():
        raise RefusedError(404, f"{name} has not been written yet: export the job first.")
    if name == "report.html":
        return FileResponse(path, media_type=FILES[name], headers={"content-security-policy": REPORT_POLICY})
    return FileResponse(path, media_type=FILES[name], filename=name)


def _json(text: str, status: int = 200) -> Response:
    return Response(text, status, media_type="application/json")
