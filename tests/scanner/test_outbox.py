"""The outbox while the service is away: bounded and loud, in order, and whoever signs on is told what became of it."""

import json
import sqlite3
import subprocess
from datetime import datetime, timedelta
from itertools import pairwise

import pytest

from scanner import client as sending
from scanner.client import NOT_CHECKED, NOT_TAKEN, Client
from scanner.frames import Text
from scanner.outbox import Outbox, OutboxError, claim
from tests.command import foldmark
from tests.scanner.shown import LOAD, NOON, PACK, Given, Heard, typed_scanner
from tests.service_stub import Service

BADGE = "B-K7-003-J"
STOP = {"verdict": "stop", "headline": "Do not open.", "detail": "", "next": "Put it aside.", "rule": "held"}


def scan(number, station="wash-1"):
    return {"id": str(number), "station": station, "code": PACK.code, "seen_at": NOON.isoformat()}


def texts(*codes):
    return Given(*(Text(code, NOON) for code in codes))


class Clock:
    def __init__(self):
        self.now = NOON

    def __call__(self):
        return self.now


@pytest.fixture
def away(monkeypatch):
    """A service's address at which nobody answers, and a way to bring it back; the pauses are over at once."""
    monkeypatch.setattr(sending, "FIRST_PAUSE_S", 0.0)
    service = Service()
    service.close()
    made = []

    def back():
        made.append(Service(service.port))
        return made[-1]

    yield service.url, back
    for one in made:
        one.close()


def test_a_full_outbox_takes_no_scan_says_so_each_time_and_the_scanner_goes_on(tmp_path, away):
    url, _ = away
    heard = Heard(texts(PACK.code, LOAD.code, PACK.code), url, tmp_path / "o.db")
    heard.outbox.most = 1
    heard.watch.run()
    assert [verdict for _, verdict in heard.verdicts] == [NOT_CHECKED, NOT_TAKEN, NOT_TAKEN]
    assert [one.scan["code"] for one in heard.outbox.waiting()] == [PACK.code]
    assert (heard.watch.counts.scans, heard.watch.counts.not_taken) == (3, 2)


def test_an_outbox_nearly_full_is_told_at_every_scan(tmp_path, away):
    heard = Heard(texts(*[PACK.code] * 10), away[0], tmp_path / "o.db")
    heard.outbox.most = 10
    heard.watch.run()
    assert [line.split(":")[0] for line in heard.words] == [
        f"the outbox is nearly full, {held} of 10 scans" for held in (8, 9, 10)
    ]


def test_a_disk_that_takes_no_scan_is_told_and_the_scanner_goes_on(tmp_path, service):
    heard = Heard(texts(PACK.code, LOAD.code), service.url, tmp_path / "o.db")
    heard.outbox._db.execute("PRAGMA query_only = ON")
    heard.watch.run()
    assert [verdict for _, verdict in heard.verdicts] == [NOT_TAKEN, NOT_TAKEN]
    assert service.came == []


def test_an_outbox_that_breaks_while_scanning_is_told_once_and_the_scanner_goes_on(tmp_path, service):
    heard = Heard(Given(*[Text(PACK.code, NOON)] * 2, None), service.url, tmp_path / "o.db")
    heard.outbox.close()
    heard.watch.run()
    assert [verdict for _, verdict in heard.verdicts] == [NOT_TAKEN, NOT_TAKEN]
    assert len(heard.words) == 1
    assert "cannot be read" in heard.words[0]


