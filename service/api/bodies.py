"""Bodies of requests: of the declared kind, read up to a size, and taken as one JSON object."""

import json
from typing import Any

from fastapi import Request

from service.api.problems import Problem

LARGEST = 256 << 10
"""Bytes of a JSON body: a count sheet of three hundred lines is about 100 kB."""
READINGS = 4 << 20
PHOTO = 6 << 20
"""Bytes: a tablet's photo, made smaller by its camera program, is under 5 MB."""
"""Bytes of a cycle log: a day of one-second readings is about 2 MB."""
JSON = ("application/json",)


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


async def read_body(request: Request, most: int = LARGEST, kinds: tuple[str, ...] = JSON) -> bytes:
    """The bytes of a request. Raises Problem when they are more than `most`, or declared as something else."""
    check_kind(request.headers.get("content-type"), kinds)
    declared = request.headers.get("content-length", "0")
    body = b""
    if not declared.isdecimal() or int(declared) <= most:
        async for piece in request.stream():
            body += piece
            if len(body) > most:
                break
        else:
            return body
    raise Problem(413, "The body is too large", f"at most {most} bytes are taken here")


def check_kind(declared: str | None, kinds: tuple[str, ...] = JSON) -> None:
    """Raise Problem when a body is declared to be of another kind than these; one that is not declared may be any."""
    if declared is not None and declared.partition(";")[0].strip().lower() not in kinds:
        raise Problem(415, "Not a body of this kind", f"send it as {' or '.join(kinds)}, and name that in Content-Type")
