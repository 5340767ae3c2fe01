"""The pages' addresses. Errors are pages too; what they do goes through the same API as everything else."""

from collections.abc import Callable
from importlib import resources
from typing import Any, cast

from fastapi import APIRouter, FastAPI, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.middleware.gzip import GZipMiddleware

from label_templates import codes
from label_templates.codes import CodeError
from label_templates.labels import BENCH_CARDS
from service.custody.facts import stamp
from service.custody.practice import Practice
from service.custody.recall import ReachError, report
from service.custody.records import Machine
from service.pages.board import filtered
from service.pages.day import day_page
from service.pages.drawing import SHAPES, shape
from service.pages.find import drawn_sheet, search_page, set_page
from service.pages.indicators import indicators_page
from service.pages.live import LiveBoard
from service.pages.load import load_page, loads_page
from service.pages.looks import Looks
from service.pages.machines import Asked, PeriodError, machine_page, machines_page, month_page
from service.pages.next_load import next_load_page
from service.pages.pack import pack_page
from service.pages.papers.load_record import load_record
from service.pages.papers.recall_list import recall_pdf
from service.pages.people import people_page, sign_in_page
from service.pages.recall import recall_page, recalls_page
from service.pages.render import render
from service.pages.views import (
    BoardPart,
    EnrolPage,
    LimitsPage,
    Page,
    ProblemPage,
    SheetPart,
    StartPage,
    StationPage,
    StationsPage,
)
from service.stations.desk import Desk
from service.stations.scan import ScanError, station_name
from service.stations.screen import screen
from service.words.catalogue import say_in
from service.words.choice import for_a_page

WORDS = {"go": "GO", "ask": "ASK", "stop": "STOP", "not checked": "NOT CHECKED"}
STATIONS = {
    "wash-1": "sets go into a wash load",
    "packing-1": "sets are counted, wrapped and labelled",
    "loading-1": "packs go into the steriliser",
    "unloading-1": "packs come out",
    "store-1": "packs go on their shelves",
    "theatre-1": "a pack is opened for a patient",
    "office-1": "release, and where things are",
}
_CARDS = {
    "wash": "DONE PASS FAIL YES NO UNDO",
    "packing": "YES NO DONE WET TORN UNDO",
    "loading": "DONE OUT WET TORN DROPPED UNDO",
    "unloading": "END PASS FAIL OUT WET TORN DROPPED PALE DONE UNDO",
    "store": "YES NO WET TORN DROPPED UNDO",
    "theatre": "TURNED PALE UNSURE RETURN UNUSED DONE YES NO UNDO",
    "office": "YES NO FAIL DONE UNDO",
}
_COUNTING = {"packing", "loading", "theatre", "office"}
"""Where numbers are shown: counts, programmes, reasons, PINs."""
_CODE_OF = {card.word: card.code for card in BENCH_CARDS}


class NotThere(Exception):  # noqa: N818  (a page says so)
    """A page for something nobody registered."""


class NotYours(Exception):  # noqa: N818  (a page says so)
    """A page for others than who asks."""


def add_pages(app: FastAPI, desk: Desk) -> None:
    """Put the pages beside the API."""
    router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)

    def page(path: str, build: Callable[..., Page | str]) -> None:
        def endpoint(request: Request) -> Response:
            return _answer(desk, build, request)

        router.add_api_route(path, endpoint, methods=["GET"])

    _board_pages(router, LiveBoard(desk))
    page("/packs/{code}", lambda looks, r: pack_page(looks, _there(looks.state.pack(_code(r, "P")))))
    page("/sets/{code}", lambda looks, r: set_page(looks, _there(looks.state.set(_code(r, "S")))))
    page("/sets/{code}/sheet", lambda looks, r: SheetPart(drawn_sheet(_there(looks.state.set(_code(r, "S"))))))
    page("/loads", lambda looks, _: loads_page(looks))
    page("/loads/next", lambda looks, r: next_load_page(looks, r.query_params.getlist("need")))
    page("/loads/{code}", lambda looks, r: load_page(looks, _there(looks.state.load(_code(r, "L", "W")))))
    page("/machines", lambda looks, _: machines_page(looks))
    page("/machines/{code}", lambda looks, r: machine_page(looks, _machine(looks, r), _asked(r)))
    page("/machines/{code}/{month}", lambda looks, r: month_page(looks, _machine(looks, r), r.path_params["month"]))
    page("/indicators", lambda looks, _: indicators_page(looks))
    page("/recalls", lambda looks, _: recalls_page(looks))
    page("/search", lambda looks, r: search_page(looks, r.query_params.get("q", "")))
    page("/people", _people)
    page("/sign-in", lambda _looks, r: sign_in_page(r.query_params.get("next", "/")))
    page("/start", lambda _looks, _: StartPage("Choose your PIN"))
    page("/enrol", lambda _looks, _: EnrolPage("Enrol this device"))
    page("/limits", lambda _looks, _: LimitsPage("What the record cannot show"))
    page("/stations", lambda _looks, _: StationsPage("Stations", tuple(STATIONS.items())))
    page("/stations/{station}", _station)
    page("/stations/{station}/day", _day)

    @router.get("/recalls/{code}.pdf")
    def recall_list(code: str, request: Request) -> Response:
        return _recall_list(desk, code, request)

    @router.get("/loads/{code}/photos/{sha256}")
    def photo(code: str, sha256: str, request: Request) -> Response:
        with desk.ledger.reading() as reader:
            found = reader.photo(code, sha256)
        if found is None:
            return _page(ProblemPage("Not known", "No such photo is kept here.", "Check the address."), request, 404)
        return Response(found[1], media_type=found[0], headers={"Cache-Control": "private, max-age=86400"})

    @router.get("/loads/{code}/record.pdf")
    def record(code: str, request: Request) -> Response:
        return _load_record(desk, code, request)

    page("/recalls/{code}", _recall)
    app.include_router(router)
    files = StaticFiles(directory=str(resources.files("service.pages").joinpath("static")))
    app.mount("/static", GZipMiddleware(files, minimum_size=1000, compresslevel=6), name="static")


