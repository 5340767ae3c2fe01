"""docs/running.md, tried: units by systemd, the proxy in front of the service, backup, update, restore; what to watch."""

import json
import os
import re
import shutil
import socket
import ssl
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest

from tests.entry import Entry, bearer
from tests.faults.load import Service
from tests.practice import TECHNICIAN, TarnBridge, wash_load

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "docs" / "running.md").read_text("utf-8")


def block(name):
    found = re.search(rf"^```\w+ {re.escape(name)}\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
    assert found, name
    return found[1]


@pytest.fixture
def programs(tmp_path):
    """A folder with `foldmark`, `pip` and `systemctl` on the PATH: ours, and two that only say what they were told."""
    folder = tmp_path / "bin"
    folder.mkdir()
    (folder / "foldmark").write_text(f'#!/bin/sh\nPYTHONPATH={ROOT} exec {sys.executable} -m service.cli "$@"\n')
    for name in ("pip", "systemctl"):
        (folder / name).write_text(f'#!/bin/sh\necho {name} "$@"\n')
    for program in folder.iterdir():
        program.chmod(0o755)
    return folder


def shell(script, programs, cwd, **env):
    done = subprocess.run(["sh", "-e", "-c", script], capture_output=True, text=True, cwd=cwd, check=False,
                          env=os.environ | {"PATH": f"{programs}:{os.environ['PATH']}"} | env)  # fmt: skip
    assert done.returncode == 0, (script, done.stdout, done.stderr)
    return done.stdout


@pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is not installed: the units are not checked"
)
def test_systemd_takes_the_units(tmp_path, programs):
    for name in ("foldmark.service", "foldmark-backup.service", "foldmark-backup.timer"):
        text = (
            block(name)
            .replace("/srv/foldmark/venv/bin/foldmark", str(programs / "foldmark"))
            .replace("User=foldmark", "User=daemon")
        )
        (tmp_path / name).write_text(text)
    for name in ("foldmark.service", "foldmark-backup.timer"):
        done = subprocess.run(
            ["systemd-analyze", "verify", "--man=no", tmp_path / name], capture_output=True, text=True, check=False
        )
        told = [line for line in done.stderr.splitlines() if "foldmark" in line]
        assert (done.returncode, told) == (0, []), done.stderr
    calendar = subprocess.run(
        ["systemd-analyze", "calendar", "*-*-* 02:30:00"], capture_output=True, text=True, check=False
    )
    assert "02:30:00" in calendar.stdout


def test_the_service_as_the_unit_starts_it_serves_and_signs_at_its_end(tmp_path, programs):
    bridge = TarnBridge(tmp_path)
    bridge.close()
    shell("foldmark key --new keys.key", programs, tmp_path, FOLDMARK_LEDGER=str(bridge.path))
    unit = block("foldmark.service")
    command = re.search(r"^ExecStart=\S+/foldmark (.*)$", unit, re.MULTILINE)[1].replace("--port 8080", "--port 0")
    running = subprocess.Popen([programs / "foldmark", *command.split()], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=tmp_path,
                               env=os.environ | {"FOLDMARK_LEDGER": str(bridge.path), "FOLDMARK_KEY": str(tmp_path / "keys.key")})  # fmt: skip
    url = f"http://{running.stdout.readline().split('http://')[1].split()[0]}"
    assert httpx.get(f"{url}/health").json()["checkpoint"] is None
    running.terminate()
    _, told = running.communicate(timeout=30)
    events = [json.loads(line) for line in told.splitlines()]
    assert [event["event"] for event in events] == ["serving", "checkpoint signed"]
    assert events[0]["site"] == "K7"
    assert "Signed checkpoints: 1" in shell(f"foldmark --ledger {bridge.path} verify", programs, tmp_path)


def test_the_nightly_backup_keeps_thirty_and_restores(tmp_path, programs):
    bridge = TarnBridge(tmp_path)
    bridge.close()
    backups = tmp_path / "backups"
    backups.mkdir()
    for number in range(33):
        old = backups / f"practice-2026-01-{number:02d}.db"
        old.write_text("old")
        os.utime(old, (1_700_000_000 + number, 1_700_000_000 + number))
    for line in re.findall(r"^ExecStart=/bin/sh -c '(.*)'$", block("foldmark-backup.service"), re.MULTILINE):
        script = (
            line.replace("$$", "$")
            .replace("%%", "%")
            .replace("/srv/foldmark/venv/bin/", "")
            .replace("/srv/foldmark/backups", str(backups))
        )
        shell(script, programs, tmp_path, FOLDMARK_LEDGER=str(bridge.path))
    kept = sorted(backups.iterdir(), key=lambda path: path.stat().st_mtime)
    assert len(kept) == 30
    script = block("restore").replace("BACKUP", str(kept[-1])).replace("/tmp/tried.db", str(tmp_path / "tried.db"))
    assert "unbroken chain" in shell(script, programs, tmp_path)


def test_the_steps_of_an_update_run_in_their_order(tmp_path, programs):
    bridge = TarnBridge(tmp_path)
    bridge.close()
    said = shell(block("update"), programs, tmp_path, FOLDMARK_LEDGER=str(bridge.path))
    order = [
        "systemctl stop foldmark",
        "before-update.db",
        "pip install --upgrade foldmark",
        "is of version",
        "unbroken chain",
        "systemctl start foldmark",
    ]
    places = [said.index(words) for words in order]
    assert places == sorted(places)


