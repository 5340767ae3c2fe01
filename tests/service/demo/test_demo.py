"""The demo as its judge will run it: the command, its files, and an outside look at them."""

import csv
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
import zxingcpp
from stdnum.iso7064 import mod_37_2

from scanner.decode import read
from scanner.frames import open_source
from scanner.steady import Steady
from service.custody.practice import Practice
from service.demo import tarn_bridge as tb
from service.demo.stage import choices
from service.demo.tarn_bridge import PATIENTS, SETS
from service.demo.weeks import filmed, write
from service.ledger.opening import open_at
from service.pages.indicators import indicators_page
from service.pages.load import load_page
from service.pages.looks import Looks
from service.pages.machines import Asked, machine_page
from service.pages.render import render
from tests.command import foldmark
from tests.published import outside

ROOT = Path(__file__).resolve().parents[3]
FORMATS = (zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128)


def demo(*arguments):
    """In a process of its own, as people start it."""
    return subprocess.run([sys.executable, "-m", "service.cli", "demo", *arguments], capture_output=True, text=True, check=False,
                          env=os.environ | {"PYTHONPATH": str(ROOT)}, timeout=600)  # fmt: skip


@pytest.fixture(scope="module")
def out(played, tmp_path_factory):
    folder, said = played
    mine = shutil.copytree(folder, tmp_path_factory.mktemp("demo") / "T")
    mine.joinpath("said.txt").write_text(said)
    return mine


@pytest.fixture(scope="module")
def facts(out):
    return [json.loads(line) for line in foldmark("--ledger", str(out / "practice.db"), "export").stdout.splitlines()]


def test_the_demo_leaves_all_its_files_and_says_what_it_showed(out):
    for name in (
        "practice.db",
        "labels.pdf",
        "shown.csv",
        "recall.json",
        "recall.pdf",
        "custody.json",
        "cycle.svg",
        "summary.json",
    ):
        assert (out / name).stat().st_size > 0, name
    assert list(out.glob("day*.avi"))
    said = (out / "said.txt").read_text()
    summary = json.loads((out / "summary.json").read_text())
    assert f"{summary['filmed']['shown']} labels shown, {summary['filmed']['scans']} scans arrived" in said
    assert summary["filmed"]["shown"] == summary["filmed"]["scans"] == summary["filmed"]["answered"] >= 60
    assert len(SETS) >= 14
    assert summary["packs"] >= 70
    assert summary["goods_loads"] >= 12


