"""Routes that open jobs: what lies open, what was open lately, a path, an upload, a moved picture."""

import asyncio
from pathlib import Path
from typing import Any

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from report.cautions import CAUTIONS
from tracing.asked import asked_values, words
from tracing.desk import MOST_PATH_CHARS, Desk
from tracing.guard import UPLOAD_BYTES, UPLOAD_PATH, RefusedError
from tracing.recent import RecentJob
from tracing.uploads import keep_upload


def desk_routes(desk: Desk) -> list[Route]:
    """Give the routes."""

    async def at_desk(request: Request) -> Response:
        await desk.ready()
        return JSONResponse(
            {
                "open": None if desk.job is None else desk.job.key,
                "folder": str(desk.places.folder),
                "recent": await asyncio.to_thread(_recent_views, desk),
                "limits": {"upload_bytes": UPLOAD_BYTES},
                "version": desk.version,
                "cautions": CAUTIONS,
            }
        )

    async def open_job(request: Request) -> Response:
        values = await asked_values(request)
        if values.get("sample") is True:
            return JSONResponse({"key": await desk.open(await asyncio.to_thread(_sample))})
        if "recent" in values:
            job = desk.recent.find(words(values, "recent", most=64))
            if job is None:
                raise RefusedError(404, "That job is no longer in the list: open it by its path.")
            return JSONResponse({"key": await desk.open(Path(job.folder) / "job.toml")})
        return JSONResponse({"key": await desk.open(_path(values, desk))})

    async def upload(request: Request) -> Response:
        name = request.query_params.get("name", "")
        try:
            path = await keep_upload(name, request.stream(), beside=desk.places.folder)
        except ClientDisconnect:
            # Nobody is left to be told; what had arrived is gone again.
            return Response(status_code=400)
        return JSONResponse({"key": await desk.open(path)})

    async def look_elsewhere(request: Request) -> Response:
        values = await asked_values(request)
        return JSONResponse({"key": await desk.look_elsewhere(_path(values, desk))})

    return [
        Route("/api/desk", at_desk),
        Route("/api/open", open_job, methods=["POST"]),
        Route(UPLOAD_PATH, upload, methods=["POST"]),
        Route("/api/look_elsewhere", look_elsewhere, methods=["POST"]),
    ]


def _sample() -> Path:
    from job.demo import sample_picture

    return sample_picture()


def _path(values: dict[str, Any], desk: Desk) -> Path:
    """The path a person typed, from the folder where the command ran; ~ is their home."""
    typed = words(values, "path", most=MOST_PATH_CHARS).strip()
    # Copied paths often come with the quotes of the place they were copied from.
    if len(typed) >= 2 and typed[0] == typed[-1] and typed[0] in "\"'":
        typed = typed[1:-1]
    if not typed:
        raise RefusedError(422, "No path was given; the place of a picture or a job.toml was needed: type or paste it.")
    try:
        path = Path(typed).expanduser()
    except RuntimeError:
        path = Path(typed)
    return desk.places.folder / path


def _recent_views(desk: Desk) -> list[dict[str, Any]]:
    return [_recent_view(job) for job in desk.recent.jobs()]


def _recent_view(job: RecentJob) -> dict[str, Any]:
    try:
        there = (Path(job.folder) / "job.toml").is_file()
    except (OSError, ValueError):
        there = False
    return {"id": job.id, "name": job.name, "file": job.file, "folder": job.folder, "when": job.when, "there": there}