@pytest.mark.skipif(shutil.which("nginx") is None, reason="nginx is not installed: the proxy is not tried")
def test_the_proxy_passes_scans_and_events_on_and_keeps_metrics_inside(tmp_path):
    bridge = TarnBridge(tmp_path)
    bridge.at = datetime.now(UTC)
    entry = Entry(bridge.desk)
    token, ticket = entry.device(), entry.doors.device_code("Tablet", ["theatre"], None)
    bridge.close()
    service = Service(bridge.path, {"FOLDMARK_TRUSTED_PROXIES": "127.0.0.1"})
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2", "-subj", "/CN=localhost",
                    "-addext", "subjectAltName=IP:127.0.0.1", "-keyout", tmp_path / "k.key", "-out", tmp_path / "c.pem"], check=True, capture_output=True)  # fmt: skip
    server = block("proxy").replace("8443", f"127.0.0.1:{port}").replace("127.0.0.1:8080", f"127.0.0.1:{service.port}")
    server = server.replace("/etc/ssl/foldmark.pem", str(tmp_path / "c.pem")).replace(
        "/etc/ssl/foldmark.key", str(tmp_path / "k.key")
    )
    temps = "".join(
        f"{kind}_temp_path {tmp_path}/{kind};" for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    user = "user root;" if os.geteuid() == 0 else ""
    (tmp_path / "nginx.conf").write_text(
        f"{user} daemon off; pid {tmp_path}/pid; error_log {tmp_path}/error.log; events {{}} http {{ access_log off; {temps} {server} }}"
    )
    proxy = subprocess.Popen(["nginx", "-p", tmp_path, "-c", tmp_path / "nginx.conf"], stderr=subprocess.PIPE)
    try:
        trusted = ssl.create_default_context(cafile=str(tmp_path / "c.pem"))
        with httpx.Client(
            base_url=f"https://127.0.0.1:{port}", verify=trusted, timeout=10, headers=bearer(token)
        ) as http:
            deadline = time.monotonic() + 10
            while True:
                try:
                    http.get("/health")
                    break
                except httpx.ConnectError:
                    assert time.monotonic() < deadline, proxy.stderr.read1(2000)
                    time.sleep(0.05)
            from scanner.outbox import new_id

            with http.stream("GET", "/api/stations/wash-1/events") as events:
                lines = events.iter_lines()
                assert next(line for line in lines if line.startswith("data:"))
                for code in (TECHNICIAN, wash_load(1)):
                    answer = httpx.post(
                        f"https://127.0.0.1:{port}/api/scans",
                        json={"id": new_id(), "station": "wash-1", "code": code},
                        headers=bearer(token),
                        verify=trusted,
                    )
                    assert answer.json()["verdict"] != "stop"
                began = time.monotonic()
                assert any("Badge 003" in line for line in _first(lines, 4))
                assert time.monotonic() - began < 3
            assert http.get("/metrics").status_code == 403
            claimed = http.post("/api/devices/claim", json={"code": ticket})
            assert "; secure" in claimed.headers["set-cookie"].lower()
    finally:
        proxy.terminate()
        proxy.wait(10)
        service.stop()


def _first(lines, count):
    found = []
    for line in lines:
        if line.startswith("data:"):
            found.append(line)
        if len(found) == count or any("Badge 003" in one for one in found):
            break
    return found


def test_every_number_to_watch_is_told_and_counts(tmp_path):
    from prometheus_client.parser import text_string_to_metric_families

    bridge = TarnBridge(tmp_path)
    entry = Entry(bridge.desk)
    scanner, monitor = entry.device(), entry.device("monitor")
    bridge.close()
    service = Service(bridge.path)
    with httpx.Client(base_url=f"http://127.0.0.1:{service.port}", timeout=10, headers=bearer(scanner)) as http:
        from scanner.outbox import new_id

        for code in (TECHNICIAN, wash_load(1), "S-K7-0042-*", "nonsense"):
            http.post(
                "/api/scans",
                json={"id": new_id(), "station": "wash-1", "code": code, "seen_at": "2026-03-04T08:00:00Z"},
            )
        found = {
            family.name: family
            for family in text_string_to_metric_families(http.get("/metrics", headers=bearer(monitor)).text)
        }
        health = http.get("/health").json()
        assert http.get("/metrics").status_code == 403
        assert http.get("/api/stations/wash-1", headers=bearer(monitor)).status_code == 403
    service.stop()
    named = set(re.findall(r"^\| `(foldmark_\w+)`", PAGE, re.MULTILINE))
    assert {name.removesuffix("_total") for name in named} <= set(found)
    scans = {
        (s.labels["station"], s.labels["verdict"]): s.value
        for s in found["foldmark_scans"].samples
        if s.name == "foldmark_scans_total"
    }
    assert scans[("wash", "stop")] == 2
    assert sum(scans.values()) == 4
    commits = next(s.value for s in found["foldmark_commit_seconds"].samples if s.name.endswith("_count"))
    assert commits >= 4
    assert next(s.value for s in found["foldmark_checkpoint_age_seconds"].samples) == -1
    assert health["outboxes"]["wash-1"]["delay_s"] > 3600
    assert (health["status"], health["ledger"], health["checkpoint"]) == ("ok", "writable", None)
