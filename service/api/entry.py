"""Coming in over HTTP: sign in with badge and PIN, choose a PIN by a one-time link, enrol and revoke devices."""

import asyncio
from collections.abc import Callable
from typing import Any, TypeVar

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from label_templates import codes
from service.access.doors import ANYWHERE, Doors, LockedOut, Shut
from service.access.secrets import WeakPinError
from service.access.who import MONITOR, Who
from service.api.bodies import json_body
from service.api.problems import Problem
from service.stations.scan import KINDS

SESSION, DEVICE = "foldmark_session", "foldmark_device"
_YEAR_S = 365 * 24 * 3600
Body = dict[str, Any]
Told = TypeVar("Told")


def person_of(request: Request) -> Who | None:
    """Who has signed in."""
    who: Who | None = getattr(request.state, "person", None)
    return who


def entry_router(doors: Doors) -> APIRouter:
    """Every way in and out."""
    router = APIRouter(prefix="/api", tags=["doors"])

    @router.post("/session", summary="Sign in with badge and PIN")
    async def sign_in(request: Request) -> Response:
        body = await json_body(request)
        badge, pin = codes.parse_as(_text(body, "badge"), "B").text, _text(body, "pin")
        token = await _at(doors.sign_in, badge, pin, address(request))
        return _with_cookie(request, JSONResponse({"badge": badge}), SESSION, token, None)

    @router.delete("/session", summary="Sign out")
    async def sign_out(request: Request) -> Response:
        if token := request.cookies.get(SESSION):
            await _at(doors.sign_out, token)
        answer = JSONResponse({})
        answer.delete_cookie(SESSION, samesite="strict", httponly=True)
        return answer

    @router.delete("/session/everywhere", summary="End every session of one's own badge")
    async def sign_out_everywhere(request: Request) -> Response:
        person = person_of(request)
        if person is None or person.badge is None:
            raise Problem(401, "Not signed in", "there is no session to end: sign in first")
        ended = await _at(doors.sign_out_everywhere, person.badge)
        answer = JSONResponse({"ended": ended})
        answer.delete_cookie(SESSION, samesite="strict", httponly=True)
        return answer

    @router.post("/pin", summary="Choose a PIN with a one-time code")
    async def choose_pin(request: Request) -> dict[str, str]:
        body = await json_body(request)
        badge = await _at(doors.choose_pin, _text(body, "code"), _text(body, "pin"), address(request))
        return {"badge": badge}

    @router.post("/devices/claim", summary="Enrol this tablet or scanner with a one-time code")
    async def claim(request: Request) -> Response:
        body = await json_body(request)
        enrolled = await _at(doors.enrol, _text(body, "code"), address(request))
        answer = JSONResponse({"device": enrolled.device, "token": enrolled.token})
        return _with_cookie(request, answer, DEVICE, enrolled.token, _YEAR_S)

    _managers(router, doors)
    return router


def _managers(router: APIRouter, doors: Doors) -> None:
    """What only a manager does."""

    @router.get("/devices", summary="Every device that was enrolled")
    async def devices(request: Request) -> list[Body]:
        _manager(request, "see people")
        return await _at(doors.devices)

    @router.post("/devices", summary="A one-time code to enrol a device with")
    async def device_code(request: Request) -> Body:
        body = await json_body(request)
        by = await _proved(request, body, "enrol device", doors)
        stations = body.get("stations", [ANYWHERE])
        if not isinstance(stations, list) or not stations or not {*map(str, stations)} <= {*KINDS, ANYWHERE, MONITOR}:
            raise Problem(
                422,
                "The request cannot be taken",
                f"stations is a list of {', '.join(KINDS)}, or {ANYWHERE}, or {MONITOR}",
                field="stations",
            )
        code = await _at(doors.device_code, _text(body, "name")[:100], stations, by)
        return {"code": code, "minutes": 15}

    @router.post("/devices/{device}/revoke", summary="Let a device in no more")
    async def revoke(device: str, request: Request) -> Body:
        body = await json_body(request)
        await _at(doors.revoke, device, await _proved(request, body, "enrol device", doors))
        return {"device": device}

    @router.post("/staff/{badge}/link", summary="A one-time code with which somebody chooses a PIN")
    async def link(badge: str, request: Request) -> Body:
        body = await json_body(request)
        await _proved(request, body, "enrol staff", doors)
        return {"code": await _at(doors.pin_link, codes.parse_as(badge, "B").text), "hours": 24}

    @router.get("/sign-ins", summary="The latest sign-ins, and what went wrong at the doors")
    async def sign_ins(request: Request) -> list[Body]:
        _manager(request, "see people")
        return await _at(doors.sign_ins)


def address(request: Request) -> str:
    return request.client.host if request.client else ""


def _text(body: Body, field: str) -> str:
    value = body.get(field)
    if not isinstance(value, str) or not 0 < len(value) <= 200:
        raise Problem(422, "The request cannot be taken", f"{field} is needed, at most 200 characters", field=field)
    return value


def _manager(request: Request, does: str) -> Who:
    person = person_of(request)
    if person is None:
        raise Problem(401, "Not signed in", "sign in with your badge and PIN first")
    if not person.may(does):
        raise Problem(403, "Not yours to do", "this takes a manager: ask one")
    return person


async def _proved(request: Request, body: Body, does: str, doors: Doors) -> str:
    """The badge of the manager who gave the PIN for this."""
    badge = _manager(request, does).badge or ""
    await prove(doors, badge, body.get("pin"), address(request))
    return badge


async def prove(doors: Doors, badge: str, pin: Any, where: str) -> None:
    """Raise Problem unless this is the badge's PIN."""
    if not isinstance(pin, str) or not pin:
        raise Problem(403, "Your PIN is needed", "this takes your PIN besides your badge: type it", field="pin")
    await _at(doors.prove, badge, pin, where)


async def _at(does: Callable[..., Told], *told: Any) -> Told:
    """Do it in a thread. What the doors refuse becomes a problem document."""
    try:
        return await asyncio.to_thread(does, *told)
    except LockedOut as error:
        raise Problem(429, "Locked out", str(error)) from error
    except Shut as error:
        raise Problem(403, "Not let in", str(error)) from error
    except WeakPinError as error:
        raise Problem(422, "That PIN is not taken", str(error), field="pin") from error


def _with_cookie(request: Request, answer: Response, name: str, token: str, lasts: int | None) -> Response:
    answer.set_cookie(
        name, token, max_age=lasts, httponly=True, samesite="strict", secure=request.url.scheme == "https"
    )
    return answer
