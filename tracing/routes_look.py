"""Routes that answer about the picture while the pointer moves: snap, path along ink, measure, flat preview."""

import asyncio
import json
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import Response

from drawing.errors import ScantlingError
from tracing.asked import asked_values, number, one_of, point, points
from tracing.guard import RefusedError

if TYPE_CHECKING:
    from tracing.open_job import OpenJob

KINDS = ("length", "angle", "area", "radius", "here")

WIDTH_PX = 800
"""Width of the flat preview unless the page asks for another."""


async def snap(request: Request, job: "OpenJob") -> Response:
    """Where a mark would go."""
    values = await asked_values(request)
    at_px, reach_px = point(values, "at"), _reach_px(values)
    answers = job.answers
    if answers is None:
        # Until the picture's lines are known a mark stays where it is put, and goes to the ink later.
        return _json({"at": at_px, "what": "not yet", "number": None})
    return _json(answers.snap(at_px, reach_px=reach_px))


async def ink_way(request: Request, job: "OpenJob") -> Response:
    """The way that a trace would take from its last click to the pointer, and where a click there would go."""
    values = await asked_values(request)
    clicks, reach_px = points(values, "points", least=2), _reach_px(values)
    answers = await job.when_answers()
    way = await asyncio.to_thread(lambda: answers.ink_way(clicks, reach_px=reach_px))
    return _json(way)


async def ink_path(request: Request, job: "OpenJob") -> Response:
    """The trace through clicks."""
    values = await asked_values(request)
    clicks = points(values, "points", least=2)
    answers = await job.when_answers()
    return _json(await asyncio.to_thread(answers.ink_path, clicks))


async def shared_edge(request: Request, job: "OpenJob") -> Response:
    """The edge that two outlines share, to be rubbed out."""
    values = await asked_values(request)
    at_px, reach_px = point(values, "at"), _reach_px(values)
    answers = await job.when_answers()
    lines = job.session.job
    edge = await asyncio.to_thread(lambda: answers.shared_edge(at_px, reach_px=reach_px, job=lines))
    return _json(edge)


async def measure(request: Request, job: "OpenJob") -> Response:
    """What is measured between marks."""
    values = await asked_values(request)
    kind, marks = one_of(values, "kind", KINDS), points(values, "points", least=1)
    answers = await job.when_answers()
    scale = await job.stages.scale_at(job.session.revision)
    return _json(await asyncio.to_thread(answers.measure, kind, marks, scale, job.session.job))


async def flat(request: Request, job: "OpenJob") -> Response:
    """The flat preview of the job, or of a newer one once its scale is known."""
    width_px = _whole(request, "width", WIDTH_PX)
    answers = await job.when_answers()
    pyramid = job.pyramid
    if pyramid is None:
        raise RefusedError(404, "The picture is still being read: try again shortly.")
    try:
        scale = await job.stages.scale_at(job.session.revision)
    except ScantlingError:
        # Corners are dragged before any length is known: the shape alone is then shown.
        scale = None
    content = await asyncio.to_thread(answers.flat, pyramid, scale, job.session.job, width_px=width_px)
    return Response(content, media_type="image/jpeg")


def _reach_px(values: dict[str, Any]) -> float:
    """How far from its place a mark may go to the ink."""
    reach_px = number(values, "reach_px")
    if not 0 <= reach_px <= 1e5:
        raise RefusedError(422, "The request's 'reach_px' must be from 0 to 100 000 px: try again.")
    return reach_px


def _whole(request: Request, name: str, otherwise: int) -> int:
    text = request.query_params.get(name, "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else otherwise


def _json(values: object) -> Response:
    return Response(json.dumps(values, allow_nan=False), media_type="application/json")
