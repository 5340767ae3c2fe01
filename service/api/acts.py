"""The office's acts over HTTP: one table of what may be posted, and what each body holds."""

import asyncio
import hashlib
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request

from label_templates import codes
from service.access.doors import Doors
from service.api.bodies import json_body, read_body
from service.api.entry import address, person_of, prove
from service.api.problems import SCHEMA, Problem
from service.custody.rules.roles import PIN
from service.stations.desk import Beside, Desk
from service.steam.cycle import CycleError, read_csv
from service.steam.judge import judge
from service.steam.programme import ProgrammeError, programme

Field = tuple[str, type | tuple[type, ...], Any]
_TEXT = (str,)
_MAYBE = (str, type(None))


@dataclass(frozen=True, slots=True)
class Post:
    """One act: its path, the rule it goes to, the fields of its body (name, types, default) and an example."""

    path: str
    does: str
    summary: str
    fields: tuple[tuple[str, tuple[type, ...], Any], ...]
    example: dict[str, Any]


NEEDED = object()
_INDICATOR = (("indicator", _TEXT, "biological"), ("lot", _MAYBE, None))
POSTS = (
    Post("/staff", "enrol staff", "Enrol somebody with a badge",
         (("badge", _TEXT, NEEDED), ("name", _TEXT, NEEDED), ("roles", (list,), NEEDED), ("may_release", (bool,), False)),
         {"badge": "B-K7-003-J", "name": "Technician 3", "roles": ["technician"], "may_release": False}),
    Post("/staff/{badge}/left", "staff left", "Somebody has left", (), {}),
    Post("/machines", "register machine", "Register a machine",
         (("machine", _TEXT, NEEDED), ("kind", _TEXT, NEEDED), ("removal", _MAYBE, None), ("name", _MAYBE, None),
          ("programmes", (list,), []), ("steps", (list,), [])),
         {"machine": "L-K7-1", "kind": "steriliser", "removal": "gravity", "name": "Steriliser 1", "programmes": ["134/3"]}),
    Post("/machines/{machine}/stop", "stop machine", "Take a machine out of service", (("why", _TEXT, NEEDED),),
         {"why": "door gasket torn"}),
    Post("/machines/{machine}/return", "return machine", "Put a machine back into service", (("why", _TEXT, NEEDED),),
         {"why": "three proving loads negative"}),
    Post("/sets", "register set", "Register a set and its count sheet",
         (("name", _TEXT, NEEDED), ("kind", _TEXT, "set"), ("implant", (bool,), False), ("sheet", (list,), NEEDED),
          ("mark", (dict, type(None)), None), ("wrap", _TEXT, "double"), ("bears_c", (int, type(None)), None)),
         {"name": "Dental extraction A", "kind": "set", "implant": False, "wrap": "double",
          "mark": {"colour": "blue", "pattern": "two bars"},
          "sheet": [{"group": "Forceps", "line": "Extraction forceps", "count": 2}]}),
    Post("/sets/{set}/change", "change set", "Change the count sheet of a set",
         (("sheet", (list,), NEEDED), ("why", _TEXT, NEEDED)),
         {"why": "one forceps sent for repair",
          "sheet": [{"group": "Forceps", "line": "Extraction forceps", "count": 1}]}),
    Post("/sets/{set}/retire", "retire set", "Take a set out of use", (("why", _TEXT, NEEDED),), {"why": "worn out"}),
    Post("/patients/{patient}/identify", "identify patient", "A provisional code was this patient",
         (("was", _TEXT, NEEDED),), {"was": "A-K7-900001-Q"}),
    Post("/loads/{load}/indicators", "place indicator", "Put an indicator into a load",
         (*_INDICATOR, ("control_lot", _MAYBE, None), ("due", _MAYBE, None)),
         {"indicator": "biological", "lot": "B-77", "control_lot": "B-77", "due": "2026-03-06"}),
    Post("/loads/{load}/indicators/read", "read indicator", "Read an indicator of a load",
         (*_INDICATOR, ("result", _TEXT, NEEDED), ("control", _MAYBE, None)),
         {"indicator": "biological", "result": "negative", "lot": "B-77", "control": "grew"}),
    Post("/loads/{load}/release", "release", "Release a load", (("why", _MAYBE, None),), {"why": None}),
    Post("/loads/{load}/reject", "reject", "Reject a load", (("why", _TEXT, NEEDED),), {"why": "display showed a fault"}),
    Post("/loads/{load}/hold", "hold", "Hold a load", (("why", _TEXT, NEEDED),), {"why": "leak found at the door"}),
    Post("/packs/{pack}/compromised", "compromise", "A pack was found wet, torn, dropped or missing",
         (("why", _TEXT, NEEDED),), {"why": "missing"}),
    Post("/packs/{pack}/override/confirm", "confirm override", "A surgeon stands for an override with the PIN", (), {}),
    Post("/recalls", "open recall", "Open a recall on a load",
         (("load", _TEXT, NEEDED), ("reach", _TEXT, "load"), ("why", _TEXT, NEEDED)),
         {"load": "L-K7-1-0331-K", "reach": "since", "why": "biological positive"}),
    Post("/recalls/{recall:path}/accounted", "account", "A pack of a recall is accounted for",
         (("pack", _TEXT, NEEDED), ("found", _MAYBE, None)), {"pack": "P-K7-0042-0017-R", "found": "on shelf 2"}),
    Post("/recalls/{recall:path}/close", "close recall", "Every pack is accounted for", (("why", _MAYBE, None),), {"why": None}),
)  # fmt: skip
_CODES = {"set": "S", "pack": "P", "patient": "A"}
_ENVELOPE = {"id", "by", "pin", "station", "seen_at", "sent_at"}
LONGEST_TEXT = 2000


