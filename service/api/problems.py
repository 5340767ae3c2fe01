"""One shape for every error: RFC 9457 problem documents."""

import logging
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException
from starlette.routing import Match

from label_templates.codes import CodeError
from service.custody.facts import FactError
from service.custody.recall import ReachError
from service.ledger.store import LedgerError
from service.stations.scan import ScanError

log = logging.getLogger("foldmark")
MEDIA = "application/problem+json"
SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "What is wrong, where, and what to do."},
        "field": {"type": "string", "description": "The part of the request that was wrong."},
    },
}


class Problem(Exception):  # noqa: N818  (RFC 9457's word)
    """An error with its place in HTTP."""

    def __init__(
        self, status: int, title: str, detail: str, headers: Mapping[str, str] | None = None, **more: Any
    ) -> None:
        super().__init__(detail)
        self.status, self.title, self.detail, self.headers, self.more = status, title, detail, headers, more


def document(status: int, title: str, detail: str, headers: Mapping[str, str] | None = None, **more: Any) -> Response:
    body = {"type": "about:blank", "title": title, "status": status, "detail": detail} | more
    return JSONResponse(body, status, headers, media_type=MEDIA)


def refused(errors: Sequence[Any], takes: str = "") -> Problem:
    """The first thing that is wrong with a request, in words. `takes` names the fields there are."""
    first = errors[0]
    where = [str(part) for part in first["loc"]] or ["body"]
    if first["type"] == "extra_forbidden" and takes:
        detail = f"nobody knows {where[-1][:40]}: this takes {takes}"
    else:
        context = first.get("ctx", {})
        choice = f"choose among {context['expected']}" if first["type"] == "literal_error" else None
        why = context.get("error") or choice or _PLAIN.get(first["type"], first["msg"])
        detail = f"{'.'.join(where)[:80]}: {why}"
    return Problem(422, "The request cannot be taken", detail, field=where[0][:80])


_PLAIN = {"missing": "it is needed", "string_type": "text is needed", "string_too_short": "it is empty"}


def answer_to(error: Exception) -> Response:
    """The problem document of an error; of one that nobody expected, with a line in the log."""
    match error:
        case Problem():
            return document(error.status, error.title, error.detail, error.headers, **error.more)
        case HTTPException():
            words = f"{error.detail}: see /openapi.json for what there is"
            return document(error.status_code, str(error.detail), words, error.headers)
        case RequestValidationError():
            return answer_to(refused([one | {"loc": one["loc"][1:]} for one in error.errors()]))
        case ScanError():
            return document(422, "The request cannot be taken", f"{error}", field=error.field)
        case ReachError():
            return document(409, "Not for this load", f"{error}", field="reach")
        case CodeError() | FactError():
            return document(422, "The request cannot be taken", f"{error}", field="code")
        case LedgerError():
            return document(503, "Not kept", f"{error}. Nothing was written: send it again.")
        case _:
            log.error("request failed", exc_info=error)
            return document(
                500, "The service failed", "Nothing was written for this request. Look at the service's log."
            )


def _allowed(request: Request) -> list[str]:
    """The methods that are there for a path, over every route (RFC 9110 10.2.1)."""
    routes = request.app.router.routes
    scopes = {method: {**request.scope, "method": method} for method in ("GET", "POST", "DELETE")}
    return [name for name, scope in scopes.items() if any(route.matches(scope)[0] is Match.FULL for route in routes)]


_KINDS = (
    Problem,
    HTTPException,
    RequestValidationError,
    ScanError,
    CodeError,
    FactError,
    ReachError,
    LedgerError,
    Exception,
)


def install(app: FastAPI) -> None:
    """Have `app` answer every error with a problem document."""

    async def problem(request: Request, error: Exception) -> Response:
        if isinstance(error, HTTPException) and error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
            error.headers = {"Allow": ", ".join(_allowed(request))}
        return answer_to(error)

    for kind in _KINDS:
        app.add_exception_handler(kind, problem)
