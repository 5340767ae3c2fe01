"""A watched folder: each log is judged once for its load, or lies in `asked` with a line that says why; none is lost."""

import os
import signal
import subprocess
import sys
import textwrap
from datetime import UTC, timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from service.api.app import make_app
from service.api.watch import Watch
from service.custody.facts import moment
from service.demo.cycles import dated
from service.pages.routes import add_pages
from service.steam.logs.mapping import of_toml
from tests.practice import TECHNICIAN, TarnBridge, steam_load
from tests.service.steam.logs.logger import PLAIN

NUMBERED = of_toml(
    '[time]\ncolumn = 1\nform = "seconds"\n[temperature]\ncolumn = 2\n[counter]\npattern = "No ([0-9]+)"\n'
)


def start(bridge, number):
    """Start a steam load; the log of its cycle."""
    one = bridge.new_set(f"Set {number}")
    bridge.wash([one], number)
    bridge.scans("loading-1", TECHNICIAN, steam_load(number), bridge.pack(one), "DONE", "1")
    return log_of(bridge, number)


def log_of(bridge, number, minutes=0):
    at = moment(bridge.record("load", steam_load(number)).started_at) + timedelta(minutes=minutes)
    return dated(PLAIN, at.astimezone(UTC).isoformat())


@pytest.fixture
def bridge(at_work):
    """Tarn Bridge with a steriliser that pumps its air out."""
    return at_work(air_removal_daily=False).pump()


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "drop"


def watched(bridge, folder):
    return Watch(bridge.desk, folder, settled_s=0)


def names(folder, *parts):
    return sorted(path.name for path in folder.joinpath(*parts).iterdir() if path.is_file())


def why(folder):
    """The one line beside the one file that asks."""
    (note,) = (folder / "asked").glob("*.why.txt")
    told = note.read_text("utf-8")
    assert told.endswith("\n") and told.count("\n") == 1
    return told


def test_a_log_is_judged_for_its_load_by_the_service_itself_and_moved_as_it_was(bridge, folder):
    watch, log = watched(bridge, folder), start(bridge, 1)
    (folder / "cycle 1.csv").write_bytes(log)
    watch.look()
    (fact,) = bridge.facts("cycle_judged")
    assert (fact.by, fact.load, fact.data["verdict"], fact.data["basis"], fact.data["how"]) == (
        None,
        steam_load(1),
        "pass",
        "log",
        "watched folder",
    )
    assert (folder / "taken" / "cycle 1.csv").read_bytes() == log
    assert names(folder) == names(folder, "asked") == []
    with bridge.desk.ledger.reading() as reader:
        assert reader.log(steam_load(1))[2] == log


def test_a_log_goes_to_the_load_it_began_with_among_several(bridge, folder):
    watch = watched(bridge, folder)
    logs = {}
    for number in (1, 2, 3):
        logs[number] = start(bridge, number)
        bridge.wait(60)
    for number in (3, 1):
        (folder / f"{number}.csv").write_bytes(logs[number])
    watch.look()
    assert {fact.load for fact in bridge.facts("cycle_judged")} == {steam_load(1), steam_load(3)}
    assert names(folder, "taken") == ["1.csv", "3.csv"]


def test_a_log_goes_by_its_number_and_by_its_machines_folder(at_work, folder):
    bridge = at_work(logs={"L-K7-1": NUMBERED.to_json()}, air_removal_daily=False).pump()
    watch = watched(bridge, folder)
    start(bridge, 1), start(bridge, 2)
    (folder / "L-K7-1").mkdir()
    (folder / "L-K7-1" / "x.csv").write_bytes(b"# No 2\n" + PLAIN)
    watch.look()
    assert [fact.load for fact in bridge.facts("cycle_judged")] == [steam_load(2)]
    assert names(folder, "taken") == ["x.csv"]
    (folder / "L-K7-9").mkdir()
    (folder / "L-K7-9" / "y.csv").write_bytes(b"# No 1\n" + PLAIN)
    watch.look()
    assert "no steriliser L-K7-9 is registered" in why(folder)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (lambda b: b"", "the log is empty"), (lambda b: b"\x00\x01", "NUL"), (lambda b: PLAIN, "neither when it began nor its cycle's number"),
        (lambda b: log_of(b, 1, 300), "no load that waits for a log was started when it began"), (lambda b: log_of(b, 1) * 2, "stand there again"),
        (lambda b: log_of(b, 1).replace(b"temperature_c", b"temperature_f"), "are these °C?"),
    ],
)  # fmt: skip
def test_what_cannot_be_taken_lies_under_asked_with_a_line_that_says_why(bridge, folder, body, words):
    watch = watched(bridge, folder)
    start(bridge, 1)
    told = body(bridge)
    (folder / "a.csv").write_bytes(told)
    watch.look()
    assert words in why(folder)
    assert (folder / "asked" / "a.csv").read_bytes() == told
    assert (watch.asked(), bridge.facts("cycle_judged"), names(folder)) == (1, [], [])


