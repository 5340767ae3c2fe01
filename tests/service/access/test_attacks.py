"""At the doors: a PIN guessed from many addresses, a page left open for a week, and secrets that are written nowhere."""

import logging

import httpx
import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from service.access import doors
from service.access.doors import TRIES, Doors
from service.api.app import make_app
from service.pages.routes import add_pages
from tests.entry import PIN, QUICK, Entry, bearer
from tests.practice import MANAGER, NURSE, TECHNICIAN, TarnBridge, card
from tests.served import served
from tests.service.api.test_api import problem


class Counted(PasswordHasher):
    """Counts how often a PIN is looked at, which is what costs time and memory."""

    looks = 0

    def verify(self, hash, password):  # noqa: A002
        type(self).looks += 1
        return super().verify(hash, password)


def from_address(app, address):
    return TestClient(app, client=(address, 50_000), raise_server_exceptions=False, follow_redirects=False)


def test_a_pin_tried_a_thousand_times_from_many_addresses_stays_locked_and_costs_little(bridge, monkeypatch):
    entry = Entry(bridge.desk)
    entry.person(NURSE), entry.person(MANAGER)
    monkeypatch.setattr(Counted, "looks", 0)
    app = make_app(bridge.desk, add_pages, None, Doors(bridge.desk, Counted(time_cost=1, memory_cost=8, parallelism=1)))
    statuses = []
    for number in range(1000):
        client = from_address(app, f"2001:db8::{number:x}")
        statuses.append(client.post("/api/session", json={"badge": NURSE, "pin": f"{number + 300_000}"}).status_code)
    assert statuses == [403] * TRIES["badge"] + [429] * (1000 - TRIES["badge"])
    assert Counted.looks == TRIES["badge"]
    right = from_address(app, "2001:db8::ffff").post("/api/session", json={"badge": NURSE, "pin": PIN})
    assert "locked until" in problem(right, 429)["detail"]
    assert right.headers["retry-after"] == "900"
    assert from_address(app, "2001:db8::1").post("/api/session", json={"badge": MANAGER, "pin": PIN}).status_code == 200
    bridge.wait(16)
    assert (
        from_address(app, "2001:db8::ffff").post("/api/session", json={"badge": NURSE, "pin": PIN}).status_code == 200
    )


def test_an_act_from_a_page_left_open_for_a_week_is_told_to_sign_in_and_writes_nothing(bridge, monkeypatch):
    """The page keeps what was typed: it loads anew only after a go."""
    monkeypatch.setattr(doors, "REMEMBERED_S", 0)  # the test's clock jumps; a second has not passed
    _, load = bridge.ready()
    entry = Entry(bridge.desk)
    app = make_app(bridge.desk, add_pages, None, entry.doors)
    nurse, tablet = (
        TestClient(app, headers=bearer(entry.person(NURSE))),
        TestClient(app, headers=bearer(entry.device())),
    )
    assert nurse.get(f"/loads/{load}").status_code == 200
    bridge.wait(7 * 24 * 60)
    before = len(bridge.facts())
    body = {"id": bridge.new_id(), "why": "leak found at the door"}
    assert "sign in" in problem(nurse.post(f"/api/loads/{load}/hold", json=body), 401)["detail"]
    assert len(bridge.facts()) == before
    again = TestClient(app, headers=bearer(entry.person(NURSE)))
    assert again.post(f"/api/loads/{load}/hold", json=body).json()["verdict"] == "go"
    scan = {"id": bridge.new_id(), "station": "wash-1", "code": TECHNICIAN}
    assert tablet.post("/api/scans", json=scan).json()["verdict"] == "go"


@pytest.fixture
def everything_logged(caplog):
    caplog.set_level(logging.DEBUG)
    for name in ("foldmark", "uvicorn", "uvicorn.error", "uvicorn.access", "asyncio"):
        caplog.set_level(logging.DEBUG, logger=name)
    return caplog


def test_no_secret_stands_in_a_log_an_address_or_the_ledgers_files(tmp_path, everything_logged):
    """PINs right, wrong and malformed, one-time codes, sessions and devices' tokens, at the most talkative level."""
    bridge = TarnBridge(tmp_path)
    _, load = bridge.ready()
    entrance = Doors(bridge.desk, QUICK)
    told, wrong, weak = PIN, "861942", "111111"
    secrets, addresses = {told, wrong}, []
    with served(make_app(bridge.desk, add_pages, None, entrance), log_level="trace", access_log=True) as address:

        def keep(answer):
            addresses.append((str(answer.url), answer.headers.get("location", "")))

        with httpx.Client(
            base_url="http://{}:{}".format(*address), timeout=30, event_hooks={"response": [keep]}
        ) as client:
            link = entrance.pin_link(MANAGER)
            secrets.add(link)
            assert client.get("/start").status_code == 200
            assert client.post("/api/pin", json={"code": link, "pin": weak}).status_code == 422
            assert client.post("/api/pin", json={"code": link, "pin": told}).status_code == 200
            assert client.post("/api/pin", json={"code": link, "pin": told}).status_code == 403
            assert client.post("/api/session", json={"badge": MANAGER, "pin": wrong}).status_code == 403
            assert client.post("/api/session", json={"badge": MANAGER, "pin": told}).status_code == 200
            secrets.add(client.cookies["foldmark_session"])
            assert (
                client.post(
                    f"/api/loads/{load}/reject", json={"id": bridge.new_id(), "why": "x", "pin": wrong}
                ).status_code
                == 403
            )
            assert (
                client.post(
                    f"/api/loads/{load}/reject", json={"id": bridge.new_id(), "why": "x", "pin": told}
                ).status_code
                == 200
            )
            code = client.post("/api/devices", json={"name": "Tablet", "stations": ["any"], "pin": told}).json()["code"]
            secrets |= {code, code.replace("-", "")}
            assert client.post("/api/devices/claim", json={"code": "NONE-NONE-NONE"}).status_code == 403
            token = client.post("/api/devices/claim", json={"code": code}).json()["token"]
            secrets |= {token, token.partition(".")[2]}
            tablet = httpx.Client(
                base_url=client.base_url, headers=bearer(token), timeout=30, event_hooks={"response": [keep]}
            )
            for text in (NURSE, card("UNDO"), f"={wrong}", f"={told}"):
                tablet.post("/api/scans", json={"id": bridge.new_id(), "station": "office-1", "code": text})
            tablet.get("/", follow_redirects=True)
            tablet.close()
            assert client.delete("/api/session").status_code == 200
            assert client.get("/people", follow_redirects=True).status_code == 200
    records = [
        one for one in everything_logged.records if not one.name.startswith(("httpx", "httpcore"))
    ]  # not the client
    logged = "\n".join(f"{record.getMessage()} {vars(record)}" for record in records)
    kept = b"".join(file.read_bytes() for file in tmp_path.iterdir() if file.is_file())
    assert len(records) > 20
    assert len(secrets) == 8
    assert b"Tablet" in kept
    for secret in secrets:
        assert secret not in logged
        assert not any(secret in part for pair in addresses for part in pair)
        assert secret.encode() not in kept
