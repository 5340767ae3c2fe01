"""Bodies of requests: read up to a size, and taken as one JSON object."""

import json
from typing import Any

from fastapi import Request

from service.api.problems import Problem

LARGEST_BODY = 4 << 20
"""Bytes: a day of one-second readings is about 2 MB."""


async def json_body(request: Request) -> dict[str, Any]:
    """The JSON object of a request. Raises Problem when it is too large or is not one."""
    return json_object(await read_body(request))


def json_object(body: bytes) -> dict[str, Any]:
    """The JSON object that a body holds. Raises Problem when it is none."""
    try:
        found = json.loads(body)
        if b"\\u" in body:
            json.dumps(found, ensure_ascii=False).encode()
    except UnicodeEncodeError as error:
        raise Problem(
            422, "The body is not text", "it holds half a character, a lone surrogate: send whole ones"
        ) from error
    except (ValueError, RecursionError) as error:
        raise Problem(422, "The body is not JSON", f"{error}: send one JSON object") from error
    if not isinstance(found, dict):
        raise Problem(422, "The body is not an object", "send one JSON object, in curly brackets")
    return found


async def read_body(request: Request) -> bytes:
    declared = request.headers.get("content-length", "0")
    body = b""
    if not declared.isdecimal() or int(declared) <= LARGEST_BODY:
        async for piece in request.stream():
            body += piece
            if len(body) > LARGEST_BODY:
                break
        else:
            return body
    raise Problem(413, "The body is too large", f"at most {LARGEST_BODY} bytes are taken")
