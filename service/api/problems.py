"""One shape for every error: RFC 9457 problem documents."""

import logging
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

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

    def __init__(self, status: int, title: str, detail: str, **more: Any) -> None:
        super().__init__(detail)
        self.status, self.title, self.detail, self.more = status, title, detail, more


def document(status: int, title: str, detail: str, **more: Any) -> Response:
    body = {"type": "about:blank", "title": title, "status": status, "detail": detail} | more
    return JSONResponse(body, status, media_type=MEDIA)


def answer_to(error: Exception) -> Response:
    """The problem document of an error; of one that nobody expected, with a line in the log."""
    match error:
        case Problem():
            return document(error.status, error.title, error.detail, **error.more)
        case HTTPException():
            return document(error.status_code, str(error.detail), f"{error.detail}: see /docs for what there is")
        case RequestValidationError():
            first = error.errors()[0]
            field = ".".join(str(part) for part in first["loc"])
            return document(422, "The request cannot be taken", f"{field}: {first['msg']}", field=field)
        case ScanError():
            return document(422, "The request cannot be taken", f"{error}", field=error.field)
        case CodeError() | FactError() | ReachError():
            return document(422, "The request cannot be taken", f"{error}", field="code")
        case LedgerError():
            return document(503, "Not kept", f"{error}. Nothing was written: send it again.")
        case _:
            log.error("request failed", exc_info=error)
            return document(
                500, "The service failed", "Nothing was written for this request. Look at the service's log."
            )


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

    async def problem(_request: Request, error: Exception) -> Response:
        return answer_to(error)

    for kind in _KINDS:
        app.add_exception_handler(kind, problem)
