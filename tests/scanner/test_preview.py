"""The preview: a page of this computer alone, with the picture, the label outlined, meters and the last verdict."""

import contextlib
import socket
import subprocess

import cv2
import httpx
import numpy as np
import pytest

from scanner.client import Verdict
from scanner.decode import read
from scanner.frames import Frame
from scanner.preview import Preview, PreviewError
from tests.browser import launched
from tests.scanner.shown import LOAD, NOON, PACK, picture, typed_scanner


@pytest.fixture
def preview():
    shown = Preview("loading-1", 0)
    yield shown
    shown.close()


def bench(label, blur=0):
    scene = np.full((720, 1280, 3), 150, np.uint8)
    image = cv2.GaussianBlur(picture(label), (0, 0), blur) if blur else picture(label)
    scene[200 : 200 + image.shape[0], 400 : 400 + image.shape[1]] = image[..., None] * 0.8 + 20
    return scene


def see(preview, image, index=0):
    preview.see(Frame(image, index, 0.0, NOON), read(image, 0.0))


def test_it_is_served_on_this_computer_alone(preview):
    assert preview._server.server_address[0] == "127.0.0.1"
    with pytest.raises(PreviewError, match="choose another with --preview PORT"):
        Preview("loading-1", preview.port)


@pytest.mark.parametrize(
    "headers",
    [{"Host": "evil.example"}, {"Host": "127.0.0.1"}, {"Host": "127.0.0.1.evil.example:{port}"}, {"Sec-Fetch-Site": "cross-site"},
     {"Sec-Fetch-Site": "same-site"}],
)  # fmt: skip
def test_another_sites_page_sees_nothing(preview, headers):
    see(preview, bench(PACK))
    told = {name: value.format(port=preview.port) for name, value in headers.items()}
    for path in ("", "picture.jpg", "state.json"):
        assert httpx.get(preview.url + path, headers=told).status_code == 403


def test_every_answer_keeps_the_page_to_itself(preview):
    see(preview, bench(PACK))
    for path in ("", "look.css", "page.js", "picture.jpg", "state.json", "nothing"):
        headers = httpx.get(preview.url + path).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["cross-origin-resource-policy"] == "same-origin"
        assert headers["cache-control"] == "no-store"


@pytest.mark.parametrize("path", ["nothing", "../aim.py", "%2e%2e/aim.py", "__init__.py"])
def test_it_serves_nothing_but_its_page(preview, path):
    assert httpx.get(preview.url + path).status_code == 404


def test_nothing_may_be_sent_to_it(preview):
    assert httpx.post(preview.url, content=b"x").status_code == 501


def test_before_the_first_picture_it_says_that_there_is_none(preview):
    assert httpx.get(f"{preview.url}picture.jpg").status_code == 404
    assert httpx.get(f"{preview.url}state.json").json()["frame"] is None


def test_the_label_is_outlined_in_the_picture(preview):
    image = bench(PACK)
    see(preview, image)
    shown = cv2.imdecode(np.frombuffer(httpx.get(f"{preview.url}picture.jpg").content, np.uint8), cv2.IMREAD_COLOR)
    changed = np.argwhere(cv2.absdiff(shown, image).max(axis=2) > 60)
    corners = np.vstack([one.corners for one in read(image, 0.0)])
    assert shown.shape == image.shape
    assert np.allclose(changed[:, ::-1].min(axis=0), corners.min(axis=0), atol=8)
    assert np.allclose(changed[:, ::-1].max(axis=0), corners.max(axis=0), atol=8)


def test_a_wide_picture_is_sent_smaller(preview):
    see(preview, np.full((1000, 4000), 200, np.uint8))
    shown = cv2.imdecode(np.frombuffer(preview.picture(), np.uint8), cv2.IMREAD_COLOR)
    assert shown.shape[:2] == (320, 1280)


def test_the_meters_say_what_to_change(preview):
    def changes():
        return {one["name"]: one["change"] for one in preview.state()["meters"]}

    see(preview, bench(PACK))
    assert set(changes().values()) == {""}
    see(preview, bench(PACK, blur=5))
    assert "focus" in changes()["sharpness"]
    see(preview, np.random.default_rng(1).integers(100, 200, (720, 1280, 3)).astype(np.uint8))
    assert [one["name"] for one in preview.state()["meters"] if one["good"]] == ["light", "glare in %"]
    see(preview, np.full((720, 1280, 3), 255, np.uint8))
    assert "mirrored" in changes()["glare in %"]
    see(preview, np.full((720, 1280, 3), 20, np.uint8))
    assert changes()["light"] == "bring more light onto the bench"


def test_the_page_shows_picture_meters_verdict_and_a_scanner_that_went(preview):
    see(preview, bench(LOAD), 7)
    preview.say(LOAD.code, Verdict("stop", "Steriliser 1 is stopped.", next="Ask <b>a manager</b>."))
    preview.note("Not ours: an address of the web.")
    faults = []
    with launched() as browser:
        page = browser.new_page()
        page.on("console", lambda line: faults.append(line.text) if line.type == "error" else None)
        page.goto(preview.url)
        page.wait_for_selector("#picture:not([hidden])")
        assert page.evaluate("document.getElementById('picture').naturalWidth") == 1280
        assert page.locator("#meters li").count() == 5
        assert "STOP" in page.inner_text("#verdict")
        assert "Ask <b>a manager</b>." in page.inner_text("#verdict")
        assert page.inner_text("#seen") == "2 codes are read."
        assert page.inner_text("#note") == "Not ours: an address of the web."
        assert faults == []
        preview.close()
        page.get_by_text("The scanner does not answer").wait_for()
        page.close()


def test_a_browser_that_goes_away_in_the_middle_harms_nothing(preview):
    see(preview, bench(PACK))
    for _ in range(3):
        with contextlib.closing(socket.create_connection(("127.0.0.1", preview.port))) as line:
            line.sendall(f"GET /picture.jpg HTTP/1.1\r\nHost: 127.0.0.1:{preview.port}\r\n\r\n".encode())
    assert httpx.get(f"{preview.url}state.json").status_code == 200


def test_the_command_says_where_its_preview_is_and_ends_it_with_the_scanning(tmp_path, service):
    command, env = typed_scanner(service.url, "--preview", "0")
    pipes = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
    running = subprocess.Popen(command, cwd=tmp_path, env=env, text=True, **pipes)
    url = running.stderr.readline().split()[-1]
    running.stdin.write(f"{PACK.code}\n")
    running.stdin.flush()
    running.stdout.readline()
    state = httpx.get(f"{url}state.json").json()
    running.communicate(timeout=60)
    assert (state["station"], state["verdict"]["verdict"]) == ("wash-1", "go")
    with pytest.raises(httpx.ConnectError):
        httpx.get(url)
