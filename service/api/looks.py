"""Looks: everything the ledger can be asked over HTTP. Each answers from one consistent moment."""

from collections.abc import Iterator
from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request

from service.api import fields, shapes
from service.api.openapi import answers
from service.api.problems import Problem
from service.api.shapes import list_of, load_shape, machine_shape, pack_shape, set_shape
from service.custody.chain import custody
from service.custody.facts import stamp
from service.custody.recall import REACHES, report
from service.ledger.store import Reader
from service.stations.desk import Desk

SetCode = Annotated[fields.code("S"), Path()]
PackCode = Annotated[fields.code("P"), Path()]
LoadCode = Annotated[fields.Load, Path()]
Reach = Annotated[fields.one_of(*REACHES), Query()]
PatientName = Annotated[fields.text(fields.NAME), Path()]
Most = Annotated[int, Query(ge=1, le=500)]


def _look(request: Request) -> Iterator[Reader]:
    with request.app.state.desk.ledger.reading() as reader:
        yield reader


Look = Annotated[Reader, Depends(_look)]


def looks_router(desk: Desk) -> APIRouter:
    """Every look, under `/api`. The application's state holds the desk they read from."""
    router = APIRouter(prefix="/api", tags=["looks"])
    _sets_and_packs(router, desk)
    _loads_and_recalls(router)
    _people(router)
    return router


def _sets_and_packs(router: APIRouter, desk: Desk) -> None:
    """Sets, packs and their custody."""

    @router.get("/sets", summary="Every set", responses=answers(list_of(shapes.SET)))
    def sets(reader: Look) -> list[dict[str, Any]]:
        return [set_shape(reader, owner.code) or {} for owner in reader.state.sets()]

    @router.get("/sets/{code}", summary="A set, its sheet and its packs", responses=answers(shapes.SET_AND_PACKS))
    def one_set(code: SetCode, reader: Look) -> dict[str, Any]:
        found = set_shape(reader, code)
        packs = [pack_shape(reader, pack, stamp(desk.clock())) for pack in reader.packs_of(code)]
        return _there(found, code) | {"packs": packs}

    @router.get("/packs", summary="The present pack of every set", responses=answers(list_of(shapes.PACK)))
    def packs(reader: Look) -> list[dict[str, Any]]:
        now = stamp(desk.clock())
        present = [reader.state.pack(owner.pack) for owner in reader.state.sets()]
        return [pack_shape(reader, pack, now) for pack in present if pack]

    @router.get("/packs/{code}", summary="A pack: where it is, and its flags", responses=answers(shapes.PACK))
    def pack(code: PackCode, reader: Look) -> dict[str, Any]:
        found = reader.state.pack(code)
        return pack_shape(reader, _there(found, code), stamp(desk.clock()))

    @router.get(
        "/packs/{code}/custody",
        summary="What the record holds of a pack, and its gaps",
        responses=answers(shapes.CUSTODY),
    )
    def pack_custody(code: PackCode, reader: Look) -> dict[str, Any]:
        return custody(reader.state, _there(reader.state.pack(code), code))


def _loads_and_recalls(router: APIRouter) -> None:
    """Loads, and what a recall of one reaches."""

    @router.get("/loads", summary="The latest loads", responses=answers(list_of(shapes.LOAD)))
    def loads(reader: Look, limit: Most = 50) -> list[dict[str, Any]]:
        return [asdict(load) for load in reader.loads(limit)]

    @router.get("/loads/{code}", summary="A load, and what speaks for and against it", responses=answers(shapes.LOAD))
    def load(code: LoadCode, reader: Look) -> dict[str, Any]:
        return load_shape(reader, _there(reader.state.load(code), code))

    @router.get("/recalls", summary="Recalls that were opened", responses=answers(list_of(shapes.RECALL)))
    def recalls(reader: Look) -> list[dict[str, Any]]:
        return [asdict(recall) for recall in reader.recalls()]

    @router.get(
        "/recalls/{code}",
        summary="Which packs and patients a load touches",
        responses=answers(shapes.REACHED, also=409),
    )
    def recall(code: LoadCode, reader: Look, reach: Reach = "load") -> dict[str, Any]:
        found = _there(reader.state.load(code), code)
        return report(reader.state, found, reach)


def _people(router: APIRouter) -> None:
    """Machines, staff and patients."""

    @router.get("/machines", summary="Every machine", responses=answers(list_of(shapes.MACHINE)))
    def machines(reader: Look) -> list[dict[str, Any]]:
        return [machine_shape(one) for one in reader.state.machines()]

    @router.get("/staff", summary="Everybody with a badge", responses=answers(list_of(shapes.PERSON)))
    def staff(reader: Look) -> list[dict[str, Any]]:
        return [asdict(person) | {"name": reader.name(person.code)} for person in reader.state.people()]

    @router.get("/patients", summary="Every patient with a name here", responses=answers(list_of(shapes.PATIENT_LINE)))
    def patients(reader: Look) -> list[dict[str, Any]]:
        return [{"patient": code, "name": name, "species": kind} for code, _, name, kind in reader.names("patient")]

    @router.get(
        "/patients/{code}", summary="A patient's cases and the packs opened for it", responses=answers(shapes.PATIENT)
    )
    def patient(code: PatientName, reader: Look) -> dict[str, Any]:
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
