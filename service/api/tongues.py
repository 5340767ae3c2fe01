"""Answers and problem documents in the language of who asked. A program that names none is answered in English."""

from typing import Any

import orjson
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.words.answers import answer_in, problem_in, screen_in
from service.words.catalogue import Say, say_in
from service.words.choice import for_an_answer
from service.words.known import ENGLISH


class Tongues:
    """Stands before the API. An English answer goes through it untouched; any other JSON is held until it is whole."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        language = ENGLISH
        if scope["type"] == "http" and scope["path"].startswith("/api/"):
            language = for_an_answer(scope["headers"])
        await self._app(scope, receive, send if language == ENGLISH else _Held(language, send))


class _Held:
    """Passes an answer on, its JSON translated."""

    def __init__(self, language: str, send: Send) -> None:
        self._language, self._send = language, send
        self._start: Message | None = None
        self._body = b""

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start" and _is_json(message):
            self._start = message
        elif self._start is None:
            await self._send(message)
        else:
            self._body += message.get("body", b"")
            if not message.get("more_body", False):
                body = _said(self._body, say_in(self._language))
                kept = [header for header in self._start["headers"] if header[0].lower() != b"content-length"]
                length = (b"content-length", b"%d" % len(body))
                await self._send(
                    self._start | {"headers": [*kept, length, (b"content-language", self._language.encode())]}
                )
                await self._send({"type": "http.response.body", "body": body})


def _is_json(message: Message) -> bool:
    return any(name.lower() == b"content-type" and b"json" in value for name, value in message["headers"])


def _said(body: bytes, say: Say) -> bytes:
    found: Any = orjson.loads(body) if body else None
    if not isinstance(found, dict):
        return body
    if "title" in found and "detail" in found:
        return orjson.dumps(problem_in(say, found))
    if "headline" in found:
        return orjson.dumps(screen_in(say, found) if "open" in found else answer_in(say, found))
    return body
