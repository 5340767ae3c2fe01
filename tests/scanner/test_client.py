"""The client and its outbox: nothing lost while the service is away, and no answer is a go."""

import signal
import subprocess
import sys
from datetime import UTC, datetime

import pytest

from scanner.client import NOT_CHECKED, Client
from scanner.outbox import Outbox, OutboxError, uuid7
from tests.service_stub import Service

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)


def test_no_answer_is_not_checked_and_the_scan_waits(tmp_path):
    service = Service()
    port = service.port
    service.close()
    outbox = Outbox(tmp_path / "out.db")
    client = Client(f"http://127.0.0.1:{port}", outbox, lambda: NOON, timeout_s=1)
    for number in range(3):
        assert client.scan({"id": str(number)}).verdict == NOT_CHECKED
    assert [one.scan["id"] for one in outbox.waiting()] == ["0", "1", "2"]
    outbox.close()
    again = Service(port)
    try:
        outbox = Outbox(tmp_path / "out.db")
        client = Client(again.url, outbox, lambda: NOON)
        assert client.scan({"id": "3"}).verdict == "go"
        assert [body["id"] for body in again.came] == ["0", "1", "2", "3"]
        assert outbox.waiting() == []
        assert all(body["sent_at"] == NOON.isoformat() for body in again.came)
    finally:
        again.close()


@pytest.mark.parametrize("status", [500, 503, 429])
def test_a_service_in_trouble_is_not_checked_and_the_scan_waits(tmp_path, service, status):
    service.status = status
    outbox = Outbox(tmp_path / "out.db")
    assert Client(service.url, outbox, lambda: NOON).scan({"id": "a"}).verdict == NOT_CHECKED
    assert len(outbox.waiting()) == 1


def test_an_answer_that_is_no_verdict_is_never_a_go(tmp_path, service):
    outbox = Outbox(tmp_path / "out.db")
    for answer in ({}, {"verdict": "yes"}, [], "go"):
        service.answer = answer if isinstance(answer, dict) else {"odd": answer}
        assert Client(service.url, outbox, lambda: NOON).scan({"id": "a"}).verdict == NOT_CHECKED


@pytest.mark.parametrize("status", [401, 403])
def test_a_scanner_that_is_not_let_in_keeps_its_scans_and_says_what_to_do(tmp_path, service, status):
    outbox = Outbox(tmp_path / "out.db")
    client = Client(service.url, outbox, lambda: NOON, token="D1.secret")
    service.status = status
    verdict = client.scan({"id": "a"})
    assert (verdict.verdict, verdict.headline) == (
        NOT_CHECKED,
        "Not checked: the service does not let this scanner in.",
    )
    assert client.scan({"id": "b"}).verdict == NOT_CHECKED
    assert [one.scan["id"] for one in outbox.waiting()] == ["a", "b"]
    assert outbox.refused() == []
    service.status = 200
    assert client.scan({"id": "c"}).verdict == "go"
    assert outbox.waiting() == []


def test_a_scan_the_service_can_never_take_is_set_aside_and_blocks_no_other(tmp_path, service):
    outbox = Outbox(tmp_path / "out.db")
    client = Client(service.url, outbox, lambda: NOON)
    service.status, service.answer = 422, {"detail": "station is missing"}
    verdict = client.scan({"id": "bad"})
    assert (verdict.verdict, verdict.detail) == (NOT_CHECKED, "station is missing")
    assert outbox.refused() == [({"id": "bad"}, "station is missing")]
    service.status, service.answer = 200, {"verdict": "stop", "headline": "No."}
    assert client.scan({"id": "good"}).verdict == "stop"


def test_an_outbox_that_cannot_be_used_says_so(tmp_path):
    (tmp_path / "out.db").write_bytes(b"not a database, and long enough to be looked at" * 50)
    with pytest.raises(OutboxError, match="cannot be used"):
        Outbox(tmp_path / "out.db")


def test_a_scanner_killed_at_any_moment_loses_no_scan_it_kept(tmp_path):
    program = (
        "import sys; from pathlib import Path; from scanner.outbox import Outbox\n"
        "box = Outbox(Path(sys.argv[1]))\n"
        "for n in range(100000):\n"
        "    box.put({'id': n}); print(n, flush=True)\n"
    )
    running = subprocess.Popen(
        [sys.executable, "-c", program, str(tmp_path / "out.db")], stdout=subprocess.PIPE, text=True
    )
    for _ in range(40):
        line = running.stdout.readline()
    running.send_signal(signal.SIGKILL)
    rest = running.stdout.read().split()
    kept = [one.scan["id"] for one in Outbox(tmp_path / "out.db").waiting()]
    last = int(rest[-1] if rest else line)
    assert kept[: last + 1] == list(range(last + 1))


# RFC 9562 appendix A.6, as quoted in public tests (the project's CHECKS, section 6).
def test_uuid_7_equals_the_rfcs_example():
    rand = (0xCC3 << 64 | 0x18C4DC0C0C07398F).to_bytes(10, "big")
    assert uuid7(1645557742000, rand) == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
