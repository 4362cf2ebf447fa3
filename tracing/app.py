"""The page's routes, behind the guard; a refusal is JSON with one sentence."""

import json
import logging

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import ASGIApp

from drawing.errors import ScantlingError
from tracing.desk import Desk
from tracing.guard import Door, Guard, RefusedError
from tracing.routes_desk import desk_routes
from tracing.routes_job import job_routes
from tracing.static_files import page_script, static_file
from tracing.view_words import on_the_page

_log = logging.getLogger(__name__)

BUG = "Something went wrong inside the program; its own window tells more, and nothing was changed: try once more."


def make_app(desk: Desk, door: Door) -> ASGIApp:
    """Give the page's server as an ASGI application."""
    routes = [
        Route("/", _page),
        Route("/favicon.ico", _no_icon),
        Route("/static/js/main.js", _script),
        Route("/static/{path:path}", _static),
        *desk_routes(desk),
        *job_routes(desk),
    ]
    handlers = {
        RefusedError: _refused,
        ScantlingError: _sentence,
        HTTPException: _no_such,
        Exception: _bug,
    }
    return Guard(Starlette(routes=routes, exception_handlers=handlers), door)  # type: ignore[arg-type]


async def _page(request: Request) -> Response:
    return await _file("index.html")


async def _script(request: Request) -> Response:
    return page_script()


async def _static(request: Request) -> Response:
    return await _file(request.path_params["path"])


async def _file(name: str) -> Response:
    found = static_file(name)
    if found is None:
        raise HTTPException(404)
    return found


async def _no_icon(request: Request) -> Response:
    return Response(status_code=204)


async def _refused(request: Request, error: RefusedError) -> Response:
    headers = {"connection": "close"} if error.status in (408, 413) else None
    return _said(error.sentence, error.status, headers)


async def _sentence(request: Request, error: ScantlingError) -> Response:
    return _said(on_the_page(str(error)), 422)


async def _no_such(request: Request, error: HTTPException) -> Response:
    if error.status_code == 405:
        return _said("The page cannot ask this in that way; nothing was changed: reload the page.", 405)
    return _said("There is nothing at this address; nothing was changed: reload the page.", error.status_code)


async def _bug(request: Request, error: Exception) -> Response:
    _log.error("answering %s", request.url.path, exc_info=error)
    return _said(BUG, 500)


def _said(sentence: str, status: int, headers: dict[str, str] | None = None) -> Response:
    return Response(json.dumps({"error": sentence}), status, headers, "application/json")
