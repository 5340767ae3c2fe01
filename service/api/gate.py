"""What the web may not do here: other sites' pages cannot write, frame or script ours, and slow clients are let go."""

import asyncio
import base64
import hashlib
import re
from functools import lru_cache
from importlib import resources
from urllib.parse import quote, urlsplit

from starlette.requests import cookie_parser
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.httptools_impl import STATUS_LINE, HttpToolsProtocol

from service.access.doors import Doors
from service.access.policy import ACT, LOOK, NUMBERS, OPEN, SCAN, STATION, door
from service.access.who import Who
from service.api.entry import DEVICE, SESSION
from service.api.pace import Pace, address_of, client_of
from service.api.problems import Problem, answer_to
from service.ledger.store import LedgerError

BODY_S = 20.0
"""Seconds within which each piece of a body has to come."""
HEAD_S = 10.0
"""Seconds within which the head of a request has to come."""
LONGEST_TARGET, LARGEST_HEAD = 4 << 10, 16 << 10
"""Bytes of a request's address, and of its head."""
_TOO_LARGE = Problem(431, "The head is too large", f"at most {LARGEST_HEAD} bytes of headers are taken")
_NOT_HTTP = Problem(400, "Not a request", "this is not HTTP/1.1 as RFC 9112 has it: check the client")
_ELSEWHERE = "another site's page sent this: open Foldmark's own page and do it there"
_READS = {"GET", "HEAD", "OPTIONS"}
_UNCOUNTED = ("/api/scans", "/static/", "/health")
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
_READER = "/static/station/reading.js"
"""The worker that reads a tablet's camera: the one script of ours that may compile WebAssembly."""
_ALONE = "/static/proof.html"
"""The page that checks proofs is one file that works from a memory stick: its script and style stand inside it."""


class Gate:
    """Stands before every request: refuses cross-site writes and stalled bodies, and sets the headers of the answers.

    A browser says where a request comes from (`Sec-Fetch-Site`, W3C Fetch Metadata; `Origin`, RFC 6454). Programs that
    are no browsers send neither, and carry no cookie that another site could borrow.
    """

    def __init__(self, app: ASGIApp, doors: Doors | None = None, pace: Pace | None = None) -> None:
        """With `doors`, `service.access.policy` says how far anybody gets; without them all is open.

        With `pace`, each client may ask so much; scans are counted for themselves.
        """
        self._app, self._doors, self._pace = app, doors, pace

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def answer(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message["headers"], *_HEADERS, *_for_path(scope["path"])]
            await send(message)

        read = scope["method"] in _READS
        if not read and from_elsewhere(scope):
            await answer_to(Problem(403, "Not from here", _ELSEWHERE))(scope, receive, answer)
        elif refusal := await self._stopped(scope):
            await refusal(scope, receive, answer)
        else:
            await self._app(scope, receive if read else _prompt(receive), answer)

    async def _stopped(self, scope: Scope) -> Response | None:
        """The answer to somebody who may not go on, or who asks too much at once; None for everybody else."""
        refusal = await self._refused(scope, self._doors) if self._doors else None
        if self._pace and (refusal or not scope["path"].startswith(_UNCOUNTED)):
            try:
                self._pace.take(address_of(scope) if refusal else client_of(scope))
            except Problem as problem:
                return answer_to(problem)
        return refusal

    async def _refused(self, scope: Scope, doors: Doors) -> Response | None:
        """The answer to somebody who may not go on; None for who may, and then the scope says who it is."""
        try:
            person, scanner = [await _who(doors, token) for token in tokens(scope)]
        except LedgerError as error:
            return answer_to(error)
        scope.setdefault("state", {}).update(person=person, device=scanner)
        path, method = scope["path"], scope["method"]
        behind = door(method, path)
        scans = (person and person.may("sign on")) or (scanner and (behind == SCAN or _stands_at(scanner, path)))
        numbers = person or (scanner and scanner.monitors)
        if {OPEN: True, SCAN: scans, STATION: scans or person, LOOK: person, ACT: person, NUMBERS: numbers}[behind]:
            return None
        if method in _READS and not path.startswith(("/api/", "/metrics", "/openapi")):
            where = quote(path + (f"?{scope['query_string'].decode('latin-1')}" if scope["query_string"] else ""))
            return RedirectResponse(f"/sign-in?next={where}", 303)
        if person or scanner:
            return answer_to(Problem(403, "Not yours to see", "this badge or device may not: ask a manager"))
        return answer_to(Problem(401, "Not signed in", "sign in with badge and PIN, or enrol this device, first"))