def test_a_log_that_fits_two_loads_is_asked_about_and_names_them(bridge, folder):
    watch = watched(bridge, folder)
    start(bridge, 1), start(bridge, 2)
    (folder / "a.csv").write_bytes(log_of(bridge, 1, 1))
    watch.look()
    assert f"it fits loads {steam_load(1)} and {steam_load(2)}" in why(folder)


def test_a_file_too_large_is_refused_without_being_read(bridge, folder):
    watch = watched(bridge, folder)
    with (folder / "big.csv").open("wb") as stream:
        stream.truncate(1 << 30)
    watch.look()
    assert "the log has 1073741824 bytes" in why(folder)


def test_a_file_still_growing_hidden_or_no_file_is_left_alone(bridge, folder):
    watch, log = Watch(bridge.desk, folder, settled_s=0.3), start(bridge, 1)
    (folder / ".half.csv").write_bytes(log)
    (folder / "link.csv").symlink_to(folder / ".half.csv")
    for length in range(100, 400, 100):
        (folder / "a.csv").write_bytes(log[:length])
        watch.look()
    assert names(folder) == [".half.csv", "a.csv", "link.csv"]
    (folder / "a.csv").write_bytes(log)
    watch.look()
    assert bridge.facts("cycle_judged") == []
    import time

    time.sleep(0.4)
    watch.look()
    assert names(folder, "taken") == ["a.csv"]


def test_the_same_log_dropped_twice_is_judged_once_and_both_files_are_kept(bridge, folder):
    watch, log = watched(bridge, folder), start(bridge, 1)
    for _ in range(2):
        (folder / "a.csv").write_bytes(log)
        watch.look()
    assert len(bridge.facts("cycle_judged")) == 1
    assert len(names(folder, "taken")) == 2
    second = log.replace(b"\n", b"\r\n")
    (folder / "b.csv").write_bytes(second)
    watch.look()
    assert "no load that waits for a log" in why(folder)


def test_a_ledger_that_cannot_be_written_leaves_the_file_for_the_next_look(bridge, folder, monkeypatch):
    from service.ledger.store import LedgerUnavailable

    watch, log = watched(bridge, folder), start(bridge, 1)
    (folder / "a.csv").write_bytes(log)
    with monkeypatch.context() as patched:
        patched.setattr(bridge.desk, "act", lambda *a, **k: (_ for _ in ()).throw(LedgerUnavailable("disk full")))
        watch.look()
    assert names(folder) == ["a.csv"]
    watch.look()
    assert names(folder, "taken") == ["a.csv"]


def test_what_waits_is_a_line_on_the_board_and_a_number_of_health(bridge, folder):
    watch = watched(bridge, folder)
    client = TestClient(make_app(bridge.desk, add_pages))
    assert client.get("/health").json()["logs_asked"] == 0
    (folder / "a.csv").write_bytes(b"")
    watch.look()
    assert client.get("/health").json()["logs_asked"] == 1
    assert "A cycle log waits." in client.get("/").text


KILLED = """
    import os, signal, sys
    from pathlib import Path
    import service.api.watch as watching
    from service.ledger.sqlite import SqliteLedger
    from service.stations.desk import Desk
    from tests.practice import chosen

    def die(*_, **__):
        os.kill(os.getpid(), signal.SIGKILL)

    ledger, folder, moment = sys.argv[1:]
    desk = Desk(SqliteLedger(Path(ledger), chosen()), chosen()).start()
    watch = watching.Watch(desk, Path(folder), settled_s=0)
    if moment == "before":
        desk.act = die
    elif moment == "after":
        watch._move = die
    else:
        Path.rename = die
    watch.look()
"""


@pytest.mark.parametrize(("moment_of", "good"), [("before", True), ("after", True), ("asking", False)])
def test_a_service_killed_in_the_middle_takes_each_log_once_and_loses_none(tmp_path, folder, moment_of, good):
    bridge = TarnBridge(tmp_path)
    log = start(bridge, 1) if good else b"torn"
    bridge.close()
    folder.mkdir()
    (folder / "a.csv").write_bytes(log)
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(KILLED), str(bridge.path), str(folder), moment_of],
        cwd=Path(__file__).parents[3], env=os.environ | {"PYTHONPATH": "."}, timeout=90, check=False,
    )  # fmt: skip
    assert done.returncode == -signal.SIGKILL
    assert (folder / "a.csv").read_bytes() == log
    again = TarnBridge(tmp_path)
    watch = watched(again, folder)
    watch.look(), watch.look()
    assert len(again.facts("cycle_judged")) == good
    assert names(folder, "taken" if good else "asked") == (["a.csv"] if good else ["a.csv", "a.csv.why.txt"])
    assert names(folder) == []
    again.close()


def test_a_folder_that_cannot_be_used_is_said_at_once(bridge, tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(NotADirectoryError):
        Watch(bridge.desk, tmp_path / "file")
