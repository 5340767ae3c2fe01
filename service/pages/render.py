"""Rendering: a view into HTML, everything escaped."""

from functools import lru_cache

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from service.access.who import Who
from service.pages.drawing import shape, step_mark
from service.pages.views import CAUTION, Page


@lru_cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("service.pages", "templates"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["CAUTION"] = CAUTION
    environment.globals["shape"] = lambda verdict: Markup(shape(verdict))  # noqa: S704  (our own drawing)
    environment.globals["step_mark"] = lambda kind: Markup(step_mark(kind))  # noqa: S704  (the same)
    environment.filters["drawn"] = Markup
    return environment


def render(page: Page, person: Who | None = None) -> str:
    """The HTML of a page, as `person` sees it."""
    return _environment().get_template(page.template).render(page=page, person=person)
