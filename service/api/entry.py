"""Coming in over HTTP: sign in with badge and PIN, choose a PIN by a one-time link, enrol and revoke devices."""

import asyncio
from collections.abc import Callable
from typing import Annotated, Any, TypeVar

from fastapi import APIRouter, Path, Request
from fastapi.responses import JSONResponse, Response
from pydantic import Field

from service.access.doors import ANYWHERE, LOCKED, Doors, LockedOut, Shut
from service.access.secrets import WeakPinError
from service.access.who import MONITOR, Who
from service.api import fields
from service.api.bodies import json_body
from service.api.fields import NEEDED, Badge, Id, Name, Pin, Taken, one_of, text
from service.api.openapi import answers, taking
from service.api.problems import Problem
from service.api.shapes import list_of, object_of
from service.stations.scan import KINDS

SESSION, DEVICE = "foldmark_session", "foldmark_device"
_YEAR_S = 365 * 24 * 3600
_CODE = text(40)
_PROOF = (("id", Id | None, None), ("pin", Pin | None, None))
_SIGN_IN = fields.model("sign in", (("badge", Badge, NEEDED), ("pin", Pin, NEEDED)))
_CHOICE = fields.model("choice of a PIN", (("code", _CODE, NEEDED), ("pin", fields.NewPin, NEEDED)))
_CLAIM = fields.model("claim", (("code", _CODE, NEEDED),))
_PROVED = fields.model("proof", _PROOF)
_STATIONS = Annotated[list[one_of(*KINDS, ANYWHERE, MONITOR)], Field(min_length=1, max_length=len(KINDS))]  # type: ignore[misc]
_ENROL = fields.model("enrolment", (*_PROOF, ("name", Name, NEEDED), ("stations", _STATIONS, [ANYWHERE])))
_EXAMPLE_CODE, _EXAMPLE_PIN = "7KQM-2XRD-94TA", "274906"
Body = dict[str, Any]
Told = TypeVar("Told")


def person_of(request: Request) -> Who | None:
    """Who has signed in."""
    who: Who | None = getattr(request.state, "person", None)
    return who


def entry_router(doors: Doors) -> APIRouter:
    """Every way in and out."""
    router = APIRouter(prefix="/api", tags=["doors"])

    @router.post(
        "/session",
        summary="Sign in with badge and PIN",
        responses=answers(object_of(badge=str)),
        openapi_extra=taking(_SIGN_IN, {"badge": "B-K7-002-L", "pin": _EXAMPLE_PIN}),
    )
    async def sign_in(request: Request) -> Response:
        told = await _taken(_SIGN_IN, request)
        badge, pin = told["badge"], told["pin"]
        token = await _at(doors.sign_in, badge, pin, address(request))
        return _with_cookie(request, JSONResponse({"badge": badge}), SESSION, token, None)

    @router.delete("/session", summary="Sign out", responses=answers(object_of()))
    async def sign_out(request: Request) -> Response:
        if token := request.cookies.get(SESSION):
            await _at(doors.sign_out, token)
        answer = JSONResponse({})
        answer.delete_cookie(SESSION, samesite="strict", httponly=True)
        return answer

    @router.delete(
        "/session/everywhere", summary="End every session of one's own badge", responses=answers(object_of(ended=int))
    )
    async def sign_out_everywhere(request: Request) -> Response:
        person = person_of(request)
        if person is None or person.badge is None:
            raise Problem(401, "Not signed in", "there is no session to end: sign in first")
        ended = await _at(doors.sign_out_everywhere, person.badge)
        answer = JSONResponse({"ended": ended})
        answer.delete_cookie(SESSION, samesite="strict", httponly=True)
        return answer

    @router.post(
        "/pin",
        summary="Choose a PIN with a one-time code",
        responses=answers(object_of(badge=str)),
        openapi_extra=taking(_CHOICE, {"code": _EXAMPLE_CODE, "pin": _EXAMPLE_PIN}),
    )
    async def choose_pin(request: Request) -> dict[str, str]:
        told = await _taken(_CHOICE, request)
        badge = await _at(doors.choose_pin, told["code"], told["pin"], address(request))
        return {"badge": badge}

    @router.post(
        "/devices/claim",
        summary="Enrol this tablet or scanner with a one-time code",
        responses=answers(object_of(device=str, token=str)),
        openapi_extra=taking(_CLAIM, {"code": _EXAMPLE_CODE}),
    )
    async def claim(request: Request) -> Response:
        told = await _taken(_CLAIM, request)
        enrolled = await _at(doors.enrol, told["code"], address(request))
        answer = JSONResponse({"device": enrolled.device, "token": enrolled.token})
        return _with_cookie(request, answer, DEVICE, enrolled.token, _YEAR_S)

    _managers(router, doors)
    return router


