"""Looks: everything the ledger can be asked over HTTP. Each answers from one consistent moment."""

from collections.abc import Iterator
from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request

from label_templates import codes
from service.api.problems import MEDIA, SCHEMA, Problem
from service.api.shapes import load_shape, pack_shape, set_shape
from service.custody.chain import custody
from service.custody.facts import stamp
from service.custody.recall import report
from service.ledger.store import Reader
from service.stations.desk import Desk

_PROBLEM = {"content": {MEDIA: {"schema": SCHEMA}}}


def _look(request: Request) -> Iterator[Reader]:
    with request.app.state.desk.ledger.reading() as reader:
        yield reader


Look = Annotated[Reader, Depends(_look)]


def looks_router(desk: Desk) -> APIRouter:
    """Every look, under `/api`. The application's state holds the desk they read from."""
    router = APIRouter(prefix="/api", tags=["looks"], responses={404: _PROBLEM, 422: _PROBLEM})
    _sets_and_packs(router, desk)
    _loads_and_recalls(router)
    _people(router)
    return router


def _sets_and_packs(router: APIRouter, desk: Desk) -> None:
    """Sets, packs and their custody."""

    @router.get("/sets", summary="Every set")
    def sets(reader: Look) -> list[dict[str, Any]]:
        return [set_shape(reader, owner.code) or {} for owner in reader.state.sets()]

    @router.get("/sets/{code}", summary="A set, its sheet and its packs")
    def one_set(code: str, reader: Look) -> dict[str, Any]:
        found = set_shape(reader, codes.parse_as(code, "S").text)
        packs = [pack_shape(reader, pack, stamp(desk.clock())) for pack in reader.packs_of(code)]
        return _there(found, code) | {"packs": packs}

    @router.get("/packs", summary="The present pack of every set")
    def packs(reader: Look) -> list[dict[str, Any]]:
        now = stamp(desk.clock())
        present = [reader.state.pack(owner.pack) for owner in reader.state.sets()]
        return [pack_shape(reader, pack, now) for pack in present if pack]

    @router.get("/packs/{code}", summary="A pack: where it is, and its flags")
    def pack(code: str, reader: Look) -> dict[str, Any]:
        found = reader.state.pack(codes.parse_as(code, "P").text)
        return pack_shape(reader, _there(found, code), stamp(desk.clock()))

    @router.get("/packs/{code}/custody", summary="What the record holds of a pack, and its gaps")
    def pack_custody(code: str, reader: Look) -> dict[str, Any]:
        return custody(reader.state, _there(reader.state.pack(codes.parse_as(code, "P").text), code))


def _loads_and_recalls(router: APIRouter) -> None:
    """Loads, and what a recall of one reaches."""

    @router.get("/loads", summary="The latest loads")
    def loads(reader: Look, limit: int = 50) -> list[dict[str, Any]]:
        return [asdict(load) for load in reader.loads(max(1, min(limit, 500)))]

    @router.get("/loads/{code}", summary="A load, and what speaks for and against it")
    def load(code: str, reader: Look) -> dict[str, Any]:
        return load_shape(reader, _there(reader.state.load(codes.parse_as(code, "L", "W").text), code))

    @router.get("/recalls", summary="Recalls that were opened")
    def recalls(reader: Look) -> list[dict[str, Any]]:
        return [asdict(recall) for recall in reader.recalls()]

    @router.get("/recalls/{code}", summary="Which packs and patients a load touches")
    def recall(code: str, reader: Look, reach: str = "load") -> dict[str, Any]:
        found = _there(reader.state.load(codes.parse_as(code, "L", "W").text), code)
        return report(reader.state, found, reach)


def _people(router: APIRouter) -> None:
    """Machines, staff and patients."""

    @router.get("/machines", summary="Every machine")
    def machines(reader: Look) -> list[dict[str, Any]]:
        return [asdict(machine) for machine in reader.everything("machine")]

    @router.get("/staff", summary="Everybody with a badge")
    def staff(reader: Look) -> list[dict[str, Any]]:
        return [asdict(person) | {"name": reader.name(person.code)} for person in reader.state.people()]

    @router.get("/patients", summary="Every patient with a name here")
    def patients(reader: Look) -> list[dict[str, Any]]:
        return [{"patient": code, "name": name, "species": kind} for code, _, name, kind in reader.names("patient")]

    @router.get("/patients/{code}", summary="A patient's cases and the packs opened for it")
    def patient(code: str, reader: Look) -> dict[str, Any]:
        name = reader.name(code)
        cases = reader.cases_of(code)
        if name is None and not cases:
            raise Problem(404, "Not known", f"no patient {code[:40]} is known here: check the code")
        return {
            "patient": code,
            "known_as": reader.state.known_as(code),
            "name": name,
            "cases": [asdict(c) for c in cases],
        }


def _there(found: Any, code: str) -> Any:
    if found is None:
        raise Problem(404, "Not known", f"nothing was ever registered or begun under {code}: check the code")
    return found
