"""The office's acts over HTTP: one table of what may be posted, and what each body holds."""

import asyncio
import hashlib
import re
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Request
from pydantic import Field

from service.access.doors import Doors
from service.api import fields, judging
from service.api.bodies import PHOTO, READINGS, json_body, read_body
from service.api.entry import address, person_of, prove
from service.api.fields import (
    NEEDED,
    Badge,
    Day,
    Load,
    Lot,
    Machine,
    Mark,
    Name,
    Row,
    SheetLine,
    Taken,
    Words,
    code,
    one_of,
    text,
    whole,
)
from service.api.openapi import answers, in_path, in_query, taking
from service.api.photos import MEDIA, media_of
from service.api.problems import Problem
from service.api.shapes import ANSWER, ISSUED, JUDGED
from service.custody.practice import SHELF_LIVES
from service.custody.recall import REACHES
from service.custody.rules.anywhere import DAMAGE
from service.custody.rules.indicators import PHOTOS_OF, RESULTS
from service.custody.rules.issuing import KINDS, MOST_AT_ONCE
from service.custody.rules.office import MACHINE_KINDS, SET_KINDS
from service.custody.rules.roles import PIN, ROLES
from service.custody.rules.upkeep import SERVICES
from service.stations.desk import Beside, Desk
from service.stations.limits import programmes_here


@dataclass(frozen=True, slots=True)
class Post:
    """One act: its path, the rule it goes to, the fields of its body (name, kind, default) and an example."""

    path: str
    does: str
    summary: str
    fields: tuple[Row, ...]
    example: dict[str, Any]


def _some(kind: Any, most: int, least: int = 0) -> Any:
    """A list of so many of these."""
    return Annotated[list[kind], Field(min_length=least, max_length=most)]


