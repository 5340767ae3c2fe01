"""What runs beside a scanner: the unit that starts it, the watchdog, the light; and what the doctor says of cameras."""

import json
import os
import shlex
import shutil
import signal
import socket
import subprocess
from pathlib import Path

import pytest

from scanner import light as lamp
from scanner.alive import Alive, notify
from scanner.light import Light
from scanner.outbox import Outbox
from tests.command import foldmark
from tests.scanner.shown import PACK, film, typed_scanner
from tests.scanner.test_sources import camera  # noqa: F401  (a fixture)

ROOT = Path(__file__).resolve().parents[2]


def wait(light):
    """Until every command of a light has ended."""
    for _, one in light._running:
        one.wait(10)
    light.look()


# The unit


def installed(folder, *more):
    done = foldmark(
        "scan", "--station", "loading-1", "--install", *more, cwd=folder, env={"XDG_CONFIG_HOME": str(folder / "conf")}
    )
    assert done.returncode == 0, done.stderr
    path = folder / "conf" / "systemd" / "user" / "foldmark-scan-loading-1.service"
    return path, done.stdout


def test_the_command_writes_a_unit_and_says_where_and_what_to_do_next(tmp_path):
    path, said = installed(tmp_path, "--source", "0", "--site", "K7")
    text = path.read_text()
    assert said.startswith(f"{path}: the scanner at loading-1, in {tmp_path}.")
    assert "systemctl --user enable --now foldmark-scan-loading-1.service" in said.replace(
        "daemon-reload && systemctl --user ", ""
    )
    assert f"WorkingDirectory={tmp_path}" in text
    assert "Type=notify" in text and "WatchdogSec=" in text and "Restart=always" in text
    assert "WantedBy=default.target" in text
    assert "--site K7" in text and "--log" in text


def system_unit(folder, monkeypatch, account="daemon"):
    from service.cli.scan.unit import unit
    from service.cli.scan.wanted import Wanted

    monkeypatch.setenv("SUDO_USER", account)
    given = {"station": "wash-1", "source": "keys", "url": "http://10.0.0.2:8080", "size": "1280x720"}
    return unit(Wanted(**(dict.fromkeys(Wanted.__slots__) | given)), folder, whole=True)


def test_a_system_unit_runs_as_a_person_and_not_as_root(tmp_path, monkeypatch):
    text = system_unit(tmp_path, monkeypatch, "kim")
    assert "User=kim\nSupplementaryGroups=video audio dialout\n" in text
    assert "WantedBy=multi-user.target" in text
    assert "TTYPath=/dev/tty1" in text


def refused_by_systemd(path, *switches):
    """What systemd says against a unit; nothing when it takes it."""
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd-analyze is not installed: the unit is not checked")
    done = subprocess.run(["systemd-analyze", *switches, "verify", "--man=no", path], capture_output=True, text=True, check=False,
                          env=os.environ | {"XDG_RUNTIME_DIR": str(path.parent)})  # fmt: skip
    told = [line for line in done.stderr.splitlines() if "foldmark" in line]
    return told or done.stderr * done.returncode


@pytest.mark.parametrize(
    "more", [(), ("--light", "sh -c 'echo \"$1\" 100%'"), ("--preview", "8090", "--mute", "--focus", "30")]
)
def test_systemd_takes_the_unit(tmp_path, more):
    path, _ = installed(tmp_path, "--source", "0", *more)
    assert not refused_by_systemd(path, "--user")


def test_systemd_takes_the_system_unit(tmp_path, monkeypatch):
    path = tmp_path / "foldmark-scan-wash-1.service"
    path.write_text(system_unit(tmp_path, monkeypatch))
    assert not refused_by_systemd(path)
    path.write_text(path.read_text().replace("Restart=always", "Restart=perhaps"))
    assert refused_by_systemd(path)


