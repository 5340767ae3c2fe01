"""The way of every scan: from the server to the desk, past routing and injection, which take longer than the answer."""

import asyncio
from typing import Any

import orjson
from starlette.types import ASGIApp, Receive, Scope, Send

from service.api.bodies import LARGEST, check_kind, json_object
from service.api.pace import Pace, address_of, client_of
from service.api.problems import Problem, answer_to
from service.stations.desk import Desk
from service.stations.scan import STATION


class ScansFirst:
    """Answers `POST /api/scans` by itself and hands everything else on. The route of that name documents it."""

    def __init__(self, app: ASGIApp, desk: Desk, pace: Pace | None = None) -> None:
        """With `pace`, each station of each client may send so many; without it any number."""
        self._app, self._desk, self._pace = app, desk, pace

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"] != "/api/scans" or scope["method"] != "POST":
            await self._app(scope, receive, send)
            return
        try:
            check_kind(_content_type(scope))
            body = json_object(await _body(receive))
            _check_place(scope, body.get("station"))
            if self._pace:
                self._pace.take(f"{client_of(scope)} {_known(body.get('station'))}")
            answer = await asyncio.wrap_future(self._desk.scan(body, address_of(scope)))
        except Exception as error:  # noqa: BLE001  (whatever it is, the scanner gets a problem document)
            await answer_to(error)(scope, receive, send)
            return
        text = orjson.dumps(answer)
        headers = [(b"content-type", b"application/json"), (b"content-length", b"%d" % len(text))]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": text})


def _known(station: Any) -> str:
    """The station, where it is one: what is none is counted as one and the same."""
    return station if isinstance(station, str) and STATION.fullmatch(station) else ""


def _check_place(scope: Scope, station: Any) -> None:
    """Raise Problem when a device scans at a kind of station that it was not enrolled for."""
    device = scope.get("state", {}).get("device")
    if device and isinstance(station, str) and not device.may_stand_at(station):
        kinds = ", ".join(sorted(device.stations))
        raise Problem(403, "Not this device's station", f"it was enrolled for {kinds}: ask a manager", field="station")


def _content_type(scope: Scope) -> str | None:
    return next((value.decode("latin-1") for name, value in scope["headers"] if name == b"content-type"), None)


async def _body(receive: Receive) -> bytes:
    body, more = b"", True
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise Problem(400, "The request was cut off", "the connection ended before the body did: send it again")
        body += message.get("body", b"")
        more = message.get("more_body", False)
        if len(body) > LARGEST:
            raise Problem(413, "The body is too large", f"at most {LARGEST} bytes are taken here")
    return body
