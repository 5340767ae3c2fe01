"""The OpenAPI document: what every endpoint takes, and everything it may answer."""

from typing import Any

from fastapi import FastAPI

from service.access.policy import OPEN, door
from service.api.fields import Taken, schema
from service.api.problems import MEDIA, SCHEMA

Schema = dict[str, Any]
PROBLEMS = {
    400: "The request is not HTTP, or was cut off",
    401: "Nobody has signed in, and this is not an enrolled device",
    403: "Not theirs to see or do, or another site's page sent it",
    404: "Nothing is known by that name",
    405: "Not with this method",
    408: "The body did not come in time",
    409: "It stands against what is there already",
    413: "The body is too large",
    415: "The body is of another kind",
    422: "A field cannot be taken; `field` names it",
    429: "Too many at once, or too many wrong PINs: send it again after the seconds in Retry-After",
    500: "The service failed; nothing was written",
    503: "The ledger cannot be written; send it again",
}
_ALWAYS, _WITH_BODY, _WITH_NAMES = (400, 401, 403, 429, 503), (408, 413, 415, 422), (404, 422)
_WAYS_IN = {
    "person": {"type": "apiKey", "in": "cookie", "name": "foldmark_session", "description": "Who signed in"},
    "token": {"type": "http", "scheme": "bearer", "description": "The token of a person or of an enrolled device"},
}


def answers(shape: Schema, example: Schema | None = None, *, also: int | None = None) -> dict[int | str, Schema]:
    """What an endpoint answers when all is well, and a status of its own; all the others `describe` adds to each."""
    content = {"schema": shape} | ({"example": example} if example else {})
    well = {"description": "All is well", "content": {"application/json": content}}
    return {200: well} | ({also: {"description": PROBLEMS[also]}} if also else {})


def taking(form: type[Taken], example: Schema, *, more: bool = False) -> Schema:
    """The body that an endpoint takes, as JSON; with `more`, fields that nobody knows are passed over."""
    content = {"schema": schema(form) | {"additionalProperties": more}, "example": example}
    return {"requestBody": {"required": True, "content": {"application/json": content}}}


def in_path(form: type[Taken]) -> list[Schema]:
    """What stands in an endpoint's path."""
    named = schema(form).get("properties", {})
    return [{"name": name, "in": "path", "required": True, "schema": kind} for name, kind in named.items()]


def in_query(form: type[Taken], example: Schema) -> list[Schema]:
    """What stands behind the question mark; what may be null there may be left out."""
    told = schema(form)
    found = []
    for name, kind in told["properties"].items():
        plain = next((one for one in kind.get("anyOf", []) if one != {"type": "null"}), kind)
        one = {"name": name, "in": "query", "required": name in told.get("required", []), "schema": plain}
        found.append(one | ({"example": example[name]} if name in example else {}))
    return found


def describe(app: FastAPI, *, closed: bool) -> None:
    """Have the document of `app` tell every answer there is, and how to come in where the doors are closed."""
    made = app.openapi

    def told() -> Schema:
        if app.openapi_schema is None:
            document = made()
            parts = document.setdefault("components", {})
            parts["schemas"] = {"Problem": SCHEMA}
            parts["responses"] = {f"Problem{status}": _problem(status) for status in PROBLEMS}
            if closed:
                parts["securitySchemes"] = _WAYS_IN
            for path, operations in document["paths"].items():
                for method, operation in operations.items():
                    _complete(path, method, operation, closed=closed)
        return app.openapi_schema or {}

    app.openapi = told  # type: ignore[method-assign]


def _complete(path: str, method: str, operation: Schema, *, closed: bool) -> None:
    statuses = {*_ALWAYS}
    if "requestBody" in operation:
        statuses |= {*_WITH_BODY}
    if operation.get("parameters"):
        statuses |= {*_WITH_NAMES}
    told = operation["responses"]
    told |= {
        str(status): {"$ref": f"#/components/responses/Problem{status}"}
        for status in statuses | {*map(int, told)} - {200}
    }
    operation["responses"] = dict(sorted(told.items()))
    if closed and door(method.upper(), path) != OPEN:
        operation["security"] = [{name: []} for name in _WAYS_IN]


def _problem(status: int) -> Schema:
    found: Schema = {
        "description": PROBLEMS[status],
        "content": {MEDIA: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
    if status == 429:
        found["headers"] = {"Retry-After": {"schema": {"type": "string", "pattern": "^[0-9]+$"}}}
    return found