def _answer(desk: Desk, build: Callable[..., Page | str], request: Request) -> Response:
    try:
        with desk.ledger.reading() as reader:
            found = build(Looks(reader, stamp(desk.clock())), request)
    except NotThere:
        detail = "Nothing was ever registered or begun under that code here."
        return _page(ProblemPage("Not known", detail, "Check the code."), request, 404)
    except NotYours:
        return _page(ProblemPage("Not yours to see", "This page is for managers.", "Ask one."), request, 403)
    except (CodeError, ScanError, ReachError, PeriodError) as error:
        then = "Check it, or search from the bar above."
        return _page(ProblemPage("That cannot be looked up", f"{error}.", then), request, 422)
    if isinstance(found, str):
        return RedirectResponse(found, 303)
    return _page(found, request)


def _page(found: Page, request: Request, status: int = 200) -> Response:
    return HTMLResponse(render(found, getattr(request.state, "person", None), _language(request)), status)


def _language(request: Request) -> str:
    practice: Practice = request.app.state.desk.practice
    return for_a_page(request.scope["headers"], practice.language)


def _board_pages(router: APIRouter, board: LiveBoard) -> None:
    """The board, and the part of it that an open one fetches again."""

    @router.get("/")
    def whole(request: Request, show: str = "", mark: str = "") -> Response:
        return _page(filtered(board.page(), show, mark), request)

    @router.get("/board")
    def part(request: Request, show: str = "", mark: str = "") -> Response:
        return _page(BoardPart(filtered(board.page(), show, mark)), request)


def _people(looks: Looks, request: Request) -> Page:
    person = getattr(request.state, "person", None)
    if person and not person.may("see people"):
        raise NotYours
    return people_page(looks)


def _code(request: Request, *letters: str) -> str:
    return codes.parse_as(request.path_params["code"], *letters).text


def _machine(looks: Looks, request: Request) -> Machine:
    return cast("Machine", _there(looks.state.machine(request.path_params["code"])))


def _asked(request: Request) -> Asked:
    return Asked(**{name: request.query_params.get(name, "") for name in Asked.__slots__})


def _there(found: Any) -> Any:
    if found is None:
        raise NotThere
    return found


def _recall(looks: Looks, request: Request) -> Page:
    return recall_page(looks, _there(looks.state.load(_code(request, "L", "W"))), request.query_params.get("reach", ""))


def _recall_list(desk: Desk, code: str, request: Request) -> Response:
    try:
        text = codes.parse_as(code, "L", "W").text
        with desk.ledger.reading() as reader:
            looks = Looks(reader, stamp(desk.clock()))
            found = report(looks.state, _there(looks.state.load(text)), request.query_params.get("reach", "load"))
            names = {row["set"]: looks.set_name(row["set"]) for row in found["packs"]}
            patients = {patient: reader.name(patient) or "" for patient in found["patients"]}
    except NotThere:
        return _page(ProblemPage("Not known", "No such load began here.", "Check the code."), request, 404)
    except (CodeError, ReachError) as error:
        then = "Check the code and the reach."
        return _page(ProblemPage("That cannot be looked up", f"{error}.", then), request, 422)
    practice = desk.practice
    data = recall_pdf(
        found, set_names=names, patient_names=patients, practice=practice.name, zone=practice.zone,
        say=say_in(_language(request)),
    )  # fmt: skip
    headers = {"Content-Disposition": f'inline; filename="recall-{text}.pdf"'}
    return Response(data, media_type="application/pdf", headers=headers)


def _load_record(desk: Desk, code: str, request: Request) -> Response:
    try:
        text = codes.parse_as(code, "L").text
        with desk.ledger.reading() as reader:
            looks = Looks(reader, stamp(desk.clock()))
            data = load_record(looks, _there(looks.state.load(text)), say_in(_language(request)))
    except NotThere:
        return _page(ProblemPage("Not known", "No such load began here.", "Check the code."), request, 404)
    except CodeError as error:
        return _page(ProblemPage("That cannot be looked up", f"{error}.", "Check the code."), request, 422)
    headers = {"Content-Disposition": f'inline; filename="load-{text}.pdf"'}
    return Response(data, media_type="application/pdf", headers=headers)


def _day(looks: Looks, request: Request) -> Page:
    station = station_name(request.path_params["station"])
    return day_page(looks, station, request.query_params.get("date", ""))


def _station(looks: Looks, request: Request) -> Page:
    name = station_name(request.path_params["station"])
    kind, number = name.rsplit("-", 1)
    now = screen(looks.reader, name)
    cards = tuple((_CODE_OF[word], word) for word in _CARDS[kind].split())
    digits = tuple((_CODE_OF[digit], digit) for digit in "1234567890") if kind in _COUNTING else ()
    return StationPage(
        f"{kind.capitalize()} {number}", name, now["verdict"], WORDS[now["verdict"]], now["headline"], now["detail"],
        now["next"], cards, digits, {verdict: shape(verdict) for verdict in SHAPES},
        (looks.state.practice.patient_pattern or "") if kind == "theatre" else "",
    )  # fmt: skip