async def _who(doors: Doors, token: str | None) -> Who | None:
    """Who holds this token: remembered, or looked up in a thread, so that no other request waits for the ledger."""
    return (doors.remembered(token) or await asyncio.to_thread(doors.who, token)) if token else None


def _stands_at(scanner: Who, path: str) -> bool:
    """Whether a device may show this station's address; which station it is comes third, after `/stations/`."""
    place = path.removeprefix("/api").split("/")[2:3]
    return path.startswith("/sets/") or not place or scanner.may_stand_at(place[0])


def tokens(scope: Scope) -> tuple[str | None, str | None]:
    """The tokens of the person and of the device, from the cookies or an `Authorization: Bearer` header (RFC 6750)."""
    person = device = None
    for name, value in scope["headers"]:
        if name == b"cookie":
            cookies = cookie_parser(value.decode("latin-1"))
            person, device = person or cookies.get(SESSION), device or cookies.get(DEVICE)
        elif name == b"authorization" and value[:7].lower() == b"bearer ":
            token = value[7:].decode("latin-1")
            if "." in token:
                device = token
            else:
                person = token
    return person, device


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
    if path == _READER:
        policy = policy.replace("script-src 'self'", "script-src 'self' 'wasm-unsafe-eval'")
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
    """uvicorn's protocol: a request's head ends, in time and in size, and what is no HTTP gets a problem document."""

    _deadline: asyncio.TimerHandle | None = None
    _in_head = False
    _came = 0
    _refusal: Problem | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._expect()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self._in_head and not self.transport.is_closing():
            self._came += len(data)
            if self._came > LARGEST_HEAD:
                self.send_400_response("")
            elif self._deadline is None:
                self._expect()  # only a head that came in pieces is waited for

    def on_message_begin(self) -> None:
        self._in_head, self._came = True, 0
        super().on_message_begin()

    def on_headers_complete(self) -> None:
        self._in_head = False
        self._met()
        self._measure()
        super().on_headers_complete()

    def _measure(self) -> None:
        """Raise Problem, which the parser passes on as an error of its own, when the head is too large."""
        if len(self.url) > LONGEST_TARGET:
            self._refusal = Problem(414, "The address is too long", f"at most {LONGEST_TARGET} bytes are taken")
        elif sum(len(name) + len(value) for name, value in self.headers) > LARGEST_HEAD:
            self._refusal = _TOO_LARGE
        if self._refusal:
            raise self._refusal

    def send_400_response(self, _msg: str) -> None:
        """Answer what is not a request that can be taken, and end the connection."""
        error = self._refusal or (_TOO_LARGE if self._came > LARGEST_HEAD else _NOT_HTTP)
        found = answer_to(error)
        headers = [*found.raw_headers, *_HEADERS, (b"connection", b"close")]
        lines = b"".join(b"%s: %s\r\n" % header for header in headers)
        self.transport.write(STATUS_LINE[found.status_code] + lines + b"\r\n" + bytes(found.body))
        self.transport.close()

    def connection_lost(self, exc: Exception | None) -> None:
        self._met()
        super().connection_lost(exc)

    def _expect(self) -> None:
        self._deadline = self.loop.call_later(HEAD_S, self.transport.close)

    def _met(self) -> None:
        if self._deadline:
            self._deadline.cancel()
            self._deadline = None
