"""Browsers at a running Tarn Bridge, before open doors and before closed ones."""

import pytest

from service.api.app import make_app
from service.pages.routes import add_pages
from tests.browser import chromium
from tests.entry import Entry
from tests.practice import TarnBridge


@pytest.fixture
def page(tmp_path):
    """A page of a running Tarn Bridge in the system's Chromium, with the bridge and a way to end the service."""
    bridge = TarnBridge(tmp_path)
    with chromium(make_app(bridge.desk, add_pages)) as (browser, address, end):
        shown = browser.new_page(viewport={"width": 1280, "height": 800}, base_url=address)
        shown.errors = []
        shown.on("pageerror", lambda error: shown.errors.append(str(error)))
        yield shown, bridge, end
        assert shown.errors == []


@pytest.fixture
def closed(tmp_path):
    """Two browsers at a running Tarn Bridge behind closed doors: the manager's, and a tablet's; with the entry."""
    bridge = TarnBridge(tmp_path)
    entry = Entry(bridge.desk)
    with chromium(make_app(bridge.desk, add_pages, None, entry.doors)) as (browser, address, _):
        pages, errors = [], []
        for width, height in ((1280, 800), (800, 1280)):
            context = browser.new_context(viewport={"width": width, "height": height}, base_url=address)
            pages.append(context.new_page())
            pages[-1].on("pageerror", lambda error: errors.append(str(error)))
            pages[-1].on("console", lambda said: errors.append(said.text) if "Content Security" in said.text else None)
        yield pages, bridge, entry
        assert errors == []