def test_every_set_and_pack_shown_has_its_fact_from_its_station_in_order_and_no_other_is_there(out, facts):
    with (out / "shown.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["frame", "station", "code"]
    day = [f for f in facts if f["at"].startswith("2026-03-18")]
    for station in {row["station"] for row in rows}:
        shown = [row["code"] for row in rows if row["station"] == station and row["code"][0] in "SP"]
        mine = [f for f in day if f["station"] == station]
        place = 0
        for code in shown:
            while code not in (mine[place]["pack"], mine[place]["set"], mine[place]["data"].get("code")):
                place += 1
        for fact in mine:
            if fact["set"] or fact["pack"]:
                assert {fact["set"], fact["pack"]} & set(shown), fact
        frames = [int(row["frame"]) for row in rows if row["station"] == station]
        assert frames == sorted(set(frames))


def test_another_reading_of_a_video_sees_the_same_labels(out):
    with (out / "shown.csv").open(newline="") as file:
        expected = [row["code"] for row in csv.DictReader(file) if row["station"] == "wash-1"]
    steady, seen = Steady(), []
    for frame in open_source(str(out / "day-wash-1.avi")):
        grey = cv2.cvtColor(frame.image, cv2.COLOR_BGR2GRAY)
        seen += [outcome.code for outcome in steady.feed(frame.at_s, grey, read(grey, 0))]
    assert seen == expected


def test_an_outside_program_confirms_the_chain_and_every_recall(out, facts):
    outside.check_chain(facts)
    for code, reaches in outside.recalls(facts).items():
        for reach, expected in reaches.items():
            if code[0] == "W" and reach == "since":
                continue
            told = json.loads(
                foldmark("--ledger", str(out / "practice.db"), "recall", code, "--reach", reach, "--json").stdout
            )
            assert [row["pack"] for row in told["packs"]] == expected["packs"], (code, reach)
            assert told["patients"] == expected["patients"], (code, reach)


def test_verify_says_yes_and_after_one_byte_by_hand_names_the_first_bad_fact(out, facts, tmp_path):
    assert foldmark("--ledger", str(out / "practice.db"), "verify").returncode == 0
    copy = tmp_path / "copy.db"
    whole = (out / "practice.db").read_bytes()
    for fact in (facts[0], facts[400], facts[-1]):
        place = whole.index((fact["prev"] + fact["hash"]).encode())
        copy.write_bytes(whole[:place] + b"z" + whole[place + 1 :])
        done = foldmark("--ledger", str(copy), "verify")
        assert (done.returncode, f"fact {fact['seq']} " in done.stderr) == (1, True), done.stderr


def test_every_symbol_on_the_labels_decodes_in_a_stock_decoder_to_the_code_beside_it(out):
    seen = 0
    for page in pypdfium2.PdfDocument(str(out / "labels.pdf")):
        image = np.asarray(page.render(scale=203.2 / 72).to_pil().convert("L"))
        printed = page.get_textpage().get_text_range()
        for found in zxingcpp.read_barcodes(image, formats=FORMATS):
            assert found.text in printed
            assert mod_37_2.is_valid(found.text.replace("-", ""))
            seen += 1
    assert seen >= len(SETS) * 2 + len(PATIENTS) + 26


def test_the_opened_packs_custody_shows_every_step_and_no_gap(out):
    custody = json.loads((out / "custody.json").read_text())
    kinds = [fact["kind"] for fact in custody["facts"]]
    for kind in ("received", "wash_loaded", "packed", "loaded", "cycle_judged", "unloaded", "released", "opened"):
        assert kind in kinds
    assert custody["gaps"] == []
    assert custody["state"] == "opened"
    assert set(custody["flags"]) == {"held", "recalled"}
    recall = json.loads((out / "recall.json").read_text())
    assert custody["pack"] in [row["pack"] for row in recall["packs"]]
    assert custody["patients"][0] in recall["patients"]


def test_there_is_ordinary_life_in_the_three_weeks(facts):
    of = lambda kind: [f for f in facts if f["kind"] == kind]
    assert any(f["data"]["why"] == "wet" for f in of("compromised"))
    assert any(f["data"]["short"] for f in of("packed"))
    rules = {f["data"]["rule"] for f in of("refused")}
    assert {"expired", "wrong_kind", "not_released", "implant_waits"} <= rules
    assert of("returned")
    assert any(f["data"]["result"] == "pale" for f in of("indicator_read"))
    positive = next(f for f in of("indicator_read") if f["data"]["result"] == "positive")
    opened = [f for f in of("opened") if f["at"] < positive["at"]]
    dental = [
        f
        for f in opened
        if any(g["kind"] == "loaded" and g["pack"] == f["pack"] and g["load"] == positive["load"] for g in facts)
    ]
    assert dental
    load_day = next(f["at"][:10] for f in of("cycle_started") if f["load"] == positive["load"])
    assert (load_day, positive["at"][:10]) == ("2026-03-17", "2026-03-19")
    packed = {f["pack"]: f["data"]["implant"] for f in of("packed")}
    assert not any(packed[f["pack"]] for f in of("loaded") if f["load"] == positive["load"])
    assert any(f["data"]["enter"] == "clean" for f in of("received"))
    assert of("recall_opened") and of("recalled") and of("accounted")


def test_a_day_of_steam_loads_shows_what_can_go_wrong_and_what_the_rules_refuse(out, facts):
    """Each in the ledger, and each on its page."""
    notable = json.loads((out / "summary.json").read_text())["notable"]
    day = [f for f in facts if f["at"][:10] == "2026-03-20"]
    read = {f["load"]: f["data"] for f in day if f["kind"] == "indicator_read" and f["data"]["indicator"] != "tape"}
    assert (read[notable["failed_test"]]["indicator"], read[notable["failed_test"]]["result"]) == (
        "air removal",
        "fail",
    )
    assert (read[notable["void"]]["result"], read[notable["void"]]["control"]) == ("void", "no growth")
    assert notable["pending"] not in read
    assert [f["data"]["rule"] for f in day if f["kind"] == "refused"] == ["not_proven", "biological_positive"]
    stopped = [f["data"]["why"] for f in facts if f["kind"] == "machine_stopped"]
    assert [why.split()[1] for why in stopped] == ["biological", "was", "air"]
    with closing(open_at(str(out / "practice.db"), choices(Practice()))) as ledger, ledger.reading() as reader:
        looks = Looks(reader, "2026-03-20T11:00:00.000Z")
        waits = indicators_page(looks)
        assert notable["pending"] in [one.load for one in waits.waiting]
        assert (notable["void"], "void") in [(code, result) for code, _, _, result, _ in waits.read]
        assert (notable["failed_test"], "fail") in [(code, result) for code, _, _, result, _ in waits.read]
        drifts = machine_page(looks, reader.state.machine(tb.STERILISER), Asked(programme="134/3"))
        assert "heating time" in render(drifts)
        assert "drifts" in render(drifts)
        against = render(load_page(looks, reader.state.load(notable["bad_load"])))
        assert "Something lived through the cycle" in against


def test_people_and_animals_never_stand_in_a_fact(out, facts):
    text = json.dumps(facts, ensure_ascii=False)
    db = sqlite3.connect(out / "practice.db")
    names = [row[0] for row in db.execute("SELECT name FROM name")]
    db.close()
    assert len(names) > 30
    assert not [name for name in names if f'"{name}"' in text or name.split()[-1] + '"' in text]


def test_the_diary_is_the_same_every_time():
    assert write().steps == write().steps
    assert len(filmed(write())) >= 60


def test_a_demo_that_cannot_write_says_so_in_one_line(tmp_path):
    (tmp_path / "file").write_text("mine")
    done = demo("--once", "--out", str(tmp_path / "file" / "T"))
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert (tmp_path / "file").read_text() == "mine"
