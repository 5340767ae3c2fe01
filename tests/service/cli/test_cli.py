"""Commands: right use and wrong, one line an error, the right exit status, nothing half-written."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pypdfium2
import pytest
from PIL import Image

from label_templates import codes, proof
from scanner.outbox import new_id
from service.settings import SettingsError, load
from tests.command import foldmark as run
from tests.entry import let_in
from tests.practice import MANAGER, NURSE, TarnBridge, patient, steam_load, wash_load
from tests.published import outside

FOLDMARK = [sys.executable, "-m", "service.cli"]


@pytest.fixture
def ledger(tmp_path):
    bridge = TarnBridge(tmp_path)
    pack, load_code = bridge.ready()
    bridge.scans("theatre-1", NURSE, patient(812), pack, "TURNED", "=10", "=10", "DONE")
    bridge.close()
    return bridge.path, pack, load_code


def test_help_lists_every_command_with_examples():
    done = run("--help")
    assert done.returncode == 0
    for command in (
        "demo",
        "init",
        "serve",
        "doctor",
        "scan",
        "label",
        "custody",
        "recall",
        "board",
        "cycle",
        "verify",
        "export",
        "checkpoint",
        "proof",
        "key",
        "names",
        "forget",
        "copy",
        "backup",
        "restore",
        "migrate",
    ):
        assert command in done.stdout
        assert "Examples:" in run(command, "--help").stdout, command


def test_init_makes_a_ledger_with_its_first_fact_and_verify_confirms_it(tmp_path):
    done = run("--ledger", "k7.db", "init", "--site", "K7", "--name", "Tarn Bridge", cwd=tmp_path)
    assert (done.returncode, done.stdout.splitlines()[0]) == (0, "k7.db: a new ledger for site K7.")
    assert (tmp_path / "k7-K7.key").stat().st_mode & 0o777 == 0o600
    assert run("--ledger", "k7.db", "verify", cwd=tmp_path).stdout.startswith("2 facts in an unbroken chain (K7 ")
    assert run("--ledger", "k7.db", "init", "--site", "K7", "--name", "x", cwd=tmp_path).returncode == 2
    wrong = run("--ledger", "other.db", "init", "--site", "Kay", "--name", "x", cwd=tmp_path)
    assert (wrong.returncode, (tmp_path / "other.db").exists()) == (2, False)


def test_verify_exits_1_naming_the_first_bad_fact_after_one_byte_is_changed_by_hand(ledger):
    path, _, _ = ledger
    assert run("--ledger", str(path), "verify").returncode == 0
    whole = path.read_bytes()
    place = whole.index(b"cycle_judged")
    path.write_bytes(whole[:place] + b"k" + whole[place + 1 :])
    done = run("--ledger", str(path), "verify")
    assert done.returncode == 1
    assert "fact 20" in done.stderr
    told = json.loads(run("--ledger", str(path), "verify", "--json").stdout)
    assert (told["ok"], told["facts"]) == (False, 19)


def test_export_writes_facts_an_outside_program_confirms_and_recall_equals_what_they_give(ledger, tmp_path):
    path, _, _ = ledger
    facts = [json.loads(line) for line in run("--ledger", str(path), "export").stdout.splitlines()]
    outside.check_chain(facts)
    for code, reaches in outside.recalls(facts).items():
        for reach, expected in reaches.items():
            told = json.loads(run("--ledger", str(path), "recall", code, "--reach", reach, "--json").stdout)
            assert [row["pack"] for row in told["packs"]] == expected["packs"]
            assert told["patients"] == expected["patients"]
    out = tmp_path / "facts.jsonl"
    assert run("--ledger", str(path), "export", "-o", str(out), "--after", "3").returncode == 0
    assert len(out.read_text().splitlines()) == len(facts) - 3


def test_custody_prints_the_steps_and_json(ledger):
    path, pack, _ = ledger
    done = run("--ledger", str(path), "custody", pack)
    assert done.returncode == 0
    assert "No gap in the record." in done.stdout
    told = json.loads(run("--ledger", str(path), "custody", pack, "--json").stdout)
    assert list(told) == ["pack", "set", "state", "flags", "patients", "facts", "gaps"]
    kinds = [fact["kind"] for fact in told["facts"]]
    wanted = ["received", "wash_loaded", "packed", "loaded", "cycle_judged", "released", "opened"]
    assert [kind for kind in kinds if kind in wanted] == wanted


def test_recall_prints_a_list_and_writes_it_as_pdf(ledger, tmp_path):
    path, pack, load_code = ledger
    done = run("--ledger", str(path), "recall", load_code, "--pdf", str(tmp_path / "r.pdf"))
    assert (done.returncode, pack in done.stdout, patient(812) in done.stdout) == (0, True, True)
    words = pypdfium2.PdfDocument(str(tmp_path / "r.pdf"))[0].get_textpage().get_text_range()
    assert pack in words
    assert "never takes a pack off this list" in " ".join(words.split())
    assert "licensed practitioner" in " ".join(words.split())


def test_board_says_where_every_set_is(ledger):
    path, pack, _ = ledger
    assert "opened 1" in run("--ledger", str(path), "board").stdout
    told = json.loads(run("--ledger", str(path), "board", "--json").stdout)
    assert told["sets"][0]["pack"] == pack


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["custody", "NONSENSE"], "no kind of code begins with"), (["custody", "P-K7-0001-0001-A"], "check character"),
        (["custody", "S-K7-0001-H"], "a pack code is needed"), (["custody", "P-K7-0042-0017-R"], "no pack was ever begun"),
        (["recall", "L-K7-1-0331-K"], "never began"), (["recall", wash_load(1), "--reach", "since"], "for steam loads"),
        (["recall", "x", "--reach", "sideways"], "Invalid value"), (["frobnicate"], "No such command"), (["export", "-o", "/nope/x"], "cannot be written"),
        (["label", "slips", "L-K7-1-0331-K", "-o", "x.pdf"], "was not started"), (["label", "sets", "S-K7-0042-*", "--from-ledger", "-o", "x.png"], "no set is registered"),
    ],
)  # fmt: skip
def test_wrong_use_is_one_line_and_status_2(ledger, tmp_path, arguments, words):
    path, _, _ = ledger
    done = run("--ledger", str(path), *arguments, cwd=tmp_path)
    assert done.returncode == 2, done
    assert words in done.stderr
    assert not list(tmp_path.glob("x.*"))


@pytest.mark.parametrize(
    "command", [["verify"], ["export"], ["custody", "P-K7-0042-0017-R"], ["board"], ["serve", "--port", "0"]]
)
@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda p: None, "there is no ledger"), (lambda p: p.write_bytes(os.urandom(5000)), "cannot be read as a ledger"),
        (lambda p: p.write_bytes(b""), "not a Foldmark ledger"), (lambda p: p.mkdir(), "cannot be read"),
    ],
)  # fmt: skip
def test_a_ledger_that_cannot_be_used_is_one_line_and_status_2(tmp_path, command, make, words):
    make(tmp_path / "l.db")
    done = run("--ledger", str(tmp_path / "l.db"), *command)
    assert (done.returncode, words in done.stderr) == (2, True), done
    assert len(done.stderr.strip().splitlines()) == 1


def test_a_ledger_torn_in_the_middle_does_not_verify_and_does_not_crash(ledger):
    path, _, _ = ledger
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    assert run("--ledger", str(path), "verify").returncode in {1, 2}
    assert run("--ledger", str(path), "export").returncode in {0, 2}


def test_a_ledger_of_a_newer_version_is_refused(ledger):
    path, _, _ = ledger
    db = sqlite3.connect(path)
    db.execute("PRAGMA user_version = 99")
    db.close()
    done = run("--ledger", str(path), "board")
    assert (done.returncode, "update Foldmark" in done.stderr) == (2, True)


def test_another_kind_of_store_is_refused_by_name(tmp_path):
    assert "postgresql://" in run("--ledger", "postgresql://localhost/x", "board").stderr


def test_cycle_judges_a_log_with_no_ledger(tmp_path):
    log = tmp_path / "c.csv"
    log.write_text("seconds,temperature_c\n" + "".join(f"{t},134.5\n" for t in range(0, 201, 20)))
    done = run("cycle", str(log), "--programme", "134/3", "--svg", str(tmp_path / "c.svg"))
    assert (done.returncode, done.stdout[:4]) == (0, "PASS")
    assert (tmp_path / "c.svg").read_text().startswith("<svg")
    assert json.loads(run("cycle", str(log), "--programme", "134/3", "--json").stdout)["hold_s"] == 200
    too_hot = json.loads(run("cycle", str(log), "--programme", "121/15", "--json").stdout)
    assert (too_hot["hold_s"], [one["name"] for one in too_hot["criteria"] if one["ok"] is False]) == (
        0,
        ["hold", "band"],
    )
    assert run("cycle", str(log), "--programme", "121/15").returncode == 1
    assert run("cycle", str(log), "--programme", "1/1").returncode == 2
    assert run("cycle", str(tmp_path / "none.csv"), "--programme", "134/3").returncode == 2
    log.write_text("seconds,temperature_c\n0,x\n")
    assert "c.csv: " in run("cycle", str(log), "--programme", "134/3").stderr


def start(path, *arguments, env=None):
    running = subprocess.Popen([*FOLDMARK, "--ledger", str(path), "serve", *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                               text=True, env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[3])} | (env or {}))  # fmt: skip
    return running, running.stdout.readline().split("http://")[-1].split()[0]


@pytest.mark.parametrize("signal_", [signal.SIGTERM, signal.SIGINT])
def test_serve_answers_and_ends_cleanly_with_a_screen_open(ledger, signal_):
    path, _, _ = ledger
    let = let_in(path)
    running, address = start(path, "--port", "0")
    try:
        with httpx.stream("GET", f"http://{address}/api/stations/wash-1/events", timeout=10, headers=let) as events:
            next(events.iter_lines())
            assert httpx.get(f"http://{address}/health").json()["status"] == "ok"
            running.send_signal(signal_)
            began = time.monotonic()
            running.wait(15)
        assert time.monotonic() - began < 8
        assert "Traceback" not in running.stderr.read()
        assert [p.name for p in path.parent.iterdir()] == ["practice.db"]
    finally:
        running.kill()


def test_a_port_in_use_is_one_line_and_status_2(ledger):
    path, _, _ = ledger
    running, address = start(path, "--port", "0")
    try:
        done = run("--ledger", str(path), "serve", "--port", address.rsplit(":", 1)[1])
        assert (done.returncode, "is in use" in done.stderr) == (2, True)
    finally:
        running.terminate()
        running.wait(10)


def test_serve_prints_each_packs_label_once_it_is_packed(tmp_path):
    bridge = TarnBridge(tmp_path)
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack_of(one)
    bridge.act("register machine", machine="L-K7-1", kind="steriliser", removal="gravity", programmes=["121/30"])
    bridge.close()
    let = let_in(bridge.path)
    running, address = start(bridge.path, "--port", "0", "--labels-to", str(tmp_path / "labels"))
    try:
        with httpx.Client(base_url=f"http://{address}", headers=let) as http:
            for code in ("B-K7-003-J", one, "K-YES-J", "=16", "=24-117", "K-DONE-P"):
                text = codes.card_code(code.split("-")[1]).text if code.startswith("K-") else code
                http.post("/api/scans", json={"id": new_id(), "station": "packing-1", "code": text}).raise_for_status()
        picture = tmp_path / "labels" / f"{pack}.png"
        for _ in range(50):
            if picture.exists():
                break
            time.sleep(0.1)
        assert picture.exists()
        time.sleep(0.3)
        with httpx.Client(base_url=f"http://{address}", headers=let) as http:
            told = [(pack, "packing-1"), ("B-K7-003-J", "loading-1"), (steam_load(1), "loading-1"), (pack, "loading-1"),
                    (codes.card_code("DONE").text, "loading-1")]  # fmt: skip
            for text, station in told:
                http.post("/api/scans", json={"id": new_id(), "station": station, "code": text}).raise_for_status()
        slip = tmp_path / "labels" / f"{pack}-slip.png"
        for _ in range(50):
            if slip.exists():
                break
            time.sleep(0.1)
        assert proof.read(Image.open(slip)) == [steam_load(1)]
    finally:
        running.terminate()
        running.wait(10)
    facts = [json.loads(line) for line in run("--ledger", str(bridge.path), "export").stdout.splitlines()]
    printed = next(f for f in facts if f["kind"] == "label_printed")
    assert (printed["pack"], printed["data"]["copy"], printed["by"]) == (pack, 1, None)
    assert facts.index(printed) > next(i for i, f in enumerate(facts) if f["kind"] == "packed")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[service]\nhots = 1", "nobody knows service.hots"), ("[kitchen]\n", "nobody knows [kitchen]"), ("[practice]\ncooling = 5", "nobody knows practice.cooling"),
        ("[practice]\ncooling_minutes = 'long'", "cooling_minutes is 'long'"), ("[practice]\ntz = 'Mars/North'", "is not a time zone"), ("not toml", "is not TOML"),
        ("[service]\nport = 'x'", "whole number"), ("[service]\nport = true", "int is needed"), ("[shelf_life.double]\ndays = 3", "needs days"),
        ("[shelf_life.sack]\ndays = 3\nsource = 's'", "shelf_life.sack"), ("[service]\nscans_a_second = -1", "a number from 0"),
        ("[service]\ntrusted_proxies = ['everywhere']", "a list of addresses"), ("[service]\ntrusted_proxies = 7", "a list of addresses"),
    ],
)  # fmt: skip
def test_a_setting_nobody_knows_or_of_the_wrong_kind_is_an_error_that_names_it(tmp_path, text, words):
    path = tmp_path / "f.toml"
    path.write_text(text)
    with pytest.raises(SettingsError) as caught:
        load(path, {})
    assert words in str(caught.value)


def test_settings_come_from_the_file_then_the_environment_then_options(ledger, tmp_path):
    path, _, _ = ledger
    file = tmp_path / "f.toml"
    file.write_text('[service]\nport = 8123\nledger = "a.db"\n[practice]\ncooling_minutes = 5\nquarantine_shelves = ["H-K7-009-U"]\n'
                    '[shelf_life.double]\ndays = 14\nsource = "a source"\n')  # fmt: skip
    found = load(file, {"FOLDMARK_PORT": "8200"})
    assert (found.port, found.ledger, found.practice.cooling_minutes) == (8200, "a.db", 5)
    assert found.practice.shelf_lives["double"].days == 14
    assert load(None, {"FOLDMARK_SETTINGS": str(file)}).port == 8123
    assert load(None, {"FOLDMARK_TRUSTED_PROXIES": "127.0.0.1, 10.0.0.0/24"}).trusted_proxies == (
        "127.0.0.1/32",
        "10.0.0.0/24",
    )
    with pytest.raises(SettingsError, match="FOLDMARK_PORT"):
        load(None, {"FOLDMARK_PORT": "x"})
    with pytest.raises(SettingsError, match="cannot be read"):
        load(tmp_path / "none.toml", {})
    assert run("--settings", str(file), "board").returncode == 2
    assert run("--settings", str(file), "--ledger", str(path), "board").returncode == 0
    assert run("board", env={"FOLDMARK_LEDGER": str(path)}).returncode == 0


def test_labels_from_the_ledger(ledger, tmp_path):
    path, pack, load_code = ledger
    for arguments in (["packs", pack, "--from-ledger"], ["sets", "--from-ledger"], ["slips", load_code]):
        done = run("--ledger", str(path), "label", *arguments, "-o", str(tmp_path / "l.pdf"), "--json")
        assert done.returncode == 0, done.stderr
        assert json.loads(done.stdout)["labels"]
    words = pypdfium2.PdfDocument(str(tmp_path / "l.pdf"))[0].get_textpage().get_text_range()
    assert "Use by" in words and load_code in words


def test_doctor_says_what_is_here_and_whether_that_is_enough(ledger, tmp_path):
    path, _, _ = ledger
    done = run("--ledger", str(path), "doctor")
    assert "signing key" in done.stdout
    assert (done.returncode, "can be written" in done.stdout) == (0, True)
    missing = run("--ledger", str(tmp_path / "none.db"), "doctor", "--json")
    told = json.loads(missing.stdout)
    assert (missing.returncode, told["ok"]) == (1, False)
    assert next(f for f in told["findings"] if f["what"] == "ledger")["says"].startswith("there is no ledger")


def test_steam_load_codes_are_as_expected():
    assert steam_load(331) == "L-K7-1-0331-K"


def test_a_lost_pin_is_chosen_anew_by_a_link_from_the_machine_of_the_ledger(tmp_path):
    from service.access.doors import Doors
    from tests.entry import PIN, QUICK

    bridge = TarnBridge(tmp_path)
    bridge.close()
    made = run("--ledger", bridge.path, "link", MANAGER, "--json")
    assert made.returncode == 0, made.stderr
    path = json.loads(made.stdout)["path"]
    bridge = TarnBridge(tmp_path)
    assert Doors(bridge.desk, QUICK).choose_pin(path.removeprefix("/start#"), PIN, "") == MANAGER
    bridge.close()
    for badge, status, words in (
        ("B-K7-077-0", 2, "a badge looks like"),
        (codes.badge_code("K7", 77).text, 1, "nobody works here"),
    ):
        refused = run("--ledger", bridge.path, "link", badge)
        assert refused.returncode == status
        assert words in refused.stderr
        assert len(refused.stderr.splitlines()) == 1
