"""The service's HTTP: scans in, verdicts out, and everything the ledger can answer."""

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Annotated, Any, Protocol

from fastapi import APIRouter, FastAPI, Path, Request
from fastapi.responses import JSONResponse, Response, StreamingResponse
from starlette.types import ASGIApp

from service.access.doors import Doors
from service.api import fields, shapes
from service.api.acts import acts_router
from service.api.bodies import json_body
from service.api.changes import Changes
from service.api.entry import entry_router
from service.api.fields import NEEDED
from service.api.gate import Gate
from service.api.looks import looks_router
from service.api.metrics import EXPOSITION, Metrics, last_checkpoint, outboxes
from service.api.openapi import answers, describe, taking
from service.api.pace import ANY, Paces
from service.api.problems import Problem, install
from service.api.scans import ScansFirst
from service.api.streams import Streams
from service.api.tongues import Tongues
from service.ledger.store import LedgerUnavailable
from service.stations.desk import Desk
from service.stations.scan import LONGEST_TYPED
from service.stations.screen import screen
from service.words.choice import for_a_page

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
_TAKEN = fields.model(
    "scan",
    (("id", fields.Id, NEEDED), ("station", fields.Station, NEEDED), ("code", fields.scanned(LONGEST_TYPED), NEEDED),
     ("seen_at", fields.Time | None, None), ("sent_at", fields.Time | None, None)),
)  # fmt: skip
_SCANNED = taking(_TAKEN, _SCAN, more=True)
_STATION = Annotated[fields.Station, Path()]
_EVENT = shapes.object_of(event=str, data=str)
_EVENTS = {200: {"description": "Each event", "content": {"text/event-stream": {"schema": _EVENT}}}}
_NUMBERS = {200: {"description": "Numbers", "content": {EXPOSITION: {"schema": {"type": "string"}}}}}
_UNBUFFERED = {"X-Accel-Buffering": "no"}
log = logging.getLogger("foldmark")
AddPages = Callable[[FastAPI, Desk], None]


class Runs(Protocol):
    """Something that works beside the requests while the service is up."""

    def start(self) -> object: ...
    def stop(self) -> None: ...


class Together:
    """Several of them as one: the sealer, and what watches a folder."""

    def __init__(self, *runs: Runs | None) -> None:
        self._runs = [one for one in runs if one is not None]

    def start(self) -> None:
        for one in self._runs:
            one.start()

    def stop(self) -> None:
        for one in reversed(self._runs):
            one.stop()


def make_app(
    desk: Desk,
    add_pages: AddPages | None = None,
    beside: Runs | None = None,
    doors: Doors | None = None,
    paces: Paces = ANY,
) -> ASGIApp:
    """The application over an open, started desk. What works beside it starts and ends with it; then the desk closes.

    With `doors` it answers only who signed in or was enrolled; without them it answers everybody that reaches it.
    `paces` say how much it takes from one client at once.
    """
    streams, changes = Streams(desk), Changes(desk)

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        streams.start()
        changes.start()
        if beside:
            beside.start()
        log.info("serving", extra={"told": {"site": desk.practice.site, "ledger": desk.ledger.place}})
        yield
        streams.stop()
        changes.stop()
        if beside:
            await asyncio.to_thread(beside.stop)
        await asyncio.to_thread(desk.close)

    app = FastAPI(
        title="Foldmark", description=DESCRIPTION, lifespan=life, docs_url=None, redoc_url=None, redirect_slashes=False
    )
    app.state.desk = desk
    install(app)
    app.include_router(_stations(desk, streams, Metrics(desk, streams)))
    app.include_router(acts_router(desk, doors))
    if doors:
        desk.ask_pins(doors.why_not)
        app.include_router(entry_router(doors))
    app.include_router(looks_router(desk))
    app.include_router(_board(changes))
    if add_pages:
        add_pages(app, desk)
    describe(app, closed=doors is not None)
    return Tongues(Gate(ScansFirst(app, desk, paces.scans), doors, paces.requests))


def _board(changes: Changes) -> APIRouter:
    router = APIRouter(tags=["looks"])

    @router.get(
        "/api/board/events",
        summary="That something changed on the board, as server-sent events",
        response_class=StreamingResponse,
        responses=_EVENTS,
    )
    async def events() -> StreamingResponse:
        return StreamingResponse(changes.follow(), media_type="text/event-stream", headers=_UNBUFFERED)

    return router


def _stations(desk: Desk, streams: Streams, watched: Metrics) -> APIRouter:
    router = APIRouter(tags=["stations"])

    @router.post(
        "/api/scans",
        summary="A code seen at a station",
        openapi_extra=_SCANNED,
        responses=answers(shapes.ANSWER, _ANSWER),
    )
    async def scans(request: Request) -> Response:
        return JSONResponse(await asyncio.wrap_future(desk.scan(await json_body(request))))

    @router.get("/api/stations/{station}", summary="What a station's screen shows", responses=answers(shapes.SCREEN))
    def station(station: _STATION) -> dict[str, Any]:
        with desk.ledger.reading() as reader:
            return screen(reader, station)

    @router.get(
        "/api/stations/{station}/events",
        summary="The same, as server-sent events",
        response_class=StreamingResponse,
        responses=_EVENTS,
    )
    async def events(station: _STATION, request: Request) -> StreamingResponse:
        language = for_a_page(request.scope["headers"], desk.practice.language)
        shown = streams.follow(station, language)
        return StreamingResponse(shown, media_type="text/event-stream", headers=_UNBUFFERED)

    @router.get("/health", summary="Is the ledger writable?", responses=answers(shapes.HEALTH))
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
            "logs_asked": await asyncio.to_thread(desk.logs_asked),
            "checkpoint": await asyncio.to_thread(last_checkpoint, desk),
            "outboxes": outboxes(desk),
        }
        return JSONResponse(body)

    @router.get("/metrics", summary="Numbers for a Prometheus server", response_class=Response, responses=_NUMBERS)
    def metrics() -> Response:
        return Response(watched.text(), media_type=EXPOSITION)

    return router