_DEGREES = whole(0, 200)
_WHY, _MAYBE_WHY = ("why", Words, NEEDED), ("why", Words | None, None)
_INDICATOR = (("indicator", one_of(*RESULTS), "biological"), ("lot", Lot | None, None))
_RESULT = one_of(*dict.fromkeys(word for words in RESULTS.values() for word in words))
POSTS = (
    Post("/staff", "enrol staff", "Enrol somebody with a badge",
         (("badge", Badge, NEEDED), ("name", Name, NEEDED), ("roles", _some(one_of(*ROLES), len(ROLES), 1), NEEDED), ("may_release", bool, False)),
         {"badge": "B-K7-003-J", "name": "Technician 3", "roles": ["technician"], "may_release": False}),
    Post("/staff/{badge}/left", "staff left", "Somebody has left", (), {}),
    Post("/machines", "register machine", "Register a machine",
         (("machine", Machine, NEEDED), ("kind", one_of(*MACHINE_KINDS), NEEDED), ("removal", one_of("gravity", "active") | None, None),
          ("name", Name | None, None), ("programmes", _some(text(40), 40), []), ("steps", _some(text(40), 40), [])),
         {"machine": "L-K7-1", "kind": "steriliser", "removal": "gravity", "name": "Steriliser 1", "programmes": ["134/3"]}),
    Post("/machines/{machine}/stop", "stop machine", "Take a machine out of service", (_WHY,),
         {"why": "door gasket torn"}),
    Post("/machines/{machine}/return", "return machine", "Put a machine back into service", (_WHY,),
         {"why": "three proving loads negative"}),
    Post("/machines/{machine}/serviced", "service machine", "Write into a machine's log",
         (("what", one_of(*SERVICES), NEEDED), ("counter", whole(0, 10**9) | None, None), ("next_due", Day | None, None), _MAYBE_WHY),
         {"what": "gasket", "counter": 1204, "next_due": "2026-09-01", "why": None}),
    Post("/sets", "register set", "Register a set and its count sheet",
         (("name", Name, NEEDED), ("kind", one_of(*SET_KINDS), "set"), ("implant", bool, False), ("sheet", _some(SheetLine, 300, 1), NEEDED),
          ("mark", Mark | None, None), ("wrap", one_of(*SHELF_LIVES), "double"), ("bears_c", _DEGREES | None, None),
          ("hollow", bool, False), ("immersible", bool, True)),
         {"name": "Dental extraction A", "kind": "set", "implant": False, "wrap": "double",
          "mark": {"colour": "blue", "pattern": "two bars"},
          "sheet": [{"group": "Forceps", "line": "Extraction forceps", "count": 2}]}),
    Post("/sets/{set}/change", "change set", "Change the count sheet of a set",
         (("sheet", _some(SheetLine, 300, 1), NEEDED), _WHY),
         {"why": "one forceps sent for repair",
          "sheet": [{"group": "Forceps", "line": "Extraction forceps", "count": 1}]}),
    Post("/sets/{set}/retire", "retire set", "Take a set out of use", (_WHY,), {"why": "worn out"}),
    Post("/patients/{patient}/identify", "identify patient", "A provisional code was this patient",
         (("was", code("A"), NEEDED),), {"was": "A-K7-900001-G"}),
    Post("/loads/{load}/indicators", "place indicator", "Put an indicator into a load",
         (*_INDICATOR, ("control_lot", Lot | None, None), ("due", Day | None, None)),
         {"indicator": "biological", "lot": "B-77", "control_lot": "B-77", "due": "2026-03-06"}),
    Post("/loads/{load}/indicators/read", "read indicator", "Read an indicator of a load",
         (*_INDICATOR, ("result", _RESULT, NEEDED), ("control", one_of("grew", "no growth", "not read") | None, None),
          ("reader", Lot | None, None)),
         {"indicator": "biological", "result": "negative", "lot": "B-77", "control": "grew", "reader": "incubator 2"}),
    Post("/loads/{load}/release", "release", "Release a load", (_MAYBE_WHY,), {"why": None}),
    Post("/loads/{load}/reject", "reject", "Reject a load", (_WHY,), {"why": "display showed a fault"}),
    Post("/loads/{load}/hold", "hold", "Hold a load", (_WHY,), {"why": "leak found at the door"}),
    Post("/packs/{pack}/compromised", "compromise", "A pack was found wet, torn, dropped or missing",
         (("why", one_of(*DAMAGE), NEEDED),), {"why": "missing"}),
    Post("/packs/{pack}/override/confirm", "confirm override", "A surgeon stands for an override with the PIN", (), {}),
    Post("/codes", "issue codes", "Issue new codes, never given before",
         (("kind", one_of(*KINDS), NEEDED), ("machine", Machine | None, None), ("count", whole(1, MOST_AT_ONCE), NEEDED)),
         {"kind": "loads", "machine": "L-K7-1", "count": 8}),
    Post("/codes/{code}/void", "void code", "Void a code for good", (_WHY,), {"why": "the card is lost"}),
    Post("/codes/{code}/label", "print label", "A label is printed again, as a copy", (_MAYBE_WHY,), {"why": "torn"}),
    Post("/recalls", "open recall", "Open a recall on a load",
         (("load", Load, NEEDED), ("reach", one_of(*REACHES), "load"), _WHY),
         {"load": "L-K7-1-0331-K", "reach": "since", "why": "biological positive"}),
    Post("/recalls/{recall:path}/accounted", "account", "A pack of a recall is accounted for",
         (("pack", code("P"), NEEDED), ("found", Words | None, None)), {"pack": "P-K7-0042-0017-R", "found": "on shelf 2"}),
    Post("/recalls/{recall:path}/close", "close recall", "Every pack is accounted for", (_MAYBE_WHY,), {"why": None}),
)  # fmt: skip
_LOAD = fields.model("load of a cycle", (("load", fields.SteamLoad, NEEDED),))
_CELSIUS = Annotated[float, Field(ge=0, le=200, allow_inf_nan=False)]
_ANY_LOAD = fields.model("load of a photo", (("load", fields.Load, NEEDED),))
_PHOTO_FORM = fields.model(
    "photo", (*fields.ENVELOPE, ("of", one_of(*PHOTOS_OF), NEEDED), ("pack", code("P") | None, None))
)
_PATIENT = fields.model(
    "patient", (*fields.ENVELOPE, ("name", Name, NEEDED), ("species", Name, NEEDED), ("code", code("A") | None, None))
)
CSV = ("text/csv", "text/plain", "application/octet-stream")


