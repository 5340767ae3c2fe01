"""Photos of strips and printouts, kept with their load and shown on its page."""

import hashlib
import io

import pytest
from PIL import Image
from starlette.testclient import TestClient

from service.api import photos
from service.api.app import make_app
from service.pages.routes import add_pages
from tests.practice import TECHNICIAN


def picture(kind="PNG", size=(40, 30)):
    file = io.BytesIO()
    Image.new("RGB", size, "tan").save(file, kind)
    return file.getvalue()


@pytest.fixture
def kept(bridge):
    """A client, a load that went through, the pack in it, and a way to send a photo."""
    pack, load = bridge.ready()
    client = TestClient(make_app(bridge.desk, add_pages), raise_server_exceptions=False)

    def send(body, media="image/png", **told):
        query = {"id": bridge.new_id(), "by": TECHNICIAN, "of": "strip"} | told
        return client.post(f"/api/loads/{load}/photos", params=query, content=body, headers={"Content-Type": media})

    return client, load, pack, send


@pytest.mark.parametrize(("kind", "media"), [("PNG", "image/png"), ("JPEG", "image/jpeg")])
def test_a_photo_of_a_strip_stands_on_the_page_of_its_load_as_it_came(bridge, kept, kind, media):
    client, load, pack, send = kept
    body = picture(kind)
    assert send(body, media, pack=pack).json()["verdict"] == "go"
    fact = bridge.facts("photo_kept")[0]
    assert fact.data == {"of": "strip", "sha256": hashlib.sha256(body).hexdigest(), "media": media}
    assert (fact.pack, fact.load) == (pack, load)
    address = f"/loads/{load}/photos/{fact.data['sha256']}"
    assert f'<img src="{address}" alt="strip, in Dental extraction A, 4 March' in client.get(f"/loads/{load}").text
    answer = client.get(address)
    assert (answer.content, answer.headers["content-type"]) == (body, media)
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_a_photo_is_told_by_its_bytes_not_by_what_it_is_called(kept):
    assert kept[3](picture("JPEG"), "image/png").json()["verdict"] == "go"


@pytest.mark.parametrize(
    "body", [b"", b"<svg onload=alert(1)>", picture("GIF"), picture()[:60], b"\x89PNG\r\n\x1a\n" + b"\0" * 99]
)
def test_what_is_no_photo_is_refused_and_nothing_is_kept(bridge, kept, body):
    answer = kept[3](body)
    assert (answer.status_code, answer.json()["title"]) == (422, "Not a photo")
    assert bridge.facts("photo_kept") == []


def test_a_photo_too_large_to_show_or_to_keep_is_refused(kept, monkeypatch):
    monkeypatch.setattr(photos, "MOST_PIXELS", 1000)
    assert "40 × 30 pixels" in kept[3](picture()).json()["detail"]
    assert kept[3](b"\0" * (7 << 20)).status_code == 413


def test_a_pack_of_another_load_and_a_thing_unknown_are_refused(bridge, kept):
    other = bridge.new_set("Eye set 1")
    bridge.wash([other], 9)
    assert kept[3](picture(), pack=bridge.pack(other)).json()["rule"] == "not_in_load"
    assert kept[3](picture(), of="cat").status_code == 422
    assert kept[0].get(f"/loads/{kept[1]}/photos/{'0' * 64}").status_code == 404
