"""The way of every scan: from the server to the desk, past routing and injection, which take longer than the answer."""

import asyncio

import orjson
from starlette.types import ASGIApp, Receive, Scope, Send

from service.api.acts import LARGEST_BODY, json_object
from service.api.problems import Problem, answer_to
from service.stations.desk import Desk


class ScansFirst:
    """Answers `POST /api/scans` by itself and hands everything else on. The route of that name documents it."""

    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self._app, self._desk = app, desk

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"] != "/api/scans" or scope["method"] != "POST":
            await self._app(scope, receive, send)
            return
        try:
            answer = await asyncio.wrap_future(self._desk.scan(json_object(await _body(receive))))
        except Exception as error:  # noqa: BLE001  (whatever it is, the scanner gets a problem document)
            await answer_to(error)(scope, receive, send)
            return
        body = orjson.dumps(answer)
        headers = [(b"content-type", b"application/json"), (b"content-length", b"%d" % len(body))]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": body})


async def _body(receive: Receive) -> bytes:
    body, more = b"", True
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise Problem(400, "The request was cut off", "the connection ended before the body did: send it again")
        body += message.get("body", b"")
        more = message.get("more_body", False)
        if len(body) > LARGEST_BODY:
            raise Problem(413, "The body is too large", f"at most {LARGEST_BODY} bytes are taken")
    return body