def envelope(told: dict[str, Any], request: Request) -> tuple[str, str | None]:
    """The id and badge every act carries; the badge is that of who signed in, where somebody has to."""
    badge = told.pop("by")
    person = person_of(request)
    if person is None:
        return told.pop("id"), badge
    if badge not in {None, person.badge}:
        raise Problem(403, "Another's badge", f"you are signed in as {person.badge}: leave by out", field="by")
    return told.pop("id"), person.badge


def acts_router(desk: Desk, doors: Doors | None = None) -> APIRouter:
    """Every row of the table above, and the three that write beside the ledger."""
    router = APIRouter(prefix="/api", tags=["office"])
    for post in POSTS:
        body = fields.model(post.does, (*fields.ENVELOPE, *post.fields))
        router.add_api_route(
            post.path, _endpoint(desk, post, doors, body), methods=["POST"], summary=post.summary,
            operation_id=post.does.replace(" ", "_"), openapi_extra=_openapi(post, body), responses=answers(ISSUED if post.does == "issue codes" else ANSWER),
        )  # fmt: skip
    cycle, printout = _judging_forms(desk)
    router.add_api_route("/loads/{load}/cycle", _judge(desk, cycle), methods=["POST"],
                         summary="Judge a load's cycle log", openapi_extra=_csv(cycle),
                         responses=answers(JUDGED, also=409))  # fmt: skip
    read_off = _IN_GENERAL | {"hold_s": 240, "lowest_c": 134.4, "highest_c": 135.6}
    router.add_api_route("/loads/{load}/cycle/printout", _printout(desk, printout), methods=["POST"],
                         summary="Judge a load's cycle by what somebody read off its printout",
                         openapi_extra=taking(printout, read_off) | {"parameters": in_path(_LOAD)},
                         responses=answers(JUDGED, also=409))  # fmt: skip
    router.add_api_route("/loads/{load}/photos", _photo(desk), methods=["POST"],
                         summary="Keep a photo of an indicator or a printout with its load",
                         openapi_extra=_picture(_PHOTO_FORM), responses=answers(ANSWER, also=409))  # fmt: skip
    router.add_api_route("/patients", _patient(desk), methods=["POST"], summary="Give a patient a code and a name",
                         openapi_extra=taking(_PATIENT, _IN_GENERAL | {"name": "Milo", "species": "cat"}),
                         responses=answers(ANSWER))  # fmt: skip
    return router


_IN_GENERAL = {"id": "017f22e2-79b0-7cc3-98c4-dc0c0c07398f", "by": "B-K7-002-L"}


def _openapi(post: Post, body: type[Taken]) -> dict[str, Any]:
    return taking(body, _IN_GENERAL | post.example) | {"parameters": in_path(_path(post))}


def _path(post: Post) -> type[Taken]:
    """The form of what stands in the path of an act."""
    named = re.findall(r"{(\w+)", post.path)
    return fields.model(f"path of {post.does}", tuple((name, fields.IN_PATHS[name], NEEDED) for name in named))


def _judging_forms(desk: Desk) -> tuple[type[Taken], type[Taken]]:
    """What a judgement by a log, and by a printout, is told: the programmes are those of this site."""
    known = ("programme", one_of(*(one.name for one in programmes_here(desk.practice))) | None, None)
    basis = ("basis", one_of("log", "readings"), "log")
    measured = (("hold_s", whole(0, 86_400), NEEDED), ("lowest_c", _CELSIUS, NEEDED), ("highest_c", _CELSIUS, NEEDED))
    return (
        fields.model("cycle", (*fields.ENVELOPE, known, basis, _MAYBE_WHY)),
        fields.model("printout", (*fields.ENVELOPE, known, *measured)),
    )


def _csv(form: type[Taken]) -> dict[str, Any]:
    log = {
        "schema": {"type": "string", "maxLength": READINGS, "format": "cycle-log"},
        "example": "seconds,temperature_c\n0,21.4\n5,23.0\n",
    }
    return {
        "parameters": in_path(_LOAD) + in_query(form, _IN_GENERAL | {"programme": "134/3"}),
        "requestBody": {"required": True, "content": {"text/csv": log}},
    }


