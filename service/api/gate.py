"""What the web may not do here: other sites' pages cannot write, frame or script ours, and slow clients are let go."""

import asyncio
import base64
import hashlib
import re
from functools import lru_cache
from importlib import resources
from urllib.parse import urlsplit

from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from service.api.problems import Problem, answer_to

BODY_S = 20.0
"""Seconds within which each piece of a body has to come."""
HEAD_S = 10.0
"""Seconds within which the head of a request has to come."""
_READS = {"GET", "HEAD", "OPTIONS"}
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(self), microphone=(), geolocation=()"),
)
_ALONE = "/static/proof.html"
"""The page that checks proofs is one file that works from a memory stick: its script and style stand inside it."""


class Gate:
    """Stands before every request: refuses cross-site writes and stalled bodies, and sets the headers of the answers.

    A browser says where a request comes from (`Sec-Fetch-Site`, W3C Fetch Metadata; `Origin`, RFC 6454). Programs that
    are no browsers send neither, and carry no cookie that another site could borrow.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def answer(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message["headers"], *_HEADERS, *_for_path(scope["path"])]
            await send(message)

        if scope["method"] in _READS:
            await self._app(scope, receive, answer)
        elif from_elsewhere(scope):
            refusal = Problem(
                403, "Not from here", "another site's page sent this: open Foldmark's own page and do it there"
            )
            await answer_to(refusal)(scope, receive, answer)
        else:
            await self._app(scope, _prompt(receive), answer)


def from_elsewhere(scope: Scope) -> bool:
    """Whether a browser says that another site's page made this request."""
    told = {
        name: value.decode("latin-1")
        for name, value in scope["headers"]
        if name in {b"sec-fetch-site", b"origin", b"host"}
    }
    site = told.get(b"sec-fetch-site")
    if site:
        return site not in {"same-origin", "none"}
    origin = told.get(b"origin")
    return origin is not None and urlsplit(origin).netloc != told.get(b"host")


def _prompt(receive: Receive) -> Receive:
    """`receive`, which ends the request when its body stalls."""
    whole = False

    async def prompt() -> Message:
        nonlocal whole
        if whole:
            return await receive()
        try:
            async with asyncio.timeout(BODY_S):
                message = await receive()
        except TimeoutError as error:
            raise Problem(
                408, "The body did not come", f"nothing came for {BODY_S:.0f} seconds: send it again"
            ) from error
        whole = not message.get("more_body", False)
        return message

    return prompt


@lru_cache(256)
def _for_path(path: str) -> tuple[tuple[bytes, bytes], ...]:
    policy = _alone() if path == _ALONE else _POLICY
    stored = b"max-age=3600" if path.startswith("/static/") else b"no-store"
    return ((b"content-security-policy", policy.encode()), (b"cache-control", stored))


@lru_cache(1)
def _alone() -> str:
    text = resources.files("service.pages").joinpath("static", "proof.html").read_text("utf-8")
    hashes = {}
    for kind in ("script", "style"):
        inside = re.findall(rf"<{kind}[^>]*>(.*?)</{kind}>", text, re.DOTALL)
        digests = (base64.b64encode(hashlib.sha256(one.encode()).digest()).decode() for one in inside)
        hashes[kind] = " ".join(f"'sha256-{one}'" for one in digests)
    return (
        f"default-src 'none'; script-src {hashes['script']}; style-src {hashes['style']}; img-src data:; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )


class PromptClients(HttpToolsProtocol):
    """uvicorn's protocol, with an end to waiting for a request's head: half-open connections are closed."""

    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._expect()

    def data_received(self, data: bytes) -> None:
        if self._deadline is None and (self.cycle is None or self.cycle.response_complete):
            self._expect()
        super().data_received(data)

    def on_headers_complete(self) -> None:
        self._met()
        super().on_headers_complete()

    def connection_lost(self, exc: Exception | None) -> None:
        self._met()
        super().connection_lost(exc)

    def _expect(self) -> None:
        self._deadline = self.loop.call_later(HEAD_S, self.transport.close)

    def _met(self) -> None:
        if self._deadline:
            self._deadline.cancel()
            self._deadline = None