def checked(post: Post, body: dict[str, Any]) -> dict[str, Any]:
    """The fields of `post` from `body`, defaults filled in. Raises Problem naming the field."""
    strange = set(body) - {name for name, _, _ in post.fields} - _ENVELOPE
    if strange:
        known = ", ".join(name for name, _, _ in post.fields) or "no fields"
        raise Problem(
            422, "The request cannot be taken", f"nobody knows {min(strange)}: this takes {known}", field=min(strange)
        )
    found: dict[str, Any] = {}
    for name, types, default in post.fields:
        value = body.get(name, default)
        if value is NEEDED or not isinstance(value, types) or (isinstance(value, bool) and bool not in types):
            wanted = " or ".join("null" if kind is type(None) else kind.__name__ for kind in types)
            raise Problem(422, "The request cannot be taken", f"{name} is needed, as {wanted}", field=name)
        if isinstance(value, str) and len(value) > LONGEST_TEXT:
            raise Problem(
                422, "The request cannot be taken", f"{name} has more than {LONGEST_TEXT} characters", field=name
            )
        found[name] = value
    if "sheet" in found:
        _check_sheet(found["sheet"])
    return found


def _check_sheet(sheet: list[Any]) -> None:
    for line in sheet:
        fits = isinstance(line, dict) and set(line) == {"group", "line", "count"}
        if not fits or not (isinstance(line["group"], str) and isinstance(line["line"], str)):
            raise Problem(422, "The sheet cannot be taken", "each line is {group, line, count}", field="sheet")
        if not isinstance(line["count"], int) or isinstance(line["count"], bool) or not 1 <= line["count"] <= 999:
            raise Problem(
                422, "The sheet cannot be taken", f"{line['line']}: a count lies between 1 and 999", field="sheet"
            )


def envelope(body: dict[str, Any], request: Request) -> tuple[str, str | None]:
    """The id and badge every act carries; the badge is that of who signed in, where somebody has to."""
    if not isinstance(body.get("id"), str):
        raise Problem(422, "The request cannot be taken", "id is needed: a UUID v7 made by the sender", field="id")
    by = body.get("by")
    if by is not None and not isinstance(by, str):
        raise Problem(422, "The request cannot be taken", "by is a badge code", field="by")
    badge = codes.parse_as(by, "B").text if by else None
    person = person_of(request)
    if person is None:
        return body["id"], badge
    if badge not in {None, person.badge}:
        raise Problem(403, "Another's badge", f"you are signed in as {person.badge}: leave by out", field="by")
    return body["id"], person.badge


def acts_router(desk: Desk, doors: Doors | None = None) -> APIRouter:
    """Every row of the table above, and the two that write beside the ledger."""
    router = APIRouter(prefix="/api", tags=["office"])
    for post in POSTS:
        router.add_api_route(
            post.path, _endpoint(desk, post, doors), methods=["POST"], summary=post.summary,
            operation_id=post.does.replace(" ", "_"), openapi_extra=_openapi(post),
            responses={422: {"content": {"application/problem+json": {"schema": SCHEMA}}}},
        )  # fmt: skip
    router.add_api_route("/loads/{load}/cycle", _judge(desk), methods=["POST"], summary="Judge a load's cycle log",
                         openapi_extra=_CSV)  # fmt: skip
    router.add_api_route("/patients", _patient(desk), methods=["POST"], summary="Give a patient a code and a name")
    return router


