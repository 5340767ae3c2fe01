"""A log belongs to one load: by its start, by its number, or because somebody says why."""

import hashlib

import pytest
from starlette.testclient import TestClient

from service.api.app import make_app
from service.custody.facts import moment
from service.demo.cycles import dated
from service.pages.routes import add_pages
from service.steam.logs.mapping import of_toml
from tests.practice import MANAGER, TECHNICIAN, steam_load
from tests.service.steam.logs.logger import PLAIN

NUMBERED = of_toml(
    '[time]\ncolumn = 1\nform = "seconds"\n[temperature]\ncolumn = 2\n[counter]\npattern = "No ([0-9]+)"\n'
)
TYPED = of_toml('separator = "space"\n[time]\ncolumn = 1\nform = "minutes"\n[temperature]\ncolumn = 2\n')
READINGS = b"0 min 20\n10 min 134.5\n11 min 134.6\n12 min 134.6\n13 min 134.5\n14 min 134.6\n15 min 100\n"


class Office:
    """The office over HTTP, with steam loads that were started and not judged."""

    def __init__(self, bridge):
        self.bridge = bridge
        self.client = TestClient(make_app(bridge.desk), raise_server_exceptions=False)

    def started(self, number):
        one = self.bridge.new_set(f"Set {number}")
        self.bridge.wash([one], number)
        load = steam_load(number)
        self.bridge.scans("loading-1", TECHNICIAN, load, self.bridge.pack(one), "DONE", "1")
        return load

    def log(self, load, minutes=0):
        """The log of a cycle that began so many minutes after the load was started."""
        at = moment(self.bridge.record("load", load).started_at).timestamp() + minutes * 60
        from datetime import UTC, datetime

        return dated(PLAIN, datetime.fromtimestamp(at, UTC).isoformat())

    def judge(self, load, body, **query):
        self.bridge.written.take_body(query)
        told = {"id": self.bridge.new_id(), "by": MANAGER} | query
        answer = self.client.post(f"/api/loads/{load}/cycle", params=told, content=body)
        if answer.status_code == 200:
            self.bridge.written.check(answer.json())
        return answer.json()

    def judged(self):
        return self.bridge.facts("cycle_judged")[-1].data


@pytest.fixture
def office(at_work):
    return Office(
        at_work(
            logs={"L-K7-2": NUMBERED.to_json()}, readings={"L-K7-1": TYPED.to_json()}, air_removal_daily=False
        ).pump()
    )


@pytest.mark.parametrize("minutes", [0, 29, -29])
def test_a_log_that_began_with_its_load_is_judged_and_the_record_says_how_it_was_read(office, minutes):
    load = office.started(1)
    log = office.log(load, minutes)
    assert office.judge(load, log)["verdict"] == "go"
    told = office.judged()
    assert (told["basis"], told["verdict"]) == ("log", "pass")
    assert told["log_sha256"] == hashlib.sha256(log).hexdigest()
    assert told["log_began"][:10] == "2026-03-04" and '"form": "clock"' in told["mapping"]
    with office.bridge.desk.ledger.reading() as reader:
        assert reader.log(load)[2] == log


@pytest.mark.parametrize("minutes", [31, -31, 600])
def test_a_log_that_began_at_another_time_is_asked_about_and_taken_with_a_reason(office, minutes):
    load = office.started(1)
    log = office.log(load, minutes)
    answer = office.judge(load, log)
    assert (answer["verdict"], answer["rule"]) == ("ask", "log_elsewhere")
    assert office.bridge.record("load", load).verdict is None
    assert office.judge(load, log, why="the logger's clock was wrong")["verdict"] == "go"
    assert office.judged()["why"] == "the logger's clock was wrong"


def test_the_sites_limit_says_how_far_apart_they_may_lie(at_work):
    office = Office(at_work(log_minutes=120, air_removal_daily=False).pump())
    load = office.started(1)
    assert office.judge(load, office.log(load, 119))["verdict"] == "go"


def test_a_log_that_does_not_say_when_it_began_is_asked_about(office):
    load = office.started(1)
    assert office.judge(load, PLAIN)["rule"] == "log_undated"
    assert office.judge(load, PLAIN, why="the only one of the day")["verdict"] == "go"


def test_a_log_that_bears_the_loads_number_is_its_own_and_one_of_another_number_is_asked_about(at_work):
    office = Office(at_work(logs={"L-K7-1": NUMBERED.to_json()}, air_removal_daily=False).pump())
    load = office.started(331)
    assert office.judge(load, b"# No 330\n" + PLAIN)["rule"] == "log_undated"
    assert office.judge(load, b"# No 331\n" + PLAIN)["verdict"] == "go"
    assert office.judged()["log_counter"] == 331


