"""What is printed on plain paper: the record of a load, and the sheet of a cycle."""

import hashlib

import numpy as np
import pypdfium2
import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

from service.api.app import make_app
from service.cli import foldmark
from service.demo.cycles import dated, made_cycle
from service.pages.routes import add_pages
from service.steam.programme import programme
from tests.practice import MANAGER, NURSE, TECHNICIAN, steam_load

CAUTION = {"en": "the licensed practitioner decide", "de": "es entscheiden die Vorgaben der Praxis"}
LOG = made_cycle(programme("134/3"), np.random.default_rng(4))


def words(pdf):
    """The text of each page, its lines joined."""
    return [" ".join(page.get_textpage().get_text_range().split()) for page in pypdfium2.PdfDocument(pdf)]


def went_through(bridge, client, count):
    """A load of so many packs, judged by its log and released."""
    packs = []
    for number in range(count):
        one = bridge.new_set(f"Set {number} <b>")
        bridge.wash([one], number + 1)
        packs.append(bridge.pack(one))
    load = steam_load(1)
    bridge.scans("loading-1", TECHNICIAN, load, *packs, "DONE", "1")
    bridge.scans("unloading-1", TECHNICIAN, load, "END", "PASS", *packs)
    bridge.act("place indicator", load=load, indicator="biological", lot="B-77", control_lot="B-78", due="2026-03-06")
    log = dated(LOG, bridge.record("load", load).started_at)
    query = {"id": bridge.new_id(), "by": MANAGER}
    assert client.post(f"/api/loads/{load}/cycle", params=query, content=log).json()["judgement"]["verdict"] == "pass"
    assert bridge.release(load)["verdict"] == "go"
    return load, packs, hashlib.sha256(log).hexdigest()


@pytest.fixture
def site(at_work):
    bridge = at_work(air_removal_daily=False).pump()
    return bridge, TestClient(make_app(bridge.desk, add_pages))


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_record_of_an_ordinary_load_is_one_page_that_says_what_how_and_why(site, language):
    """Load record: machine, number, date, contents, operator, readings, indicators with lots: ANSI/AAMI ST79 as taught."""
    bridge, client = site
    load, packs, sha256 = went_through(bridge, client, 12)
    answer = client.get(f"/loads/{load}/record.pdf", headers={"Cookie": f"language={language}"})
    assert answer.headers["content-type"] == "application/pdf"
    (page,) = words(answer.content)
    for part in (load, *packs, "Set 11 <b>", "Steriliser 1", "134/3", TECHNICIAN, NURSE, "B-77", "B-78", "EN 285", "Central Sterilising Club",
                 CAUTION[language], sha256, {"en": "RELEASED", "de": "FREIGEGEBEN"}[language]):  # fmt: skip
        assert part in page, part


def test_a_load_without_a_log_says_so_and_a_large_one_goes_on_overleaf(site):
    bridge, client = site
    _, load = bridge.ready()
    (page,) = words(client.get(f"/loads/{load}/record.pdf").content)
    assert "No cycle log is kept with this load." in page
    assert client.get(f"/loads/{steam_load(99)}/record.pdf").status_code == 404
    assert client.get("/loads/x/record.pdf").status_code == 422


def test_forty_packs_go_on_overleaf_and_none_is_lost(site):
    bridge, client = site
    load, packs, _ = went_through(bridge, client, 40)
    pages = words(client.get(f"/loads/{load}/record.pdf").content)
    assert len(pages) == 2
    assert all(any(pack in page for page in pages) for pack in packs)


@pytest.mark.parametrize(("do", "says"), [("hold", "ON HOLD: door leaks"), ("reject", "REJECTED: door leaks")])
def test_a_load_held_or_rejected_says_so_first(site, do, says):
    bridge, client = site
    _, load = bridge.ready()
    bridge.act(do, load=load, why="door leaks")
    assert says in words(client.get(f"/loads/{load}/record.pdf").content)[0]


def test_the_sheet_of_a_cycle_needs_no_ledger_and_is_one_page(tmp_path):
    log, sheet = tmp_path / "log.csv", tmp_path / "sheet.pdf"
    log.write_bytes(LOG)
    done = CliRunner().invoke(foldmark, ["cycle", str(log), "--programme", "134/3", "--pdf", str(sheet)])
    assert done.exit_code == 0
    (page,) = words(sheet.read_bytes())
    for part in ("Verdict: pass", "134/3", "saturated steam", "a calculated F0 is not a validation", CAUTION["en"]):
        assert part in page, part
    assert hashlib.sha256(LOG).hexdigest() in page