def test_a_scanner_killed_while_the_service_is_away_sends_its_scans_when_it_is_started_again(tmp_path, away):
    url, back = away
    command, env = typed_scanner(url, "--mute")
    running = subprocess.Popen(command, cwd=tmp_path, env=env, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    running.stdin.write(f"{PACK.code}\n{LOAD.code}\n{PACK.code}\n")
    running.stdin.flush()
    told = [running.stdout.readline() for _ in range(3)]
    running.kill()
    running.communicate()
    service = back()
    done = subprocess.run(
        command, cwd=tmp_path, env=env, text=True, stdin=subprocess.DEVNULL, capture_output=True, check=False
    )
    assert all("NOT CHECKED" in line for line in told)
    assert [body["code"] for body in service.came] == [PACK.code, LOAD.code, PACK.code]
    assert len({body["id"] for body in service.came}) == 3
    assert (done.returncode, done.stdout.count("LATE GO")) == (0, 3)


def test_what_was_put_is_synced_to_the_disk(tmp_path):
    assert Outbox(tmp_path / "o.db")._db.execute("PRAGMA synchronous").fetchone() == (2,)


def test_an_answer_that_comes_late_says_how_long_ago_the_scan_was_made(tmp_path, away):
    url, back = away
    clock = Clock()
    heard = Heard(texts(PACK.code), url, tmp_path / "o.db", clock)
    heard.watch.run()
    back()
    clock.now += timedelta(minutes=3)
    heard.client.tend()
    ((late, verdict),) = heard.client.take_late()
    assert (late["code"], verdict.verdict, verdict.late_s) == (PACK.code, "go", 180)
    assert heard.client.take_late() == []
    assert heard.outbox.late() == []


def test_a_late_stop_is_told_when_it_comes_and_again_to_the_next_who_signs_on_and_no_more(tmp_path, away):
    url, back = away
    Heard(texts(PACK.code), url, tmp_path / "o.db").watch.run()
    service = back()
    service.answer = STOP
    Heard(Given(None), url, tmp_path / "o.db").watch.run()
    service.answer = STOP | {"verdict": "go", "headline": "Kim works here."}
    later = Heard(texts(LOAD.code, BADGE, LOAD.code, BADGE), url, tmp_path / "o.db")
    later.watch.run()
    assert later.late == [(PACK.code, "stop")]
    assert later.verdicts == [(code, "go") for code in (LOAD.code, BADGE, LOAD.code, BADGE)]
    assert later.words == ["scans made without the service that need you: 1"]


def test_a_badge_that_is_stopped_has_not_signed_on_and_is_told_nothing(tmp_path, service):
    heard = Heard(texts(BADGE), service.url, tmp_path / "o.db")
    heard.outbox.set_aside(heard.outbox.put(scan(1)), "no")
    service.answer = STOP
    heard.watch.run()
    assert (heard.verdicts, heard.late) == ([(BADGE, "stop")], [])
    assert heard.outbox.held() == 1


def test_a_scan_that_the_service_refuses_stays_refused_and_is_told_at_the_next_badge(tmp_path, away):
    url, back = away
    Heard(texts(PACK.code), url, tmp_path / "o.db").watch.run()
    service = back()
    service.status, service.answer = 422, {"detail": "this station is not of this site"}
    Heard(Given(None), url, tmp_path / "o.db").watch.run()
    service.status, service.answer = 200, STOP | {"verdict": "go"}
    later = Heard(texts(BADGE), url, tmp_path / "o.db")
    later.watch.run()
    assert later.late == [(PACK.code, NOT_CHECKED)]
    assert [body["code"] for body in service.came] == [PACK.code, BADGE]
    assert later.outbox.refused() == []


def test_a_badge_that_finds_the_outbox_full_of_news_makes_room_by_telling_it(tmp_path, service):
    heard = Heard(texts(BADGE, BADGE), service.url, tmp_path / "o.db")
    heard.outbox.set_aside(heard.outbox.put(scan(1)), "no")
    heard.outbox.most = 1
    heard.watch.run()
    assert [verdict for _, verdict in heard.verdicts] == [NOT_TAKEN, "go"]


def test_an_answer_that_cannot_be_noted_is_asked_for_again_under_the_same_id(tmp_path, service):
    outbox = Outbox(tmp_path / "o.db")
    client = Client(service.url, outbox, lambda: NOON)
    outbox.put(scan(1))
    outbox._db.execute("PRAGMA query_only = ON")
    assert client.send_waiting()[1].verdict == "go"
    outbox._db.execute("PRAGMA query_only = OFF")
    client.send_waiting()
    assert [body["id"] for body in service.came] == ["1", "1"]
    assert outbox.waiting() == []


def test_a_service_away_is_asked_less_and_less_often(tmp_path, monkeypatch, service):
    at = [0.0]
    monkeypatch.setattr(sending.time, "monotonic", lambda: at[0])
    service.status = 503
    client = Client(service.url, Outbox(tmp_path / "o.db"), lambda: NOON)
    client.scan(scan(1))
    asked = []
    while at[0] < 100:
        before = len(service.came)
        client.tend()
        asked += [at[0]] if len(service.came) > before else []
        at[0] += 0.25
    gaps = [later - earlier for earlier, later in pairwise(asked)]
    assert asked[0] == 0.5
    assert gaps[:5] == [1, 2, 4, 8, 16]
    assert set(gaps[5:]) == {30}


def test_a_service_that_says_when_to_come_again_is_left_alone_until_then(tmp_path, monkeypatch):
    at = [0.0]
    monkeypatch.setattr(sending.time, "monotonic", lambda: at[0])
    service = Service()
    service.status, service.headers = 429, {"Retry-After": "7"}
    client = Client(service.url, Outbox(tmp_path / "o.db"), lambda: NOON)
    client.scan(scan(1))
    at[0] = 6.9
    client.tend()
    assert len(service.came) == 1
    at[0] = 7.0
    client.tend()
    service.close()
    assert len(service.came) == 2


def test_a_service_that_hangs_is_not_waited_for_at_every_scan(tmp_path, monkeypatch):
    at = [0.0]
    monkeypatch.setattr(sending.time, "monotonic", lambda: at[0])
    client = Client("http://127.0.0.1:9", Outbox(tmp_path / "o.db"), lambda: NOON)
    asked = []

    def post(*_a, **_k):
        asked.append(at[0])
        at[0] += 3
        raise sending.httpx.ReadTimeout("nothing came")

    monkeypatch.setattr(client._http, "post", post)
    for number in range(5):
        assert client.scan(scan(number)).verdict == NOT_CHECKED
    assert len(asked) == 1


def test_a_station_that_the_scanner_may_not_serve_holds_up_no_other(tmp_path, service):
    outbox = Outbox(tmp_path / "o.db")
    for number, station in enumerate(("wash-1", "store-1", "wash-1", "store-1")):
        outbox.put(scan(number, station))
    client = Client(service.url, outbox, lambda: NOON)
    service.refuses = "wash-1"
    client.send_waiting()
    assert [body["id"] for body in service.came] == ["0", "1", "3"]
    assert [one.scan["id"] for one in outbox.waiting()] == ["0", "2"]


@pytest.mark.parametrize(("boot", "sent_as"), [("this", NOON + timedelta(hours=9)), ("another", NOON)])
def test_a_clock_set_while_a_scan_waits_does_not_change_when_it_was_made(tmp_path, away, boot, sent_as):
    url, back = away
    clock, running = Clock(), [("this", 100.0)]
    client = Client(url, Outbox(tmp_path / "o.db"), clock, uptime=lambda: running[0])
    client.scan(scan(1))
    clock.now += timedelta(hours=9, seconds=60)
    running[0] = (boot, 160.0)
    service = back()
    client.send_waiting()
    assert datetime.fromisoformat(service.came[0]["seen_at"]) == sent_as
    assert datetime.fromisoformat(service.came[0]["sent_at"]) == NOON + timedelta(hours=9, seconds=60)


def test_time_that_only_passes_while_a_scan_waits_moves_nothing(tmp_path, away):
    url, back = away
    clock, running = Clock(), [("this", 100.0)]
    client = Client(url, Outbox(tmp_path / "o.db"), clock, uptime=lambda: running[0])
    client.scan(scan(1))
    clock.now += timedelta(hours=2)
    running[0] = ("this", 7300.0)
    service = back()
    client.send_waiting()
    assert service.came[0]["seen_at"] == NOON.isoformat()
    assert sending.uptime()[1] > 0


def test_many_scans_are_sent_in_turns_in_their_order(tmp_path, service, monkeypatch):
    monkeypatch.setattr(sending, "_AT_ONCE", 3)
    outbox = Outbox(tmp_path / "o.db")
    for number in range(5):
        outbox.put(scan(number))
    client = Client(service.url, outbox, lambda: NOON)
    assert client.scan(scan(5)).headline == "Not checked yet: earlier scans are sent first."
    client.tend()
    assert [body["id"] for body in service.came] == [str(number) for number in range(6)]


def test_an_outbox_belongs_to_one_scanner_at_a_time(tmp_path):
    with claim(tmp_path / "o.db"), pytest.raises(OutboxError, match="another scanner uses"):
        claim(tmp_path / "o.db")
    claim(tmp_path / "o.db").close()
    with pytest.raises(OutboxError, match="cannot be used"):
        claim(tmp_path / "nowhere" / "o.db")


def test_an_outbox_of_an_earlier_version_is_taken_over(tmp_path):
    old = sqlite3.connect(tmp_path / "o.db")
    old.execute("CREATE TABLE waiting (number INTEGER PRIMARY KEY AUTOINCREMENT, scan TEXT NOT NULL)")
    old.execute("INSERT INTO waiting (scan) VALUES (?)", (json.dumps(scan(1)),))
    old.commit()
    assert [one.scan["id"] for one in Outbox(tmp_path / "o.db").waiting()] == ["1"]


def pending(folder, *more):
    return foldmark("scan", "--station", "wash-1", "--pending", *more, cwd=folder)


def test_the_command_shows_what_waits_and_what_nobody_was_told(tmp_path):
    assert pending(tmp_path).returncode == 0
    assert pending(tmp_path).stdout == "Nothing waits in outbox-wash-1.db, and everybody was told.\n"
    assert list(tmp_path.iterdir()) == []
    outbox = Outbox(tmp_path / "outbox-wash-1.db")
    outbox.done(outbox.put(scan(1)), late=STOP)
    outbox.set_aside(outbox.put(scan(2)), "no such station")
    outbox.put(scan(3))
    shown = pending(tmp_path)
    assert shown.returncode == 1
    assert "holds 3 of at most 10000 scans" in shown.stdout
    assert "1 wait for the service" in shown.stdout
    assert "no such station" in shown.stdout
    assert "STOP Do not open." in shown.stdout
    found = json.loads(pending(tmp_path, "--json").stdout)
    assert [[one["id"] for one in found[key]] for key in ("waiting", "refused", "late")] == [["3"], ["2"], ["1"]]