def _managers(router: APIRouter, doors: Doors) -> None:
    """What only a manager does."""
    device = object_of(device=str, name=str, stations=list, by=(str, None), since=str, revoked=(str, None))

    @router.get("/devices", summary="Every device that was enrolled", responses=answers(list_of(device)))
    async def devices(request: Request) -> list[Body]:
        _manager(request, "see people")
        return await _at(doors.devices)

    @router.post(
        "/devices",
        summary="A one-time code to enrol a device with",
        responses=answers(object_of(code=str, minutes=int)),
        openapi_extra=taking(_ENROL, {"name": "Tablet", "stations": ["theatre"], "pin": _EXAMPLE_PIN}),
    )
    async def device_code(request: Request) -> Body:
        told = await _taken(_ENROL, request)
        by = await _proved(request, told, "enrol device", doors)
        return {"code": await _at(doors.device_code, told["name"], told["stations"], by), "minutes": 15}

    @router.post(
        "/devices/{device}/revoke",
        summary="Let a device in no more",
        responses=answers(object_of(device=str)),
        openapi_extra=taking(_PROVED, {"pin": _EXAMPLE_PIN}),
    )
    async def revoke(request: Request, device: Annotated[fields.Device, Path()]) -> Body:
        told = await _taken(_PROVED, request)
        await _at(doors.revoke, device, await _proved(request, told, "enrol device", doors))
        return {"device": device}

    @router.post(
        "/staff/{badge}/link",
        summary="A one-time code with which somebody chooses a PIN",
        responses=answers(object_of(code=str, hours=int)),
        openapi_extra=taking(_PROVED, {"pin": _EXAMPLE_PIN}),
    )
    async def link(request: Request, badge: Annotated[Badge, Path()]) -> Body:
        told = await _taken(_PROVED, request)
        await _proved(request, told, "enrol staff", doors)
        return {"code": await _at(doors.pin_link, badge), "hours": 24}

    told = object_of(at=str, badge=(str, None), address=str, what=str)

    @router.get(
        "/sign-ins", summary="The latest sign-ins, and what went wrong at the doors", responses=answers(list_of(told))
    )
    async def sign_ins(request: Request) -> list[Body]:
        _manager(request, "see people")
        return await _at(doors.sign_ins)


async def _taken(form: type[Taken], request: Request) -> Body:
    return fields.taken(form, await json_body(request))


def address(request: Request) -> str:
    return request.client.host if request.client else ""


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


async def prove(doors: Doors, badge: str, pin: str | None, where: str) -> None:
    """Raise Problem unless this is the badge's PIN."""
    if not pin:
        raise Problem(403, "Your PIN is needed", "this takes your PIN besides your badge: type it", field="pin")
    await _at(doors.prove, badge, pin, where)


async def _at(does: Callable[..., Told], *told: Any) -> Told:
    """Do it in a thread. What the doors refuse becomes a problem document."""
    try:
        return await asyncio.to_thread(does, *told)
    except LockedOut as error:
        locked_s = str(round(LOCKED.total_seconds()))
        raise Problem(429, "Locked out", str(error), {"Retry-After": locked_s}) from error
    except Shut as error:
        raise Problem(403, "Not let in", str(error)) from error
    except WeakPinError as error:
        raise Problem(422, "That PIN is not taken", str(error), field="pin") from error


def _with_cookie(request: Request, answer: Response, name: str, token: str, lasts: int | None) -> Response:
    answer.set_cookie(
        name, token, max_age=lasts, httponly=True, samesite="strict", secure=request.url.scheme == "https"
    )
    return answer