def test_a_scanner_tells_systemd_that_it_is_ready_and_alive_and_ends_in_order_on_sigterm(tmp_path, service):
    line = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    line.bind(str(tmp_path / "notify"))
    line.settimeout(60)
    command, env = typed_scanner(service.url, "--log")
    env |= {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "200000"}
    running = subprocess.Popen(
        command, cwd=tmp_path, env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    told = [line.recv(100).decode() for _ in range(3)]
    assert told == ["READY=1", "WATCHDOG=1", "WATCHDOG=1"]
    running.stdin.write(f"{PACK.code}\n".encode())
    running.stdin.flush()
    row = json.loads(running.stdout.readline())
    running.send_signal(signal.SIGTERM)
    rest, faults = running.communicate(timeout=60)
    line.close()
    assert running.returncode == 0, faults
    assert {key: row[key] for key in ("event", "code", "verdict")} == {
        "event": "scan",
        "code": PACK.code,
        "verdict": "go",
    }
    assert "Yes." not in json.dumps(row)
    assert json.loads(rest)["scans"] == 1


def test_without_systemd_nothing_is_told(monkeypatch):
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    assert not notify("READY=1")
    monkeypatch.setenv("NOTIFY_SOCKET", "/nowhere/notify")
    assert not notify("READY=1")
    Alive().turn()


def test_systemds_own_namespace_of_sockets_is_reached(monkeypatch):
    line = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    line.bind(f"\0foldmark-test-{os.getpid()}")
    line.settimeout(10)
    monkeypatch.setenv("NOTIFY_SOCKET", f"@foldmark-test-{os.getpid()}")
    assert notify("STOPPING=1")
    assert line.recv(100) == b"STOPPING=1"
    line.close()


def test_a_second_scanner_at_the_same_outbox_is_refused(tmp_path, service):
    from scanner.outbox import claim

    with claim(tmp_path / "outbox-wash-1.db"):
        done = foldmark(
            "scan",
            "--station",
            "wash-1",
            "--source",
            str(film(tmp_path / "f.avi", PACK)),
            "--url",
            service.url,
            cwd=tmp_path,
        )
    assert done.returncode == 2
    assert "another scanner uses the outbox" in done.stderr
    assert "Traceback" not in done.stderr


# The light


def test_the_light_is_run_with_the_verdict_as_one_word_and_without_a_shell(tmp_path):
    script = tmp_path / "a lamp"
    script.write_text('#!/bin/sh\nprintf "%s|" "$@" >> "$(dirname "$0")/seen"\n')
    script.chmod(0o755)
    told = []
    light = Light(f"'{script}' --pin 17 '; touch {tmp_path}/shell'", told.append)
    for verdict in ("go", "not checked"):
        light.show(verdict)
        wait(light)
    assert (tmp_path / "seen").read_text() == "".join(
        f"--pin|17|; touch {tmp_path}/shell|{verdict}|" for verdict in ("go", "not checked")
    )
    assert not (tmp_path / "shell").exists()
    assert told == []


def test_a_light_that_fails_is_told_once():
    for command, words in (("/nowhere/lamp", "does not start"), ("false", "ended with status 1")):
        told = []
        light = Light(command, told.append)
        for _ in range(3):
            light.show("go")
            wait(light)
        assert len(told) == 1
        assert words in told[0]


def test_a_light_that_hangs_holds_up_nothing_and_is_ended(monkeypatch):
    told = []
    light = Light("sh -c 'sleep 1000'", told.append)
    for _ in range(6):
        light.show("go")
    assert len(light._running) == 4
    hung = [one for _, one in light._running]
    monkeypatch.setattr(lamp, "LONGEST_S", 0.0)
    light.look()
    assert light._running == []
    assert [one.returncode for one in hung] == [-signal.SIGKILL] * 4
    assert len(told) == 1


@pytest.mark.parametrize("command", ["", "'half"])
def test_a_light_that_is_no_command_is_refused_in_one_line(tmp_path, command):
    done = foldmark(
        "scan", "--station", "wash-1", "--source", str(film(tmp_path / "f.avi", PACK)), "--light", command, cwd=tmp_path
    )
    assert (done.returncode, "--light cannot be used" in done.stderr) == (2, True)


def test_the_command_shows_every_verdict_in_the_light(tmp_path, service):
    service.answer = {"verdict": "stop", "headline": "No."}
    (tmp_path / "lamp").write_text(f'#!/bin/sh\necho "$1" >> {tmp_path}/seen\n')
    (tmp_path / "lamp").chmod(0o755)
    done = foldmark("scan", "--station", "wash-1", "--source", str(film(tmp_path / "f.avi", PACK)), "--url", service.url,
                    "--light", str(tmp_path / "lamp"), "--mute", cwd=tmp_path)  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "seen").read_text() == "stop\n"
    assert Outbox(tmp_path / "outbox-wash-1.db").held() == 0


# The doctor


def doctor(*words, cwd):
    done = foldmark("doctor", "--json", "--camera", *words, cwd=cwd)
    return done.returncode, {one["what"]: (one["ok"], one["says"]) for one in json.loads(done.stdout)["findings"]}


def test_the_doctor_says_of_each_camera_what_it_can_do_and_that_its_picture_is_well(tmp_path, camera):  # noqa: F811
    status, found = doctor(cwd=tmp_path)
    assert status == 0
    assert found["camera 0"] == (True, "video0")
    assert found["camera 0 can"] == (True, "3840 × 2160, 30 a second, MJPG")
    assert found["picture of 0"][0]


def test_the_doctor_says_that_there_is_no_camera(tmp_path, camera):  # noqa: F811
    (tmp_path / "video0").unlink()
    status, found = doctor(cwd=tmp_path)
    assert (status, found["camera"][0]) == (1, False)
    assert doctor("0", cwd=tmp_path)[1]["picture of 0"] == (False, found_not("0"))


def found_not(spec):
    return f"camera {spec} is not there: plug it in, or see which there are with  foldmark doctor --camera"


@pytest.mark.parametrize(("grey", "words"), [(4, "black"), (128, "stands still")])
def test_the_doctor_sees_a_black_and_a_frozen_picture(tmp_path, grey, words):
    import cv2
    import numpy as np

    for number in range(3):
        cv2.imwrite(str(tmp_path / f"{number}.png"), np.full((60, 80), grey, np.uint8))
    status, found = doctor(str(tmp_path), cwd=tmp_path)
    ok, says = found[f"picture of {tmp_path}"]
    assert (status, ok) == (1, False)
    assert words in says


def test_every_command_of_the_page_about_scanners_is_one_there_is():
    from service.cli import foldmark as group

    page = (ROOT / "docs" / "scanner.md").read_text("utf-8")
    commands = [shlex.split(line)[1:] for line in page.splitlines() if line.startswith("    foldmark ")]
    assert len(commands) >= 8
    for name, *words in commands:
        command = group.get_command(None, name)
        command.make_context(name, words)
        assert {word for word in words if word.startswith("--")} <= {
            opt for param in command.params for opt in param.opts
        }