def test_a_log_that_was_judged_for_another_load_is_refused_whatever_the_reason(office):
    first, second = office.started(1), office.started(2)
    log = office.log(first)
    assert office.judge(first, log)["verdict"] == "go"
    answer = office.judge(second, log, why="it is this one's")
    assert (answer["verdict"], answer["rule"]) == ("stop", "log_used")
    assert first in answer["detail"]
    assert office.judge(first, log)["verdict"] == "go", "the same load may be judged again"


def test_readings_that_a_person_wrote_down_are_judged_by_the_same_code_and_said_to_be_readings(office):
    load = office.started(1)
    answer = office.judge(load, READINGS, basis="readings", why="no logger")
    assert (answer["verdict"], answer["judgement"]["hold_s"], answer["judgement"]["verdict"]) == ("go", 240, "pass")
    assert office.judged()["basis"] == office.bridge.record("load", load).basis == "readings"


@pytest.mark.parametrize(
    ("told", "verdict"),
    [
        ((180, 134.0, 136.9), "pass"), ((179, 134.5, 135.5), "fail"), ((240, 133.9, 135.5), "fail"), ((240, 134.5, 137.1), "fail"),
    ],
)  # fmt: skip
def test_a_printout_is_judged_by_what_a_person_read_off_it(office, told, verdict):
    load = office.started(1)
    body = dict(zip(("hold_s", "lowest_c", "highest_c"), told, strict=True)) | {
        "id": office.bridge.new_id(),
        "by": MANAGER,
    }
    answer = office.client.post(f"/api/loads/{load}/cycle/printout", json=body).json()
    assert (answer["verdict"], answer["judgement"]["verdict"]) == ("go", verdict)
    kept = office.judged()
    assert (kept["basis"], kept["log_sha256"], kept["verdict"]) == ("printout", None, verdict)
    assert (kept["lowest_c_hundredths"], kept["hold_s"]) == (round(told[1] * 100), told[0])
    body = {"id": office.bridge.new_id(), "hold_s": 240, "lowest_c": 136, "highest_c": 135}
    assert office.client.post(f"/api/loads/{load}/cycle/printout", json=body).json()["field"] == "lowest_c"


def test_a_log_that_looks_like_another_unit_is_not_judged(office):
    load = office.started(1)
    answer = office.judge(load, PLAIN.replace(b"temperature_c", b"temperature_f"), why="x")
    assert (answer["status"], "are these °C?" in answer["detail"]) == (422, True)
    assert office.bridge.record("load", load).verdict is None


def test_a_load_is_judged_in_the_sites_band_and_by_how_its_machine_removes_air(at_work):
    """134/3 needs the air pumped out; 137.5 °C is within the small steriliser's band of 4 K and above that of 3 K."""
    hot = b"seconds,temperature_c\n" + b"".join(b"%d,137.5\n" % at for at in range(0, 220, 20))
    for band, removal, verdict in (
        ("", "active", "fail"),
        ("small", "active", "pass"),
        ("small", "gravity", "cannot judge"),
    ):
        office = Office(at_work(band=band, air_removal_daily=False))
        office.bridge.act("register machine", machine="L-K7-1", kind="steriliser", removal=removal, name="Steriliser 1")
        load = office.started(1)
        told = office.judge(load, hot, why="no clock in this logger")
        assert told["judgement"]["verdict"] == verdict
        assert office.judged()["verdict"] == verdict
        assert office.judged()["band"] == band
        assert "<svg" in TestClient(make_app(office.bridge.desk, add_pages)).get(f"/loads/{load}").text


@pytest.mark.parametrize("line", ["{minute} min {celsius}", "{minute} {celsius}", "09:{minute:02d} {celsius}"])
def test_what_somebody_typed_needs_no_mapping(at_work, line):
    """A time and °C a line, as they are read from a gauge and a clock."""
    office = Office(at_work(air_removal_daily=False).pump())
    load = office.started(1)
    told = ((0, 20), (10, 134.5), (11, 134.6), (12, 134.6), (13, 134.5), (14, 134.6), (20, 100))
    body = "\n".join(line.format(minute=minute, celsius=celsius) for minute, celsius in told)
    answer = office.judge(load, body.encode(), basis="readings", why="gauge and clock")
    assert (answer["judgement"]["verdict"], answer["judgement"]["hold_s"]) == ("pass", 240)
    assert office.judged()["basis"] == "readings"


def test_readings_sent_as_a_csv_that_explains_itself_are_read_too(at_work):
    office = Office(at_work(air_removal_daily=False).pump())
    load = office.started(1)
    assert office.judge(load, office.log(load), basis="readings")["judgement"]["verdict"] in {"pass", "fail"}
    assert office.judged()["basis"] == "readings"
