"""The service's HTTP: scans in, verdicts out, and everything the ledger can answer."""

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Any

from fastapi import APIRouter, FastAPI, Request
from fastapi.responses import JSONResponse, Response, StreamingResponse
from starlette.types import ASGIApp

from service.access.doors import Doors
from service.api.acts import acts_router
from service.api.bodies import json_body
from service.api.entry import entry_router
from service.api.gate import Gate
from service.api.looks import looks_router
from service.api.metrics import EXPOSITION, Metrics, last_checkpoint, outboxes
from service.api.problems import MEDIA, SCHEMA, Problem, install
from service.api.scans import ScansFirst
from service.api.streams import Streams
from service.ledger.store import LedgerUnavailable
from service.stations.desk import Desk
from service.stations.scan import station_name
from service.stations.screen import screen
from service.stations.sealing import Sealer

DESCRIPTION = """Codes, scans and custody for a practice's instrument packs. Foldmark advises; the practice's own
procedures, local codes and the licensed practitioner decide."""
_SCAN = {
    "id": "017f22e2-79b0-7cc3-98c4-dc0c0c07398f",
    "station": "theatre-1",
    "code": "P-K7-0042-0017-R",
    "seen_at": "2026-03-04T10:12:00.000Z",
    "sent_at": "2026-03-04T10:12:00.040Z",
}
_ANSWER = {
    "verdict": "stop",
    "headline": "This pack is not released.",
    "detail": "Dental extraction A, turn 17, is waiting, and came out of steam load 0334. Nobody has released it.",
    "next": "Fetch Dental extraction B from shelf 2, and scan it before opening.",
    "subject": "P-K7-0042-0017-R",
    "facts": ["019ccf12-79b0-7cc3-98c4-dc0c0c07398f"],
    "rule": "not_released",
    "at": "2026-03-04T10:12:00.000Z",
}
_SCANS_OPENAPI = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {
                    "type": "object",
                    "required": ["id", "station", "code"],
                    "properties": {key: {"type": "string"} for key in _SCAN},
                },
                "example": _SCAN,
            }
        },
    }
}
_PROBLEM = {"content": {MEDIA: {"schema": SCHEMA}}}
log = logging.getLogger("foldmark")
AddPages = Callable[[FastAPI, Desk], None]


def make_app(
    desk: Desk, add_pages: AddPages | None = None, sealer: Sealer | None = None, doors: Doors | None = None
) -> ASGIApp:
    """The application over an open, started desk. Its end has the sealer sign the rest, and closes the desk.

    With `doors` it answers only who signed in or was enrolled; without them it answers everybody that reaches it.
    """
    streams = Streams(desk)

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        streams.start()
        if sealer:
            sealer.start()
        log.info("serving", extra={"told": {"site": desk.practice.site, "ledger": desk.ledger.place}})
        yield
        streams.stop()
        if sealer:
            await asyncio.to_thread(sealer.stop)
        await asyncio.to_thread(desk.close)

    app = FastAPI(title="Foldmark", description=DESCRIPTION, lifespan=life, docs_url=None, redoc_url=None)
    app.state.desk = desk
    install(app)
    app.include_router(_stations(desk, streams, Metrics(desk, streams)))
    app.include_router(acts_router(desk, doors))
    if doors:
        desk.ask_pins(doors.why_not)
        app.include_router(entry_router(doors))
    app.include_router(looks_router(desk))
    if add_pages:
        add_pages(app, desk)
    return Gate(ScansFirst(app, desk), doors)


def _stations(desk: Desk, streams: Streams, watched: Metrics) -> APIRouter:
    router = APIRouter(tags=["stations"])

    @router.post(
        "/api/scans",
        summary="A code seen at a station",
        openapi_extra=_SCANS_OPENAPI,
        responses={200: {"content": {"application/json": {"example": _ANSWER}}}, 422: _PROBLEM, 503: _PROBLEM},
    )
    async def scans(request: Request) -> Response:
        return JSONResponse(await asyncio.wrap_future(desk.scan(await json_body(request))))

    @router.get("/api/stations/{station}", summary="What a station's screen shows")
    def station(station: str) -> dict[str, Any]:
        with desk.ledger.reading() as reader:
            return screen(reader, station_name(station))

    @router.get("/api/stations/{station}/events", summary="The same, as server-sent events")
    async def events(station: str) -> StreamingResponse:
        headers = {"X-Accel-Buffering": "no"}
        return StreamingResponse(streams.follow(station_name(station)), media_type="text/event-stream", headers=headers)

    @router.get("/health", summary="Is the ledger writable?")
    async def health() -> Response:
        try:
            await asyncio.wait_for(asyncio.wrap_future(desk.check()), 10)
        except (LedgerUnavailable, TimeoutError) as error:
            raise Problem(503, "The ledger cannot be written", f"{error}: look at the disk") from error
        body = {
            "status": "ok",
            "ledger": "writable",
            "waiting": desk.waiting,
            "screens": streams.count,
            "checkpoint": await asyncio.to_thread(last_checkpoint, desk),
            "outboxes": outboxes(desk),
        }
        return JSONResponse(body)

    @router.get("/metrics", summary="Numbers for a Prometheus server")
    def metrics() -> Response:
        return Response(watched.text(), media_type=EXPOSITION)

    return router
