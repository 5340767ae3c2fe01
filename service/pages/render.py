"""Rendering: a view into HTML, everything escaped, nothing unseen, in the language of who looks."""

import re
from functools import lru_cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from service.access.who import Who
from service.pages.drawing import shape, step_mark
from service.pages.script_words import MEANINGS, PAGE, STATION
from service.pages.views import CAUTION, Page
from service.words.catalogue import own_names, say_in
from service.words.known import ENGLISH
from service.words.markup import in_words
from service.words.spoken import speak

_UNSEEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]")


def _seen(value: Any) -> Any:
    """What is shown of text: all but control characters and those that would turn the words beside them round."""
    if not isinstance(value, str) or not _UNSEEN.search(value):
        return value
    return type(value)(_UNSEEN.sub("", value))


@lru_cache
def _environment(language: str) -> Environment:
    environment = Environment(
        loader=PackageLoader("service.pages", "templates"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        finalize=_seen,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    say = say_in(language)
    environment.globals |= {"CAUTION": CAUTION, "language": language, "languages": own_names(), "meanings": {}}
    environment.globals["page_words"] = {name: say(words) for name, words in PAGE.items()}
    environment.globals["station_words"] = {name: say(words) for name, words in STATION.items()}
    environment.globals["shape"] = lambda verdict: Markup(shape(verdict))  # noqa: S704  (our own drawing)
    environment.globals["step_mark"] = lambda kind: Markup(step_mark(kind))  # noqa: S704  (the same)
    environment.filters["drawn"] = Markup
    if language != ENGLISH:
        environment.filters["drawn"] = lambda drawing: Markup(in_words(drawing, say))  # noqa: S704  (the same)
        environment.globals["meanings"] = MEANINGS
        speak(environment, say)
    return environment


def render(page: Page, person: Who | None = None, language: str = ENGLISH) -> str:
    """The HTML of a page, as `person` sees it."""
    return _environment(language).get_template(page.template).render(page=page, person=person)