def _openapi(post: Post) -> dict[str, Any]:
    example = {"id": "017f22e2-79b0-7cc3-98c4-dc0c0c07398f", "by": "B-K7-002-L"} | post.example
    return {
        "requestBody": {
            "required": True,
            "content": {"application/json": {"schema": {"type": "object"}, "example": example}},
        }
    }


_CSV = {
    "requestBody": {"required": True, "content": {"text/csv": {"example": "seconds,temperature_c\n0,21.4\n5,23.0\n"}}}
}


def _endpoint(desk: Desk, post: Post, doors: Doors | None) -> Any:
    async def endpoint(request: Request) -> dict[str, Any]:
        body = await json_body(request)
        act_id, by = envelope(body, request)
        told = checked(post, body)
        if doors and by and post.does in PIN:
            await prove(doors, by, body.get("pin"), address(request))
        keys = _keys(request.path_params, told, post.does)
        told |= {name: body[name] for name in ("station", "seen_at", "sent_at") if name in body}
        future = desk.act(act_id, post.does, by=by, body=told, beside=_name_beside(post, told), **keys)
        return await asyncio.wrap_future(future)

    return endpoint


def _keys(path: dict[str, str], told: dict[str, Any], does: str) -> dict[str, str | None]:
    keys: dict[str, str | None] = {}
    for name, value in path.items():
        if name in _CODES:
            keys[name] = codes.parse_as(value, _CODES[name]).text
        elif name == "load":
            keys["load"] = codes.parse_as(value, "L", "W").text
        else:
            told[name] = value
    if does == "open recall":
        keys["load"] = codes.parse_as(told["load"], "L", "W").text
    if does == "account":
        keys["pack"] = codes.parse_as(told["pack"], "P").text
    return keys


def _name_beside(post: Post, told: dict[str, Any]) -> Beside | None:
    """People's names stand beside the ledger, never in a fact."""
    if post.does != "enrol staff":
        return None
    name = told.pop("name")
    return lambda batch: batch.keep_name(told["badge"], "person", name, None)


def _judge(desk: Desk) -> Any:
    async def judge_cycle(request: Request) -> dict[str, Any]:
        query = dict(request.query_params)
        act_id, by = envelope(query, request)
        load = codes.parse_as(request.path_params["load"], "L").text
        body = await read_body(request)
        try:
            limits = programme(query.get("programme") or _programme_of(desk, load))
            judgement = await asyncio.to_thread(lambda: judge(read_csv(body), limits))
        except (CycleError, ProgrammeError) as error:
            raise Problem(422, "The cycle cannot be judged", str(error)) from error
        sha256 = hashlib.sha256(body).hexdigest()
        told = {"verdict": judgement.verdict, "basis": "log", "hold_s": judgement.hold_s,
                "f0_hundredths": judgement.f0_hundredths, "log_sha256": sha256}  # fmt: skip
        told |= {name: query[name] for name in ("station", "seen_at", "sent_at") if name in query}
        future = desk.act(act_id, "judge cycle", by=by, body=told, load=load,
                          beside=lambda batch: batch.keep_log(sha256, load, limits.name, body))  # fmt: skip
        return await asyncio.wrap_future(future) | {"judgement": judgement.to_json()}

    return judge_cycle


def _programme_of(desk: Desk, load: str) -> str:
    with desk.ledger.reading() as reader:
        record = reader.state.load(load)
    if record is None or record.programme is None:
        raise Problem(422, "The cycle cannot be judged", f"load {load} was never started: start it at loading first")
    return record.programme


def _patient(desk: Desk) -> Any:
    async def new_patient(request: Request) -> dict[str, Any]:
        body = await json_body(request)
        act_id, _ = envelope(body, request)
        person = person_of(request)
        if person and not person.may("name patient"):
            raise Problem(403, "Not yours to do", "an auditor reads all and changes nothing")
        for field in ("name", "species"):
            if not isinstance(body.get(field), str) or not 0 < len(body[field]) <= 200:
                raise Problem(
                    422, "The request cannot be taken", f"{field} is needed, at most 200 characters", field=field
                )
        with desk.ledger.reading() as reader:
            taken = [codes.parse(code).number or 0 for code, _, _, _ in reader.names("patient") if codes.is_code(code)]
        code = body.get("code") or codes.patient_code(desk.practice.site, max([0, *taken]) + 1).text
        code = codes.parse_as(code, "A").text
        answer = {"verdict": "go", "headline": f"{code} is registered.", "detail": "", "next": "", "subject": code,
                  "facts": [], "rule": None, "at": None}  # fmt: skip
        write: Beside = lambda batch: batch.keep_name(code, "patient", body["name"], body["species"])  # noqa: E731
        return await asyncio.wrap_future(desk.beside(act_id, write, answer))

    return new_patient