def _endpoint(desk: Desk, post: Post, doors: Doors | None, form: type[Taken]) -> Any:
    path = _path(post)

    async def endpoint(request: Request) -> dict[str, Any]:
        told = fields.taken(path, request.path_params) | fields.taken(form, await json_body(request))
        act_id, by = envelope(told, request)
        pin = told.pop("pin")
        if doors and by and post.does in PIN:
            await prove(doors, by, pin, address(request))
        keys = {key: told.pop(key) for key in ("set", "pack", "load", "patient") if key in told}
        future = desk.act(act_id, post.does, by=by, body=told, beside=_name_beside(post, told), **keys)
        return await asyncio.wrap_future(future)

    return endpoint


def _name_beside(post: Post, told: dict[str, Any]) -> Beside | None:
    """People's names stand beside the ledger, never in a fact."""
    if post.does != "enrol staff":
        return None
    name = told.pop("name")
    return lambda batch, _: batch.keep_name(told["badge"], "person", name, None)


def _judge(desk: Desk, form: type[Taken]) -> Any:
    async def judge_cycle(request: Request) -> dict[str, Any]:
        load = fields.taken(_LOAD, request.path_params)["load"]
        told = fields.taken(form, dict(request.query_params))
        act_id, by = envelope(told, request)
        body = await read_body(request, READINGS, CSV)
        judged = await asyncio.to_thread(judging.judged_log, desk, load, body, told.pop("programme"), told.pop("basis"))
        future = desk.act(act_id, "judge cycle", by=by, body=told | judged.values, load=load, beside=judged.beside)
        return await asyncio.wrap_future(future) | {"judgement": judged.judgement.to_json()}

    return judge_cycle


def _printout(desk: Desk, form: type[Taken]) -> Any:
    async def judge_printout(request: Request) -> dict[str, Any]:
        load = fields.taken(_LOAD, request.path_params)["load"]
        told = fields.taken(form, await json_body(request))
        act_id, by = envelope(told, request)
        judged = judging.judged_printout(desk, load, told)
        kept = {key: told[key] for key in ("station", "seen_at", "sent_at", "why") if key in told}
        future = desk.act(act_id, "judge cycle", by=by, body=kept | judged.values, load=load)
        return await asyncio.wrap_future(future) | {"judgement": judged.judgement.to_json()}

    return judge_printout


def _picture(form: type[Taken]) -> dict[str, Any]:
    picture = {"schema": {"type": "string", "format": "photo", "maxLength": PHOTO}, "example": "the bytes of the photo"}
    return {
        "parameters": in_path(_ANY_LOAD) + in_query(form, _IN_GENERAL | {"of": "strip"}),
        "requestBody": {"required": True, "content": dict.fromkeys(MEDIA, picture)},
    }


def _photo(desk: Desk) -> Any:
    async def keep_photo(request: Request) -> dict[str, Any]:
        load = fields.taken(_ANY_LOAD, request.path_params)["load"]
        told = fields.taken(_PHOTO_FORM, dict(request.query_params))
        act_id, by = envelope(told, request)
        body = await read_body(request, PHOTO, MEDIA)
        media = media_of(body)
        sha256 = hashlib.sha256(body).hexdigest()
        pack = told.pop("pack")
        future = desk.act(act_id, "keep photo", by=by, body=told | {"sha256": sha256, "media": media}, load=load,
                          pack=pack, beside=lambda batch, _: batch.keep_photo(sha256, load, media, body))  # fmt: skip
        return await asyncio.wrap_future(future)

    return keep_photo


def _patient(desk: Desk) -> Any:
    async def new_patient(request: Request) -> dict[str, Any]:
        told = fields.taken(_PATIENT, await json_body(request))
        act_id, by = envelope(told, request)
        person = person_of(request)
        if person and not person.may("name patient"):
            raise Problem(403, "Not yours to do", "an auditor reads all and changes nothing")
        name, species = told.pop("name"), told.pop("species")
        future = desk.act(act_id, "name patient", by=by, body=told, patient=told.pop("code"),
                          beside=lambda batch, code: batch.keep_name(str(code), "patient", name, species))  # fmt: skip
        answer = await asyncio.wrap_future(future)
        code = answer["subject"]
        return answer | {"headline": f"{code} is registered."} if answer["verdict"] == "go" else answer

    return new_patient
