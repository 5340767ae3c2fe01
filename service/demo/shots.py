"""Pictures of every page of the demo: on a tablet, a turned tablet and a phone, light and dark, in each language.

Needs playwright and the system's Chromium, which the tests bring; nothing else of Foldmark does.
"""

import html
import shutil
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from label_templates.codes import card_code
from service.demo import tarn_bridge as tb
from service.demo.stage import Say, Stage

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext, Page

Theme = Literal["light", "dark"]
SIZES = {"tablet": (1280, 800), "turned": (800, 1280), "phone": (390, 844)}
THEMES: tuple[Theme, ...] = ("light", "dark")
LANGUAGES = ("en", "de")
SIGHTS = ("deuteranopia", "achromatopsia")
"""How the verdicts are looked at once more: without green, and without any colour."""
_WAIT_MS = 15_000


class ShotsError(Exception):
    """No pictures can be taken here: one line that says why and what to do."""


def browser_path() -> str:
    """The system's Chromium. Raises ShotsError without it, or without what drives it."""
    if find_spec("playwright") is None:
        raise ShotsError("playwright is not installed here: pip install 'foldmark[test]', then try again")
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        raise ShotsError("no Chromium is installed here: install the system's package chromium, then try again")
    return found


def pages(notable: dict[str, str]) -> dict[str, str]:
    """What each page is called, and its address in the demo that was played."""
    return {
        "board": "/",
        "pack": f"/packs/{notable['opened']}",
        "pack-pale": f"/packs/{notable['pale']}",
        "pack-wet": f"/packs/{notable['wet']}",
        "set": f"/sets/{tb.SETS['Dental extraction A'].code}",
        "loads": "/loads",
        "load": f"/loads/{notable['bad_load']}",
        "next-load": "/loads/next",
        "indicators": "/indicators",
        "load-held": f"/loads/{notable['pale_load']}",
        "machines": "/machines",
        "machine": f"/machines/{tb.STERILISER}?programme=134/3",
        "machine-month": f"/machines/{tb.STERILISER}/2026-03",
        "recalls": "/recalls",
        "recall": f"/recalls/{notable['bad_load']}?reach=since",
        "search": "/search?q=dental",
        "people": "/people",
        "limits": "/limits",
        "stations": "/stations",
        "not-there": "/packs/P-K7-0099-0001-V",
    }


_STYLE = """body{font:17px sans-serif;display:grid;grid-template-columns:repeat(auto-fill,minmax(360px,1fr));gap:24px;
margin:24px}figure{margin:0}img{width:100%;border:1px solid #999}"""
OUTSIDE = {"sign-in": "/sign-in", "start": "/start", "enrol": "/enrol"}
"""The pages that are seen before anybody is let in."""


def take(stage: Stage, notable: dict[str, str], folder: Path, say: Say) -> int:
    """Write every picture into `folder`, and `index.html` that shows them side by side; how many there are.

    Raises ShotsError without a browser, OSError when the folder cannot be written.
    """
    path = browser_path()
    from playwright.sync_api import Error, sync_playwright  # noqa: PLC0415  (the tests bring it, nothing else needs it)

    folder.mkdir(parents=True, exist_ok=True)
    taken: list[str] = []
    try:
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=path, args=["--no-sandbox", "--disable-gpu"])
            for language in LANGUAGES:
                for theme in THEMES:
                    for size, (width, height) in SIZES.items():
                        context = browser.new_context(
                            viewport={"width": width, "height": height}, color_scheme=theme, base_url=stage.url
                        )
                        _cookie(context, stage.url, "language", language)
                        ending = f"{size}-{theme}-{language}.png"
                        taken += _all(context, stage, notable, folder, ending)
                        context.close()
                        say(f"  {len(taken)} pictures: {size}, {theme}, {language}")
            browser.close()
    except Error as error:
        why = " ".join(str(error).split()[:40])
        raise ShotsError(f"the browser gave up ({why}): try again") from error
    (folder / "index.html").write_text(_index(taken), encoding="utf-8")
    return len(taken)


def _all(context: "BrowserContext", stage: Stage, notable: dict[str, str], folder: Path, ending: str) -> list[str]:
    page = context.new_page()
    page.set_default_timeout(_WAIT_MS)
    taken = []

    def shot(name: str) -> None:
        page.screenshot(path=folder / f"{name}-{ending}", full_page=not name.startswith("station"))
        taken.append(f"{name}-{ending}")

    for name, address in OUTSIDE.items():
        page.goto(address)
        shot(name)
    _cookie(context, stage.url, "foldmark_session", stage.session(tb.MANAGER))
    for name, address in pages(notable).items():
        page.goto(address)
        shot(name)
    for kind in ("wash", "packing", "loading", "unloading", "store", "office"):
        _station(page, f"{kind}-1")
        shot(f"station-{kind}")
    for verdict in _verdicts(page, stage, notable):
        shot(f"station-{verdict}")
        if "light-en" in ending and not ending.startswith("phone"):
            for sight in SIGHTS:
                with _seen_with(context, page, sight):
                    shot(f"station-{verdict}-{sight}")
    return taken


def _station(page: "Page", station: str) -> None:
    page.goto(f"/stations/{station}")
    page.wait_for_selector("#last", state="attached")
    page.wait_for_timeout(300)


def _verdicts(page: "Page", stage: Stage, notable: dict[str, str]) -> Iterator[str]:
    """A theatre's screen in each of its four shapes."""
    theatre = "theatre-2"

    def scan(*texts: str) -> None:
        for text in texts:
            stage.scan(theatre, text if "-" in text else card_code(text).text)

    scan(tb.NURSE, tb.PATIENTS[0][0])
    _station(page, theatre)
    page.wait_for_selector("#verdict[data-verdict=go]")
    yield "go"
    scan(notable["wet"])
    page.wait_for_selector("#verdict[data-verdict=stop]")
    yield "stop"
    scan("TURNED")
    page.wait_for_selector("#verdict[data-verdict=ask]")
    yield "ask"
    page.route("**/events", lambda route: route.abort())
    page.reload()
    page.wait_for_selector("#verdict[data-verdict='not checked']")
    yield "not-checked"
    page.unroute("**/events")
    scan("DONE")


class _seen_with:  # noqa: N801  (read as a sentence)
    """Chromium's own filter for how eyes with fewer colours see the page."""

    def __init__(self, context: "BrowserContext", page: "Page", sight: str) -> None:
        self._session = context.new_cdp_session(page)
        self._sight = sight

    def __enter__(self) -> None:
        self._session.send("Emulation.setEmulatedVisionDeficiency", {"type": self._sight})

    def __exit__(self, *_: object) -> None:
        self._session.send("Emulation.setEmulatedVisionDeficiency", {"type": "none"})
        self._session.detach()


def _cookie(context: "BrowserContext", url: str, name: str, value: str) -> None:
    cookie: Any = {"name": name, "value": value, "url": url}
    context.add_cookies([cookie])


def _index(taken: list[str]) -> str:
    figures = "\n".join(
        f'<figure><a href="{html.escape(name)}"><img src="{html.escape(name)}" loading="lazy" alt=""></a>'
        f"<figcaption>{html.escape(name.removesuffix('.png'))}</figcaption></figure>"
        for name in sorted(taken)
    )
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>Every page of the demo</title>'
        f"<style>{_STYLE}</style>\n{figures}</html>\n"
    )
